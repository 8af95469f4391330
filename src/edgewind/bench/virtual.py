"""The section `[virtual]`: what the simulated apparatus of `edgewind bench` has and no owner knows of a real one."""

from __future__ import annotations

from pydantic import Field

from edgewind.bench.fields import (
    Factor,
    GasFlow,
    Lag,
    PositiveVoltage,
    Pressure,
    Relative,
    Section,
    Spread,
    TemperatureDifference,
    Voltage,
    quantity,
)
from edgewind.units import Measured


class VirtualSection(Section):
    """The invented truth behind the rest of `bench.toml`; every key may be left out.

    The chamber holds ``volume``, the pump takes ``pumping_speed`` whatever the pressure, walls and leaks give
    ``outgassing``. The leak valve lets ``valve_flow`` in at ``valve_voltage`` and ten times as much
    ``valve_voltage_per_decade`` above that, and nothing at 0 V. ``gauge_shows`` is indicated over true pressure.
    ``lamp_wander`` is the relative standard deviation of slow changes of its light.

    ``truth`` holds values, by dotted key, in which the
    apparatus differs from what this file says of it: ``{ "rotor.accommodation" = 0.92 }``.
    """

    volume: quantity("volume", above=0.0) = Measured(6e-3)  # type: ignore[valid-type]
    pumping_speed: quantity("pumping speed", above=0.0) = Measured(1.5e-3)  # type: ignore[valid-type]
    outgassing: GasFlow = Measured(7.5e-6)
    start_pressure: Pressure = Measured(5.0)
    valve_flow: GasFlow = Measured(1.5e-3)
    valve_voltage: PositiveVoltage = Measured(5.0)
    valve_voltage_per_decade: PositiveVoltage = Measured(2.0)
    valve_lag: Lag = Measured(0.3)
    gauge_lag: Lag = Measured(0.2)
    gauge_shows: Factor = Measured(1.0)
    lamp_lag: Lag = Measured(0.2)
    lamp_wander: Relative = Measured(0.0)
    envelope_lag: Lag = Measured(600.0)
    lamp_warms_envelope: TemperatureDifference = Measured(0.5)
    thermometer_noise: TemperatureDifference = Measured(0.02)
    pulse_height: PositiveVoltage = Measured(1.2)
    pulse_height_spread: Relative = Measured(0.2)
    pulse_spacing_spread: Relative = Measured(0.04)
    pulse_width: Factor = Measured(0.25)
    tachometer_offset: Voltage = Measured(0.4)
    tachometer_noise: Spread = Measured(0.05)
    tachometer_hum: Spread = Measured(0.05)
    tachometer_wander: Spread = Measured(0.12)
    truth: dict[str, str | float] = Field(default={})
    seed: int = Field(default=1, ge=0)
