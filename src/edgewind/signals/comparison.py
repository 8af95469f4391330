"""Comparison of a gauge with a reference gauge on the same chamber, and the correction from it.

Method: direct comparison as in ISO 3567:2011 (Vacuum gauges, calibration by direct comparison with a reference gauge);
uncertainty as in ISO 27893:2011 (evaluation of the uncertainties of results of calibrations by direct comparison).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field
from scipy.optimize import brentq
from scipy.special import chdtrc

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.frozen_model import FrozenModel
from edgewind.signals.pressure import pressure_from_volts
from edgewind.signals.table import Row, Title, read_rows

FloatArray = NDArray[np.float64]
# A slope over pressure is used when it is this many standard uncertainties from zero.
_SLOPE_THRESHOLD = 3.0


class GaugeComparison(FrozenModel):
    """Correction of a gauge: ``p = p_indicated * factor * (p_indicated / pivot)**slope``.

    Factor and slope are uncorrelated by the choice of the pivot.
    """

    factor: float = Field(description="True over indicated pressure at the pivot.")
    factor_u: float = Field(description="Standard uncertainty of the factor.")
    slope: float = Field(
        description="Power of (indicated pressure / pivot) in the correction; zero where none is evident."
    )
    slope_u: float = Field(description="Standard uncertainty of the slope.")
    pivot_pa: float = Field(
        description="Pressure about which the slope turns, Pa: weighted geometric mean of the indicated pressures."
    )
    scatter: float = Field(
        description="Standard deviation of ``ln p`` about the correction that the stated uncertainties do not explain."
    )
    p_value: float = Field(
        description="Probability of a chi-square at least as great, were the stated uncertainties all there is."
    )
    pairs: int = Field(description="Number of pairs.")

    def as_settings(self, source: str) -> dict[str, str]:
        """Return the correction as keys of ``[gauge.correction]`` in `bench.toml`."""
        return {
            "factor": f"{self.factor:.5g} +/- {self.factor_u:.2g}",
            "slope": f"{self.slope:.4g} +/- {self.slope_u:.2g}",
            "pivot": f"{self.pivot_pa:.5g} Pa",
            "source": source,
        }


def compare_gauges(
    indicated_pa: ArrayLike,
    reference_pa: ArrayLike,
    log_u: ArrayLike = 0.0,
    reference_log_u: ArrayLike = 0.0,
    reference_log_u_common: float = 0.0,
) -> GaugeComparison:
    """Find the correction that brings a gauge to a reference gauge.

    The error of indication is taken in ``ln p``: ``e_i = ln(p_ref,i / p_ind,i)``. Its weighted mean is the correction,
    with a straight line in ``ln p`` where the slope is evident. The uncertainties of both gauges enter the weights; the
    scatter they do not explain is added to them (Mandel and Paule, Anal. Chem. 42, 1194, 1970); the reference's common
    uncertainty, which averaging does not lessen, is added at the end.

    Parameters
    ----------
    indicated_pa, reference_pa : array_like, shape (n,)
        Pressures shown by the gauge and by the reference at the same time, Pa.
    log_u, reference_log_u : array_like, shape (n,) or scalar
        Standard uncertainties of ``ln p`` that differ from pair to pair.
    reference_log_u_common : float
        Standard uncertainty of ``ln p`` of the reference that all pairs share (its certificate).

    Raises
    ------
    InputError
        Fewer than three pairs, pressures that are not positive, or uncertainties that are not numbers of zero or more.

    Examples
    --------
    >>> found = compare_gauges([1.0, 2.0, 4.0, 8.0], [1.1, 2.2, 4.4, 8.8], log_u=0.01)
    >>> round(found.factor, 3)
    1.1
    """
    indicated, reference = np.asarray(indicated_pa, dtype=float), np.asarray(reference_pa, dtype=float)
    if indicated.shape != reference.shape or indicated.ndim != 1 or indicated.size < 3:
        raise InputError(
            f"{indicated.size} pairs are too few for a comparison",
            fix="give three pairs or more of indicated and reference pressure",
        )
    if not (np.all(np.isfinite(indicated) & (indicated > 0)) and np.all(np.isfinite(reference) & (reference > 0))):
        raise InputError(
            "a comparison holds pressures that are not positive",
            fix="leave out pairs at which a gauge was out of range",
        )
    x, error = np.log(indicated), np.log(reference / indicated)
    variance = np.maximum(_squares(log_u, x.shape) + _squares(reference_log_u, x.shape), 1e-12)

    with_line = x.size >= 4 and np.ptp(x) > 0
    fit = _weighted_fit(x, error, variance, line=with_line)
    if with_line and abs(fit.slope) < _SLOPE_THRESHOLD * fit.slope_u:
        fit = _weighted_fit(x, error, variance, line=False)
    stated = _weighted_fit(x, error, variance, line=fit.slope_u > 0, excess=0.0)
    freedom = x.size - (2 if fit.slope_u > 0 else 1)
    factor = float(np.exp(fit.mean))
    return GaugeComparison(
        factor=factor,
        factor_u=factor * float(np.hypot(fit.mean_u, reference_log_u_common)),
        slope=fit.slope,
        slope_u=fit.slope_u,
        pivot_pa=float(np.exp(fit.pivot)),
        scatter=float(np.sqrt(fit.excess)),
        p_value=float(chdtrc(freedom, stated.chi2)),
        pairs=x.size,
    )


def _squares(u: ArrayLike, shape: tuple[int, ...]) -> FloatArray:
    u = np.asarray(u, dtype=float)
    if u.shape not in ((), shape) or not np.all(np.isfinite(u) & (u >= 0)):
        raise InputError(
            "a comparison holds uncertainties that are missing or negative",
            fix="give one of zero or more for each pair, or one for all",
        )
    return np.broadcast_to(u**2, shape)


@dataclass(frozen=True)
class _Fit:
    mean: float
    mean_u: float
    slope: float
    slope_u: float
    pivot: float
    chi2: float
    excess: float


def _weighted_fit(
    x: FloatArray, y: FloatArray, variance: FloatArray, *, line: bool, excess: float | None = None
) -> _Fit:
    """Return the weighted mean or line of y; `excess` is the variance added to every pair, estimated if None."""
    if excess is None:
        excess = _excess_variance(x, y, variance, line)
    w = 1 / (variance + excess)
    pivot = float(np.sum(w * x) / np.sum(w))
    spread = float(np.sum(w * (x - pivot) ** 2))
    mean = float(np.sum(w * y) / np.sum(w))
    slope = float(np.sum(w * (x - pivot) * y) / spread) if line else 0.0
    residual = y - mean - slope * (x - pivot)
    return _Fit(
        mean=mean,
        mean_u=float(np.sum(w) ** -0.5),
        slope=slope,
        slope_u=spread**-0.5 if line else 0.0,
        pivot=pivot,
        chi2=float(np.sum(w * residual**2)),
        excess=excess,
    )


def _excess_variance(x: FloatArray, y: FloatArray, variance: FloatArray, line: bool) -> float:
    """Return the variance that makes chi-square equal to its degrees of freedom, zero if it is already lower."""
    freedom = x.size - (2 if line else 1)

    def surplus(excess: float) -> float:
        return _weighted_fit(x, y, variance, line=line, excess=excess).chi2 - freedom

    if surplus(0.0) <= 0:
        return 0.0
    return float(brentq(surplus, 0.0, float(np.var(y) * x.size + 1e-12)))


PAIR_TITLES: dict[str, Title] = {
    "gauge": Title("voltage"),
    "indicated": Title("pressure", lowest=0.0),
    "reference": Title("pressure", lowest=0.0),
    "indicated uncertainty": Title("pressure", lowest=0.0, relative=True),
    "reference uncertainty": Title("pressure", lowest=0.0, relative=True),
    "note": Title(),
    "exclude": Title(),
}


def compare_pairs(path: str | Path, bench: Bench | None = None, reference_log_u_common: float = 0.0) -> GaugeComparison:
    """Read a table of pairs and compare the gauge with the reference; see :func:`compare_gauges`.

    Rows hold ``indicated [unit]`` (or ``gauge [V]``, turned into an indicated pressure by the gauge of `bench`) and
    ``reference [unit]``, with uncertainties where known (a pressure unit, or ``%``). Rows with an ``exclude`` reason
    and rows at which the gauge was out of range are left out.

    Raises
    ------
    InputError
        Names file, line and column.
    """
    path = Path(path)
    try:
        rows = [row for row in read_rows(path, PAIR_TITLES, "pair") if not row.text("exclude")]
        found = [_pair(row, bench) for row in rows]
        pairs, flags = (
            [one for one in found if not isinstance(one, str)],
            [one for one in found if isinstance(one, str)],
        )
        if len(pairs) < 3 and flags:
            raise InputError(
                f"a comparison of {len(pairs)} pairs; {len(flags)} are left out, since the gauge is flagged "
                f"{', '.join(sorted(set(flags)))} there",
                fix="give three pairs or more at which it is not, or check [gauge] of bench.toml",
            )
        indicated, reference, u, reference_u = np.array(pairs).reshape(-1, 4).T
        return compare_gauges(indicated, reference, u, reference_u, reference_log_u_common)
    except InputError as error:
        raise error.at(file=str(path)) from None


def _pair(row: Row, bench: Bench | None) -> tuple[float, float, float, float] | str:
    """Return indicated and reference pressure with their uncertainties in ``ln p``, or the flag if out of range."""
    reference, reference_u = _pressure(row, "reference")
    if "gauge" not in row.cells:
        indicated, indicated_u = _pressure(row, "indicated")
        return indicated, reference, indicated_u, reference_u
    if bench is None:
        raise InputError(
            "the pairs hold gauge voltages", line=row.line, fix="name the bench.toml that describes the gauge"
        )
    volts = row.number("gauge").value
    if not math.isfinite(volts):
        raise InputError(
            "the cell is empty",
            line=row.line,
            column="gauge",
            fix="write a voltage, or a reason under 'exclude'",
        )
    readings = pressure_from_volts(volts, uncorrected(bench))
    if readings.flags[0]:
        return str(readings.flags[0])
    factor = bench.gas_factor.value
    return float(readings.pressure_pa[0]) / factor, reference, float(readings.log_u[0]), reference_u


def _pressure(row: Row, name: str) -> tuple[float, float]:
    number = row.number(name)
    if not number.value > 0:
        raise InputError(
            "there is no pressure above zero",
            line=row.line,
            column=name,
            fix="write one, or a reason under 'exclude'",
        )
    u = row.number(f"{name} uncertainty").value
    if not math.isfinite(u):
        return number.value, number.digit_u / number.value
    return number.value, u if row.unit(f"{name} uncertainty") == "%" else u / number.value


def uncorrected(bench: Bench) -> Bench:
    """Return the same bench without the correction of its gauge."""
    return bench.model_copy(update={"gauge": bench.gauge.model_copy(update={"correction": None})})
