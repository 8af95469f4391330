"""Candidate explanations. A new one is one file here and one line in :data:`MECHANISMS`."""

from edgewind.evidence.mechanisms import light_pressure, thermal_force
from edgewind.evidence.mechanisms.base import Claim, Mechanism, Verdict

MECHANISMS: dict[str, Mechanism] = {
    light_pressure.NAME: light_pressure.weigh,
    thermal_force.NAME: thermal_force.weigh,
}

__all__ = ["MECHANISMS", "Claim", "Mechanism", "Verdict"]
