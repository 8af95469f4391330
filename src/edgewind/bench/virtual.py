"""The section `[virtual]`: the properties of the simulated apparatus of `edgewind bench`."""

from __future__ import annotations

from typing import Literal

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
    """The true values of the simulation; every key is optional.

    Attributes
    ----------
    volume : Measured
        Volume of the chamber.
    pumping_speed : Measured
        Pumping speed, independent of pressure.
    outgassing : Measured
        Gas from walls and leaks together.
    start_pressure : Measured
        Pressure at the start.
    valve_flow : Measured
        Gas flow through the leak valve at `valve_voltage`; zero at 0 V.
    valve_voltage : Measured
        Voltage of the valve at that flow.
    valve_voltage_per_decade : Measured
        Further voltage for ten times the flow.
    valve_lag : Measured
        Time constant of the valve.
    gauge_lag : Measured
        Time constant of the gauge.
    gauge_shows : Measured
        Indicated over true pressure.
    lamp_lag : Measured
        Time constant of the lamp.
    lamp_wander : Measured
        Relative standard deviation of slow changes of the light.
    envelope_lag : Measured
        Time constant of the envelope's temperature.
    lamp_warms_envelope : Measured
        Warming of the envelope with the lamp on for long.
    thermometer_noise : Measured
        Standard deviation of the thermometer.
    pulse_height : Measured
        Height of the pulses of the tachometer.
    pulse_height_spread : Measured
        Relative standard deviation of that height from mark to mark.
    pulse_spacing_spread : Measured
        Relative standard deviation of the spacing from mark to mark.
    pulse_width : Measured
        Width of a pulse over the spacing of the marks.
    tachometer_offset : Measured
        Voltage between the pulses.
    tachometer_noise : Measured
        Standard deviation of the noise on the trace.
    tachometer_hum : Measured
        Amplitude of the mains hum on the trace.
    tachometer_wander : Measured
        Standard deviation of the slow wander of the trace.
    seed : int
        Seed of every noise.
    thermostat_lag : Measured
        Time constant of the envelope while a thermostat holds it.
    model : {"stated", "hidden"}
        Physics of the rotor: that of the program, or another one that the program does not know.
    deviation : Measured
        Largest hidden deviation of force, drag and heat over the Knudsen number, relative; of the model "hidden".
    accommodation_difference : float
        Accommodation of the dark face less that of the bright one; of the model "hidden".
    foreign_torque : Measured
        Torque from outside, such as by a draught; of the model "hidden".
    gauge_deviation : Measured
        Largest relative error of the gauge beyond a constant factor; of the model "hidden".
    truth : dict of str to str
        Values of the apparatus, by dotted key, that differ from those of this file, such as
        ``{ "rotor.accommodation" = 0.92 }``.
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
    thermostat_lag: Lag = Measured(45.0)
    model: Literal["stated", "hidden"] = "stated"
    deviation: Relative = Measured(0.0)
    accommodation_difference: float = Field(default=0.0, ge=-1.0, le=1.0)
    foreign_torque: quantity("torque") = Measured(0.0)  # type: ignore[valid-type]
    gauge_deviation: Relative = Measured(0.0)
    truth: dict[str, str | float] = Field(default={})
    seed: int = Field(default=1, ge=0)
