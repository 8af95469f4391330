"""Rising warm gas: a bound, since its direction is nobody's to say."""

from __future__ import annotations

from edgewind.evidence.mechanisms.base import Claim, Verdict, sentence
from edgewind.evidence.verdicts import Case, convection_size
from edgewind.units import format_number

NAME = "convection"


def weigh(case: Case) -> Claim:
    """Weigh convection by a bound that a real rotor stays far below."""
    if not case.enough:
        return Claim(
            NAME,
            "cannot tell",
            None,
            None,
            None,
            None,
            sentence("too few readings of a moving rotor to weigh its size"),
        )
    size = convection_size(case)
    high = size.interval[1]
    verdict: Verdict = "ruled out" if high < 1 else "cannot tell"
    end = "so it is ruled out as the main drive there" if high < 1 else "which does not rule it out"
    why = sentence(
        "if the gas that the warm vanes stir blew on one side of every vane as hard as it could, it would give at most "
        f"{format_number(high, 2)} of the torque needed at {format_number(case.pressure_pa, 3)} Pa, {end}; it has no "
        "sign of its own, and grows with the square of the pressure"
    )
    return Claim(NAME, verdict, None, size.ratio, (0.0, high), None, why, light="as the warmth of the vanes")
