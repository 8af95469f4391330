"""The push of the gas on a vane with one warm and one cold face, from the kinetic response."""

from __future__ import annotations

from edgewind.evidence.mechanisms.base import Claim
from edgewind.evidence.verdicts import Case, judge
from edgewind.rotor.drives.thermal_force import KEY, NAME


def weigh(case: Case) -> Claim:
    """Weigh the thermal force: under light it makes the bright face lead."""
    return judge(case, name=NAME, key=KEY, leads="bright", model="thermal force alone")
