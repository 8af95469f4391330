"""Cautions for work on new rotors in several gases."""

from __future__ import annotations

from collections.abc import Iterable

from edgewind.cautions import cautions, hazards_of_gas
from edgewind.gas import find_gas


def cautions_for(gases: Iterable[str]) -> tuple[str, ...]:
    """Return the cautions for changing rotors and gases.

    Parameters
    ----------
    gases : iterable of str
        Names of the gases.

    Examples
    --------
    >>> len(cautions_for(["N2"])) - len(cautions_for(["air"]))  # a bottle
    1
    """
    hazards = ["glass", "pump", "lamp"]
    for name in gases:
        gas = find_gas(name)
        hazards += hazards_of_gas(gas.name, {species.symbol: share for species, share in gas.fractions})
    return cautions(*dict.fromkeys(hazards))
