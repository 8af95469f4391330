"""The speed curve of a bench from first principles, with drive, drag and the torque of each mechanism."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pydantic import Field

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.frozen_model import FrozenModel
from edgewind.rotor.changes import changed_bench
from edgewind.rotor.convection import convection_bound
from edgewind.rotor.drives import thermal_force
from edgewind.rotor.optimum import PeakPressure, flat_range, peak_pressures
from edgewind.rotor.parameters import BRIGHT_EMISSIVITY_RANGE, RotorParameters, parameters_of
from edgewind.rotor.reach import pressures_within
from edgewind.rotor.response import GasResponse
from edgewind.rotor.steady import SteadyState, check_pressures, steady_state
from edgewind.rotor.whole_rotor import response_of
from edgewind.serialize import to_plain

Array = NDArray[np.float64]

AT_AN_EDGE = "greatest at the edge of the pressures considered"


class CurveOptimum(PeakPressure):
    """Maximum of a predicted curve in size, or its value at the end of the pressures if none is found."""

    pressure_pa: float = Field(description="Pressure at which the curve is greatest, Pa.")
    value: float = Field(description="Its value there, with its sign: rad/s, or N m.")
    value_interval: tuple[float, float] | None = Field(default=None, description="Interval of that value.")
    knudsen: float = Field(description="Mean free path over the width of the vane there.")


class OptimumRange(FrozenModel):
    """Range of the optimum while the emissivity of the bright face is unknown."""

    emissivity: tuple[float, float] = Field(description="Least and greatest possible emissivity of the bright face.")
    pressure_pa: tuple[float, float] = Field(description="Least and greatest pressure of the greatest speed, Pa.")
    speed_rad_s: tuple[float, float] = Field(description="Least and greatest value of that speed, with its sign.")
    every: bool = Field(description="Whether there is an optimum inside the given pressures for every emissivity.")


class OptimumResult(FrozenModel):
    """Maximum of a predicted curve in size, for JSON."""

    found: bool = Field(
        description="Whether the greatest value lies between the ends of the pressures and not at one of them."
    )
    pressure_pa: float = Field(description="Pressure at which the curve is greatest, Pa.")
    knudsen: float = Field(description="Mean free path over the width of the vane there.")
    interval_pa: tuple[float, float] | None = Field(
        default=None,
        description="Interval of that pressure for the error of the model alone, Pa; null where too few curves have a "
        "maximum.",
    )
    level: float = Field(default=0.9, description="Coverage probability of the intervals.")
    flat_pa: tuple[float, float] | None = Field(
        default=None,
        description="Pressures between which the curve is flat within 1 %, Pa; null if the maximum is sharp.",
    )


class SpeedOptimum(OptimumResult):
    """Maximum of the speed."""

    speed_rad_s: float = Field(description="Greatest speed, rad/s, positive when the bright face leads.")
    speed_interval_rad_s: tuple[float, float] | None = Field(
        default=None, description="Interval of that speed for the error of the model alone, rad/s."
    )
    range: OptimumRange | None = Field(
        description="Its range while the emissivity of the bright face is not stated; null if it is."
    )


class ForceOptimum(OptimumResult):
    """Maximum of the torque."""

    torque_n_m: float = Field(description="Greatest torque of all drives, N m, positive when the bright face leads.")
    torque_interval_n_m: tuple[float, float] | None = Field(
        default=None, description="Interval of that torque for the error of the model alone, N m."
    )


class PredictionResult(FrozenModel):
    """A prediction for JSON: SI, the unit in each key; the columns are those of :func:`predict`."""

    rows: tuple[dict[str, float | None], ...] = Field(
        description="The table, a row for each pressure.", json_schema_extra={"keys": "list of predict"}
    )
    optimum: SpeedOptimum = Field(description="Maximum of the speed.")
    force_optimum: ForceOptimum = Field(description="Maximum of the torque.")


@dataclass(frozen=True)
class Prediction:
    """A table of predictions with its optima; see :func:`predict`."""

    table: pd.DataFrame
    speed: CurveOptimum
    force: CurveOptimum
    bench: Bench
    parameters: RotorParameters
    response_source: str
    speed_range: OptimumRange | None = None

    def to_result(self) -> PredictionResult:
        """Return the rows of the table and both optima."""
        shared = {"found", "pressure_pa", "knudsen", "interval_pa", "level", "flat_pa"}
        speed, force = (at.model_dump(include=shared) for at in (self.speed, self.force))
        return PredictionResult(
            rows=to_plain(self.table),
            optimum=SpeedOptimum(
                **speed,
                speed_rad_s=self.speed.value,
                speed_interval_rad_s=self.speed.value_interval,
                range=self.speed_range,
            ),
            force_optimum=ForceOptimum(
                **force, torque_n_m=self.force.value, torque_interval_n_m=self.force.value_interval
            ),
        )


def predict(
    bench: Bench,
    pressures: ArrayLike,
    *,
    changes: Mapping[str, Any] | None = None,
    response: GasResponse | None = None,
    lamp: bool = True,
    parameters: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Predict the speed of the rotor of a bench against pressure.

    Parameters
    ----------
    bench : Bench
        The bench.
    pressures : array of shape (n,)
        Pressures, Pa.
    changes : mapping, optional
        Values to change first, by dotted key: ``{"rotor.vane_width": "30 mm"}``.
    response : GasResponse, optional
        Coefficients of the gas; default: the table for this vane and chamber.
    lamp : bool
        Whether the lamp is on.
    parameters : mapping, optional
        Fields of :class:`RotorParameters` to set, such as the best values of a fit.

    Returns
    -------
    DataFrame
        A row for each pressure, with these columns; speed and torque are positive when the bright face leads:

        pressure_pa : float
            Pressure, Pa.
        knudsen : float
            Mean free path over the width of the vane.
        speed_rad_s : float
            Steady speed, rad/s; zero where the pivot holds the rotor.
        torque_n_m : float
            Torque of all drives together, N m.
        drag_n_m_s : float
            All drag that grows with the speed, N m s.
        t_hot_k : float
            Temperature of the dark face, K.
        t_cold_k : float
            Temperature of the bright face, K.
        torque_<drive>_n_m : float
            Torque of one drive by itself, N m, under its key, such as thermal_force.
        torque_area_n_m : float
            Share of the thermal force's torque that acts on the area of the faces, N m.
        torque_edge_n_m : float
            Share of the thermal force's torque that acts near the edges, N m.
        drag_vanes_n_m_s : float
            Drag of the gas on the vanes, N m s.
        drag_arms_n_m_s : float
            Drag of the gas on the arms, N m s.
        drag_pivot_n_m_s : float
            Part of the pivot's friction that grows with the speed, N m s.
        pivot_dry_n_m : float
            Part of the pivot's friction that does not grow with the speed, N m.
        convection_bound_n_m : float
            Bound on the torque of convection, N m.

    Raises
    ------
    InputError
        An impossible bench, or pressures outside the response of the gas.
    """
    of = changed_bench(bench, changes or {})
    rotor = parameters_of(of).with_(**dict(parameters or {}))
    return table_of(_steady(np.atleast_1d(np.asarray(pressures, dtype=float)), rotor, response, lamp))


def predict_whole(
    bench: Bench,
    pressures: ArrayLike,
    *,
    changes: Mapping[str, Any] | None = None,
    response: GasResponse | None = None,
    parameters: Mapping[str, float] | None = None,
) -> Prediction:
    """Predict as in :func:`predict`, with the optima of speed and of torque in the range of the pressures."""
    of = changed_bench(bench, changes or {})
    rotor = parameters_of(of).with_(**dict(parameters or {}))
    pressure = np.unique(np.atleast_1d(np.asarray(pressures, dtype=float)))
    gas = response_of(rotor) if response is None else response
    found = predict_rotor(of, rotor, gas, pressure)
    unknown = of.rotor.bright_emissivity is None and "bright_emissivity" not in (parameters or {})
    over = _range(rotor, gas, float(pressure[0]), float(pressure[-1])) if unknown else None
    return replace(found, speed_range=over)


def predict_reach(bench: Bench, *, changes: Mapping[str, Any] | None = None) -> Prediction:
    """Predict as in :func:`predict_whole` over every pressure within reach, each quantity computed once.

    The optima are those of the pressures of the table (see :func:`edgewind.rotor.reach.pressures_within`). Their range
    for an unknown emissivity is left out, since a slider waits for the result.
    """
    of = changed_bench(bench, changes or {})
    rotor = parameters_of(of)
    return predict_rotor(of, rotor, response_of(rotor))


def predict_rotor(
    bench: Bench, rotor: RotorParameters, response: GasResponse, pressures: ArrayLike | None = None
) -> Prediction:
    """Predict as in :func:`predict_reach` for a rotor and its gas, such as those of a draw of a fit.

    Parameters
    ----------
    bench : Bench
        What describes it.
    rotor : RotorParameters
        The rotor.
    response : GasResponse
        Its gas.
    pressures : array, optional
        Pressures, Pa; default: all within reach. The optima are sought between the least and the greatest.
    """
    if pressures is None:
        state = steady_state(pressures_within(rotor, response), rotor, response)
        table, (speed, force) = table_of(state), optima_of(state, response)
    else:
        pressure = np.unique(np.atleast_1d(np.asarray(pressures, dtype=float)))
        table = table_of(_steady(pressure, rotor, response, True))
        speed, force = optima(rotor, response, float(pressure[0]), float(pressure[-1]))
    return Prediction(table, speed, force, bench, rotor, str(getattr(response, "source", "")))


def _range(rotor: RotorParameters, gas: GasResponse, low_pa: float, high_pa: float) -> OptimumRange:
    """Return the range of the greatest speed over the possible emissivities of the bright face."""
    each = [
        optima(rotor.with_(bright_emissivity=float(emissivity)), gas, low_pa, high_pa)[0]
        for emissivity in np.linspace(*BRIGHT_EMISSIVITY_RANGE, 5)
    ]
    inside = [one for one in each if one.found] or each
    places, speeds = [one.pressure_pa for one in inside], [one.value for one in each]
    return OptimumRange(
        emissivity=BRIGHT_EMISSIVITY_RANGE,
        pressure_pa=(min(places), max(places)),
        speed_rad_s=(min(speeds), max(speeds)),
        every=all(one.found for one in each),
    )


def _steady(pressure: Array, rotor: RotorParameters, response: GasResponse | None, lamp: bool) -> SteadyState:
    if pressure.ndim != 1 or not pressure.size:
        raise InputError("no pressures were given", fix="give one or more, such as 0.01Pa:10Pa:40")
    gas = response_of(rotor) if response is None else response
    check_pressures(pressure, rotor, gas)
    return steady_state(pressure, rotor if lamp else rotor.lamp_off(), gas)


def table_of(state: SteadyState) -> pd.DataFrame:
    """Return a steady state as a table; see :func:`predict`."""
    at, rotor = state.at, state.at.rotor
    gas_push = state.torque.get(thermal_force.KEY, np.zeros_like(state.speed_rad_s))
    columns: dict[str, Any] = {
        "pressure_pa": at.pressure_pa,
        "knudsen": at.knudsen,
        "speed_rad_s": state.speed_rad_s,
        "torque_n_m": state.net_torque,
        "drag_n_m_s": state.drag,
        "t_hot_k": at.dark_k,
        "t_cold_k": at.bright_k,
        **{f"torque_{key}_n_m": torque for key, torque in state.torque.items()},
        "torque_area_n_m": gas_push * at.gas.area_share,
        "torque_edge_n_m": gas_push * (1 - at.gas.area_share),
        "drag_vanes_n_m_s": state.drag_vanes,
        "drag_arms_n_m_s": state.drag_arms,
        "drag_pivot_n_m_s": rotor.pivot_viscous_n_m_s,
        "pivot_dry_n_m": rotor.pivot_dry_n_m,
        "convection_bound_n_m": convection_bound(at),
    }
    size = state.speed_rad_s.shape
    return pd.DataFrame(
        {name: np.broadcast_to(np.asarray(values, dtype=float), size) for name, values in columns.items()}
    )


def optima(
    rotor: RotorParameters, response: GasResponse, low_pa: float, high_pa: float
) -> tuple[CurveOptimum, CurveOptimum]:
    """Return the maxima of speed and torque between two pressures, in the direction of the greatest torque.

    Rotation in the other direction by light pressure in very thin gas, unbounded with an ideal pivot, is therefore not
    taken for the optimum.
    """
    pressure = np.geomspace(low_pa, high_pa, 81) if 0 < low_pa < high_pa else np.array([low_pa])
    check_pressures(pressure, rotor, response)
    return optima_of(steady_state(pressure, rotor, response), response)


def optima_of(state: SteadyState, response: GasResponse) -> tuple[CurveOptimum, CurveOptimum]:
    """Return the optima as in :func:`optima` for a steady state at pressures evenly spaced in the logarithm."""
    pressure, rotor = state.at.pressure_pa, state.at.rotor
    sense = float(np.sign(state.net_torque[np.argmax(np.abs(state.net_torque))])) or 1.0
    curves = {name: sense * getattr(state, name) for name in ("speed_rad_s", "net_torque")}
    peaks = {
        name: float(peak_pressures(pressure, values[None, :])[0]) if pressure.size > 2 else np.nan
        for name, values in curves.items()
    }
    places = np.array(
        [
            peaks[name] if np.isfinite(peaks[name]) else float(pressure[np.argmax(values)])
            for name, values in curves.items()
        ]
    )
    there = steady_state(places, rotor, response)
    found = []
    for k, (name, values) in enumerate(curves.items()):
        inside = bool(np.isfinite(peaks[name]))
        found.append(
            CurveOptimum(
                found=inside,
                pressure_pa=float(places[k]),
                reason="" if inside else AT_AN_EDGE,
                flat_pa=flat_range(pressure, values) if inside else None,
                value=float(getattr(there, name)[k]),
                knudsen=float(np.mean(rotor.knudsen(places[k]))),
            )
        )
    return found[0], found[1]
