"""Data for the verdicts on the mechanisms of one rotor: readings, and draws of the rotor from priors or a fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.evidence.claims import TorqueNeed
from edgewind.evidence.coastdown import CoastDown, measured_torque
from edgewind.evidence.fit import Fit, FitData, fit_data
from edgewind.evidence.model_error import model_error
from edgewind.evidence.priors import fraction_name, unknowns_of
from edgewind.evidence.run_data import FitRun
from edgewind.evidence.tensions import Tension
from edgewind.formatting import format_number
from edgewind.rotor import (
    DRIVES,
    RotorParameters,
    SteadyState,
    TableResponse,
    gas_slopes,
    parameters_of,
    response_of,
    steady_state,
)
from edgewind.units import Measured

Array = NDArray[np.float64]

DRAWS = 400
LEAST_READINGS = 3
# Readings are taken up to this factor above the least Knudsen number of the response.
REACH = 1.3
# A model this far behind the best in ln(evidence) is stated as that far behind.
HOPELESS_BY = 1000.0


@dataclass(frozen=True, eq=False)
class MechanismCase:
    """What the mechanisms of one rotor are judged by.

    Attributes
    ----------
    bench : Bench
        The bench.
    used : DataFrame
        Readings that the curve uses.
    level : float
        Coverage of intervals.
    seed : int
        Seed of the draws.
    fits : mapping of str to Fit
        By model, a key of :data:`edgewind.evidence.fit.MODELS`; empty before any fit.
    laplace : mapping of str to float
        Logarithm of the evidence by Laplace's approximation, of models too poor to sample; see :func:`bounded`.
    coasts : sequence of CoastDown
        Coast-downs.
    lamp_off : tuple of (float, float, float)
        Steady speeds seen in the dark: pressure, Pa, size of the speed and its uncertainty, rad/s.
    tensions : sequence of Tension
        Contradictions within the study.
    runs : sequence of FitRun
        Runs through a change, and coast-downs that are followed as runs.
    """

    bench: Bench
    used: pd.DataFrame
    level: float = 0.9
    seed: int = 1
    fits: Mapping[str, Fit] | None = None
    laplace: Mapping[str, float] | None = None
    coasts: Sequence[CoastDown] = ()
    lamp_off: tuple[tuple[float, float, float], ...] = ()
    tensions: Sequence[Tension] = ()
    runs: Sequence[FitRun] = ()

    @cached_property
    def moving(self) -> pd.DataFrame:
        """The used readings of a rotor that moves, as far as the response of the gas reaches.

        A margin is kept for the uncertainty of the gauge.
        """
        moving = self.used[self.used["speed_rad_s"].abs() > 3 * self.used["speed_u_rad_s"]]
        kn = parameters_of(self.bench).knudsen(moving["pressure_pa"].to_numpy(float))
        return moving[kn > REACH * self.response.least_knudsen]

    @property
    def beyond(self) -> int:
        """Number of readings beyond the pressures of the gas response."""
        return int((self.used["speed_rad_s"].abs() > 3 * self.used["speed_u_rad_s"]).sum()) - len(self.moving)

    @cached_property
    def data(self) -> FitData:
        """The readings of a moving rotor within the gas response, as input of a fit."""
        return fit_data(self.moving, self.bench, self.coasts, self.runs)

    @cached_property
    def response(self) -> TableResponse:
        """The response of the gas."""
        return response_of(parameters_of(self.bench))

    @property
    def seen_face(self) -> Literal["bright", "dark", "not observed"]:
        """The leading face at the fastest reading, or else that of the bench."""
        if not self.data.speed_rad_s.size or not np.asarray(self.data.signed)[self.fastest]:
            return self.bench.rotor.leading_face
        return "bright" if self.data.speed_rad_s[self.fastest] > 0 else "dark"

    @property
    def enough(self) -> bool:
        """Whether there are enough readings to judge sizes by."""
        return self.data.speed_rad_s.size >= LEAST_READINGS

    @property
    def fit(self) -> Fit | None:
        """The fit with every drive acting; its posterior replaces the priors."""
        return None if self.fits is None else self.fits.get("all")

    @cached_property
    def by_prior(self) -> MechanismCase:
        """The same case before any fit, by the bench alone."""
        return self if self.fit is None else replace(self, fits=None, laplace=None)

    @cached_property
    def _columns(self) -> dict[str, Array]:
        """Return draws of the unknowns by name, shape (draws, 1)."""
        if self.fit is not None:
            picked = self.fit.picked(DRAWS)[0]
            return {unknown.name: picked[:, [k]] for k, unknown in enumerate(self.fit.unknowns)}
        random = np.random.default_rng(self.seed)
        unknowns = unknowns_of(self.bench, self.response, self.data.gauge_log_u, coasts=True)
        scores = random.standard_normal((len(unknowns), DRAWS))
        found = {u.name: np.array([[u.value(s)] for s in row]) for u, row in zip(unknowns, scores, strict=True)}
        return found | {"foreign": np.zeros((DRAWS, 1))}  # known from readings only

    @cached_property
    def draws(self) -> RotorParameters:
        """Draws of the rotor, from the fit or from the bench; arrays of shape (draws, 1)."""
        return drawn_rotor(self.bench, self._columns, self.seed)

    def at(self, pressure_pa: Array) -> tuple[Array, RotorParameters]:
        """Return true pressures for indicated ones, and the draws with the error of the gas model there.

        Both of shape (draws, n); pressures are held inside the response of the gas.
        """
        if self.fit is not None:
            error, drawn = self.fit.problem.error, self.fit.picked(DRAWS)[1]
        else:
            log_path = float(np.log(parameters_of(self.bench).knudsen(1.0)))
            error = model_error(self.response, log_path, pressure_pa, self.data.gauge_log_u)
            drawn = np.random.default_rng([self.seed, 9]).standard_normal((DRAWS, error.size))
        factors, shift = error.factors(drawn, pressure_pa)
        pressure = pressure_pa * shift * self._columns["gauge"]
        most = 0.999 * self.draws.knudsen(1.0) / self.response.least_knudsen
        rotor = self.draws.with_(
            gas_force_factor=factors[:, 0], gas_drag_factor=factors[:, 1], gas_heat_factor=factors[:, 2],
            gas_unequal_factor=factors[:, 3],
        )  # fmt: skip
        return np.minimum(pressure, most), rotor

    @cached_property
    def state(self) -> SteadyState:
        """The steady state of every draw at every reading."""
        pressure, rotor = self.at(self.data.pressure_pa)
        return steady_state(pressure, rotor, self.response)

    @cached_property
    def needed_n_m(self) -> Array:
        """Torque that the readings need, N m, size, shape (draws, readings): drag of the gas times speed, and the
        pivot.

        Before a fit, coast-downs with a stated moment of inertia replace it, without a model; a fit includes the
        coast-downs.
        """
        state = self.state
        speed = np.abs(self.data.speed_rad_s)
        if self.fit is not None:
            return np.asarray(state.drag * speed + self.draws.pivot_dry_n_m)
        measured = self.measured
        modelled = (state.drag_vanes + state.drag_arms) * speed + self._stated_pivot(speed)
        if measured is None or "torque_n_m" not in measured:
            return np.asarray(modelled)
        random = np.random.default_rng(self.seed + 2)
        for _, row in measured.iterrows():
            k = int(np.argmin(np.abs(np.log(self.data.pressure_pa / float(row["pressure_pa"])))))
            spread = float(row["torque_u_n_m"]) * random.standard_normal(modelled.shape[0])
            modelled[:, k] = np.maximum(float(row["torque_n_m"]) + spread, 1e-3 * float(row["torque_n_m"]))
        return np.asarray(modelled)

    def _stated_pivot(self, speed: Array) -> Array:
        """Friction that the bench states; an unknown pivot is left out, so the torque needed is a lower bound."""
        rotor, drawn = self.bench.rotor, self.draws
        dry = drawn.pivot_dry_n_m if rotor.pivot_dry_torque is not None else 0.0
        viscous = drawn.pivot_viscous_n_m_s if rotor.pivot_viscous is not None else 0.0
        return np.asarray(dry + viscous * speed)

    @cached_property
    def measured(self) -> pd.DataFrame | None:
        """The measured torque curve, if coast-downs give one."""
        inertia: Measured | None = self.bench.rotor.moment_of_inertia
        return measured_torque(self.used, self.coasts, inertia, shapes=self._gas_drag)

    def _gas_drag(self, pressure_pa: Array) -> Array:
        """Drag of the gas at indicated pressures, N m s, one row a draw, round vanes as warm as in steady turning.

        These are the conditions of the readings and of the start of a coast-down; in thin gas its vanes cool during the
        fall, which lowers the drag there by up to some 2 %.
        """
        pressure, rotor = self.at(pressure_pa)
        state = steady_state(pressure, rotor, self.response)
        return np.asarray(state.drag_vanes + state.drag_arms)

    @property
    def fastest(self) -> int:
        """Index of the fastest reading."""
        return int(np.argmax(np.abs(self.data.speed_rad_s)))

    @property
    def pressure_pa(self) -> float:
        """Indicated pressure of the fastest reading."""
        return float(self.data.pressure_pa[self.fastest])

    @property
    def need(self) -> TorqueNeed | None:
        """The torque needed at the fastest reading; None with too few readings of a moving rotor."""
        if not self.enough:
            return None
        tails = [(1 - self.level) / 2, 0.5, (1 + self.level) / 2]
        low, middle, high = (float(q) for q in np.quantile(self.needed_n_m[:, self.fastest], tails))
        rotor = self.bench.rotor
        return TorqueNeed(
            line=int(self.moving["line"].to_numpy()[self.fastest]),
            pressure_pa=self.pressure_pa, torque_n_m=middle, interval_n_m=(low, high), level=self.level,
            pivot_included=rotor.pivot_dry_torque is not None or rotor.pivot_viscous is not None,
        )  # fmt: skip

    def torque(self, key: str) -> Array:
        """Return the torque of a drive, N m, shape (draws, readings), positive when the bright face leads."""
        return np.broadcast_to(DRIVES[key](self.state.at), self.needed_n_m.shape)

    def evidence(self, model: str) -> float | None:
        """Return ln(evidence) of a model, sampled or by Laplace's approximation; None without a fit."""
        if self.fits and model in self.fits:
            return self.fits[model].log_evidence
        return None if self.laplace is None else self.laplace.get(model)


def bounded(laplace: Mapping[str, float], best: float) -> dict[str, float]:
    """Return ln(evidence) of hopeless models, one beyond `HOPELESS_BY` behind the best as that far behind.

    Where a search ends so far below depends on chance, so the number has no meaning.

    Examples
    --------
    >>> bounded({"a": -86_993.0, "b": -40.0}, best=100.0)
    {'a': -900.0, 'b': -40.0}
    """
    return {model: max(value, best - HOPELESS_BY) for model, value in laplace.items()}


def behind_words(behind: float) -> str:
    """Return by how much a model is behind the best in ln(evidence), in words."""
    bound = f"{HOPELESS_BY:g} or more"
    return bound if behind > 0.999 * HOPELESS_BY else format_number(behind, 3)


def drawn_rotor(bench: Bench, column: Mapping[str, Array], seed: int) -> RotorParameters:
    """Return draws of a rotor from draws of its unknowns, arrays of shape (draws, 1)."""
    rotor = parameters_of(bench)
    random = np.random.default_rng([seed, 4])
    arm = rotor.arm_m * (1 + bench.rotor.arm.relative * random.standard_normal(column["light"].shape))
    return rotor.with_(
        irradiance_w_m2=rotor.irradiance_w_m2 * column["light"],
        vane_conductance_w_m2_k=column["conductance"],
        bright_emissivity=column["bright_emissivity"],
        accommodation=column["accommodation"],
        accommodation_difference=column.get("accommodation_difference", rotor.accommodation_difference),
        foreign_torque_n_m=column.get("foreign", 0.0),
        pivot_dry_n_m=column["pivot_dry"],
        pivot_breakaway_n_m=column["pivot_dry"],
        pivot_viscous_n_m_s=column["pivot_viscous"],
        arm_m=arm,
        **_drawn_gas(bench, rotor, column),
    )


def _drawn_gas(bench: Bench, rotor: RotorParameters, column: Mapping[str, Array]) -> dict[str, Array]:
    """Return the gas of a rotor at draws of the uncertain mole fractions."""
    found: dict[str, Array] = {}
    for symbol, slopes in gas_slopes(bench).items():
        away = column[fraction_name(symbol)] - bench.gas.gas.fraction(symbol)
        for field, slope in slopes.items():
            found[field] = found.get(field, np.asarray(getattr(rotor, field))) + slope * away
    return found


def prior_draws(bench: Bench, seed: int) -> RotorParameters:
    """Return draws of a rotor from its bench, arrays of shape (draws, 1); no torque from outside."""
    unknowns = unknowns_of(bench, response_of(parameters_of(bench)), 0.05, coasts=True)
    scores = np.random.default_rng(seed).standard_normal((len(unknowns), DRAWS))
    column = {u.name: np.array([[u.value(s)] for s in row]) for u, row in zip(unknowns, scores, strict=True)}
    return drawn_rotor(bench, column | {"foreign": np.zeros((DRAWS, 1))}, seed)


def case_of(
    bench: Bench, readings: pd.DataFrame, *, level: float, seed: int, coasts: Sequence[CoastDown] = (), **fitted: Any
) -> MechanismCase:
    """Return the case of an experiment: its used readings, and steady speeds seen with the lamp off and nothing else
    changed.
    """
    used = readings[readings["used"]]
    off = readings[
        (readings["condition"] == "lamp off") & (readings["exclude"] == "") & readings["speed_rad_s"].notna()
    ]
    coasting = {coast.line for coast in coasts}
    dark = tuple(
        (float(row["pressure_pa"]), abs(float(row["speed_rad_s"])), float(row["speed_u_rad_s"]))
        for row in off.to_dict("records")
        if "drifting" not in str(row["speed_flags"]).split() and row["line"] not in coasting
    )
    return MechanismCase(bench, used, level, seed, coasts=coasts, lamp_off=dark, **fitted)
