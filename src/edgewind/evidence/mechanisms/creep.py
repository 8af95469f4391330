"""Thermal creep along the thickness of the vane: known to an order of size only."""

from __future__ import annotations

from edgewind.evidence.mechanisms.base import Claim
from edgewind.evidence.verdicts import Case, judge
from edgewind.rotor.drives.creep import KEY, NAME, WITHIN_FACTOR


def weigh(case: Case) -> Claim:
    """Weigh creep along the rim: it goes with the thermal force and grows towards dense gas.

    That its size is an estimate to a factor three is in the prior, and so in the interval.
    """
    return judge(case, name=NAME, key=KEY, leads="bright", within=WITHIN_FACTOR)
