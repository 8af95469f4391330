"""Speeds that each mechanism predicts for a test made on purpose, scaled to the speed under the usual conditions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.evidence.deliberate_results import DRAUGHT, PIVOT, is_both_dark
from edgewind.evidence.mechanism_case import prior_draws
from edgewind.evidence.run_data import surroundings_of
from edgewind.evidence.usual import Usual, usual_speed
from edgewind.gas import GasState
from edgewind.rotor import (
    DRIVES,
    GasResponse,
    RotorParameters,
    SteadyState,
    parameters_of,
    response_of,
    run,
    state_of_warm_vane,
    steady_state,
)
from edgewind.rotor.drives import NAMES
from edgewind.rotor.parameters import gas_numbers, light_means, reflected_push
from edgewind.rotor.pivot import steady_speed
from edgewind.signals import Experiment
from edgewind.signals.conditions import LEAST_ENVELOPE_CHANGE_K, usual_envelope_k
from edgewind.signals.runs import Run

Array = NDArray[np.float64]
# Mechanisms with a prediction for a test, each as the drive that turns the rotor under the lamp.
ACCOMMODATION = "unequal_accommodation"
CANDIDATES: tuple[str, ...] = ("thermal_force", ACCOMMODATION, "light_pressure", "infrared_recoil")
# Its torque is proportional to the difference, whose value cancels by the scaling.
_UNEQUAL = 0.05
# In another gas faces accommodate differently: 0.95, 0.85 and 0.45 for argon, nitrogen and helium on metals (Trott et
# al., Sandia National Laboratories, 2010, abstract), nearer to 1 on soot or paint, from memory. So the mean is drawn
# anew there, and the difference of the faces, 0.15 or 0.55 between soot and metal, is up to this factor as great.
_IN_ANOTHER_GAS, _MORE_UNEQUAL = (0.3, 1.0), 4.0
# Independent of light and temperature: a constant torque turns the rotor in any test as under the lamp.
CONSTANT = (DRAUGHT, PIVOT)
_READING_DRAWS, _RUN_DRAWS = 160, 16
_RUN_TOLERANCE = 1e-6
# Spread of the logarithm of heat capacity and inertia where the bench states no mass; our judgement, no source.
_MASS_LOG_U = 0.5


@dataclass(frozen=True, eq=False)
class TestBench:
    """Bench, draws of the rotor and gas response with which the tests of an experiment are predicted.

    Attributes
    ----------
    bench : Bench
        The bench.
    usual : DataFrame
        Readings at the usual conditions.
    rotor : RotorParameters
        Draws of the rotor.
    response : GasResponse
        Response of the gas.
    envelope_k : float
        Usual temperature of the envelope, K.
    level : float
        Coverage of intervals.
    seed : int
        Seed of the draws.
    """

    __test__ = False  # not a test of pytest

    bench: Bench
    usual: pd.DataFrame
    rotor: RotorParameters
    response: GasResponse
    envelope_k: float
    level: float
    seed: int

    def slow_draws(self) -> Iterator[RotorParameters]:
        """Yield some of the draws, each a rotor of plain numbers, with the heat capacity and the inertia drawn too."""
        random, stated = np.random.default_rng(self.seed + 5), self.bench.rotor
        mass_u = _MASS_LOG_U if stated.vane_mass is None else float(stated.vane_mass.relative)
        heat_u = float(np.hypot(mass_u, stated.vane_specific_heat.relative))
        inertia_u = mass_u if stated.moment_of_inertia is None else float(stated.moment_of_inertia.relative)
        for rotor in _singles(self.rotor, _RUN_DRAWS):
            heat, inertia = np.exp(random.standard_normal(2) * (heat_u, inertia_u))
            yield rotor.with_(
                heat_capacity_j_m2_k=rotor.heat_capacity_j_m2_k * float(heat),
                moment_of_inertia_kg_m2=rotor.moment_of_inertia_kg_m2 * float(inertia),
            )

    def usual_speed(self, pressure_pa: float) -> Usual | None:
        """Return the speed observed under the usual conditions near a pressure; None if no reading is near."""
        return usual_speed(self.usual, pressure_pa)


def bench_of_tests(experiment: Experiment, rotor: RotorParameters | None = None) -> TestBench:
    """Return the bench, draws and response for the tests of an experiment.

    For the parameters see :func:`edgewind.evidence.deliberate.deliberate_tests`.
    """
    bench = experiment.bench
    nominal = parameters_of(bench)
    return TestBench(
        bench,
        experiment.used,
        _thinned(prior_draws(bench, bench.study.seed) if rotor is None else rotor, _READING_DRAWS),
        response_of(nominal),
        usual_envelope_k(experiment.readings, bench),
        bench.study.level,
        bench.study.seed,
    )


def push_as_seen(pressure_pa: float, known: TestBench) -> frozenset[str]:
    """Return the mechanisms whose torque under the lamp has the observed sense in most draws; all if none was noted."""
    usual = known.usual_speed(pressure_pa)
    free = frozenset({NAMES[ACCOMMODATION], *CONSTANT})  # of either sense
    if usual is None or not usual.signed:
        return free | {NAMES[key] for key in CANDIDATES}
    lit = steady_state(np.array([pressure_pa]), known.rotor.in_surroundings(known.envelope_k), known.response)
    return free | {NAMES[key] for key in CANDIDATES if np.median(_own(key, lit) * usual.speed) > 0}


def predicted_speeds(row: Mapping[str, Any], known: TestBench) -> tuple[dict[str, Array], float] | None:
    """Return draws of the speed that each mechanism predicts for a reading, and the scale of its speeds, rad/s."""
    pressure = float(row["pressure_pa"])
    of = known.bench.with_gas(str(row["gas"])) if row["gas"] else known.bench
    gas_k = of.gas.temperature.value
    lit = known.rotor
    response = response_of(parameters_of(of)) if row["gas"] else known.response
    here = lit.with_(gas_temperature_k=gas_k, **gas_numbers(GasState(of.gas.gas, 1.0, gas_k)))
    side = str(row["lamp_side"])
    if side and side != of.light.arrangement and side != "opposite beam":
        means = light_means(of, side)
        here = here.with_(
            turn_mean_irradiance=means.irradiance,
            dark_reflected_push=reflected_push(means, of.rotor.dark_reflection),
            bright_reflected_push=reflected_push(means, of.rotor.bright_reflection),
        )
    if is_both_dark(row):
        here = here.with_(
            bright_absorptance=here.dark_absorptance, bright_emissivity=here.dark_emissivity,
            bright_reflected_push=here.dark_reflected_push, bright_outgassing_pa_m_s=here.dark_outgassing_pa_m_s,
        )  # fmt: skip
    noted = float(row["envelope_k"])
    envelope = noted if np.isfinite(noted) else known.envelope_k
    here = here.in_surroundings(envelope, float(row["lamp_share"]))
    usual_rotor = lit.in_surroundings(known.envelope_k)
    random = np.random.default_rng(known.seed)
    another = np.random.default_rng([known.seed, 7])
    if row["gas"]:
        here = here.with_(accommodation=another.uniform(*_IN_ANOTHER_GAS, np.shape(lit.accommodation)))
    try:
        before = steady_state(np.array([pressure]), usual_rotor, known.response)
        if float(row["lamp_share"]) > 0:
            after = steady_state(np.array([pressure]), here, response)
        else:
            # The vane has any temperature between its earlier one, dark or still lit, and that of the envelope.
            warmest = np.mean([before.at.dark_k, before.at.bright_k], axis=0)
            shape = np.shape(warmest)
            start = known.envelope_k + random.uniform(size=shape) * (warmest - known.envelope_k)
            if abs(envelope - known.envelope_k) <= LEAST_ENVELOPE_CHANGE_K:
                start = warmest
            vane = envelope + random.uniform(size=shape) ** 2 * (start - envelope)
            after = state_of_warm_vane(pressure, vane, here, response)
    except ValueError:
        return None
    usual = known.usual_speed(pressure)
    scale = abs(usual.speed) if usual is not None else float(np.median(np.abs(before.speed_rad_s)))
    samples = {}
    for key in CANDIDATES:
        if key == ACCOMMODATION and is_both_dark(row):  # faces of one coating accommodate alike
            samples[NAMES[key]] = np.zeros(np.size(after.speed_rad_s))
            continue
        more = another.uniform(0, _MORE_UNEQUAL, len(lit.arm_m)) if row["gas"] and key == ACCOMMODATION else 1.0
        samples[NAMES[key]] = more * _scaled(key, before, after, usual, random)
    for name in CONSTANT:
        samples[name] = _constant(before, after, usual, random)
    return samples, max(scale, abs(float(row["speed_rad_s"])), 1e-6)


def _own(key: str, state: SteadyState) -> Array:
    """Return the torque of one drive, N m; that of unequal accommodation for a fixed difference."""
    at = state.at
    if key == ACCOMMODATION:
        at = replace(at, rotor=at.rotor.with_(accommodation_difference=_UNEQUAL))
        return np.asarray(DRIVES[key](at) + np.zeros_like(state.speed_rad_s))
    return np.asarray(state.torque[key] + np.zeros_like(state.speed_rad_s))


def _scaled(key: str, before: SteadyState, after: SteadyState, usual: Usual | None, random: Any) -> Array:
    """Return the speeds in a test of one drive, scaled to give the usual speed by itself; draws in a flat array."""
    torque = _own(key, after)
    if usual is not None:
        torque = torque * _strength(key, before, usual, random)
    return _speeds(torque, after)


def _strength(key: str, before: SteadyState, usual: Usual, random: Any) -> Array:
    """Return the factor with which a drive alone gives the usual speed.

    A drive keeps its own sign; only that of unequal accommodation, whose sign is not known, takes that of the speed.
    """
    own = _own(key, before)
    speed = usual.speed + usual.spread * random.standard_normal(np.shape(own))
    need = before.drag * np.abs(speed) + before.at.rotor.pivot_dry_n_m
    strength = need / np.maximum(np.abs(own), 1e-300)
    if key != ACCOMMODATION:
        return np.asarray(strength)
    way = np.sign(speed) if usual.signed else random.choice([-1.0, 1.0], size=np.shape(own))
    return np.asarray(strength * way * np.sign(own))


def _outside(before: SteadyState, usual: Usual, random: Any) -> Array:
    """Return the constant torque that gives the usual speed, N m."""
    shape = np.shape(before.speed_rad_s)
    speed = usual.speed + usual.spread * random.standard_normal(shape)
    if not usual.signed:
        speed = speed * random.choice([-1.0, 1.0], size=shape)
    return np.asarray(before.drag * speed + np.sign(speed) * before.at.rotor.pivot_dry_n_m)


def _constant(before: SteadyState, after: SteadyState, usual: Usual | None, random: Any) -> Array:
    """Return the speeds in a test if a constant torque gives the usual speed."""
    return _speeds(np.zeros_like(after.speed_rad_s) if usual is None else _outside(before, usual, random), after)


def _speeds(torque: Array, after: SteadyState) -> Array:
    rotor = after.at.rotor
    found = steady_speed(torque, after.drag, rotor.pivot_dry_n_m, rotor.pivot_breakaway_n_m)
    return np.asarray(found, dtype=float).ravel()


def run_predictions(one: Run, pressure_pa: float, known: TestBench, time_s: Array) -> dict[str, Array]:
    """Return the prediction of each mechanism for a run, shape (draws, times), scaled to the usual speed."""
    usual, response = known.usual_speed(pressure_pa), known.response
    seen = one.speed_rad_s[np.isfinite(one.speed_rad_s)]
    random = np.random.default_rng(known.seed)
    found: dict[str, list[Array]] = {name: [] for name in (*(NAMES[key] for key in CANDIDATES), *CONSTANT)}
    times = time_s if time_s[0] <= 0 else np.concatenate([[0.0], time_s])
    for rotor in known.slow_draws():
        # A lamp that was changed between two rows was changed at any moment between them.
        around = surroundings_of(one, pressure_pa, random.uniform(0.02, 0.98))[0]
        lit = rotor.in_surroundings(known.envelope_k)
        before = steady_state(np.array([pressure_pa]), lit, response)
        first = lit.in_surroundings(float(around.envelope_k[0]), float(around.lamp_share[0]))
        start = steady_state(np.array([pressure_pa]), first, response)
        faces = (float(start.at.dark_k[0]), float(start.at.bright_k[0]))
        speed = float(seen[0])
        for key in CANDIDATES:
            strength = 1.0 if usual is None else float(_strength(key, before, usual, random)[0])
            alone = rotor.with_(accommodation_difference=_UNEQUAL) if key == ACCOMMODATION else rotor
            moved = run(
                around, alone, response, times, speed_rad_s=speed, faces_k=faces, drives=(key,), strength=strength,
                tolerance=_RUN_TOLERANCE,
            )  # fmt: skip
            found[NAMES[key]].append(moved["speed_rad_s"].to_numpy()[-time_s.size :])
        outside = 0.0 if usual is None else float(_outside(before, usual, random)[0])
        moved = run(
            around,
            rotor,
            response,
            times,
            speed_rad_s=speed,
            faces_k=faces,
            drives=(),
            outside_n_m=outside,
            tolerance=_RUN_TOLERANCE,
        )
        for name in CONSTANT:
            found[name].append(moved["speed_rad_s"].to_numpy()[-time_s.size :])
    return {name: np.array(rows) for name, rows in found.items()}


def _thinned(rotor: RotorParameters, most: int) -> RotorParameters:
    """Return at most a number of the draws of a rotor."""
    changes = {
        field.name: values[:: max(1, -(-len(values) // most))]
        for field in fields(rotor)
        if np.ndim(values := getattr(rotor, field.name)) == 2 and len(values) > most
    }
    return rotor.with_(**changes)


def _singles(rotor: RotorParameters, most: int) -> Iterator[RotorParameters]:
    """Yield some of the draws, each a rotor of plain numbers."""
    sizes = {np.size(getattr(rotor, field.name)) for field in fields(rotor) if field.name != "vane_shape"}
    count = max(sizes)
    for k in np.linspace(0, count - 1, min(most, count)).astype(int):
        changes = {
            field.name: float(np.ravel(values)[k if np.size(values) > 1 else 0])
            for field in fields(rotor)
            if np.ndim(values := getattr(rotor, field.name)) > 0
        }
        yield rotor.with_(**changes)
