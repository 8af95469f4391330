"""Candidate explanations. A new one is one file here and one line in :data:`MECHANISMS`."""

from edgewind.evidence.mechanisms import convection, creep, light_pressure, outgassing, pivot, thermal_force
from edgewind.evidence.mechanisms.base import Claim, Mechanism, Verdict

MECHANISMS: dict[str, Mechanism] = {
    module.NAME: module.weigh for module in (light_pressure, thermal_force, creep, outgassing, convection, pivot)
}

__all__ = ["MECHANISMS", "Claim", "Mechanism", "Verdict"]
