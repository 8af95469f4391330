"""Contradictions within a study, which come first in the report, each with an action that would resolve it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pydantic import Field

from edgewind.bench import Bench
from edgewind.evidence.claims import p_words
from edgewind.evidence.fit import Fit
from edgewind.evidence.likelihood import REPEATS
from edgewind.evidence.model_error import KINDS
from edgewind.evidence.optimum import Optimum
from edgewind.formatting import format_number, raise_exponents
from edgewind.frozen_model import FrozenModel
from edgewind.rotor.optimum import PeakPressure
from edgewind.units import from_si

# Largest shift of an unknown from its prior, and of a smooth error from zero, in standard deviations.
PULLED = 2.0
# Scatter over that which the readings state beyond which it is a tension.
SCATTERED = 2.0
MISFIT = 0.01
# Mean square misfit of a run over what is expected, beyond which it is one; some six of its means are independent.
RUN_MISFIT = 3.0
_RUN_DRAWS = 40
# Two optima differ when they are further apart than so many standard uncertainties of their difference.
APART = 2.0
# Readings of two days that differ by more than this share, and by more than three standard uncertainties.
DAYS_DIFFER = 0.05
_DAY_S = 6 * 3600.0
# A pressure that lies further beyond all others than this factor is doubtful, and one so far outside the gauge.
LONELY = 30.0
FAR_OUTSIDE = 3.0
# Pressures look like volts if this many lie within the output of the gauge and span this share of it, in these units.
FEWEST_VOLTS, SPANNED = 4, 0.15
VOLTS_UNDER = ("Pa", "mTorr", "mbar", "Torr")
# A reading is compared with the two beside it if they lie within this factor. All of these are our judgement.
BESIDE, FEWEST_BESIDE = 2.5, 6


class Tension(FrozenModel):
    """Two results of a study that contradict each other."""

    about: str = Field(description="Its subject, in a few words.")
    why: str = Field(description="The contradiction, with its numbers, in a sentence.")
    resolve: str = Field(description="Action that would resolve it.")


def tensions_of_readings(used: pd.DataFrame, bench: Bench | None = None) -> tuple[Tension, ...]:
    """Return the contradictions of the readings themselves: days or methods that differ, and likely typing errors.

    Parameters
    ----------
    used : DataFrame
        Readings at the usual conditions, with columns of :data:`edgewind.signals.columns.COLUMNS` and their places
        among all readings as index.
    bench : Bench, optional
        Its gauge determines which pressures may be volts or lie outside its range.
    """
    mistyped = () if bench is None else (*_volts(used, bench), *_outside(used, bench))
    return _set(*mistyped, *_lonely(used), *_marks(used), *_days(used), *_methods(used))


def tensions_of_fit(fitted: Fit, by_curve: Optimum | None, by_fit: PeakPressure | None) -> tuple[Tension, ...]:
    """Return the contradictions of a fit: with the curve, priors, stated scatter, and stated errors of the model.

    Parameters
    ----------
    fitted : Fit
        The fit with every drive acting.
    by_curve : Optimum, optional
        The pressure of greatest speed by the curve.
    by_fit : PeakPressure, optional
        The same by the fit.
    """
    return _set(
        *_not_held(fitted),
        *_optima(by_curve, by_fit),
        *_pulled(fitted),
        *_deviations(fitted),
        *_scatter(fitted),
        *_smooth(fitted),
        *_runs(fitted),
    )


def _optima(by_curve: Optimum | None, by_fit: PeakPressure | None) -> Iterator[Tension]:
    if by_curve is None or by_fit is None or by_curve.interval_pa is None or by_fit.interval_pa is None:
        return
    one, other = np.log(by_curve.interval_pa), np.log(by_fit.interval_pa)
    middle = [float(np.log(found.pressure_pa or 1.0)) for found in (by_curve, by_fit)]
    # An equal-tailed interval at 90 % is 3.29 standard deviations wide; the common error of the gauge shifts both
    # equally.
    spread = float(np.hypot(np.diff(one)[0], np.diff(other)[0])) / 3.29
    if abs(middle[0] - middle[1]) > APART * spread:
        yield Tension(
            about="optimum by the curve and by the fit",
            why=(
                "By the curve through the readings the rotor is fastest at "
                f"{format_number(by_curve.pressure_pa or 0, 3)} Pa, by the fit of the physics at "
                f"{format_number(by_fit.pressure_pa or 0, 3)} Pa."
            ),
            resolve="Take readings between and beside the two pressures; they will contradict one of the two.",
        )


def _set(*found: Tension) -> tuple[Tension, ...]:
    """Return tensions with the exponents in their sentences raised."""
    return tuple(one.model_copy(update={"why": raise_exponents(one.why)}) for one in found)


def _not_held(fitted: Fit) -> Iterator[Tension]:
    if not fitted.settled:
        yield Tension(
            about="draws of the fit",
            why=(
                "Ensembles of walkers with different starting points do not agree on the unknowns "
                f"(R-hat {fitted.r_hat:.2f}, 1 if they agree), so intervals and evidence of the fit are not reliable."
            ),
            resolve="State values that bench.toml leaves out, or fit again with another seed: [study] seed.",
        )
    if fitted.p_value < MISFIT:
        yield Tension(
            about="the fit with every drive",
            why=f"No rotor of the model describes these readings (posterior predictive {p_words(fitted.p_value)}).",
            resolve="Check the tensions below, the readings farthest from the fit, and the values in bench.toml.",
        )


def _runs(fitted: Fit) -> Iterator[Tension]:
    runs = fitted.problem.data.runs
    if not runs:
        return
    values, deviations = fitted.picked(_RUN_DRAWS)
    misfits = np.median(fitted.problem.run_misfits(values, deviations), axis=0)
    for run, misfit in zip(runs, misfits, strict=True):
        if misfit > RUN_MISFIT:
            which = f"{run.kind} at {format_number(run.pressure_pa, 3)} Pa"
            yield Tension(
                about=which,
                why=(
                    f"The {which} contradicts the curve: its mean square misfit is "
                    f"{format_number(float(misfit), 2)} times the expected one."
                ),
                resolve="Check when the lamp or the envelope was changed, and the temperature and pressure noted.",
            )


def _pulled(fitted: Fit) -> Iterator[Tension]:
    for one in fitted.marginals:
        # a prior with a meaningful width, stated or our judgement
        expected = one.unknown.stated or one.unknown.law == "normal"
        if expected and abs(one.pull) > PULLED:
            value = f"{format_number(one.median, 3)} {one.unknown.unit}".strip()
            source = "bench.toml states" if one.unknown.stated else "is expected if bench.toml states none"
            yield Tension(
                about=one.unknown.label,
                why=(
                    f"The fit gives {value} for {one.unknown.label}, {format_number(abs(one.pull), 2)} standard "
                    f"uncertainties from the {one.unknown.words} that {source}."
                ),
                resolve="Measure it, or state its value with an uncertainty.",
            )


def _deviations(fitted: Fit) -> Iterator[Tension]:
    mean = fitted.deviations.mean(axis=0)
    error, data = fitted.problem.error, fitted.problem.data
    basis, sizes = error.basis(data.pressure_pa), error.sizes(data.pressure_pa)
    for kind, name in enumerate(KINDS):
        stated = sizes[kind]
        pulled = (basis[kind] @ mean) / stated
        k = int(np.argmax(np.abs(pulled)))
        if abs(pulled[k]) > PULLED:
            shift = 100 * float(np.expm1(basis[kind][k] @ mean))
            yield Tension(
                about=name,
                why=(
                    f"In the fit the {name} differs by {shift:+.0f} % from the computed one at "
                    f"{format_number(float(data.pressure_pa[k]), 3)} Pa, where its stated error is "
                    f"{100 * stated[k]:.0f} %."
                ),
                resolve="Check vane and chamber in bench.toml, and record coast-downs: they give the drag.",
            )


def _scatter(fitted: Fit) -> Iterator[Tension]:
    data = fitted.problem.data
    stated = float(np.median(data.speed_u_rad_s / np.maximum(np.abs(data.speed_rad_s), 1e-12)))
    stated = float(np.hypot(stated, REPEATS))
    found = fitted.marginal("scatter")
    low = found.interval[0]
    if low > np.sqrt(SCATTERED**2 - 1) * stated or fitted.p_stated < MISFIT:
        whole = float(np.hypot(found.median, stated))
        yield Tension(
            about="scatter of the readings",
            why=(
                f"The speeds scatter by {format_number(100 * whole, 2)} % about the fit, and "
                f"{format_number(100 * stated, 2)} % is expected from their uncertainties and the usual repeatability."
            ),
            resolve="Repeat readings at one pressure, and state their scatter as their uncertainty.",
        )


def _smooth(fitted: Fit) -> Iterator[Tension]:
    if fitted.smooth.found:
        yield Tension(
            about="misfit that is smooth in pressure",
            why=(
                "The residuals of the fit vary smoothly with pressure, by more than the stated error of the model "
                f"(ln(evidence) {format_number(fitted.smooth.log_evidence, 3)} for it)."
            ),
            resolve="The model lacks an effect: readings in another gas, or with the lamp off, narrow down which.",
        )


def _lonely(used: pd.DataFrame) -> Iterator[Tension]:
    if len(used) < 5:
        return
    order = used.sort_values("pressure_pa")
    log_p = np.log(order["pressure_pa"].to_numpy(float))
    for at in (slice(0, 2), slice(-1, -3, -1)):
        one, next_one = log_p[at]
        if abs(one - next_one) > np.log(LONELY):
            row = order.iloc[at.start]
            yield Tension(
                about="a pressure far from all others",
                why=(
                    f"Reading {int(order.index[at.start]) + 1} has {format_number(float(row['pressure_pa']), 3)} Pa, "
                    f"a factor of {format_number(float(np.exp(abs(one - next_one))), 2)} beyond the next reading."
                ),
                resolve="Check the unit and the digits of that reading, and correct or exclude it.",
            )


def volts_for_pressures(pressure_pa: ArrayLike, bench: Bench) -> str | None:
    """Return the unit of pressure in which all of these look like volts of the gauge; None where they do not.

    They do if every number lies within the output of the gauge and together they span a good part of it.

    Parameters
    ----------
    pressure_pa : array of shape (n,)
        Pressures that were typed, Pa.
    bench : Bench
        The bench; a gauge that is read off its display gives no volts.
    """
    pressure = np.asarray(pressure_pa, dtype=float)
    gauge = bench.gauge
    if gauge.kind == "display" or pressure.size < FEWEST_VOLTS:
        return None
    low, high = gauge.signal_low.value, gauge.signal_high.value
    for unit in VOLTS_UNDER:
        numbers = np.asarray(from_si(pressure, unit, "pressure"), dtype=float)
        if np.all((numbers >= low) & (numbers <= high)) and np.ptp(numbers) > SPANNED * (high - low):
            return unit
    return None


def beyond_gauge(pressure_pa: ArrayLike, bench: Bench) -> NDArray[np.float64]:
    """Return the factor by which pressures lie outside the range of the gauge; 1 within it, and for a display."""
    pressure = np.asarray(pressure_pa, dtype=float)
    gauge = bench.gauge
    if gauge.kind == "display":
        return np.ones_like(pressure)
    volts = np.array([gauge.signal_low.value, gauge.signal_high.value])
    with np.errstate(all="ignore"):  # a gauge that is linear from zero shows no lowest pressure
        ends = np.sort(np.asarray(gauge.indicated_log_pressure(volts), dtype=float))
    low, high = np.where(np.isfinite(ends), ends, [-np.inf, np.inf])
    log_p = np.log(pressure)
    return np.asarray(np.exp(np.maximum(0.0, np.maximum(low - log_p, log_p - high))))


def _typed_pressures(used: pd.DataFrame) -> pd.DataFrame:
    return used[used["gauge_v"].isna()] if "gauge_v" in used else used.iloc[:0]


def _volts(used: pd.DataFrame, bench: Bench) -> Iterator[Tension]:
    typed = _typed_pressures(used)
    pressure = typed["pressure_pa"].to_numpy(float)
    unit = volts_for_pressures(pressure, bench)
    if unit is not None:
        ends = [format_number(float(from_si(value, unit, "pressure")), 3) for value in (pressure.min(), pressure.max())]
        gauge = bench.gauge
        yield Tension(
            about="pressures that look like volts",
            why=(
                f"The typed pressures, {ends[0]} to {ends[1]} {unit}, all lie within the output of the gauge, "
                f"{format_number(gauge.signal_low.value)} to {format_number(gauge.signal_high.value)} V."
            ),
            resolve="If they are volts, write them under the title 'gauge [V]'; here they are used as pressures.",
        )


def _outside(used: pd.DataFrame, bench: Bench) -> Iterator[Tension]:
    typed = _typed_pressures(used)
    pressure = typed["pressure_pa"].to_numpy(float)
    if not pressure.size:
        return
    beyond = beyond_gauge(pressure, bench)
    k = int(np.argmax(beyond))
    if beyond[k] > FAR_OUTSIDE:
        yield Tension(
            about="a pressure outside the range of the gauge",
            why=(
                f"Reading {int(typed.index[k]) + 1} has {format_number(float(pressure[k]), 3)} Pa, a factor of "
                f"{format_number(float(beyond[k]), 2)} outside the range of the gauge in bench.toml."
            ),
            resolve="Check the unit of that reading, and [gauge] in bench.toml.",
        )


def _marks(used: pd.DataFrame) -> Iterator[Tension]:
    """Find readings at a whole factor from the speed of those beside them in pressure.

    Not where the rotation reverses with pressure: there the speed passes through zero.
    """
    order = used[used["speed_rad_s"].abs() > 0].sort_values("pressure_pa")
    if len(order) < FEWEST_BESIDE:
        return
    log_p = np.log(order["pressure_pa"].to_numpy(float))
    log_speed = np.log(order["speed_rad_s"].abs().to_numpy(float))
    sense = np.sign(order["speed_rad_s"].to_numpy(float))
    found: list[tuple[int, float]] = []
    for k in range(1, len(order) - 1):
        beside = slice(k - 1, k + 2, 2)
        if np.ptp(log_p[beside]) > 2 * np.log(BESIDE) or np.ptp(sense[k - 1 : k + 2]) > 0.0:
            continue
        apart = log_speed[k] - float(np.interp(log_p[k], log_p[beside], log_speed[beside]))
        alike = abs(float(np.diff(log_speed[beside])[0])) < np.log(1.5)
        for factor in (2.0, 0.5, 4.0, 0.25):
            if alike and abs(apart - np.log(factor)) < np.log(1.1):
                found.append((int(order.index[k]) + 1, factor))
    if found and len(found) <= len(order) // 3:
        numbers = ", ".join(str(number) for number, _ in found[:6])
        factor = found[0][1]
        words = {2.0: "twice", 0.5: "half", 4.0: "four times", 0.25: "a quarter of"}[factor]
        yield Tension(
            about="speeds at a whole factor from those beside them",
            why=(
                f"Reading{'s' if len(found) > 1 else ''} {numbers}: about {words} the speed of the neighbouring "
                "readings."
            ),
            resolve="Check the number of marks there. Correct the speed, or exclude the reading with that reason.",
        )


def _days(used: pd.DataFrame) -> Iterator[Tension]:
    time = used["time_s"].to_numpy(float)
    if not time.size or not np.all(np.isfinite(time)):
        return
    order = np.argsort(time)
    starts = np.flatnonzero(np.diff(time[order]) > _DAY_S)
    if starts.size != 1:
        return
    part = np.zeros(time.size, dtype=bool)
    part[order[: starts[0] + 1]] = True
    found = _offset(used, part)
    if found is not None:
        share, u = found
        yield Tension(
            about="two days that differ",
            why=(
                f"Readings of the first day differ by {100 * share:+.0f} ± {100 * u:.0f} % from those of the second at "
                "similar pressures."
            ),
            resolve="Check whether lamp, gas or pivot changed between the days, or study each day separately.",
        )


def _methods(used: pd.DataFrame) -> Iterator[Tension]:
    if not len(used):
        return
    typed = (used["speed_method"] == "typed").to_numpy(bool)
    found = _offset(used, typed)
    if found is not None and abs(np.log1p(found[0])) > np.log(1.4):
        share, _ = found
        yield Tension(
            about="typed speeds and traces",
            why=f"Typed speeds are {format_number(float(1 + share), 3)} times those of traces at similar pressures.",
            resolve="Count the marks of the rotor: the speed of a trace depends on [tachometer] marks.",
        )


def _offset(used: pd.DataFrame, part: NDArray[np.bool_]) -> tuple[float, float] | None:
    """Return the relative excess in speed of one part of the readings over the rest, and its uncertainty; None if
    alike.

    Each reading of the part is compared with the rest between its neighbours in pressure.
    """
    moving = np.abs(used["speed_rad_s"].to_numpy(float)) > 0
    one, other = part & moving, ~part & moving
    if min(one.sum(), other.sum()) < 3:
        return None
    log_p = np.log(used["pressure_pa"].to_numpy(float))
    log_speed = np.log(np.maximum(np.abs(used["speed_rad_s"].to_numpy(float)), 1e-300))
    order = np.argsort(log_p[other])
    both = one & (log_p >= log_p[other].min()) & (log_p <= log_p[other].max())
    if both.sum() < 3:
        return None
    apart = log_speed[both] - np.interp(log_p[both], log_p[other][order], log_speed[other][order])
    difference = float(np.median(apart))
    u = 1.25 * float(apart.std(ddof=1) / np.sqrt(apart.size))
    return (float(np.expm1(difference)), u) if abs(difference) > max(DAYS_DIFFER, 3 * u) else None
