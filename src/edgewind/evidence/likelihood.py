"""The likelihood of a rotor: a bench, its response of the gas, its readings, and the drives that act."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit_kernel import (
    Readings,
    Smooth,
    Straight,
    UnknownColumns,
    held_never,
    log_likelihoods_of,
    numbers_of,
    run_means,
    spreads_of,
    straight_scores,
    whitened_rows,
)
from edgewind.evidence.model_error import KINDS, ModelError, model_error
from edgewind.evidence.priors import Priors, fraction_name, unknowns_of
from edgewind.evidence.run_data import FitRun, arrays_of
from edgewind.rotor import RotorParameters, TableResponse, gas_slopes, parameters_of, response_of
from edgewind.rotor.speed_kernel import DRIVE_PLACES, Place, deviating_speeds_of, flat, steady_speeds_of, table_arrays

Array = NDArray[np.float64]

LEAST_READINGS = 6
# Which drives act in each model that is compared.
MODELS: dict[str, tuple[str, ...]] = {
    "all": tuple(DRIVE_PLACES),
    "thermal force alone": ("thermal_force",),
    "light pressure alone": ("light_pressure", "infrared_recoil"),
    "unequal accommodation alone": ("unequal_accommodation",),
    "constant torque alone": ("foreign",),
}
# Unknowns that a model has only where the drive acts.
_OWN = {"accommodation_difference": "unequal_accommodation", "foreign": "foreign"}
# Least relative repeatability of a speed, whatever its trace states; common practice, no source.
REPEATS = 0.01
# Directions of the smooth errors that move no reading by more than this share of its spread are left out.
_NO_EFFECT = 0.03
_STEP = 0.01
_CORRECTIONS = 2
# Rows of values whose smooth errors are found at once.
_ROWS = 50


@dataclass(frozen=True, eq=False)
class FitData:
    """Readings as input of a fit; speeds with a sign, positive when the bright face leads.

    Attributes
    ----------
    pressure_pa, log_pressure_u : array of shape (n,)
        Indicated pressures and each one's own standard uncertainty of the logarithm.
    speed_rad_s, speed_u_rad_s : array of shape (n,)
        Speeds and standard uncertainties.
    signed : array of bool, shape (n,)
        Whether the direction was observed; sizes are compared otherwise. One value holds for all.
    gauge_log_u : float
        Standard uncertainty of ln(pressure) that all readings share.
    coasts : tuple of CoastDown
        Usable coast-downs, if any.
    runs : tuple of FitRun
        Runs through a change, if any.
    """

    pressure_pa: Array
    log_pressure_u: Array
    speed_rad_s: Array
    speed_u_rad_s: Array
    signed: NDArray[np.bool_] | bool
    gauge_log_u: float
    coasts: tuple[CoastDown, ...] = ()
    runs: tuple[FitRun, ...] = ()

    def __post_init__(self) -> None:
        size = np.shape(self.speed_rad_s)
        object.__setattr__(self, "signed", np.array(np.broadcast_to(self.signed, size), dtype=bool))


def fit_data(
    used: pd.DataFrame, bench: Bench, coasts: Sequence[CoastDown] = (), runs: Sequence[FitRun] = ()
) -> FitData:
    """Return the used readings of an experiment as input of a fit."""
    speed = used["speed_rad_s"].to_numpy(float)
    if "leading_face" in used:  # the sign is that of what was seen, where it was
        signed = used["leading_face"].to_numpy() != "not observed"
    else:
        face = bench.rotor.leading_face
        signed = np.full(speed.shape, face != "not observed")
        speed = np.where(signed, np.abs(speed) * (-1 if face == "dark" else 1), speed)
    common = used["log_pressure_u_common"].to_numpy(float)
    return FitData(
        used["pressure_pa"].to_numpy(float),
        used["log_pressure_u"].to_numpy(float),
        np.where(signed, speed, np.abs(speed)),
        used["speed_u_rad_s"].to_numpy(float),
        signed,
        float(np.median(common)) if common.size else 0.0,
        tuple(coast for coast in coasts if coast.usable),
        tuple(runs),
    )


class Likelihood:
    """The likelihood of a bench's readings under one model.

    Parameters
    ----------
    bench : Bench
        The bench.
    data : FitData
        Its readings.
    model : str
        A key of `MODELS`.
    response : TableResponse, optional
        The table for this vane and room where absent.

    Raises
    ------
    InputError
        Too few readings, or an unknown model.
    """

    def __init__(self, bench: Bench, data: FitData, model: str = "all", response: TableResponse | None = None) -> None:
        if model not in MODELS:
            raise InputError(f"unknown model '{model}'", fix=f"choose one of {', '.join(MODELS)}")
        if data.speed_rad_s.size < LEAST_READINGS:
            raise InputError(
                f"{data.speed_rad_s.size} readings are too few for a fit of this rotor",
                fix=f"take {LEAST_READINGS} or more",
            )
        self.bench, self.data, self.model = bench, data, model
        self.rotor: RotorParameters = parameters_of(bench)
        self.response = response_of(self.rotor) if response is None else response
        needed, least = self._needed()
        known = unknowns_of(
            bench, self.response, data.gauge_log_u, coasts=bool(data.coasts), runs=bool(data.runs), needed_n_m=needed,
            least_drag=least,
        )  # fmt: skip
        self.unknowns = tuple(u for u in known if _OWN.get(u.name, MODELS[model][0]) in MODELS[model])
        self._priors = Priors(self.unknowns)
        self._columns = _columns([unknown.name for unknown in self.unknowns], bench)
        self._flat = flat(self.rotor)
        for drive, place in DRIVE_PLACES.items():
            if drive not in MODELS[model]:
                self._flat[place] = 0.0
        self._table = table_arrays(self.response)
        self.all_pressures = np.concatenate(
            [data.pressure_pa, [one.pressure_pa for one in data.coasts], [one.pressure_pa for one in data.runs]]
        )
        self._runs, self._no_runs = arrays_of(data.runs, self.rotor), arrays_of((), self.rotor)
        # Index of the pressure of each speed, rate, and whitened mean of a run.
        steady = len(data.pressure_pa) + len(data.coasts)
        self._place = np.concatenate(
            [np.arange(steady), steady + np.repeat(np.arange(len(data.runs)), np.diff(self._runs.first_row))]
        ).astype(int)
        log_path = float(np.log(self.rotor.knudsen(1.0)))
        self.error: ModelError = model_error(self.response, log_path, self.all_pressures, data.gauge_log_u)
        self._basis = self.error.basis(self.all_pressures)
        self._centre = np.zeros(self.error.size)
        self._factors, self._shift = np.ones((len(KINDS), self.all_pressures.size)), np.ones(self.all_pressures.size)
        size = data.speed_rad_s.size
        rates = np.array([coast.drag_rate for coast in data.coasts])
        first = np.zeros((len(KINDS) + 1, self._place.size))
        first[0, :size], first[1, :size], first[2, :size] = data.speed_rad_s, -data.speed_rad_s, -0.5 * data.speed_rad_s
        first[1, size:steady] = rates
        first[-1, size:steady] = 0.5 * rates
        if data.runs:
            first[:, steady:] = self._changes(self.values(np.zeros(len(self.unknowns))))[:, steady:]
        self._take(first, np.concatenate([data.speed_rad_s, rates, np.zeros(self._runs.seen.size)]))

    def _needed(self) -> tuple[float, float]:
        """Return the greatest torque (N m) needed by the readings with the drag (N m s) of the best estimates, and the
        least drag.
        """
        most = 0.999 * float(self.rotor.knudsen(1.0)) / self.response.least_knudsen
        pressure = np.minimum(self.data.pressure_pa, most)
        numbers = flat(self.rotor)
        drag = steady_speeds_of(pressure[None], numbers[None], *table_arrays(self.response))[0, 2]
        return float(np.max(np.abs(self.data.speed_rad_s) * drag)), float(drag.min())

    # The smooth errors.

    def linearise(self, values: Array) -> None:
        """Linearise the smooth errors at given values of the unknowns and the errors likely there."""
        self._centre = self.deviations(values[None], None)[0]
        errors = np.exp(self._basis @ np.clip(self._centre, -6, 6))
        self._factors, self._shift = np.ascontiguousarray(errors[:-1]), errors[-1]
        slopes = self._changes(values)
        self._take(slopes, self._kernel(values, np.ones(len(KINDS) + 1)))

    def _changes(self, values: Array) -> Array:
        """Return the change of speeds, rates and means of runs with ln of `KINDS` and of p, shape (5, n + m + w)."""
        steps = []
        for kind in range(len(KINDS) + 1):
            aside = np.ones((2, len(KINDS) + 1))
            aside[:, kind] = np.exp(-_STEP), np.exp(_STEP)
            back, ahead = (self._kernel(values, step) for step in aside)
            steps.append((ahead - back) / (2 * _STEP))
        return np.array(steps)

    def _kernel(self, values: Array, times: Array) -> Array:
        """Return speeds, rates of coast-downs and whitened means of runs, with factors on the gas and the pressure."""
        size, steady = self.data.speed_rad_s.size, self.data.speed_rad_s.size + len(self.data.coasts)
        pressure = values[self._columns.gauge] * self.all_pressures * self._shift * times[-1]
        factors = np.ascontiguousarray(self._factors * times[:-1, None])
        rotor = self.numbers(values[None])
        still = np.asarray(
            deviating_speeds_of(pressure[None, :steady], rotor, factors[None, :, :steady], *self._table)[0]
        )
        inertia = values[self._columns.inertia] if self.data.coasts else 1.0
        moved = run_means(pressure[steady:], rotor[0], factors[:, steady:], self._runs, self._table)[0]
        return np.concatenate([still[0, :size], still[2, size:] / inertia, moved])

    def _take(self, slopes: Array, reference: Array) -> None:
        """Store slopes of speeds, rates and means of runs with ln of `KINDS` and of p, shape (5, n + m + w)."""
        data, size = self.data, self.data.speed_rad_s.size
        steady = size + len(data.coasts)
        rate, rate_u, dry_rate, dry_u, correlation = (
            np.array([getattr(coast, name) for coast in data.coasts], dtype=float)
            for name in ("drag_rate", "drag_rate_u", "dry_rate", "dry_rate_u", "correlation")
        )
        # The gauge's common error is an unknown of its own.
        own = np.sqrt([max(coast.log_pressure_u**2 - data.gauge_log_u**2, 0.0) for coast in data.coasts])
        by_pressure = slopes[-1]
        self._readings = Readings(
            self.all_pressures * self._shift, data.speed_rad_s, data.speed_u_rad_s,
            by_pressure[:size] * data.log_pressure_u, np.asarray(data.signed),
            0.05 * float(np.max(np.abs(data.speed_rad_s))), rate,
            np.sqrt(rate_u**2 + (by_pressure[size:steady] * own) ** 2),
            dry_rate, dry_u, correlation, rate_u,
        )  # fmt: skip
        self._slopes = np.einsum("bn,bnc->nc", slopes, self._basis[:, self._place])
        spread = np.concatenate(
            [
                np.hypot(data.speed_u_rad_s, 1e-3 * np.abs(data.speed_rad_s)), self._readings.rate_u,
                np.ones(self._runs.seen.size),
            ]
        )  # fmt: skip
        _, strength, directions = np.linalg.svd(self._slopes / spread[:, None], full_matrices=False)
        kept = directions[strength > _NO_EFFECT]
        self._smooth = Smooth(
            np.ascontiguousarray(self._factors), np.ascontiguousarray(self._slopes @ kept.T),
            self._slopes @ self._centre, reference,
        )  # fmt: skip

    def run_misfits(self, values: Array, deviations: Array) -> Array:
        """Return the mean square misfit of each run over what is expected, at rows of values, shape (k, runs)."""
        last = self._runs.first_row - self._runs.first_row[-1]
        squares = np.concatenate([self._left(values[at], deviations[at])[0] ** 2 for at in _parts(len(values))])
        return np.stack([squares[:, begin : end or None].mean(axis=1) for begin, end in pairwise(last)], axis=1)

    def _left(self, values: Array, drawn: Array) -> tuple[Array, Array]:
        """Return the whitened misfits of rows of values at given smooth errors, and the slopes there."""
        flat_basis = self._basis.reshape(-1, self.error.size)
        errors = np.exp(np.clip(drawn, -6, 6) @ flat_basis.T).reshape(len(drawn), *self._basis.shape[:2])
        smooth = self._smooth._replace(offset=np.zeros_like(self._smooth.offset))
        return self._whitened(values, self.all_pressures * errors[:, -1], errors[:, :-1], smooth)

    def _whitened(self, values: Array, pressure: Array, factors: Array, smooth: Smooth) -> tuple[Array, Array]:
        """Return whitened misfits, shape (k, w), and their slopes with all smooth errors, shape (k, w, size)."""
        found = whitened_rows(
            np.ascontiguousarray(values), pressure, np.ascontiguousarray(factors), self._flat, self._columns,
            self._readings, smooth._replace(slopes=np.ascontiguousarray(self._slopes)), self._runs, self._table,
        )  # fmt: skip
        return np.asarray(found[0]), np.asarray(found[1])

    def deviations(self, values: Array, random: np.random.Generator | None) -> Array:
        """Return the numbers of the smooth errors at rows of values, shape (k, size): drawn, or the likeliest."""
        normal = None if random is None else random.standard_normal((len(values), self.error.size))
        return np.concatenate(
            [self._deviations(values[at], None if normal is None else normal[at]) for at in _parts(len(values))]
        )

    def _deviations(self, values: Array, normal: Array | None) -> Array:
        pressure = np.tile(self._readings.pressure, (len(values), 1))
        factors = np.broadcast_to(self._factors, (len(values), *self._factors.shape))
        misfit, slopes = self._whitened(values, pressure, factors, self._smooth)
        back = np.swapaxes(slopes, 1, 2)
        inverse = np.asarray(np.linalg.inv(np.eye(self.error.size) + back @ slopes), dtype=float)
        drawn = _times(inverse, _times(back, misfit))
        if normal is None:
            return drawn
        drawn += _times(np.linalg.cholesky(inverse), normal)
        # The rest is taken from the curve itself, not from its tangent.
        return self._corrected(values, drawn, misfit - _times(slopes, drawn), inverse)

    def _corrected(self, values: Array, drawn: Array, left: Array, inverse: Array) -> Array:
        """Return drawn smooth errors moved so that the curve itself has the residuals of its tangent; unchanged if
        there are none.

        Newton's steps by the slopes there, as long as they bring the two nearer.
        """
        nearest, best, going = np.full(len(drawn), np.inf), drawn.copy(), np.arange(len(drawn))
        for _ in range(_CORRECTIONS + 1):
            exact, slopes = self._left(values[going], drawn[going])
            off = exact - left[going]
            apart = np.linalg.norm(off, axis=1)
            nearer = apart < nearest[going]
            going = going[nearer]
            nearest[going], best[going] = apart[nearer], drawn[going]
            drawn[going] += _times(inverse[going], _times(np.swapaxes(slopes[nearer], 1, 2), off[nearer]))
        return best

    # Unknowns and predictions.

    def values(self, scores: Array) -> Array:
        """Return the unknowns at standard normal scores of their priors, shape (..., d)."""
        return self._priors.values(scores)

    def numbers(self, values: Array) -> Array:
        """Return the flat arrays of the kernel at values of the unknowns, shape (k, numbers) for (k, d)."""
        return np.asarray(numbers_of(np.atleast_2d(values), self._flat, self._columns))

    def predicted(self, values: Array, pressure_pa: Array, deviations: Array | None = None) -> Array:
        """Return speed, net torque and drag at indicated pressures, shape (3, n), or (k, 3, n) for k rows of values.

        `deviations` are the smooth errors of each row, shape (k, size); without them, the model has no error.
        """
        rows = np.atleast_2d(values)
        pressure = rows[:, self._columns.gauge, None] * pressure_pa
        if deviations is None:
            found = np.asarray(steady_speeds_of(pressure, self.numbers(rows), *self._table))
        else:
            factors, shift = self.error.factors(deviations, pressure_pa)
            found = np.asarray(deviating_speeds_of(pressure * shift, self.numbers(rows), factors, *self._table))
        return found if values.ndim > 1 else found[0]

    def true_over_indicated(self, values: Array, deviations: Array, pressure_pa: Array) -> Array:
        """Return true over indicated pressure for each row of values at a pressure of its own, shape (k,)."""
        on_pressure = self.error.basis(pressure_pa)[-1]
        shift = np.exp(np.einsum("kc,kc->k", on_pressure, np.clip(deviations, -6, 6)))
        return np.asarray(values[:, self._columns.gauge] * shift)

    def linear_speed(self, values: Array) -> Array:
        """Return the speeds at the readings that the physics gives, its smooth errors as if linear, shape (n,)."""
        size = self.data.speed_rad_s.size
        return np.asarray(self._kernel(values, np.ones(len(KINDS) + 1))[:size] - self._smooth.offset[:size])

    def near(self, at: NDArray[np.int64]) -> tuple[Array, Array]:
        """Return pressures, Pa, and factors on the gas at some of the readings, with the errors of the best place."""
        return self._readings.pressure[at], np.ascontiguousarray(self._factors[:, at])

    def held_never(self, values: Array, near: tuple[Array, Array], sense: Array) -> tuple[Array, Array]:
        """Return speeds, rad/s, and what a unit of torque adds to each, 1/(N m s), if the pivot never holds.

        Dry friction acts against the given sense, +1 or -1, for any torque, so that outside torques change each speed.
        """
        pressure, factors = near
        rotor = self.numbers(values)[0]
        found = held_never(values[self._columns.gauge] * pressure, rotor, sense, factors, self._table)
        return np.asarray(found[0]), np.asarray(found[1])

    def straight_scores(self, values: Array, straight: Straight) -> Array:
        """Return the likeliest scores of the straight unknowns for rows of values of all others, shape (k, m)."""
        rows = np.ascontiguousarray(values)
        return np.asarray(straight_scores(rows, straight, self._flat, self._columns, self._table))

    @property
    def speed_slopes(self) -> Array:
        """Change of each speed with each number of the smooth errors, rad/s, shape (n, size)."""
        return np.asarray(self._slopes[: self.data.speed_rad_s.size])

    def spread(self, values: Array, speed: Array, *, scatter: bool = True) -> Array:
        """Return the standard deviation of a reading about its predicted speed: stated, scatter, and own pressure.

        Rows of values, shape (k, d), and speeds at the readings' pressures, shape (k, n). Without the scatter of the
        fit, 1 % stands for the least repeatability.
        """
        share = values[:, self._columns.scatter] if scatter else np.full(len(values), REPEATS)
        return np.asarray(spreads_of(speed, np.ascontiguousarray(share), self._readings))

    def log_likelihood(self, values: Array) -> float:
        """Return the logarithm of the likelihood."""
        return float(self.log_likelihoods(values[None, :])[0])

    def log_likelihoods(self, values: Array, *, runs: bool = True) -> Array:
        """Return the logarithm of the likelihood of each row of values; of the readings without the runs if asked."""
        return np.asarray(
            log_likelihoods_of(
                np.ascontiguousarray(values),
                self._flat,
                self._columns,
                self._readings,
                self._smooth,
                self._runs if runs else self._no_runs,
                self._table,
            )
        )


def _parts(count: int) -> list[slice]:
    """Return rows as parts whose slopes fit in some ten megabytes."""
    return [slice(begin, begin + _ROWS) for begin in range(0, count, _ROWS)]


def _times(matrices: Array, vectors: Array) -> Array:
    """Return the product of each matrix with the vector of its row, shape (k, n) for (k, n, m) and (k, m)."""
    return np.asarray((matrices @ vectors[..., None])[..., 0])


# Places of the gas in the flat array of a rotor, by the fields of its parameters.
_GAS_PLACES = {
    "viscosity_pa_s": Place.VISCOSITY, "viscosity_exponent": Place.VISCOSITY_EXPONENT,
    "most_probable_speed_m_s": Place.V0, "internal_heat": Place.INTERNAL,
    "conductivity_factor": Place.CONDUCTIVITY_FACTOR,
}  # fmt: skip


def _columns(names: Sequence[str], bench: Bench) -> UnknownColumns:
    """Return the columns of unknowns, and the places that each sets or multiplies."""
    at = {name: k for k, name in enumerate(names)}
    set_to = {
        Place.CONDUCTANCE: "conductance", Place.BRIGHT_EMISSIVITY: "bright_emissivity",
        Place.ACCOMMODATION: "accommodation", Place.DRY: "pivot_dry", Place.BREAKAWAY: "pivot_dry",
        Place.VISCOUS: "pivot_viscous", Place.ACCOMMODATION_DIFFERENCE: "accommodation_difference",
        Place.FOREIGN_TORQUE: "foreign", Place.HEAT_CAPACITY: "heat_capacity", Place.INERTIA: "inertia",
    }  # fmt: skip
    times = {Place.IRRADIANCE: "light"}
    set_to, times = ({place: name for place, name in one.items() if name in at} for one in (set_to, times))
    (set_places, set_columns), (scaled_places, scaled_columns) = (
        (np.array([int(place) for place in one]), np.array([at[name] for name in one.values()]))
        for one in (set_to, times)
    )
    gas = bench.gas.gas
    shifted = [
        (int(_GAS_PLACES[field]), at[fraction_name(symbol)], slope, gas.fraction(symbol))
        for symbol, slopes in gas_slopes(bench).items()
        for field, slope in slopes.items()
    ]
    places, columns, slopes, middles = np.array(shifted, dtype=float).reshape(-1, 4).T
    return UnknownColumns(
        set_places, set_columns, scaled_places, scaled_columns, at["gauge"], at["scatter"], at["pivot_dry"],
        at.get("inertia", -1), places.astype(int), columns.astype(int), slopes.copy(), middles.copy(),
    )  # fmt: skip
