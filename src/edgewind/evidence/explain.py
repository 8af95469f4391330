"""Explanation of the rotation: coast-downs, fits of the rival models, and the verdicts that follow."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Literal

import numpy as np
import pandas as pd
from pydantic import Field

from edgewind.errors import EdgewindError
from edgewind.evidence.claims import Claim, TorqueNeed
from edgewind.evidence.coastdown import CoastDown, coast_down_wanted, coast_downs
from edgewind.evidence.deliberate_results import DeliberateTest, TestWeights
from edgewind.evidence.deliberate_weights import judge_with_tests, tensions_of_tests
from edgewind.evidence.fit import LEAST_READINGS, MODELS, STEPS, Fit, fit, prepare_all, prepare_likelihood
from edgewind.evidence.fit_check import Residuals, residuals
from edgewind.evidence.mechanism_case import DRAWS, REACH, MechanismCase, bounded, case_of, drawn_rotor
from edgewind.evidence.mechanisms import MECHANISMS
from edgewind.evidence.optimum import Optimum
from edgewind.evidence.run_data import FitRun, fit_runs
from edgewind.evidence.scaling import Scaling, both_laws
from edgewind.evidence.sentences import effect_withheld
from edgewind.evidence.tensions import Tension, tensions_of_fit
from edgewind.rotor import RotorParameters, parameters_of, response_of
from edgewind.rotor.optimum import PeakPressure, flat_range, peak_pressures
from edgewind.runner import CLUSTER_VARIABLE, Runner, open_runner, processors, report
from edgewind.signals import Experiment

Progress = Callable[[str, int, float], None]

# A model this far behind the best in ln(evidence) is not sampled: Laplace's approximation rules it out as surely.
HOPELESS = 30.0
# Draws for an optimum: with a third of them the ends of its interval vary by some per cent.
_OPTIMUM_DRAWS = 1000


class FittedOptimum(PeakPressure):
    """Maximum of a fitted curve over its posterior, errors of the model included; true pressures."""

    value: float | None = Field(default=None, description="Median of the greatest value: rad/s, or N m.")


def fitted_optimum(fitted: Fit, quantity: Literal["speed", "torque"]) -> FittedOptimum:
    """Return the maximum of speed or torque over the posterior of a fit, between the measured pressures."""
    problem, level = fitted.problem, fitted.level
    pressure = np.geomspace(problem.data.pressure_pa.min(), problem.data.pressure_pa.max(), 81)
    picked, deviations = fitted.picked(_OPTIMUM_DRAWS)
    row = {"speed": 0, "torque": 1}[quantity]
    curves = problem.predicted(picked, pressure, deviations)[:, row]
    sense = np.sign(np.median(curves.sum(axis=1))) or 1.0
    places = peak_pressures(pressure, sense * curves)
    inside = np.isfinite(places)
    if inside.sum() < level * places.size:
        return FittedOptimum(found=False, level=level, reason="no maximum inside the pressures measured")
    true = places[inside] * problem.true_over_indicated(picked[inside], deviations[inside], places[inside])
    low, middle, high = (float(q) for q in np.quantile(true, [(1 - level) / 2, 0.5, (1 + level) / 2]))
    greatest = float(np.median(sense * np.max(sense * curves, axis=1)))
    flat = flat_range(pressure, np.median(sense * curves, axis=0))
    return FittedOptimum(
        found=True, pressure_pa=middle, interval_pa=(low, high), level=level, flat_pa=flat, value=greatest
    )


@dataclass(frozen=True, eq=False)
class Explanation:
    """Explanation of why a rotor turns.

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
        Every mechanism, judged.
    wanted : str or None
        The coast-down that is needed.
    no_fit : str
        Why there is no fit; empty where there is one.
    need : TorqueNeed or None
        The torque needed, to which the sizes of the mechanisms refer.
    tensions : tuple of Tension
        Contradictions between the fit and the rest of the study.
    beyond : int
        Readings that the fit leaves out, at pressures that the response of the gas does not reach.
    tests : tuple of DeliberateTest
        Tests made on purpose, judged with the draws of the fit; where runs are in it, with those of the curve alone.
    test_weights : TestWeights or None
        Their combined weights.
    runs : tuple of FitRun
        Runs through a change, and coast-downs followed as runs, that the fits include.
    """

    fits: dict[str, Fit]
    laplace: dict[str, float]
    coasts: tuple[CoastDown, ...]
    measured: pd.DataFrame | None
    claims: tuple[Claim, ...]
    wanted: str | None
    no_fit: str = ""
    need: TorqueNeed | None = None
    tensions: tuple[Tension, ...] = ()
    beyond: int = 0
    tests: tuple[DeliberateTest, ...] = ()
    test_weights: TestWeights | None = None
    runs: tuple[FitRun, ...] = ()

    @property
    def fit(self) -> Fit | None:
        """The fit with every drive acting."""
        return self.fits.get("all")

    @property
    def laws_withheld(self) -> str:
        """Why the laws of the fit are not stated, in a sentence; empty if they are, or without a fit."""
        return effect_withheld(self.claims, self.fit, self.tests)

    @cached_property
    def laws(self) -> tuple[Scaling, ...]:
        """How both optima of the fit move with the width of the vane; empty without a fit or a law, or if withheld."""
        if self.fit is None or self.laws_withheld:
            return ()
        try:
            return tuple(both_laws(self.fit.problem.bench, self.fit, level=self.fit.level)[0])
        except EdgewindError:
            return ()

    @cached_property
    def residuals(self) -> Residuals | None:
        """Readings over the physics alone, with the smooth error that the fit found; None without a fit."""
        fitted = self.fit
        return None if fitted is None else residuals(fitted.problem, fitted.draws, fitted.deviations, fitted.level)

    @cached_property
    def speed_optimum(self) -> FittedOptimum | None:
        """Maximum of the fitted speed; None without a fit."""
        return None if self.fit is None else fitted_optimum(self.fit, "speed")

    @cached_property
    def force_optimum(self) -> FittedOptimum | None:
        """Maximum of the fitted torque; None without a fit."""
        return None if self.fit is None else fitted_optimum(self.fit, "torque")


def explain(
    experiment: Experiment,
    optimum: Optimum | None = None,
    *,
    steps: int = STEPS,
    models: Sequence[str] = tuple(MODELS),
    progress: Progress | None = None,
    coasts: tuple[CoastDown, ...] | None = None,
) -> Explanation:
    """Fit the rival models to an experiment and judge every mechanism; the same experiment gives the same answer.

    Parameters
    ----------
    experiment : Experiment
        The experiment.
    optimum : Optimum, optional
        The pressure of greatest speed by the curve, to compare with that of the fit.
    steps : int
        Steps of each walker.
    models : sequence of str
        Keys of :data:`edgewind.evidence.fit.MODELS`, the first of them "all".
    progress : callable, optional
        Called with the model, the steps done and the remaining share.
    coasts : tuple of CoastDown, optional
        Its coast-downs, if already known.
    """
    bench, readings = experiment.bench, experiment.readings
    level, seed = bench.study.level, bench.study.seed
    coasts = coast_downs(experiment) if coasts is None else coasts
    runs = runs_of(experiment, coasts)
    bare = case_of(bench, readings, level=level, seed=seed, coasts=coasts, runs=runs)
    fits: dict[str, Fit] = {}
    laplace: dict[str, float] = {}
    no_fit = ""
    moving = bare.data.speed_rad_s.size
    if moving < LEAST_READINGS:
        beyond = f", {bare.beyond} more lie beyond the response of the gas" if bare.beyond else ""
        no_fit = (
            f"{moving} usable readings of a moving rotor are too few for a fit{beyond}: {LEAST_READINGS} are needed"
        )
    else:
        try:
            fits, laplace = _fits(bare, steps, models, progress)
        except EdgewindError as error:
            no_fit = str(error)
    tensions: tuple[Tension, ...] = ()
    if "all" in fits:
        tensions = tensions_of_fit(fits["all"], optimum, fitted_optimum(fits["all"], "speed"))
    case = case_of(
        bench, readings, level=level, seed=seed, coasts=coasts, runs=runs, fits=fits, laplace=laplace,
        tensions=tensions,
    )  # fmt: skip
    claims = tuple(judge(case) for judge in MECHANISMS.values())
    in_fit = [run.line for run in runs] if fits else []
    draws = _curve_alone(bare) if in_fit else case.draws if len(case.used) else None
    judged = judge_with_tests(claims, experiment, draws, in_fit=in_fit)
    tensions = (*tensions_of_tests(claims, judged.weights), *tensions)
    wanted = coast_down_wanted(case.used, coasts)
    return Explanation(
        fits, laplace, coasts, case.measured, judged.claims, wanted, no_fit, case.need, tensions, case.beyond,
        judged.tests, judged.weights, runs if fits else (),
    )  # fmt: skip


def runs_of(experiment: Experiment, coasts: Sequence[CoastDown]) -> tuple[FitRun, ...]:
    """Return the runs of an experiment that a fit uses, as far as the response of the gas reaches."""
    rotor = parameters_of(experiment.bench)
    return fit_runs(experiment, coasts, rotor, REACH * response_of(rotor).least_knudsen)


def _curve_alone(case: MechanismCase) -> RotorParameters:
    """Return draws of the rotor by the curve alone, by Laplace's approximation.

    A prediction for a run must not rest on that run, which the fit includes.
    """
    bare = replace(case, runs=())
    problem, mode = prepare_likelihood(bare.bench, bare.data, "all", bare.response, bare.seed)
    scores = (
        mode.centre + np.random.default_rng([bare.seed, 6]).standard_normal((DRAWS, mode.centre.size)) @ mode.root.T
    )
    values = problem.values(np.clip(scores, -6, 6))
    return drawn_rotor(bare.bench, {one.name: values[:, [k]] for k, one in enumerate(problem.unknowns)}, bare.seed)


def _fits(
    case: MechanismCase, steps: int, models: Sequence[str], progress: Progress | None
) -> tuple[dict[str, Fit], dict[str, float]]:
    fits: dict[str, Fit] = {}
    laplace: dict[str, float] = {}
    ready = prepare_all(case.bench, case.data, models, case.response, case.seed)
    best = max(mode.log_evidence for _, mode in ready.values())
    for model in models:
        if model != "all" and ready[model][1].log_evidence < best - HOPELESS:
            laplace[model] = ready[model][1].log_evidence
            continue

        def tell(done: int, left: float, model: str = model) -> None:
            if progress is not None:
                progress(model, done, left)

        fits[model] = fit(
            case.bench, case.data, model=model, response=case.response, level=case.level, seed=case.seed, steps=steps,
            prepared=ready[model], progress=tell,
        )  # fmt: skip
    return fits, bounded(laplace, max((one.log_evidence for one in fits.values()), default=best))


def explain_piece(
    experiment: Experiment, optimum: Optimum | None, steps: int, coasts: tuple[CoastDown, ...] | None = None
) -> Explanation:
    """Explain one experiment as a piece of work of a runner; progress is reported meanwhile."""
    return explain(experiment, optimum, steps=steps, coasts=coasts, progress=lambda *state: report("progress", state))


def explain_all(
    experiments: Sequence[Experiment],
    optima: Sequence[Optimum | None] | None = None,
    *,
    coasts: Sequence[tuple[CoastDown, ...]] | None = None,
    steps: int = STEPS,
    runner: Runner | None = None,
    progress: Callable[[int, str, int, float], None] | None = None,
) -> list[Explanation]:
    """Explain several experiments at once; the answers are those of :func:`explain`.

    Parameters
    ----------
    experiments : sequence of Experiment
        Experiments.
    optima : sequence of Optimum or None, optional
        The pressure of greatest speed of each by the curve.
    coasts : sequence of tuple of CoastDown, optional
        The coast-downs of each, if already known.
    steps : int
        Steps of each walker.
    runner : Runner, optional
        Where the work is done. Where absent, on the cluster that ``EDGEWIND_CLUSTER`` names; without one, a single
        experiment is explained in this process, and several in processes of this machine.
    progress : callable, optional
        Called with the index of the experiment, the model, the steps done and the remaining share; from
        one thread at a time.
    """

    def on_message(place: int, kind: str, state: tuple[str, int, float]) -> None:
        if kind == "progress" and progress is not None:
            progress(place, *state)

    known = [None] * len(experiments) if optima is None else optima
    slowed = [None] * len(experiments) if coasts is None else coasts
    if runner is None and len(experiments) == 1 and not os.environ.get(CLUSTER_VARIABLE):
        told = None if progress is None else partial(progress, 0)
        return [explain(experiments[0], known[0], steps=steps, progress=told, coasts=slowed[0])]
    pieces = [
        (experiment, optimum, steps, of_it)
        for experiment, optimum, of_it in zip(experiments, known, slowed, strict=True)
    ]
    if runner is not None:
        return runner.map(explain_piece, pieces, on_message=on_message)
    with open_runner(processes=min(processors(), max(len(pieces), 1))) as opened:
        return opened.map(explain_piece, pieces, on_message=on_message)
