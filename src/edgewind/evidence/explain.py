"""Why it turns: coast-downs, fits of the rival models, and every mechanism weighed on both."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Literal

import numpy as np
import pandas as pd

from edgewind.errors import EdgewindError
from edgewind.evidence.claims import Claim, TorqueNeed
from edgewind.evidence.coastdown import CoastDown, coast_down_wanted, coast_downs
from edgewind.evidence.fit import LEAST_READINGS, MODELS, Fit, fit, prepare
from edgewind.evidence.mechanisms import MECHANISMS
from edgewind.evidence.scaling import Scaling, both_laws
from edgewind.evidence.verdicts import MechanismCase, case_of
from edgewind.rotor.predict import peak_places
from edgewind.runner import Runner, open_runner, processors, report
from edgewind.signals import Experiment

Progress = Callable[[str, int, float], None]

# A model this far behind the best in ln(evidence) is not sampled: Laplace's approximation rules it out as surely.
HOPELESS = 30.0


@dataclass(frozen=True)
class FittedOptimum:
    """Where a fitted curve is greatest, over its posterior.

    Attributes
    ----------
    found : bool
        Whether as many of the draws as the level says have their maximum inside the pressures measured.
    pressure_pa : float or None
        True pressure of the maximum, Pa, median of the draws.
    interval_pa : tuple of float or None
        Interval of that pressure, Pa.
    level : float
        Coverage probability of the interval.
    value : float or None
        Median of the greatest value: rad/s, or N m.
    reason : str
        Why no maximum is claimed; empty where one is found.
    """

    found: bool
    pressure_pa: float | None
    interval_pa: tuple[float, float] | None
    level: float
    value: float | None
    reason: str = ""


def fitted_optimum(fitted: Fit, quantity: Literal["speed", "torque"], *, points: int = 81) -> FittedOptimum:
    """Return where speed or torque is greatest, over the posterior of a fit, between the pressures measured."""
    problem, level = fitted.problem, fitted.level
    pressure = np.geomspace(problem.data.pressure_pa.min(), problem.data.pressure_pa.max(), points)
    picked = fitted.draws[np.linspace(0, len(fitted.draws) - 1, 300).astype(int)]
    row = {"speed": 0, "torque": 1}[quantity]
    curves = np.array([problem.predicted(values, pressure)[row] for values in picked])
    sense = np.sign(np.median(curves.sum(axis=1))) or 1.0
    gauge = picked[:, [unknown.name for unknown in fitted.unknowns].index("gauge")]
    places = peak_places(pressure, sense * curves) * gauge
    inside = places[np.isfinite(places)]
    if inside.size < level * places.size:
        return FittedOptimum(False, None, None, level, None, "no maximum inside the pressures measured")
    low, middle, high = (float(q) for q in np.quantile(inside, [(1 - level) / 2, 0.5, (1 + level) / 2]))
    greatest = float(np.median(sense * np.max(sense * curves, axis=1)))
    return FittedOptimum(True, middle, (low, high), level, greatest)


@dataclass(frozen=True, eq=False)
class Explanation:
    """What is said of why a rotor turns.

    Attributes
    ----------
    fits : dict of str to Fit
        By model, those that were sampled; empty where no fit could be made.
    laplace : dict of str to float
        Logarithm of the evidence of models too poor to sample, by Laplace's approximation.
    coasts : tuple of CoastDown
        Coast-downs.
    measured : DataFrame or None
        The measured torque curve; see :func:`edgewind.evidence.coastdown.measured_torque`.
    claims : tuple of Claim
        Every mechanism, weighed.
    wanted : str or None
        The coast-down that would settle something.
    no_fit : str
        Why there is no fit; empty where there is one.
    need : TorqueNeed or None
        The torque that the sizes of the mechanisms are taken of.
    """

    fits: dict[str, Fit]
    laplace: dict[str, float]
    coasts: tuple[CoastDown, ...]
    measured: pd.DataFrame | None
    claims: tuple[Claim, ...]
    wanted: str | None
    no_fit: str = ""
    need: TorqueNeed | None = None

    @property
    def fit(self) -> Fit | None:
        """The fit with every drive acting."""
        return self.fits.get("all")

    @cached_property
    def laws(self) -> tuple[Scaling, ...]:
        """How both optima of the fit move with the width of the vane; empty without a fit or where none can be said."""
        if self.fit is None:
            return ()
        try:
            return tuple(both_laws(self.fit.problem.bench, self.fit, level=self.fit.level)[0])
        except EdgewindError:
            return ()

    @cached_property
    def speed_optimum(self) -> FittedOptimum | None:
        """Where the fitted speed is greatest; None without a fit."""
        return None if self.fit is None else fitted_optimum(self.fit, "speed")

    @cached_property
    def force_optimum(self) -> FittedOptimum | None:
        """Where the fitted torque is greatest; None without a fit."""
        return None if self.fit is None else fitted_optimum(self.fit, "torque")


def explain(
    experiment: Experiment,
    *,
    live_points: int = 200,
    models: Sequence[str] = tuple(MODELS),
    progress: Progress | None = None,
) -> Explanation:
    """Fit the rival models to an experiment and weigh every mechanism; the same experiment gives the same answer.

    Parameters
    ----------
    experiment : Experiment
        The experiment.
    live_points : int
        Live points of the sampler.
    models : sequence of str
        Keys of :data:`edgewind.evidence.fit.MODELS`, the first of them "all".
    progress : callable, optional
        Called with the model, the iterations done and what is left of ln(evidence).
    """
    bench, readings = experiment.bench, experiment.readings
    level, seed = bench.study.level, bench.study.seed
    coasts = coast_downs(experiment)
    bare = case_of(bench, readings, level=level, seed=seed, coasts=coasts)
    fits: dict[str, Fit] = {}
    laplace: dict[str, float] = {}
    no_fit = ""
    moving = bare.data.speed_rad_s.size
    if moving < LEAST_READINGS:
        no_fit = f"{moving} usable readings of a moving rotor are too few for a fit: {LEAST_READINGS} are needed"
    elif not bare.inside.all():
        no_fit = f"{int((~bare.inside).sum())} readings lie at pressures that the response of the gas does not reach"
    else:
        try:
            fits, laplace = _fits(bare, live_points, models, progress)
        except EdgewindError as error:
            no_fit = str(error)
    case = case_of(bench, readings, level=level, seed=seed, coasts=coasts, fits=fits, laplace=laplace)
    claims = tuple(weigh(case) for weigh in MECHANISMS.values())
    return Explanation(
        fits, laplace, coasts, case.measured, claims, coast_down_wanted(case.used, coasts), no_fit, case.need
    )


def _fits(
    case: MechanismCase, live_points: int, models: Sequence[str], progress: Progress | None
) -> tuple[dict[str, Fit], dict[str, float]]:
    fits: dict[str, Fit] = {}
    laplace: dict[str, float] = {}
    for model in models:
        ready = prepare(case.bench, case.data, model, case.response, case.seed)
        if model != "all" and ready[1].log_evidence < fits["all"].log_evidence - HOPELESS:
            laplace[model] = ready[1].log_evidence
            continue

        def tell(iteration: int, left: float, model: str = model) -> None:
            if progress is not None:
                progress(model, iteration, left)

        fits[model] = fit(
            case.bench, case.data, model=model, response=case.response, level=case.level, seed=case.seed,
            live_points=live_points, prepared=ready, progress=tell,
        )  # fmt: skip
    return fits, laplace


def explain_piece(experiment: Experiment, live_points: int) -> Explanation:
    """Explain one experiment as a piece of work of a runner; what is done is reported as it goes."""
    return explain(experiment, live_points=live_points, progress=lambda *state: report("progress", state))


def explain_all(
    experiments: Sequence[Experiment],
    *,
    live_points: int = 150,
    runner: Runner | None = None,
    progress: Callable[[int, str, int, float], None] | None = None,
) -> list[Explanation]:
    """Explain several experiments at once; the answers are those of :func:`explain`.

    Parameters
    ----------
    experiments : sequence of Experiment
        Experiments.
    live_points : int
        Live points of the sampler.
    runner : Runner, optional
        Where the work is done. Where absent, one experiment is explained in this process, and several in processes of
        this machine or on the cluster that ``EDGEWIND_CLUSTER`` names.
    progress : callable, optional
        Called with the place of the experiment, the model, the iterations done and what is left of ln(evidence); from
        one thread at a time.
    """

    def on_message(place: int, kind: str, state: tuple[str, int, float]) -> None:
        if kind == "progress" and progress is not None:
            progress(place, *state)

    if runner is None and len(experiments) == 1:
        told = None if progress is None else partial(progress, 0)
        return [explain(experiments[0], live_points=live_points, progress=told)]
    pieces = [(experiment, live_points) for experiment in experiments]
    if runner is not None:
        return runner.map(explain_piece, pieces, on_message=on_message)
    with open_runner(processes=min(processors(), max(len(pieces), 1))) as opened:
        return opened.map(explain_piece, pieces, on_message=on_message)
