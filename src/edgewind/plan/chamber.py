"""The chamber in time: pump-down with outgassing and a leak, the least pressure, and how a new pressure settles."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from edgewind.bench import Bench
from edgewind.gas import GasState
from edgewind.plan.conductance import Tube, effective_speed

Array = NDArray[np.float64]

HOUR_S = 3600.0
# Gas load is stated after an hour of pumping; before this time the t^-1 law is not extrapolated, since it diverges.
EARLIEST_S = 60.0
ATMOSPHERE_PA = 101_325.0
# Pressures between which the pumping speed at the chamber is tabulated, a decade beyond which it is held.
_LEAST_PA, _MOST_PA, _STEPS = 1e-6, 2e5, 240


@dataclass(frozen=True)
class Vacuum:
    """A chamber on a pump; SI. ``outgassing_pa_m3_s`` is the gas load of the walls after an hour of pumping.

    The load falls as 1/t, as that of metal does; that of organic materials falls as its square root (Vacuum extraction
    rate and gas adsorption, ikspvd.com, 2019, a supplier's page: log of the rate against log of time, slope 1 and 0.5).
    """

    volume_m3: float
    pump_m3_s: float
    tube: Tube | None
    outgassing_pa_m3_s: float
    leak_pa_m3_s: float
    gas: GasState

    @cached_property
    def _speed_table(self) -> tuple[Array, Array]:
        pressure = np.geomspace(_LEAST_PA, _MOST_PA, _STEPS)
        return np.log(pressure), np.log(effective_speed(self.tube, self.pump_m3_s, pressure, self.gas))

    def speed_m3_s(self, pressure_pa: Any) -> Array:
        """Return the pumping speed at the chamber, m^3/s, from a table in ln p."""
        place, speed = self._speed_table
        return np.asarray(np.exp(np.interp(np.log(np.asarray(pressure_pa, dtype=float)), place, speed)))

    def load_pa_m3_s(self, pumped_s: Any) -> Array:
        """Return the gas load of walls and leak after a time of pumping, Pa m^3/s: ``Q_1h (1 h / t) + Q_leak``."""
        time = np.maximum(np.asarray(pumped_s, dtype=float), EARLIEST_S)
        return np.asarray(self.outgassing_pa_m3_s * HOUR_S / time + self.leak_pa_m3_s)

    def least_pressure_pa(self, pumped_s: float) -> float:
        """Return the pressure that the pump holds against walls and leak after a time of pumping, Pa."""
        load = float(self.load_pa_m3_s(pumped_s))
        if load == 0:
            return 0.0
        place, speed = self._speed_table
        return float(np.exp(np.interp(np.log(load), place + speed, place)))

    def settling_time_s(self, pressure_pa: Any, from_pa: Any, within: float = 0.01) -> Array:
        """Return the time until a new steady flow of gas has brought the chamber within a share of the new pressure, s.

        The inlet is set at once to the flow that the new pressure needs; the remaining difference decays at the rate
        ``S/V``, so that ``t = V/S ln(|p_from - p| / (within p))``, with S at the new pressure.
        """
        new, old = np.asarray(pressure_pa, dtype=float), np.asarray(from_pa, dtype=float)
        off = np.abs(old / new - 1) / within
        return np.asarray(self.volume_m3 / self.speed_m3_s(new) * np.log(np.maximum(off, 1.0)))

    def time_to_s(self, pressure_pa: float, start_pa: float = ATMOSPHERE_PA) -> float:
        """Return the time of pumping until a pressure is reached, s, by ``V dp/dt = -S(p) p + Q(t)``; inf for never."""
        if pressure_pa >= start_pa:
            return 0.0
        target = float(np.log(pressure_pa))

        def rate(t: float, log_p: Array) -> Array:
            pressure = np.exp(log_p)
            load = self.load_pa_m3_s(t) / pressure
            return np.asarray((load - self.speed_m3_s(pressure)) / self.volume_m3)

        def reached(t: float, log_p: Array) -> float:
            return float(log_p[0]) - target

        reached.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(rate, (0.0, 1e7), [np.log(start_pa)], method="LSODA", rtol=1e-8, atol=1e-9, events=reached)
        times = np.concatenate(found.t_events or [np.empty(0)])
        return float(times[0]) if times.size else float("inf")


def vacuum_of(bench: Bench) -> Vacuum | None:
    """Return the chamber and pump of a bench, or None where ``[vacuum]`` is not given."""
    told = bench.vacuum
    if told is None:
        return None
    tube = None
    if told.tube_length is not None and told.tube_diameter is not None:
        tube = Tube(told.tube_length.value, told.tube_diameter.value)
    return Vacuum(
        volume_m3=told.volume.value,
        pump_m3_s=told.pumping_speed.value,
        tube=tube,
        outgassing_pa_m3_s=0.0 if told.outgassing is None else told.outgassing.value,
        leak_pa_m3_s=0.0 if told.leak is None else told.leak.value,
        gas=GasState(bench.gas.gas, 1.0, bench.gas.temperature.value),
    )
