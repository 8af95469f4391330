"""The sections `[limits]` and `[steadiness]` of `bench.toml`: what stops a sweep, and what counts as steady."""

from __future__ import annotations

from pydantic import Field, model_validator

from edgewind.bench.fields import FieldProblem, Pressure, Section, Share, Temperature, Time, Voltage
from edgewind.errors import InputError
from edgewind.units import Measured


class LimitsSection(Section):
    """Limits of the apparatus; exceeding any of them ends a sweep in the safe state: lamp off, valve off.

    Attributes
    ----------
    pressure_above : Measured or None
        Highest pressure allowed for pump and glass, Pa.
    gauge_over_range : bool
        Whether a gauge above its range ends the sweep; the pressure is then unknown.
    temperature_above : Measured or None
        Highest temperature allowed at the thermometer, K.
    valve_above : Measured or None
        Highest voltage that the valve is ever set to, V.
    silent_for : Measured
        Longest time without an answer of the gauge while the valve is on, s.
    """

    pressure_above: Pressure | None = None
    gauge_over_range: bool = True
    temperature_above: Temperature | None = None
    valve_above: Voltage | None = None
    silent_for: Time = Measured(30.0)


class SteadinessSection(Section):
    """Criteria of steadiness and the longest wait; see `docs/record.md` for the test.

    Attributes
    ----------
    pressure_drift : Measured
        Most relative drift of the pressure over one dwell.
    speed_drift : Measured
        Most relative drift of the speed over one dwell.
    dwell : Measured
        Time over which a reading must be steady, s.
    trace : Measured or None
        Length of the trace of a reading, s, where ``set_duration`` is given; the dwell where left out.
    confidence : float
        Confidence of the statement that the drift is less than the allowed drift.
    at_least : Measured
        Shortest observation, s.
    at_most : Measured
        Longest wait at one target, s, after which the step is skipped.
    every : Measured
        Time between two queries of the gauge, s.
    pressure_tolerance : Measured
        Largest relative distance of a pressure from its target.
    look : Measured
        Length of the traces for the speed during the wait, s, if ``set_duration`` is given.
    coast_down : Measured
        Length of the trace of a coast-down, s, where ``set_duration`` is given.
    reversal : Measured
        Time for which a reversal is recorded after the envelope is chilled, s.
    """

    pressure_drift: Share = Measured(0.02)
    speed_drift: Share = Measured(0.02)
    dwell: Time = Measured(30.0)
    trace: Time | None = None
    confidence: float = Field(default=0.95, ge=0.5, lt=1.0)
    at_least: Time = Measured(10.0)
    at_most: Time = Measured(1200.0)
    every: Time = Measured(0.5)
    pressure_tolerance: Share = Measured(0.1)
    look: Time = Measured(5.0)
    coast_down: Time = Measured(60.0)
    reversal: Time = Measured(600.0)

    @model_validator(mode="after")
    def _in_order(self) -> SteadinessSection:
        if not self.at_least.value < self.at_most.value:
            raise FieldProblem(
                InputError(
                    f"at_least is {self.at_least.value:g} s and at_most {self.at_most.value:g} s",
                    key="steadiness.at_least",
                    fix="give the longest wait as at_most",
                )
            )
        return self

    @property
    def trace_s(self) -> float:
        """Length of the trace of a reading, s."""
        return float(self.dwell.value if self.trace is None else self.trace.value)
