"""What is said of each candidate explanation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from edgewind.bench import Bench
from edgewind.evidence.torque import LEAST_KNUDSEN, NeededTorque

Verdict = Literal["ruled out", "sufficient", "contributes", "cannot tell"]


@dataclass(frozen=True)
class Claim:
    """A candidate mechanism weighed against the readings.

    Attributes
    ----------
    name : str
        The mechanism.
    verdict : {"ruled out", "sufficient", "contributes", "cannot tell"}
        What the numbers allow.
    sign_ok : bool or None
        Whether it would turn the rotor the way it was seen to turn; None where that was not observed.
    size_ratio : float or None
        Predicted over needed torque.
    size_ratio_interval : tuple of float or None
        Its interval at the level of the study.
    log_evidence : float or None
        Logarithm of the evidence of a fit; None where none was made.
    why : str
        One sentence with the numbers.
    """

    name: str
    verdict: Verdict
    sign_ok: bool | None
    size_ratio: float | None
    size_ratio_interval: tuple[float, float] | None
    log_evidence: float | None
    why: str


Mechanism = Callable[[Bench, NeededTorque | None, float], Claim]


def sign_agrees(bench: Bench, leading_face: Literal["bright", "dark"]) -> bool | None:
    """Whether a push that makes `leading_face` go ahead agrees with what was seen; None where nothing was."""
    seen = bench.rotor.leading_face
    return None if seen == "not observed" else seen == leading_face


NOT_THIN_ENOUGH = (
    f"no reading was taken in gas thin enough (Knudsen number {LEAST_KNUDSEN:g} or more) to say what torque is needed"
)


def sentence(text: str) -> str:
    """Begin with a capital and end with a full stop."""
    return text[0].upper() + text[1:].rstrip(".") + "."
