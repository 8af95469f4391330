"""Constants of nature that define the SI and are exact: BIPM, The International System of Units, 9th ed. (2019)."""

BOLTZMANN = 1.380649e-23
"""Boltzmann constant, J/K."""

AVOGADRO = 6.02214076e23
"""Avogadro constant, 1/mol."""

GAS_CONSTANT = BOLTZMANN * AVOGADRO
"""Molar gas constant, J/(mol K)."""
