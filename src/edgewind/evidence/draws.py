"""Draws of a rotor from its bench or from the posterior of a fit, and the same draws after a change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.bench import Bench
from edgewind.evidence.fit import Fit
from edgewind.evidence.mechanism_case import prior_draws
from edgewind.evidence.model_error import ModelError, model_error
from edgewind.rotor import RotorParameters, TableResponse, changed_bench, parameters_of, response_of
from edgewind.rotor.response import ACCOMMODATIONS, Coefficients
from edgewind.rotor.speed_kernel import Place, deviating_speeds_of, flat, table_arrays
from edgewind.units import Measured

Array = NDArray[np.float64]

# Numbers of a draw; all else of a rotor is as the bench states it.
_FACTORS = (Place.IRRADIANCE, Place.VISCOUS, Place.DRY, Place.BREAKAWAY, Place.CONDUCTANCE)
_SHIFTED = (Place.ARM, Place.BRIGHT_EMISSIVITY, Place.ACCOMMODATION, Place.ACCOMMODATION_DIFFERENCE)
_DRAWN = (
    *_FACTORS, *_SHIFTED, Place.THERMAL_FORCE, Place.LIGHT_PRESSURE, Place.RECOIL, Place.DRAG_FACTOR,
    Place.FOREIGN_TORQUE,
)  # fmt: skip
_GAS = (Place.VISCOSITY, Place.VISCOSITY_EXPONENT, Place.V0, Place.INTERNAL, Place.CONDUCTIVITY_FACTOR)
_FIELDS = {
    "irradiance_w_m2": Place.IRRADIANCE,
    "vane_conductance_w_m2_k": Place.CONDUCTANCE,
    "bright_emissivity": Place.BRIGHT_EMISSIVITY,
    "accommodation": Place.ACCOMMODATION,
    "pivot_dry_n_m": Place.DRY,
    "pivot_breakaway_n_m": Place.BREAKAWAY,
    "pivot_viscous_n_m_s": Place.VISCOUS,
    "accommodation_difference": Place.ACCOMMODATION_DIFFERENCE,
    "foreign_torque_n_m": Place.FOREIGN_TORQUE,
}
# Further drawn numbers, which no slider or key of a fit shows.
_UNSHOWN = {
    "arm_m": Place.ARM,
    "gas_force_factor": Place.THERMAL_FORCE,
    "gas_drag_factor": Place.DRAG_FACTOR,
    "viscosity_pa_s": Place.VISCOSITY,
    "viscosity_exponent": Place.VISCOSITY_EXPONENT,
    "most_probable_speed_m_s": Place.V0,
    "internal_heat": Place.INTERNAL,
    "conductivity_factor": Place.CONDUCTIVITY_FACTOR,
}
# Keys that restate a drawn number: it is then drawn within the stated uncertainty.
_STATED: dict[str, tuple[Place, float, float]] = {
    "rotor.vane_conductance": (Place.CONDUCTANCE, 0.0, np.inf),
    "rotor.bright_emissivity": (Place.BRIGHT_EMISSIVITY, 0.0, 1.0),
    "rotor.accommodation": (Place.ACCOMMODATION, 0.2, 1.0),
    "rotor.pivot_dry_torque": (Place.DRY, 0.0, np.inf),
    "rotor.pivot_viscous": (Place.VISCOUS, 0.0, np.inf),
}


@dataclass(frozen=True, eq=False)
class RotorDraws:
    """Draws of one rotor.

    Attributes
    ----------
    bench : Bench
        The bench.
    numbers : array of shape (draws, numbers)
        One draw a row, in the order of :class:`edgewind.rotor.speed_kernel.Place`.
    response : TableResponse
        Response of the gas for this vane and room.
    kind : {"posterior", "prior"}
        Whether they are from a fit to readings, or from the bench alone.
    seed : int
        Of the draws.
    error : ModelError
        Error of the model.
    deviations : array of shape (draws, size)
        The smooth errors of each draw.
    chosen : int, optional
        Index of the typical draw; see :attr:`typical`.
    """

    bench: Bench
    numbers: Array
    response: TableResponse
    kind: Literal["posterior", "prior"]
    seed: int
    error: ModelError
    deviations: Array
    chosen: int | None = None

    @cached_property
    def typical(self) -> int:
        """Index of the typical draw: the one whose speeds are nearest to their median.

        Correlated unknowns lie on a ridge, and their separate medians beside it: a rotor of the medians can miss
        readings that every draw fits. A changed rotor keeps the same typical draw.
        """
        if self.chosen is not None:
            return self.chosen
        low, high = self.error.log_pressure_nodes[[0, -1]]
        speeds = self.curves(np.exp(np.linspace(low, min(high, np.log(self.most_pa)), 41)))[:, 0]
        return int(np.argmin(np.nanmean((speeds - np.nanmedian(speeds, axis=0)) ** 2, axis=1)))

    def curves(self, pressure_pa: Array, *, reach: float | None = None) -> Array:
        """Return speed, net torque and drag of every draw, shape (draws, 3, n); nan beyond the response of the gas.

        `reach` is the greatest pressure, Pa, where it is another than that of the bench.
        """
        pressure = np.ascontiguousarray(pressure_pa, dtype=float)
        each = np.tile(pressure, (len(self.numbers), 1))
        factors, _ = self.error.factors(self.deviations, pressure)  # of the gas: these pressures are true ones
        found = np.asarray(deviating_speeds_of(each, self.numbers, factors, *table_arrays(self.response)))
        found[..., pressure > (self.most_pa if reach is None else reach) * (1 + 1e-9)] = np.nan
        return found

    @property
    def most_pa(self) -> float:
        """Greatest pressure that the response of the gas reaches, Pa."""
        return float(parameters_of(self.bench).knudsen(1.0)) / self.response.least_knudsen

    @property
    def best(self) -> dict[str, float]:
        """The typical draw, by the fields of :class:`edgewind.rotor.RotorParameters`."""
        return {name: float(self.numbers[self.typical, place]) for name, place in _FIELDS.items()}

    @property
    def rotor(self) -> RotorParameters:
        """The rotor of the typical draw; its gas is :attr:`gas`."""
        drawn = {name: float(self.numbers[self.typical, place]) for name, place in _UNSHOWN.items()}
        return parameters_of(self.bench).with_(**self.best, **drawn)

    @property
    def gas(self) -> DeviatingResponse:
        """The response of the gas with the errors of the typical draw."""
        log_kn = np.linspace(self.error.nodes[0], self.error.nodes[-1], 60)
        pressure = np.exp(self.error.log_path - log_kn)
        factors, _ = self.error.factors(self.deviations[self.typical][None], pressure)
        return DeviatingResponse(self.response, log_kn, np.log(factors[0]))

    def moved(self, changes: Mapping[str, Any]) -> RotorDraws:
        """Return the same draws with values of the bench changed.

        The numbers of a draw (relative light, faces, pivot, vane) stay, unless a change states them: then they are
        drawn within the uncertainty stated there, or fixed. All else is that of the changed bench.

        Raises
        ------
        InputError
            An unknown key, or an impossible bench.
        """
        if not changes:
            return self
        bench = changed_bench(self.bench, changes)
        before, after = parameters_of(self.bench), parameters_of(bench)
        numbers = moved_numbers(self.numbers, before, after)
        random = np.random.default_rng(self.seed + 7)
        for key, (place, low, high) in _STATED.items():
            if key in changes:
                measured: Measured = getattr(bench.rotor, key.partition(".")[2])
                numbers[:, place] = _stated(measured, low, high, random, len(numbers))
                numbers[self.typical, place] = np.clip(measured.value, low, high)
        numbers[:, Place.BREAKAWAY] = np.maximum(
            numbers[:, Place.DRY],
            after.pivot_breakaway_n_m if "rotor.pivot_breakaway_torque" in changes else 0.0,
        )
        return self.of(bench, numbers, after)

    def of(self, bench: Bench, numbers: Array, rotor: RotorParameters) -> RotorDraws:
        """Return draws of another rotor, with the same errors of the gas at the same Knudsen number."""
        response = response_of(rotor)
        error = replace(self.error, response=response, log_path=float(np.log(rotor.knudsen(1.0))))
        return replace(self, bench=bench, numbers=numbers, response=response, error=error, chosen=self.typical)


@dataclass(frozen=True, eq=False)
class DeviatingResponse:
    """A response of the gas multiplied by smooth factors.

    Attributes
    ----------
    table : TableResponse
        The response without the factors.
    log_knudsen : array of shape (n,)
        Places of the factors, which are constant beyond the ends.
    log_factors : array of shape (4, n)
        Logarithms of those on thermal force, drag, heat, and on the force by unequal accommodation over the first.
    """

    table: TableResponse
    log_knudsen: Array
    log_factors: Array

    @property
    def source(self) -> str:
        """Where the table comes from."""
        return f"{self.table.source}; with the errors that the fit found"

    @property
    def least_knudsen(self) -> float:
        """Smallest Knudsen number of the table."""
        return self.table.least_knudsen

    def at(self, knudsen: ArrayLike, accommodation: ArrayLike) -> Coefficients:
        """Return the coefficients; the arguments broadcast."""
        found = self.table.at(knudsen, accommodation)
        at = np.log(np.asarray(knudsen, dtype=float))
        force, drag, heat, unequal = (np.exp(np.interp(at, self.log_knudsen, one)) for one in self.log_factors)
        return replace(
            found,
            thermal_force=found.thermal_force * force,
            drag=found.drag * drag,
            heat=found.heat * heat,
            loss=found.loss * heat,
            accommodation_force=found.accommodation_force * force * unequal,
            accommodation_heat=found.accommodation_heat * heat,
        )

    def relative_error(self, knudsen: ArrayLike) -> Array:
        """Return that of the table, and likewise below."""
        return self.table.relative_error(knudsen)

    def relative_errors(self, knudsen: ArrayLike) -> Array:
        """Return the estimated relative errors of thermal force, drag and heat, shape (3, ...)."""
        return self.table.relative_errors(knudsen)

    def shared_errors(self, knudsen: ArrayLike) -> Array:
        """Return the part of those of thermal force and drag by which both are wrong together, shape (2, ...)."""
        return self.table.shared_errors(knudsen)

    def unequal_error(self, knudsen: ArrayLike) -> Array:
        """Return the estimated relative error of the force of unequal accommodation over the thermal force."""
        return self.table.unequal_error(knudsen)


def moved_numbers(numbers: Array, before: RotorParameters, after: RotorParameters) -> Array:
    """Convert draws of one rotor into draws of another: relative numbers and differences of each draw stay."""
    old, new = flat(before), flat(after)
    found = np.tile(new, (len(numbers), 1))
    # In the same gas a draw keeps its composition.
    same_gas = all(old[place] == new[place] for place in _GAS)
    for place in (*_DRAWN, *(_GAS if same_gas else ())):
        found[:, place] = numbers[:, place]
    found[:, Place.IRRADIANCE] *= new[Place.IRRADIANCE] / old[Place.IRRADIANCE]
    for place in _SHIFTED:
        found[:, place] += new[place] - old[place]
    found[:, Place.BRIGHT_EMISSIVITY] = np.clip(found[:, Place.BRIGHT_EMISSIVITY], 0.0, 1.0)
    found[:, Place.ACCOMMODATION] = np.clip(found[:, Place.ACCOMMODATION], ACCOMMODATIONS[0], ACCOMMODATIONS[-1])
    return found


def _stated(measured: Measured, low: float, high: float, random: np.random.Generator, size: int) -> Array:
    scores = random.standard_normal(size)
    if not measured.u:
        return np.full(size, measured.value)
    if np.isfinite(high):
        return np.clip(measured.value + measured.u * scores, low, high)
    return np.asarray(measured.value * np.exp(measured.relative * scores)) if measured.value else np.zeros(size)


def draws_of(source: Bench | Fit, *, draws: int = 200, seed: int = 1) -> RotorDraws:
    """Return draws of a rotor, from the posterior of a fit or from a bench.

    Parameters
    ----------
    source : Bench or Fit
        Source of the draws.
    draws, seed : int, int
        Number of draws; seed.
    """
    if isinstance(source, Fit):
        picked = np.random.default_rng(seed).choice(len(source.draws), draws, replace=len(source.draws) < draws)
        problem = source.problem
        numbers = problem.numbers(source.draws[picked])
        return RotorDraws(
            problem.bench, numbers, problem.response, "posterior", seed, problem.error, source.deviations[picked]
        )
    return _with_model_error(source, parameters_of(source), _prior_numbers(source, draws, seed), seed)


def draws_of_model_error(bench: Bench, rotor: RotorParameters) -> RotorDraws:
    """Return draws of the error of the model alone: each of the same rotor of plain numbers."""
    return _with_model_error(bench, rotor, np.tile(flat(rotor), (200, 1)), 1)


def _with_model_error(bench: Bench, rotor: RotorParameters, numbers: Array, seed: int) -> RotorDraws:
    response, log_path = response_of(rotor), float(np.log(rotor.knudsen(1.0)))
    most = float(np.exp(log_path)) / response.least_knudsen
    error = model_error(response, log_path, np.geomspace(1e-3 * most, most, 2), 0.0)
    deviations = np.random.default_rng([seed, 9]).standard_normal((len(numbers), error.size))
    return RotorDraws(bench, numbers, response, "prior", seed, error, deviations)


def _prior_numbers(bench: Bench, draws: int, seed: int) -> Array:
    drawn = prior_draws(bench, seed)
    names = list(RotorParameters.__dataclass_fields__)
    found = []
    for k in range(draws):
        single: dict[str, Any] = {}
        for name in names:
            value = getattr(drawn, name)
            single[name] = value if isinstance(value, str) else float(np.ravel(value)[k % np.size(value)])
        found.append(flat(RotorParameters(**single)))
    return np.array(found)
