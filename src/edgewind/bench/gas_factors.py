"""Gas factors of gauges whose reading depends on the gas."""

from __future__ import annotations

import math

from edgewind.bench.gauges import Gauge
from edgewind.errors import InputError
from edgewind.gas import Gas
from edgewind.units import Measured

# Ionisation sensitivity relative to nitrogen: CRC Handbook of Chemistry and Physics, section 15, average of twelve
# experimenters, said there to differ by as much as 15 %, which is taken as a standard uncertainty.
RELATIVE_SENSITIVITY = {
    "N2": 1.00, "He": 0.18, "Ne": 0.31, "Ar": 1.4, "H2": 0.43, "O2": 0.96, "CO2": 1.4, "H2O": 0.93,
}  # fmt: skip
RELATIVE_SENSITIVITY_U = 0.15
# Summers, NASA TN D-5285 (1969), has 0.23 for neon, and for Ar 1.2, CO2 1.4, O2 1.0, as a table of R. L. Summers's
# values in a manual of residual gas analysers gives them: within 15 % but for neon, whose uncertainty is wider.
_WIDER_U = {"Ne": 0.26}
# Air and nitrogen differ by less than any such gauge is known.
_AS_NITROGEN = ("air", "N2")


def gas_factor(gauge: Gauge, gas: Gas) -> Measured:
    """Return true over indicated pressure for a gauge calibrated in nitrogen or air.

    A stated factor takes precedence. A diaphragm reads true. An ionisation gauge in another gas takes the inverse of
    the relative sensitivity of the CRC Handbook, with 15 % (neon with 26 %); sensitivities of a mixture add by mole
    fraction, and the uncertainties of the fractions enter that of the factor.

    Raises
    ------
    InputError
        The gauge depends on the gas and nothing is known for this one.
    """
    own: Measured | None = gauge.gas_factor
    if own is not None:
        return own
    if gauge.principle == "diaphragm" or gas.name in _AS_NITROGEN:
        return Measured(1.0)
    unknown = [species.symbol for species, _ in gas.fractions if species.symbol not in RELATIVE_SENSITIVITY]
    if gauge.principle == "ionisation" and not unknown:
        sensitivity = sum(x * RELATIVE_SENSITIVITY[species.symbol] for species, x in gas.fractions)
        u = max((_WIDER_U.get(species.symbol, RELATIVE_SENSITIVITY_U) for species, x in gas.fractions if x > 0.5),
                default=RELATIVE_SENSITIVITY_U)  # fmt: skip
        rest = RELATIVE_SENSITIVITY[gas.balance]
        mixed = [(RELATIVE_SENSITIVITY[symbol] - rest) * x_u / sensitivity for symbol, x_u in gas.uncertain]
        return Measured(1 / sensitivity, math.hypot(u, *mixed) / sensitivity)
    raise InputError(
        f"a {gauge.principle} gauge reads differently in {gas.name}, and its factor there is not known",
        key="gauge.gas_factor",
        fix="give true over indicated pressure from the gauge's manual or a comparison, such as "
        "gas_factor = '1.6 +/- 0.1'",
    )
