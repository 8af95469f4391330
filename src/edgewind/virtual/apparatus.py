"""The simulated apparatus: chamber, gauge, valve, lamp, faces and rotor, integrated in bench time on demand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from threading import RLock
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import speed_of_light

from edgewind.bench import Bench
from edgewind.bench.virtual import VirtualSection
from edgewind.clock import Clock
from edgewind.errors import InputError
from edgewind.gas import GasState, find_gas
from edgewind.rotor import RotorParameters, changed_bench, parameters_of
from edgewind.rotor.film import diffuse_share
from edgewind.virtual.gas_table import GasTable, gas_table, hidden_table
from edgewind.virtual.gauge_output import GaugeOutput
from edgewind.virtual.hidden_rotor import Deviation, HiddenRotor
from edgewind.virtual.step_kernel import INPUTS, ROW, STATES, Input, State, advance

FloatArray = NDArray[np.float64]
# The ranges over which hidden deviations are drawn, Knudsen number and pascal.
_KNUDSEN, _GAUGE_PA = (0.01, 100.0), (1e-3, 100.0)
FASTEST_S = 1e-4  # shortest time constant of faces or chamber
_WANDER_PERIODS_S, _WANDER_TONES = (60.0, 3600.0), 8
MOST_HELD_S = 7200.0
_KEPT_S = 5.0
_BATCH = 4096


@dataclass(eq=False)
class Hold:
    """States since `since_s`, s, kept for a later reader for a limited time."""

    since_s: float


class Apparatus:
    """The apparatus behind the instruments.

    The state depends only on the seed and on the commands with their times, not on queries. The rotor follows a model
    that is not that of the program (`hidden_rotor`), or, with ``model = "stated"``, `edgewind.rotor`; the chamber
    follows ``V dp/dt = Q - S p``; gauge, valve, lamp and envelope lag in first order, and the gas takes the temperature
    of the envelope.

    Parameters
    ----------
    bench : Bench
        The apparatus as described, with its `[virtual]` section.
    clock : Clock
        Bench time.
    """

    def __init__(self, bench: Bench, clock: Clock) -> None:
        self.bench = bench
        self.virtual = bench.virtual or VirtualSection()
        true = changed_bench(bench, self.virtual.truth)
        self.rotor: RotorParameters = parameters_of(true)
        _check_times(self.rotor, self.virtual)
        self.hidden = hidden_rotor_of(true, self.rotor, self.virtual) if self.virtual.model == "hidden" else None
        self.table: GasTable = (
            gas_table(self.rotor)
            if self.hidden is None
            else hidden_table(self.hidden, float(self.rotor.gas_temperature_k))
        )
        gauge_error = None if self.hidden is None else self.hidden.gauge
        self.gauge_output = GaugeOutput(bench, self.virtual.gauge_shows.value, gauge_error)
        self.clock = clock
        self._lock = RLock()
        self._inputs = _inputs(self.rotor, self.virtual, self.hidden, bench.gas.species)
        self._tones = _tones(self.virtual)
        start = np.zeros(STATES)
        start[[State.PRESSURE, State.GAUGE]] = self.virtual.start_pressure.value
        start[[State.DARK, State.BRIGHT]] = self.rotor.gas_temperature_k
        start[State.ENVELOPE] = self.rotor.envelope_temperature_k
        self._time, self._state, self._sense, self._step = 0.0, start, 0, 1e-3
        self._rows, self._count = np.empty((_BATCH, ROW)), 0
        self._holds: list[Hold] = []

    # Inputs that commands change.

    def open_valve(self, volts: float) -> None:
        """Set the voltage on the valve from now on."""
        self._change(Input.VALVE_TO, volts)

    def light(self, share: float) -> None:
        """Set the light from now on, as a share of the irradiance of the bench."""
        self._change(Input.LAMP_TO, share)

    def hold_envelope(self, temperature_k: float | None) -> None:
        """Hold the envelope at a temperature from now on, K; None lets it return to that of the room."""
        virtual, room = self.virtual, float(self.rotor.envelope_temperature_k)
        if temperature_k is None:
            self._change(Input.ROOM_K, room, Input.ENVELOPE_LAG, virtual.envelope_lag.value)
        else:
            self._change(Input.ROOM_K, temperature_k, Input.ENVELOPE_LAG, virtual.thermostat_lag.value)

    def _change(self, *changes: Any) -> None:
        """Change inputs, given as pairs of place and value, from now on."""
        with self._lock:
            pairs = list(zip(changes[::2], changes[1::2], strict=True))
            if any(self._inputs[place] != value for place, value in pairs):
                self._arrive(self.clock.monotonic())
                for place, value in pairs:
                    self._inputs[place] = value

    # Outputs that instruments read.

    def now(self) -> float:
        """Return the bench time, s."""
        return self.clock.monotonic()

    def states(self, time_s: ArrayLike) -> FloatArray:
        """Return states at moments of the last seconds, or since a :class:`Hold`; shape (n, 9), columns of `State`."""
        times = np.atleast_1d(np.asarray(time_s, dtype=float))
        with self._lock:
            steps, share = self._steps_at(times)
            return self._between(steps, share[:, None], slice(None))

    def turns(self, time_s: FloatArray) -> FloatArray:
        """Return the angle of the rotor, in turns; see :meth:`states`."""
        with self._lock:
            return self._between(*self._steps_at(time_s), State.TURNS)

    def state(self) -> dict[str, float]:
        """Return the present state, by the names of `State` in lower case."""
        row = self.states(self.now())[0]
        return {place.name.lower(): float(row[place]) for place in State}

    def catch_up(self) -> None:
        """Integrate to the present time, and drop the past that is not held."""
        with self._lock:
            now = self.clock.monotonic()
            self._follow(now)
            self._holds = [hold for hold in self._holds if now - hold.since_s <= MOST_HELD_S]
            needed = min([now - _KEPT_S, *(hold.since_s for hold in self._holds)])
            passed = int(np.searchsorted(self._rows[: self._count, 0], needed, side="right")) - 1
            if passed > _BATCH:
                self._rows = self._rows[passed:].copy()
                self._count -= passed

    def hold(self) -> Hold:
        """Keep the states from now on until :meth:`release`, or for :data:`MOST_HELD_S`."""
        with self._lock:
            hold = Hold(self.clock.monotonic())
            self._holds.append(hold)
            return hold

    def release(self, hold: Hold) -> None:
        """Release a hold; one that was released before is not an error."""
        with self._lock:
            if hold in self._holds:
                self._holds.remove(hold)

    # Steps.

    def _steps_at(self, times: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
        """Return the step of each moment, and its place in the step, as a share."""
        self._follow(float(times.max()))
        steps = np.searchsorted(self._rows[: self._count, 0], times, side="right") - 1
        np.clip(steps, 0, self._count - 1, out=steps)
        starts, lengths = self._rows[: self._count, 0], self._rows[: self._count, 1]
        return steps, np.clip((times - starts[steps]) / lengths[steps], 0.0, 1.0)

    def _between(self, steps: NDArray[np.intp], share: FloatArray, which: slice | int) -> FloatArray:
        """Cubic Hermite interpolation within steps."""
        y0, f0, y1, f1 = (self._rows[:, 2 + k * STATES : 2 + (k + 1) * STATES][:, which][steps] for k in range(4))
        length = self._rows[:, 1][steps].reshape(share.shape)
        rest = 1 - share
        start = rest**2 * ((1 + 2 * share) * y0 + share * length * f0)
        end = share**2 * ((1 + 2 * rest) * y1 - rest * length * f1)
        return np.asarray(start + end)

    def _follow(self, until: float) -> None:
        while self._time <= until:
            self._take(np.nextafter(until, np.inf), exact=False)

    def _arrive(self, until: float) -> None:
        """Stop exactly at a moment, discarding the step beyond it."""
        self._follow(until)
        last = self._rows[self._count - 1]
        self._time, self._step = float(last[0]), float(last[1])
        self._state = last[2 : 2 + STATES].copy()
        self._sense = int(last[-1])
        self._count -= 1
        while self._time < until:
            self._take(until, exact=True)
        # The step size for the old commands may be too large for the new ones.
        self._step = min(self._step, 1e-2)

    def _take(self, until: float, *, exact: bool) -> None:
        if self._rows.shape[0] - self._count < _BATCH:
            self._rows = np.concatenate([self._rows, np.empty((max(_BATCH, self._count), ROW))])
        out = self._rows[self._count : self._count + _BATCH]
        written, self._time, self._sense, self._step = advance(
            self._time, self._state, self._sense, self._step, until, exact, self._inputs, self._tones,
            self.table.log_least, self.table.step, self.table.rows, out,
        )  # fmt: skip
        self._count += written


def _check_times(rotor: RotorParameters, virtual: VirtualSection) -> None:
    """Raise an error for a time constant too short to integrate."""
    faces = rotor.heat_capacity_j_m2_k / (4 * rotor.vane_conductance_w_m2_k)
    chamber = virtual.volume.value / virtual.pumping_speed.value
    for what, seconds, key, fix in (
        ("the faces of a vane come to one temperature", faces, "rotor.vane_conductance", "give a lower conductance"),
        ("the chamber is pumped empty", chamber, "virtual.pumping_speed", "give a lower speed or a larger volume"),
    ):
        if seconds < FASTEST_S:
            raise InputError(
                f"{what} in {seconds:.2g} s, which is too fast to be simulated: at least {FASTEST_S:g} s is needed",
                key=key,
                fix=fix,
            )


def _knudsen_power(species: Any, gas_k: float) -> float:
    """Return the power of the temperature with which the mean free path grows at one pressure."""
    paths = [float(GasState(find_gas(species), 1.0, t).mean_free_path_m()) for t in (0.95 * gas_k, 1.05 * gas_k)]
    return float(np.log(paths[1] / paths[0]) / np.log(1.05 / 0.95))


def _tones(virtual: VirtualSection) -> FloatArray:
    """Return the tones of the light's variation, if any. They depend on the seed of `[virtual]`."""
    if not virtual.lamp_wander.value:
        return np.empty((0, 3))
    random = np.random.default_rng([virtual.seed, 3])
    period, count = _WANDER_PERIODS_S, _WANDER_TONES
    angular = 2 * np.pi / (np.geomspace(*period, count) * random.uniform(0.9, 1.1, count))
    strength = np.full(count, virtual.lamp_wander.value * np.sqrt(2 / count))
    return np.column_stack([angular, random.uniform(0, 2 * np.pi, count), strength])


def hidden_rotor_of(bench: Bench, rotor: RotorParameters, virtual: VirtualSection) -> HiddenRotor:
    """Return the simulated rotor whose physics is not that of the program. Its vanes are squares of the same area.
    Deviations depend on the seed of `[virtual]`.
    """
    random = np.random.default_rng([virtual.seed, 5])
    size, gauge = virtual.deviation.value, virtual.gauge_deviation.value
    drawn = [Deviation.draw(size, *_KNUDSEN, random) for _ in range(3)]
    made = HiddenRotor(
        species=bench.gas.species,
        internal_heat=rotor.internal_heat,
        vanes=rotor.vanes,
        width_m=float(np.sqrt(rotor.vane_area_m2)),
        arm_m=float(rotor.arm_m),
        chamber_width_m=float(rotor.chamber_width_m),
        chamber_height_m=float(rotor.chamber_height_m),
        irradiance_w_m2=float(rotor.irradiance_w_m2),
        dark_absorptance=float(rotor.dark_absorptance),
        bright_absorptance=float(rotor.bright_absorptance),
        dark_emissivity=float(rotor.dark_emissivity),
        bright_emissivity=float(rotor.bright_emissivity),
        conductance_w_m2_k=float(rotor.vane_conductance_w_m2_k),
        heat_capacity_j_m2_k=float(rotor.heat_capacity_j_m2_k),
        accommodation=float(rotor.accommodation),
        accommodation_difference=virtual.accommodation_difference,
        dry_n_m=float(rotor.pivot_dry_n_m),
        breakaway_n_m=float(rotor.pivot_breakaway_n_m),
        viscous_n_m_s=float(rotor.pivot_viscous_n_m_s),
        inertia_kg_m2=float(rotor.moment_of_inertia_kg_m2),
        foreign_n_m=virtual.foreign_torque.value,
        force=drawn[0],
        drag=drawn[1],
        heat=drawn[2],
        gauge=Deviation.draw(gauge, *_GAUGE_PA, random),
    )
    if bench.light.arrangement == "beam":
        return made
    # the light on a face from other arrangements is that of the program, with shading
    return replace(made, turn_mean_irradiance=rotor.turn_mean_irradiance / made.lit_share)


def _inputs(rotor: RotorParameters, virtual: VirtualSection, hidden: HiddenRotor | None, species: Any) -> FloatArray:
    share = rotor.turn_mean_irradiance if hidden is None else hidden.turn_mean_irradiance * hidden.lit_share
    light = rotor.irradiance_w_m2 * share
    gas = float(rotor.gas_temperature_k)
    per_e = virtual.valve_voltage_per_decade.value / np.log(10)
    numbers = {
        Input.VALVE_TO: 0.0,
        Input.LAMP_TO: 0.0,
        Input.VOLUME: virtual.volume.value,
        Input.PUMPING: virtual.pumping_speed.value,
        Input.OUTGASSING: virtual.outgassing.value,
        Input.FLOW_AT_ZERO: virtual.valve_flow.value * np.exp(-virtual.valve_voltage.value / per_e),
        Input.VOLTS_PER_E: per_e,
        Input.VALVE_LAG: virtual.valve_lag.value,
        Input.GAUGE_LAG: virtual.gauge_lag.value,
        Input.LAMP_LAG: virtual.lamp_lag.value,
        Input.ENVELOPE_LAG: virtual.envelope_lag.value,
        Input.ROOM_K: rotor.envelope_temperature_k,
        Input.LAMP_WARMS: virtual.lamp_warms_envelope.value,
        Input.GAS_K: rotor.gas_temperature_k,
        Input.LIGHT_DARK: rotor.dark_absorptance * light,
        Input.LIGHT_BRIGHT: rotor.bright_absorptance * light,
        Input.DARK_EMISSIVITY: rotor.dark_emissivity,
        Input.BRIGHT_EMISSIVITY: rotor.bright_emissivity,
        Input.THROUGH: rotor.vane_conductance_w_m2_k,
        Input.HALF_HEAT: rotor.heat_capacity_j_m2_k / 2,
        Input.DRY: rotor.pivot_dry_n_m,
        Input.BREAKAWAY: rotor.pivot_breakaway_n_m,
        Input.VISCOUS: rotor.pivot_viscous_n_m_s,
        Input.INERTIA: rotor.moment_of_inertia_kg_m2,
        Input.GAS_ABOVE_K: gas - rotor.envelope_temperature_k,
        Input.KNUDSEN_POWER: _knudsen_power(species, gas),
        Input.RECOIL: rotor.vanes * rotor.arm_m * rotor.vane_area_m2 * 2 / 3 / speed_of_light,
        Input.FILM_POWER: rotor.viscosity_exponent if hidden is None else 0.0,
        Input.KNUDSEN: float(rotor.knudsen(1.0)),
        Input.DIFFUSE: float(diffuse_share(rotor.accommodation)),
    }
    flat = np.empty(INPUTS)
    for place, number in numbers.items():
        flat[place] = number
    return flat
