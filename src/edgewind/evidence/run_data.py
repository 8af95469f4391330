"""Runs through a change, and coast-downs of vanes that are still warm, as input of a fit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit_kernel import Runs
from edgewind.evidence.usual import usual_speed
from edgewind.rotor import RotorParameters, Surroundings
from edgewind.rotor.run_kernel import no_steps, steps_of
from edgewind.signals import Experiment
from edgewind.signals.coastdown import SpeedHistory
from edgewind.signals.conditions import usual_envelope_k
from edgewind.signals.runs import Run

Array = NDArray[np.float64]

# Means over at most so many parts of a run are compared.
MOST_PARTS = 16
# Error of the model of a run besides those of force, drag and heat, as a share of the run's greatest speed. A
# vane has one temperature in it: against a vane that is resolved from its middle to its edge, `make bench` (deliberate)
# finds the drive after a chill off by 0.1 % at 1 Pa, 0.7 % at 3 Pa and 2.3 % at 10 Pa, for mica of 12 mm and 0.1 mm.
# The envelope has one, too: that a thermometer at one place tells the mean of the wall to a twenty-fifth of its change
# is our judgement, no source; and so is that the error is smooth in time, independent after a sixth of the run.
ONE_VANE_TEMPERATURE, ONE_ENVELOPE_TEMPERATURE = 0.03, 0.04
RUN_ERROR = math.hypot(ONE_VANE_TEMPERATURE, ONE_ENVELOPE_TEMPERATURE)
RUN_LENGTH = 1 / 6
# A coast-down that begins below this share of the speed under the lamp began after the lamp went off.
LATE = 0.97
# Standard uncertainty of a speed beside what is stated; a rotor repeats no better. Common practice, no source.
_REPEATS = 0.005


@dataclass(frozen=True, eq=False)
class FitRun:
    """A run as input of a fit.

    Attributes
    ----------
    line : int
        Line of `readings.csv`.
    kind : {"run", "coast-down"}
        Kind of its record.
    pressure_pa, log_pressure_u : float
        Indicated pressure of its reading, and its own standard uncertainty of the logarithm.
    around : Surroundings
        Surroundings of the rotor from time zero on; pressures relative to `pressure_pa`.
    end_s : float
        The last moment of the comparison.
    start_rad_s, start_u_rad_s : float
        Speed at time zero and its standard uncertainty.
    start_share : float
        Share of the lamp under which the faces had settled before.
    before_rad_s : float
        Speed under that lamp, where the lamp changed some unknown time before time zero; nan else.
    switched_u_s : float
        Standard uncertainty of the moment at which the lamp changed in the run, s.
    time_s, speed_rad_s, speed_u_rad_s : array of shape (k,)
        Means of parts of the run.
    signed : bool
        Whether the direction was seen.
    """

    line: int
    kind: str
    pressure_pa: float
    log_pressure_u: float
    around: Surroundings
    end_s: float
    start_rad_s: float
    start_u_rad_s: float
    start_share: float
    before_rad_s: float
    switched_u_s: float
    time_s: Array
    speed_rad_s: Array
    speed_u_rad_s: Array
    signed: bool

    @property
    def spread(self) -> Array:
        """Square root of the covariance of the means about the model, rad/s, shape (k, k), lower triangle.

        It includes the stated uncertainties and the error of the model of a run, smooth in time, so that a thousand
        speeds of one run count as a few.
        """
        scale = float(np.max(np.abs(self.speed_rad_s)))
        size = np.hypot(RUN_ERROR, self.log_pressure_u) * scale
        apart = (self.time_s[:, None] - self.time_s) / (RUN_LENGTH * self.end_s)
        covariance = size**2 * np.exp(-(apart**2) / 2)
        own = np.hypot(self.speed_u_rad_s, _REPEATS * scale)
        return np.asarray(np.linalg.cholesky(covariance + np.diag(own**2)))


def fit_runs(
    experiment: Experiment, coasts: Sequence[CoastDown], rotor: RotorParameters, least_knudsen: float
) -> tuple[FitRun, ...]:
    """Return the runs of an experiment that a fit uses: tables of speed through a change, and warm coast-downs.

    A coast-down that falls by drag and dry friction alone is used in closed form; any other begins with warm vanes and
    is followed as a run from the steady state under the lamp.

    Parameters
    ----------
    experiment : Experiment
        The experiment.
    coasts : sequence of CoastDown
        Its coast-downs.
    rotor : RotorParameters
        Best estimates of the rotor.
    least_knudsen : float
        Lower limit of the gas response; runs beyond it are left out.
    """
    envelope_k = usual_envelope_k(experiment.readings, experiment.bench)
    found = [*_tables(experiment), *_coasts(coasts, experiment, envelope_k)]
    inside = [
        one
        for one in found
        if np.min(rotor.in_surroundings(one.around.envelope_k).knudsen(one.pressure_pa * one.around.pressure_pa))
        > least_knudsen
    ]
    return tuple(sorted(inside, key=lambda one: one.line))


def _tables(experiment: Experiment) -> Iterable[FitRun]:
    for place, one in experiment.runs.items():
        row = experiment.readings.iloc[place]
        pressure = float(row["pressure_pa"])
        if row["exclude"] or row["pressure_flag"] or not np.isfinite(pressure) or not one.changes:
            continue
        yield run_of_table(one, pressure, float(row["log_pressure_u"]), int(row["line"]))


def run_of_table(one: Run, pressure_pa: float, log_pressure_u: float, line: int) -> FitRun:
    """Return a run through a change as input of a fit; its faces had settled under the lamp of its first moment."""
    seen = np.isfinite(one.speed_rad_s)
    time, speed = one.time_s[seen], one.speed_rad_s[seen]
    u = np.where(np.isfinite(one.speed_u_rad_s[seen]), one.speed_u_rad_s[seen], 0.0)
    around, switched_u = surroundings_of(one, 1.0)
    around = Surroundings(around.time_s - time[0], *(getattr(around, name) for name in _SURROUND))
    middle, mean, mean_u = _parts(time - time[0], speed, u)
    return FitRun(
        line, "run", pressure_pa, log_pressure_u, around, float(time[-1] - time[0]), float(speed[0]),
        float(np.hypot(u[0], _REPEATS * np.max(np.abs(speed)))), float(one.lamp_share[0]), np.nan, switched_u,
        middle, mean, mean_u, one.signed,
    )  # fmt: skip


_SURROUND = ("pressure_pa", "envelope_k", "lamp_share")


def surroundings_of(one: Run, pressure_pa: float, share_of_gap: float = 0.5) -> tuple[Surroundings, float]:
    """Return the surroundings that a run logged, and the standard uncertainty of the moment of its first switch, s.

    Its pressures are scaled to that of its reading at the first moment. The lamp was switched at some moment between
    the first row that states it and the row above, unless the row has no speed and so notes the moment itself.
    """
    shown = one.pressure_pa
    ratio = shown / shown[0] if np.isfinite(shown).all() and shown[0] > 0 else np.ones(shown.shape)
    time, share = one.time_s, one.lamp_share
    at = np.flatnonzero(np.diff(share) != 0) + 1
    noted = ~np.isfinite(one.speed_rad_s[at])
    moments = np.where(noted, time[at], time[at - 1] + share_of_gap * (time[at] - time[at - 1]))
    merged = np.union1d(time, moments)
    place = np.searchsorted(moments, merged, side="right")
    lamp = np.concatenate([share[:1], share[at]])[place]
    pressure, envelope = (np.interp(merged, time, values) for values in (pressure_pa * ratio, one.envelope_k))
    first_u = 0.0 if not at.size or noted[0] else float(time[at[0]] - time[at[0] - 1]) / np.sqrt(12)
    return Surroundings(merged, pressure, envelope, lamp), float(first_u)


def _coasts(coasts: Sequence[CoastDown], experiment: Experiment, envelope_k: float) -> Iterable[FitRun]:
    for coast in coasts:
        if coast.as_run and coast.history is not None:
            usual = usual_speed(experiment.used, coast.pressure_pa)
            yield run_of_coast(
                coast,
                coast.history,
                experiment.bench,
                envelope_k,
                lit_rad_s=np.nan if usual is None else abs(usual.speed),
                gauge_log_u=float(np.median(experiment.used["log_pressure_u_common"])),
            )


def run_of_coast(
    coast: CoastDown,
    history: SpeedHistory,
    bench: Bench,
    envelope_k: float,
    *,
    lit_rad_s: float = np.nan,
    gauge_log_u: float = 0.0,
) -> FitRun:
    """Return a coast-down as a run from the steady state under the lamp.

    The lamp went off at the beginning of the trace, or some time before: if the speed at the beginning is below that
    under the lamp, `lit_rad_s`, the motion in between is followed as well. The part `gauge_log_u` of the uncertainty of
    its ln(pressure) is common to all readings and an unknown of the fit, so it is taken out.
    """
    time, speed = history.time_s, history.speed_rad_s
    u = np.hypot(history.speed_u_rad_s, bench.tachometer.timebase_uncertainty.value * speed)
    slope = (speed[1] - speed[0]) / (time[1] - time[0])
    start = float(speed[0] - slope * time[0])
    around = Surroundings(np.zeros(1), np.ones(1), np.array([envelope_k]), np.zeros(1))
    before = lit_rad_s if start < LATE * lit_rad_s else np.nan
    own_u = float(np.sqrt(max(coast.log_pressure_u**2 - gauge_log_u**2, 0.0)))
    return FitRun(
        coast.line, "coast-down", coast.pressure_pa, own_u, around, float(time[-1]), start,
        float(np.hypot(u[0], (start - speed[0]) / 3)), 1.0, before, 0.0, time, speed, u, False,
    )  # fmt: skip


def _parts(time: Array, speed: Array, u: Array) -> tuple[Array, Array, Array]:
    """Return mean time, mean speed and its uncertainty over parts of a run that are equally long."""
    part = np.minimum((time / time[-1] * MOST_PARTS).astype(int), MOST_PARTS - 1)
    count = np.bincount(part, minlength=MOST_PARTS)
    full = count > 0

    def mean(values: Array) -> Array:
        return np.asarray(np.bincount(part, values, MOST_PARTS)[full] / count[full])

    return mean(time), mean(speed), np.sqrt(mean(u**2) / count[full])


def arrays_of(runs: Sequence[FitRun], rotor: RotorParameters) -> Runs:
    """Return runs as input of the compiled likelihood."""
    given = [(one.around, one.time_s, one.start_rad_s, one.start_share, one.before_rad_s, one.signed) for one in runs]
    steps, moments = steps_of(given, rotor) if runs else (no_steps(), [])
    places, whitening, seen, logs = [], [], [], 0.0
    for one, moment in zip(runs, moments, strict=True):
        root = one.spread
        places.append(np.argmin(np.abs(moment[:, None] - one.time_s), axis=0))
        whitening.append(np.linalg.inv(root)[np.tril_indices(len(root))])
        seen.append(np.linalg.solve(root, one.speed_rad_s))
        logs += float(np.sum(np.log(np.diag(root))))
    rows, cells = (
        np.concatenate([[0], np.cumsum([one.size for one in part])]).astype(np.int64) for part in (seen, whitening)
    )
    return Runs(
        steps=steps,
        first_row=rows,
        first_cell=cells,
        moment=np.concatenate([np.zeros(0, dtype=np.int64), *places]),
        whitening=np.concatenate([np.zeros(0), *whitening]),
        seen=np.concatenate([np.zeros(0), *seen]),
        start_u=np.array([one.start_u_rad_s for one in runs], dtype=float),
        switched_u=np.array([one.switched_u_s for one in runs], dtype=float),
        switched=np.array([_switch(one, moment) for one, moment in zip(runs, moments, strict=True)], dtype=np.int64),
        signed=np.array([one.signed for one in runs], dtype=bool),
        logs=logs,
    )


def _switch(one: FitRun, moments: Array) -> int:
    """Return the place among the moments at which the lamp first changes in a run; the first where it does not."""
    changed = np.flatnonzero(np.diff(one.around.lamp_share) != 0) + 1
    return int(np.searchsorted(moments, one.around.time_s[changed[0]] - 1e-9)) if changed.size else 0
