"""Verdict on each candidate mechanism, with its numbers."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgewind.formatting import raise_exponents
from edgewind.frozen_model import FrozenModel

Verdict = Literal["ruled out", "sufficient", "compatible", "contributes", "cannot tell"]


class TorqueNeed(FrozenModel):
    """Torque needed at the fastest reading, the denominator of the size ratios of the mechanisms."""

    line: int = Field(description="Line of `readings.csv` of the fastest reading.")
    pressure_pa: float = Field(description="Indicated pressure of that reading, Pa.")
    torque_n_m: float = Field(description="Torque that keeps the rotor at its speed there, N m, median.")
    interval_n_m: tuple[float, float] = Field(description="Interval of that torque, N m.")
    level: float = Field(description="Coverage probability of the interval.")
    pivot_included: bool = Field(description="Whether it includes the stated friction of the pivot.")


class Claim(FrozenModel):
    """A candidate mechanism judged by the readings."""

    name: str = Field(description="Name of the mechanism.")
    verdict: Verdict = Field(description="Verdict that the numbers allow; *ruled out* means as the main drive.")
    sign_ok: bool | None = Field(
        default=None,
        description="Whether it would turn the rotor in the observed direction; null if that was not observed, or "
        "it has no sign.",
    )
    size_ratio: float | None = Field(
        default=None,
        description="Predicted over needed torque at the fastest reading; null where only a bound is known.",
    )
    size_ratio_interval: tuple[float, float] | None = Field(
        default=None, description="Interval of that ratio at the level of the study."
    )
    log_evidence: float | None = Field(
        default=None,
        description="Logarithm of the evidence of a fit with this drive alone, at least that of the best model less "
        "1000; null without one.",
    )
    why: str = Field(description="One sentence with the numbers.")
    shape: str = Field(
        default="",
        description="How its torque and the needed torque depend on pressure; empty if not judged.",
    )
    light: str = Field(default="", description="How it depends on the light; empty if not judged.")
    envelope: str = Field(
        default="", description="How it depends on the temperature of the envelope; empty if not judged."
    )


def sentence(text: str) -> str:
    """Return a sentence with a capital, a full stop and raised exponents."""
    return raise_exponents(text[0].upper() + text[1:].rstrip(".") + ".")


def p_words(p: float) -> str:
    """Return a posterior predictive probability in words."""
    return f"p = {p:.2g}" if p >= 0.005 else "p below 0.005"
