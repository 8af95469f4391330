"""Tests made on purpose: one condition is changed, each mechanism predicts the effect, and the observation decides.

Under light the dark faces are pushed: P. Gibbs, How does a light-mill work?, Physics FAQ, 1996 (an excerpt read). That
cooling turns the rotor the other way: Crookes radiometer, physicsexperiment.co.uk, no author, no year (an
excerpt read). That this ends once the vanes are as cold as the wall follows from their balance of heat. With a common
pivot it may fail in a household refrigerator: Lichtmuehle, collection of lecture experiments, TU Darmstadt (an excerpt
of the page read).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp

from edgewind.evidence.deliberate_prediction import (
    CONSTANT,
    TestBench,
    bench_of_tests,
    predicted_speeds,
    push_as_seen,
    run_predictions,
)
from edgewind.evidence.deliberate_results import (
    ANOTHER_CHANGE,
    DECISIVE,
    DRAUGHT,
    DeliberateTest,
    Expectation,
    RunBands,
    Seen,
    kind_of,
    kind_of_run,
    list_of_names,
)
from edgewind.evidence.usual import LEAST_SPREAD
from edgewind.formatting import RPM_PER_RAD_S, format_interval, format_number, raise_exponents
from edgewind.rotor import (
    RotorParameters,
)
from edgewind.signals import Experiment
from edgewind.signals.runs import Run, words_of

Array = NDArray[np.float64]
# Share of readings that may be mistaken; it bounds the weight of a single test.
MISTAKEN = 0.01
# A main drive gives at least half of the torque; the rest may have another cause.
_SHARES_BESIDE = np.linspace(0.0, 0.5, 11)
# Number of independent readings that a run counts as.
_RUN_COUNTS = 6.0
# Standard uncertainty of the logarithm of that factor; our judgement, no source.
_RUN_LOG_U = 0.35


def deliberate_tests(experiment: Experiment, rotor: RotorParameters | None = None) -> tuple[DeliberateTest, ...]:
    """Return every test of an experiment, judged.

    Each mechanism in turn is assumed to turn the rotor under the lamp: its torque is scaled to the speed observed there
    at that pressure, and the scaled mechanism predicts the speed in the test.

    Parameters
    ----------
    experiment : Experiment
        Its usable readings at other than the usual conditions, and its runs.
    rotor : RotorParameters, optional
        Draws of the rotor, arrays of shape (draws, 1), of the posterior of a fit; default: draws of the values of the
        bench.
    """
    known = bench_of_tests(experiment, rotor)
    found = [*_of_readings(experiment, known), *_of_runs(experiment, known)]
    return tuple(test for test in found if test is not None)


def _of_readings(experiment: Experiment, known: TestBench) -> Iterator[DeliberateTest | None]:
    table = experiment.readings
    chosen = (table["usable"] & (table["condition"] != "")).to_numpy(bool)
    for place, record in zip(np.flatnonzero(chosen), table[chosen].to_dict("records"), strict=True):
        row = {str(name): value for name, value in record.items()}
        kind = kind_of(row, known.envelope_k, known.bench.light.arrangement)
        if kind == ANOTHER_CHANGE or (kind == "lamp off" and _slows(experiment, int(row["line"]))):
            continue
        signed = row["leading_face"] in ("bright", "dark") or float(row["speed_rad_s"]) == 0
        seen = Seen(speed_rad_s=float(row["speed_rad_s"]), speed_u_rad_s=float(row["speed_u_rad_s"]), signed=signed)
        speeds = predicted_speeds(row, known)
        if speeds is None:
            continue
        samples, usual = speeds
        yield _judged(
            kind, str(row["condition"]), int(place) + 1, int(row["line"]), float(row["pressure_pa"]), seen, samples,
            usual, known, lamp_share=float(row["lamp_share"]),
        )  # fmt: skip


def _slows(experiment: Experiment, line: int) -> bool:
    """Return whether the trace of a reading in the dark shows a rotor that still slows down."""
    places = np.flatnonzero(experiment.readings["line"].to_numpy() == line)
    reading = experiment.traces.get(int(places[0]))
    if reading is None:
        return False
    speed = reading.speed
    slowing, u = abs(speed.acceleration_rad_s2), speed.acceleration_u_rad_s2
    return not np.isfinite(slowing) or "drifting" in speed.flags or slowing > 2 * u


def _of_runs(experiment: Experiment, known: TestBench) -> Iterator[DeliberateTest | None]:
    for place, one in experiment.runs.items():
        row = {str(name): value for name, value in experiment.readings.iloc[place].to_dict().items()}
        pressure = float(row["pressure_pa"])
        if row["exclude"] or row["pressure_flag"] or not np.isfinite(pressure) or not one.changes:
            continue
        yield _judged_run(one, row, place + 1, pressure, known)


def _judged_run(one: Run, row: Mapping[str, Any], reading: int, pressure: float, known: TestBench) -> DeliberateTest:
    told = np.isfinite(one.speed_rad_s)
    time, speed = one.time_s[told], one.speed_rad_s[told]
    u = np.where(np.isfinite(one.speed_u_rad_s[told]), one.speed_u_rad_s[told], 0.0)
    usual = known.usual_speed(pressure)
    drawn = run_predictions(one, pressure, known, time)
    moment = _telling(time, speed, drawn)
    scale = max(float(np.max(np.abs(speed))), 0.0 if usual is None else abs(usual.speed), 1e-6)
    spread = np.hypot(u, 2 * LEAST_SPREAD * max(float(np.max(np.abs(speed))), 1e-3 * scale))

    def log_density(rows: Array) -> float:
        size = rows if one.signed else np.abs(rows)
        seen_size = speed if one.signed else np.abs(speed)
        # Under other than the usual conditions a mechanism is known up to a factor, which the run determines.
        factor = np.sum(size * seen_size, axis=1) / np.maximum(np.sum(size**2, axis=1), 1e-300)
        factor = np.clip(factor, np.exp(-2 * _RUN_LOG_U), np.exp(2 * _RUN_LOG_U))
        left = (factor[:, None] * size - seen_size) / spread
        misfit = np.mean(left**2, axis=1) * min(_RUN_COUNTS, time.size) + (np.log(factor) / _RUN_LOG_U) ** 2
        each = -0.5 * misfit - np.log(float(np.mean(spread)) * np.sqrt(2 * np.pi))
        return float(_robust(logsumexp(each) - np.log(each.size), scale))

    lamp = np.interp(time, one.time_s, one.lamp_share)
    logs, as_main = (
        {name: log_density(rows) for name, rows in each.items()}
        for each in (drawn, as_main_drives(drawn, lamp, push_as_seen(pressure, known)))
    )
    seen = Seen(speed_rad_s=float(speed[moment]), speed_u_rad_s=float(u[moment]), signed=one.signed)
    samples = {name: rows[:, moment] for name, rows in drawn.items()}
    return _judged(
        kind_of_run(one, known.envelope_k), words_of(one), reading, int(row["line"]), pressure, seen, samples, scale,
        known, logs=logs, as_main=as_main, within_s=float(time[moment]),
        run=_bands(one, time, speed, u, drawn, known.level),
    )  # fmt: skip


def _bands(one: Run, time: Array, speed: Array, u: Array, drawn: Mapping[str, Array], level: float) -> RunBands:
    tails = [(1 - level) / 2, 0.5, (1 + level) / 2]
    bands = {}
    for name, rows in drawn.items():
        low, middle, high = np.quantile(rows, tails, axis=0)
        bands[name] = (low, middle, high)
    return RunBands(
        time_s=time, speed_rad_s=speed, speed_u_rad_s=u, log_time_s=one.time_s, envelope_k=one.envelope_k, bands=bands
    )


def _telling(time: Array, speed: Array, drawn: Mapping[str, Array]) -> int:
    """Return the index of the moment of a run with the greatest difference between the predictions."""
    middle = np.array([np.median(rows, axis=0) for rows in drawn.values()])
    return int(np.argmax(np.ptp(middle, axis=0)))


def _judged(
    kind: str, condition: str, reading: int, line: int, pressure: float, seen: Seen, samples: Mapping[str, Array],
    scale: float, known: TestBench, *, logs: Mapping[str, float] | None = None,
    as_main: Mapping[str, float] | None = None, lamp_share: float = 1.0, within_s: float | None = None,
    run: RunBands | None = None,
) -> DeliberateTest:  # fmt: skip
    tails = [(1 - known.level) / 2, 0.5, (1 + known.level) / 2]
    predicted, evidence = {}, {}
    spread = float(np.hypot(seen.speed_u_rad_s if np.isfinite(seen.speed_u_rad_s) else 0.0, LEAST_SPREAD * scale))
    for name, speeds in samples.items():
        low, middle, high = (float(value) for value in np.quantile(speeds, tails))
        evidence[name] = run_log_density(seen, speeds, spread, scale) if logs is None else logs[name]
        predicted[name] = Expectation(
            sign=_sign(low, high, spread), speed_rad_s=middle, interval_rad_s=(low, high),
            agrees=_agrees(seen, speeds, low, high, 2 * spread), within_s=within_s,
            log_evidence=round(evidence[name], 3),
        )  # fmt: skip
    best = max(evidence.values())
    weights = {name: round(value - best, 3) for name, value in evidence.items()}
    mixed = {} if as_main else as_main_drives(samples, lamp_share, push_as_seen(pressure, known))
    as_main = as_main or {name: run_log_density(seen, speeds, spread, scale) for name, speeds in mixed.items()}
    least = {name: round(max(as_main[name] - best, weights[name]), 3) for name in weights}
    against = tuple(name for name in weights if least[name] < -DECISIVE and not predicted[name].agrees)
    why = _why(kind, seen, predicted, weights, against)
    return DeliberateTest(
        kind=kind, condition=condition, reading=reading, lines=(line,), pressure_pa=pressure, seen=seen,
        predicted=predicted, log_evidence=weights, as_main=least, why=why, run=run,
    )  # fmt: skip


def as_main_drives(samples: Mapping[str, Array], lamp_share: ArrayLike, possible: Collection[str]) -> dict[str, Array]:
    """Return speeds where each mechanism gives half of the usual torque or more, and another cause the rest.

    The other cause is a constant torque from outside; beside a constant torque it is one in proportion to the light.
    Torques add and drag is linear, so that the speeds of both add by their shares.

    Parameters
    ----------
    samples : mapping of str to array
        Speeds of each mechanism where it is the only drive, shape (draws, ...).
    lamp_share : float or array
        Light over the usual light; broadcasts with the draws.
    possible : collection of str
        Mechanisms that turn the rotor as seen under the lamp; the others cannot be its main drive and stay alone.
    """

    def beside(name: str) -> Array:
        return samples[name] * np.asarray(lamp_share) if name in CONSTANT else samples[DRAUGHT]

    return {
        name: np.concatenate([(1 - share) * speeds + share * beside(name) for share in _SHARES_BESIDE])
        if name in possible
        else speeds
        for name, speeds in samples.items()
    }


def run_log_density(seen: Seen, speeds: Array, spread: float, scale: float) -> float:
    """Return the logarithm of the probability density of the observed speed, given draws of the predicted one."""
    values, at = (speeds, seen.speed_rad_s) if seen.signed else (np.abs(speeds), abs(seen.speed_rad_s))
    return float(log_densities(np.array([at]), values, spread, scale)[0])


def log_densities(seen: Array, speeds: Array, spread: float, scale: float) -> Array:
    """Return the same for several signed speeds."""
    each = -0.5 * ((seen[:, None] - speeds[None, :]) / spread) ** 2
    return np.asarray(
        _robust(logsumexp(each, axis=1) - np.log(speeds.size) - np.log(spread * np.sqrt(2 * np.pi)), scale)
    )


def _robust(log_likelihood: Any, scale: float) -> Any:
    """Add the likelihood of a mistaken reading, uniform within twice the scale of the speeds."""
    anywhere = np.log(MISTAKEN / (4 * scale))
    return np.logaddexp(np.log1p(-MISTAKEN) + log_likelihood, anywhere)


def _sign(low: float, high: float, spread: float) -> int:
    if low >= -1e-12 and high > spread / 2:
        return 1
    return -1 if high <= 1e-12 and low < -spread / 2 else 0


def _agrees(seen: Seen, speeds: Array, low: float, high: float, margin: float) -> bool:
    """Return whether the observed speed is in the interval and near draws: an unknown direction leaves a gap in it."""
    away = np.abs(speeds - seen.speed_rad_s) if seen.signed else np.abs(np.abs(speeds) - abs(seen.speed_rad_s))
    if float(np.min(away)) > max(margin, 0.1 * (high - low)):
        return False
    if seen.signed:
        return low - margin <= seen.speed_rad_s <= high + margin
    least = 0.0 if low <= 0 <= high else min(abs(low), abs(high))
    return least - margin <= abs(seen.speed_rad_s) <= max(abs(low), abs(high)) + margin


def _why(
    kind: str, seen: Seen, predicted: Mapping[str, Expectation], weights: Mapping[str, float], against: Sequence[str]
) -> str:
    rpm = format_number(RPM_PER_RAD_S * abs(seen.speed_rad_s), 3)
    if seen.speed_rad_s == 0:
        what = "the rotor stood still"
    elif not seen.signed:
        what = f"the rotor turned at {rpm} rpm, its direction not noted"
    else:
        what = f"the {'bright' if seen.speed_rad_s > 0 else 'dark'} face led at {rpm} rpm"
    supports = [name for name, weight in weights.items() if weight > -DECISIVE and predicted[name].agrees]
    words = f"{kind}: {what}"
    agreeing = f"{list_of_names(supports)} {'predicts' if len(supports) == 1 else 'predict'}" if supports else ""
    if supports and against:
        ends = np.array([predicted[name].interval_rad_s for name in supports])
        low, high = RPM_PER_RAD_S * float(ends[:, 0].min()), RPM_PER_RAD_S * float(ends[:, 1].max())
        words += (
            f", as {agreeing} ({format_interval(low, high)} rpm); this contradicts {list_of_names(against)} "
            "as the main drive"
        )
    elif supports and len(supports) < len(weights):
        words += f", as {agreeing}; it excludes no other mechanism as the main drive"
    elif supports:
        words += ", which every mechanism allows"
    else:
        words += ", which no mechanism predicts"
    return raise_exponents(words[0].upper() + words[1:] + ".")
