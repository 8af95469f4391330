"""A bench with its most probable unknowns given its readings, from which plans start."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from edgewind.bench import Bench
from edgewind.evidence.claims import p_words
from edgewind.evidence.coastdown import coast_downs
from edgewind.evidence.explain import runs_of
from edgewind.evidence.fit import LEAST_READINGS, prepare_likelihood
from edgewind.evidence.fit_check import Missed, missed_by
from edgewind.evidence.mechanism_case import case_of
from edgewind.extras import MissingExtraError
from edgewind.formatting import format_number
from edgewind.rotor import changed_bench
from edgewind.signals import Experiment
from edgewind.units import Measured


@dataclass(frozen=True)
class FittedBench:
    """A bench at the most probable values of its unknowns; see :func:`fitted_bench`.

    Attributes
    ----------
    bench : Bench
        The bench with fitted keys at their most probable values; unchanged without a fit.
    changed : dict of str to float
        Those keys and values, in the unit of SI.
    no_fit : str
        Why there is no fit; empty if there is one.
    constant_torque_n_m : float or None
        Most probable constant torque from outside, N m, positive if the bright face leads; None without a fit. It is
        not a property of the bench: it acts on this rotor only.
    readings : DataFrame or None
        The readings beside the bench; None where they were not read.
    missed : Missed or None
        How far the readings lie from the curve of these values; None where it describes them, or without a fit.
    """

    bench: Bench
    changed: dict[str, float]
    no_fit: str = ""
    constant_torque_n_m: float | None = None
    readings: pd.DataFrame | None = None
    missed: Missed | None = None

    @property
    def parameters(self) -> dict[str, float]:
        """Parameters of this rotor that are not keys of `bench.toml`."""
        return {} if self.constant_torque_n_m is None else {"foreign_torque_n_m": self.constant_torque_n_m}

    @property
    def sentence(self) -> str:
        """Starting values of a plan for this rotor, in words; empty if `bench.toml` alone."""
        if self.constant_torque_n_m is None:
            return self._start
        torque = format_number(self.constant_torque_n_m, 3)
        return f"{self._start[:-1]}, constant torque from outside = {torque} N m.{self._misses}"

    @property
    def misses(self) -> str:
        """By how much these values miss the readings, in words; empty where they describe them."""
        if self.missed is None:
            return ""
        return (
            f"These values miss the readings: the speeds lie {format_number(100 * self.missed.relative, 2)} % (root "
            "mean square) from the curve of the model, and the stated uncertainties, a repeatability of 1 % and the "
            f"stated errors of gas and gauge do not explain that ({p_words(self.missed.p)}). What is computed from "
            "these values is no better than the curve."
        )

    @property
    def _misses(self) -> str:
        return f" {self.misses}" if self.misses else ""

    @property
    def sentence_for_others(self) -> str:
        """Starting values of a plan for other rotors, in words; empty if `bench.toml` alone."""
        if self.constant_torque_n_m is None:
            return self._start
        return (
            f"{self._start} The readings also give a constant torque from outside of "
            f"{format_number(self.constant_torque_n_m, 3)} N m. It acts on this rotor only, and is left out for other "
            f"rotors.{self._misses}"
        )

    @property
    def _start(self) -> str:
        if self.no_fit:
            return f"The readings beside bench.toml are not used: {self.no_fit}."
        if not self.changed:
            return ""
        found = ", ".join(
            f"{key} = {format_number(value, 3)} {_UNITS[key]}".strip() for key, value in self.changed.items()
        )
        return f"Starts from the most probable values that the readings allow (--no-fit leaves them out): {found}."


# Unknowns of the fit that are keys of bench.toml, besides light and accommodation. The others concern the gauge,
# a torque from outside, the model of the gas and the scatter.
_KEYS = {
    "conductance": "rotor.vane_conductance",
    "bright_emissivity": "rotor.bright_emissivity",
    "dark_emissivity": "rotor.dark_emissivity",
    "pivot_dry": "rotor.pivot_dry_torque",
    "pivot_viscous": "rotor.pivot_viscous",
    "inertia": "rotor.moment_of_inertia",
}
_UNITS = {
    "rotor.vane_conductance": "W/(m² K)", "rotor.bright_emissivity": "", "rotor.dark_emissivity": "",
    "rotor.dark_accommodation": "", "rotor.bright_accommodation": "",
    "rotor.pivot_dry_torque": "N m", "rotor.pivot_viscous": "N m s", "rotor.moment_of_inertia": "kg m²",
    "light.irradiance": "W/m²",
}  # fmt: skip


def fitted_bench(experiment: Experiment) -> FittedBench:
    """Return the bench of an experiment at the most probable values of its unknowns.

    The mode of the posterior of the model with every drive, as the sampler of
    :func:`~edgewind.evidence.fit.fit` finds it, without each reading's own uncertainty of pressure: no intervals, in a
    small part of the time. `edgewind predict --fit` gives intervals.

    Parameters
    ----------
    experiment : Experiment
        A bench and its readings.
    """
    bench, readings = experiment.bench, experiment.readings
    coasts = coast_downs(experiment)
    runs = runs_of(experiment, coasts)
    case = case_of(bench, readings, level=bench.study.level, seed=bench.study.seed, coasts=coasts, runs=runs)
    count = case.data.speed_rad_s.size
    if count < LEAST_READINGS:
        return FittedBench(
            bench, {}, f"{count} of them can be used, and {LEAST_READINGS} are needed", readings=readings
        )
    try:
        problem, mode = prepare_likelihood(bench, case.data, "all", case.response, case.seed)
    except MissingExtraError as error:
        return FittedBench(bench, {}, str(error), readings=readings)
    best = problem.values(mode.centre)
    values = {unknown.name: float(value) for unknown, value in zip(problem.unknowns, best, strict=True)}
    changed = {key: float(f"{values[name]:.4g}") for name, key in _KEYS.items() if name in values}
    changed["light.irradiance"] = float(f"{bench.light.irradiance.value * values.get('light', 1.0):.4g}")
    # The difference drives the rotor and the mean hardly does: if both do not fit below 1, the mean is lowered.
    apart = values["accommodation_difference"]
    mean = min(values["accommodation"], 1.0 - abs(apart) / 2)
    changed["rotor.dark_accommodation"] = float(f"{mean + apart / 2:.4g}")
    changed["rotor.bright_accommodation"] = float(f"{mean - apart / 2:.4g}")
    new = changed_bench(bench, {key: Measured(value) for key, value in changed.items()})
    return FittedBench(
        new, changed, constant_torque_n_m=float(f"{values['foreign']:.4g}"), readings=readings,
        missed=missed_by(problem, best),
    )  # fmt: skip
