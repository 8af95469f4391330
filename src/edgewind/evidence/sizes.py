"""Comparison of two rotors: change of the pressure of greatest speed with the width of the vane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.evidence.findings import Findings
from edgewind.evidence.model_error import gauge_apart_u
from edgewind.evidence.optimum import Optimum
from edgewind.formatting import format_interval, format_number
from edgewind.rotor.optimum import highest_places


@dataclass(frozen=True)
class SizeComparison:
    """Comparison of the optima of two rotors with different vane widths.

    Attributes
    ----------
    names : tuple of str
        Experiment of the narrower and of the wider rotor.
    width_ratio : float
        Width of the wider over that of the narrower vane.
    pressure_ratio : float
        Optimum pressure of the wider over that of the narrower, median.
    pressure_ratio_interval : tuple of float
        Equal-tailed interval of that ratio.
    exponent : float
        Power n in ``p_optimum proportional to width**n`` from these two alone, median.
    exponent_interval : tuple of float
        Equal-tailed interval of that power.
    level : float
        Coverage probability of both intervals.
    shared_gauge : bool
        Whether both were read with one gauge, so that the constant factor in its error cancels.
    sentence : str
        Conclusion from the numbers.
    """

    names: tuple[str, str]
    width_ratio: float
    pressure_ratio: float
    pressure_ratio_interval: tuple[float, float]
    exponent: float
    exponent_interval: tuple[float, float]
    level: float
    shared_gauge: bool
    sentence: str


def compare_sizes(one: Findings, other: Findings, *, seed: int = 1) -> SizeComparison | None:
    """Compare the optima of two experiments; None unless both have one and the widths differ."""
    narrow, wide = sorted((one, other), key=lambda findings: findings.experiment.bench.rotor.vane_width.value)
    ratio = wide.experiment.bench.rotor.vane_width.value / narrow.experiment.bench.rotor.vane_width.value
    if not (narrow.optimum.found and wide.optimum.found) or ratio < 1.01:
        return None
    shared = narrow.experiment.bench.gauge == wide.experiment.bench.gauge
    random = np.random.default_rng(seed)
    logs = [_log_draws(findings.optimum, shared) for findings in (narrow, wide)]
    size = max(part.size for part in logs)
    shift = random.choice(logs[1], size) - random.choice(logs[0], size)
    if shared:
        apart = float(np.median(shift))
        shift = shift + gauge_apart_u(_gauge_log_u(narrow.optimum), apart) * random.standard_normal(size)
    level = min(narrow.optimum.level, wide.optimum.level)
    low, middle, high = (float(q) for q in np.quantile(shift, [(1 - level) / 2, 0.5, (1 + level) / 2]))
    exponents = sorted((low / float(np.log(ratio)), high / float(np.log(ratio))))
    exponent = middle / float(np.log(ratio))
    names = (narrow.experiment.name, wide.experiment.name)
    pressures = (float(np.exp(low)), float(np.exp(high)))
    return SizeComparison(
        names, ratio, float(np.exp(middle)), pressures, exponent, (exponents[0], exponents[1]), level, shared,
        _sentence(ratio, float(np.exp(middle)), pressures, exponent, (exponents[0], exponents[1]), level),
    )  # fmt: skip


def _log_draws(optimum: Optimum, shared_gauge: bool) -> NDArray[np.float64]:
    """Return draws of ln(optimum pressure), without the common error if it cancels."""
    if shared_gauge and optimum.curve is not None:
        sense = np.sign(optimum.speed_rad_s or 1.0)
        return highest_places(optimum.curve.log_pressure, sense * optimum.curve.draws)
    return np.log(optimum.draws_pa)


def _gauge_log_u(optimum: Optimum) -> float:
    """Return the standard uncertainty of ln(pressure) that the readings of an optimum share, if they gave a curve."""
    return 0.0 if optimum.curve is None else optimum.curve.data.common_log_pressure_u


def _sentence(
    ratio: float,
    moved: float,
    moved_interval: tuple[float, float],
    exponent: float,
    exponents: tuple[float, float],
    level: float,
) -> str:
    at_end = any(round(100 * end) == -100 for end in exponents)  # as printed
    inside = exponents[0] <= -1 <= exponents[1]
    compare = f"is {'at an end of' if at_end else 'inside' if inside else 'outside'} that interval"
    return (
        f"With a vane {format_number(ratio, 3)} times as wide the best pressure is {format_number(moved, 3)} times as "
        f"great ({100 * level:g} % interval {format_interval(*moved_interval, digits=3)}), an exponent of "
        f"{format_number(exponent, 3)} ({format_interval(*exponents, digits=3)}) on the width; the -1 of a fixed "
        f"Knudsen number {compare}. Two rotors differ in more than width, so this is a comparison and not yet a law."
    )
