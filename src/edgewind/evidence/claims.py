"""Verdict on each candidate mechanism, with its numbers."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgewind.formatting import raise_exponents
from edgewind.frozen_model import FrozenModel

Verdict = Literal["ruled out", "sufficient", "compatible", "contributes", "cannot tell"]


class TorqueNeed(FrozenModel):
    """The torque that the fastest reading asks for: what the size ratios of the mechanisms are taken of."""

    line: int = Field(description="Line of `readings.csv` of the fastest reading.")
    pressure_pa: float = Field(description="Indicated pressure of that reading, Pa.")
    torque_n_m: float = Field(description="Torque that keeps the rotor at its speed there, N m, median.")
    interval_n_m: tuple[float, float] = Field(description="Interval of that torque, N m.")
    level: float = Field(description="Coverage probability of the interval.")
    pivot_included: bool = Field(description="Whether friction of the pivot is in it: where the bench states one.")


class Claim(FrozenModel):
    """A candidate mechanism judged by the readings."""

    name: str = Field(description="Name of the mechanism.")
    verdict: Verdict = Field(description="What the numbers allow; *ruled out* means as the main drive.")
    sign_ok: bool | None = Field(
        default=None,
        description="Whether it would turn the rotor the way it was seen to turn; null where that was not observed, or "
        "it has no sign.",
    )
    size_ratio: float | None = Field(default=None, description="Predicted over needed torque at the fastest reading.")
    size_ratio_interval: tuple[float, float] | None = Field(
        default=None, description="Interval of that ratio at the level of the study."
    )
    log_evidence: float | None = Field(
        default=None,
        description="Logarithm of the evidence of a fit with this drive alone; null where none was made.",
    )
    why: str = Field(description="One sentence with the numbers.")
    shape: str = Field(
        default="",
        description="How its torque goes with pressure against how the needed torque goes; empty where not judged.",
    )
    light: str = Field(default="", description="How it goes with the light; empty where not judged.")
    envelope: str = Field(
        default="", description="How it goes with the temperature of the envelope; empty where not judged."
    )


def sentence(text: str) -> str:
    """Begin with a capital and end with a full stop, exponents raised."""
    return raise_exponents(text[0].upper() + text[1:].rstrip(".") + ".")


def p_words(p: float) -> str:
    """Say a posterior predictive probability."""
    return f"p = {p:.2g}" if p >= 0.005 else "p below 0.005"
