"""The pressure of the light itself, which pushes harder on the bright face."""

from __future__ import annotations

from edgewind.evidence.mechanisms.base import Claim
from edgewind.evidence.verdicts import Case, judge
from edgewind.rotor.drives.light_pressure import KEY, NAME


def weigh(case: Case) -> Claim:
    """Weigh light pressure: it makes the dark face lead, and does not change with pressure."""
    return judge(case, name=NAME, key=KEY, leads="dark", model="light pressure alone")
