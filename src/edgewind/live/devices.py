"""Devices of a bench (gauge, thermometer, valve, lamp, tachometer), driven by the commands that bench.toml states."""

from __future__ import annotations

import math
import re
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.bench.instruments import (
    GaugeInstrument,
    Instrument,
    LampInstrument,
    TachometerInstrument,
    ThermometerInstrument,
    ThermostatInstrument,
    ValveInstrument,
    sample_interval,
)
from edgewind.clock import Event
from edgewind.formatting import NUMBER
from edgewind.live.errors import GarbledError, InstrumentError, InterlockError
from edgewind.live.transport import T, Transport
from edgewind.live.transport_serial import SerialTransport
from edgewind.signals import Trace
from edgewind.units import from_si, to_si

FloatArray = NDArray[np.float64]
Attend = Callable[[Event, float], None]

_NUMBER = re.compile(NUMBER)
# SCPI-99, volume 1, 7.2.1.4 and 7.2.1.5: what stands for infinity and for no number.
_INFINITY, _NO_NUMBER = 9.9e37, 9.91e37
_LEAST_SAMPLES = 16
_FORMATS = {"int8": "i1", "int16": "i2", "int32": "i4", "float32": "f4", "float64": "f8"}
# Largest difference between the read and the set voltage of a valve, as a share of its range.
_VALVE_AGREES = 0.01


def number_of(text: str) -> float:
    """Return an answer as a number; infinite if the instrument reports that it is beyond its range.

    Raises
    ------
    ValueError
        The answer is not entirely a number, or means 'not a number'.

    Examples
    --------
    >>> number_of(" +3.269E+00 "), number_of("9.9E37")
    (3.269, inf)
    """
    plain = text.strip()
    if not _NUMBER.fullmatch(plain):
        raise ValueError(f"{text!r} is not a number")
    value = float(plain)
    if not math.isfinite(value) or math.isclose(value, _NO_NUMBER, rel_tol=1e-6):
        raise ValueError(f"{text!r} means 'not a number'")
    return math.copysign(math.inf, value) if math.isclose(abs(value), _INFINITY, rel_tol=1e-6) else value


def switch_of(text: str) -> bool:
    """Return an answer as on or off.

    Raises
    ------
    ValueError
        It is neither.
    """
    word = text.strip().lower()
    if word in ("1", "on", "+1"):
        return True
    if word in ("0", "off", "+0"):
        return False
    raise ValueError(f"{text!r} is neither on nor off")


@dataclass(frozen=True)
class Value:
    """An answer of a gauge or a thermometer: the text, and the number in its own unit."""

    text: str
    number: float


class _Role:
    role = ""

    def __init__(self, transport: Transport, described: Instrument) -> None:
        self._transport, self._described = transport, described

    @property
    def identity(self) -> str:
        """The answer to the check query after it was sent; empty if there is none."""
        said = self._transport.identity
        return "" if said is None else said.decode("ascii", errors="replace").strip()

    def verify(self) -> None:
        """Check that the connection can be opened, and that queries and answers match.

        Raises
        ------
        InstrumentError
            They do not match.
        """
        self._named(self._transport.verify)

    def _named(self, call: Callable[[], T]) -> T:
        try:
            return call()
        except InstrumentError as error:
            raise error.of(self.role) from error

    def _write(self, command: str) -> None:
        self._named(lambda: self._transport.write(command, errors=self._described.errors))

    def _query(self, question: str | None, parse: Callable[[str], T]) -> T:
        return self._named(lambda: self._transport.query(str(question), parse))

    def _try(self, once: Callable[[], None]) -> None:
        """Repeat what is answered but not confirmed."""
        for left in range(self._described.retries, -1, -1):
            try:
                return self._named(once)
            except GarbledError:
                if not left:
                    raise


class Meter(_Role):
    """A gauge or a thermometer."""

    def __init__(self, transport: Transport, described: GaugeInstrument | ThermometerInstrument, role: str) -> None:
        super().__init__(transport, described)
        self.role, self.unit = role, described.unit
        self._read = described.read
        self._kind = (
            "temperature" if role == "thermometer" else "voltage" if _gives_volts(described) else "pressure"
        )  # fmt: skip
        self._zero = float(to_si(0.0, self.unit, self._kind))
        self._scale = float(to_si(1.0, self.unit, self._kind)) - self._zero

    def read(self) -> Value:
        """Query a value.

        Raises
        ------
        InstrumentError
            No answer in any attempt was entirely a number.
        """
        return self._named(self._once)

    def si(self, value: Value) -> float:
        """Return the value in SI."""
        return self._zero + self._scale * value.number

    def _once(self) -> Value:
        if self._read is not None:
            return self._transport.query(self._read, _value_of)
        assert isinstance(self._transport, SerialTransport)
        said = self._transport.listen(self.role)
        try:
            return _value_of(said)
        except ValueError as error:
            raise GarbledError(self.role, str(error)) from None


def _rate_of(text: str) -> float:
    plain = text.strip()
    if _NUMBER.fullmatch(plain) and math.isclose(float(plain), _NO_NUMBER, rel_tol=1e-6):
        return math.nan
    return number_of(text)


def _gives_volts(described: GaugeInstrument | ThermometerInstrument) -> bool:
    return isinstance(described, GaugeInstrument) and described.gives_volts


def _value_of(text: str) -> Value:
    return Value(text.strip(), number_of(text))


class Valve(_Role):
    """A proportional valve, by its voltage; never set outside its range or beyond the limit."""

    role = "valve"

    def __init__(self, transport: Transport, described: ValveInstrument, most_v: float | None) -> None:
        super().__init__(transport, described)
        self._valve = described
        self.low = described.low.value
        self.high = described.high.value if most_v is None else min(described.high.value, most_v)
        self.closed, self.rises = described.closed, described.rises
        self.voltage: float | None = None

    def set(self, voltage_v: float) -> float:
        """Set the voltage and confirm it; return the sent voltage, V.

        Raises
        ------
        InterlockError
            The voltage is outside the range or beyond the limit; nothing was sent.
        InstrumentError
            The valve did not confirm it.
        """
        command = self._valve.set.format(value=voltage_v)
        sent = voltage_v
        if not self.low <= sent <= self.high:
            raise InterlockError(
                f"the valve would be set to {voltage_v:g} V, and may be set from {self.low:g} to {self.high:g} V"
            )
        self.voltage = None

        def once() -> None:
            self._transport.write(command, errors=self._valve.errors)
            said = self.read() if self.can_read else sent
            if not abs(said - sent) <= _VALVE_AGREES * (self._valve.high.value - self._valve.low.value):
                raise GarbledError(self.role, f"it was set to {sent:g} V and says {said:g} V")

        self._try(once)
        self.voltage = sent
        return sent

    @property
    def can_read(self) -> bool:
        """Whether its voltage can be queried."""
        return self._valve.read is not None

    def read(self) -> float:
        """Return the voltage that it reports, V."""
        return self._query(self._valve.read, number_of)

    def switch_on(self) -> None:
        """Switch it on, ready to be set."""
        if self._valve.on is not None:
            self._write(self._valve.on)

    def switch_off(self) -> None:
        """Switch it off, its safe state."""
        self.voltage = None
        self._write(self._valve.off)


class Lamp(_Role):
    """The lamp."""

    role = "lamp"

    def __init__(self, transport: Transport, described: LampInstrument) -> None:
        super().__init__(transport, described)
        self._lamp = described
        self.is_on: bool | None = None

    @property
    def can_read(self) -> bool:
        """Whether its state can be queried."""
        return self._lamp.read is not None

    def switch(self, on: bool) -> None:
        """Switch it on or off, and confirm it if it can be queried.

        Raises
        ------
        InstrumentError
            It did not confirm the command.
        """
        self.is_on = None
        command = self._lamp.on if on else self._lamp.off

        def once() -> None:
            self._transport.write(command, errors=self._lamp.errors)
            if self.can_read and self.read() is not on:
                raise GarbledError(self.role, f"it was sent '{command}' and says that it is {'off' if on else 'on'}")

        self._try(once)
        self.is_on = on

    def read(self) -> bool:
        """Return whether it is on."""
        return self._query(self._lamp.read, switch_of)


class Thermostat(_Role):
    """The thermostat of the envelope."""

    role = "thermostat"

    def __init__(self, transport: Transport, described: ThermostatInstrument) -> None:
        super().__init__(transport, described)
        self._thermostat = described
        self.low_k, self.high_k = described.low.value, described.high.value

    def hold(self, temperature_k: float) -> None:
        """Set a temperature, K, and switch it on.

        Raises
        ------
        InterlockError
            The temperature is outside the stated range; nothing was sent.
        InstrumentError
            It did not confirm the command.
        """
        if not self.low_k <= temperature_k <= self.high_k:
            raise InterlockError(
                f"the thermostat would be set to {temperature_k - 273.15:g} degC, and may be set from "
                f"{self.low_k - 273.15:g} to {self.high_k - 273.15:g} degC"
            )
        value = float(from_si(temperature_k, self._thermostat.unit, "temperature"))
        self._write(self._thermostat.set.format(value=value))
        if self._thermostat.on is not None:
            self._write(self._thermostat.on)

    def switch_off(self) -> None:
        """Switch it off, its safe state."""
        self._write(self._thermostat.off)


@dataclass(frozen=True)
class RawTrace:
    """A trace as the oscilloscope sent it, or a sound card (coupled); volts are ``offset + scale * numbers``."""

    numbers: NDArray[Any]
    interval_s: float
    scale: float
    offset: float
    coupled: bool = False

    def trace(self) -> Trace:
        """Return the trace in volts."""
        volts = self.offset + self.scale * self.numbers.astype(np.float64)
        return Trace(volts, self.interval_s, coupled=self.coupled)


class Tachometer(_Role):
    """An oscilloscope on the tachometer."""

    role = "tachometer"

    def __init__(self, transport: Transport, described: TachometerInstrument) -> None:
        super().__init__(transport, described)
        self._scope = described
        self._took_s: dict[float | None, float] = {}

    @property
    def has_rate(self) -> bool:
        """Whether pulses per second can be queried."""
        return self._scope.rate is not None

    @property
    def is_signed(self) -> bool:
        """Whether its pulses per second are negative when the dark face leads."""
        return self._scope.signed

    @property
    def has_own_clock(self) -> bool:
        """Whether it has a clock that can be queried."""
        return self._scope.time is not None

    def time_s(self) -> float:
        """Return the time on its own clock, or else on that of the computer, s."""
        if self._scope.time is None:
            return self._transport.clock.monotonic()
        return self._query(self._scope.time, number_of)

    def rate_hz(self) -> float:
        """Return the pulses per second; nan if it reports no number, as when nothing turns."""
        return self._query(self._scope.rate, _rate_of)

    def take(self, duration_s: float | None = None, attend: Attend | None = None) -> RawTrace:
        """Take a trace.

        Parameters
        ----------
        duration_s : float, optional
            Its length, s, if the length can be chosen.
        attend : callable, optional
            Waits for an event, up to a number of seconds, and handles other tasks meanwhile; an error that it raises
            ends the wait. Default: waits only.

        Raises
        ------
        InstrumentError
            No complete trace in any attempt; if traces are read twice, no two were the same.
        """
        for left in range(self._scope.retries, -1, -1):
            try:
                return self._named(lambda: self._once(duration_s, attend or self._wait))
            except InstrumentError as error:
                if not left:
                    raise
                self._transport.on_trouble(f"{error} (taken again, {left} more tries)")
        raise AssertionError("not reached")

    def _once(self, duration_s: float | None, attend: Attend) -> RawTrace:
        scope, transport = self._scope, self._transport
        if scope.set_duration is not None and duration_s is not None:
            transport.write(scope.set_duration.format(value=duration_s), errors=scope.errors)
        expected = self._took_s.get(duration_s, 0.0)
        clock, never = transport.clock, threading.Event()
        began = clock.monotonic()
        if scope.start is not None:
            # No check query after it: an instrument may delay its answer until the trace is complete.
            transport.write(scope.start, errors=scope.errors) if scope.errors else transport.write_only(scope.start)
        while (left := 0.9 * expected - (clock.monotonic() - began)) > 0:
            attend(never, left)
        if scope.wait is not None:
            limit = transport.timeout_s + 2 * (expected or duration_s or 0.0)
            transport.query_while(scope.wait, attend, timeout_s=limit)
        self._took_s[duration_s] = clock.monotonic() - began
        first = self._fetch()
        if scope.twice:
            second = self._fetch()
            same = (
                (first.interval_s, first.scale, first.offset) == (second.interval_s, second.scale, second.offset)
                and first.numbers.shape == second.numbers.shape
                and first.numbers.tobytes() == second.numbers.tobytes()
            )
            if not same:
                raise GarbledError(self.role, "the trace was different when it was read again")
        return first

    def _wait(self, event: Event, seconds: float) -> None:
        self._transport.clock.wait(event, seconds)

    def _fetch(self) -> RawTrace:
        scope, transport = self._scope, self._transport
        interval = sample_interval(scope)
        if interval is None:
            interval = transport.query(scope.interval, number_of)
        scale, offset = (
            float(part) if isinstance(part, int | float) else transport.query(part, number_of)
            for part in (scope.scale, scope.offset)
        )
        if not (math.isfinite(interval) and interval > 0 and math.isfinite(scale * 1.0) and scale != 0):
            raise GarbledError(self.role, f"it reports an interval of {interval:g} s and a scale of {scale:g} V")
        if not math.isfinite(offset):
            raise GarbledError(self.role, f"it reports an offset of {offset:g} V")
        numbers = self._numbers()
        if numbers.size < _LEAST_SAMPLES:
            raise GarbledError(self.role, f"the trace has {numbers.size} samples")
        return RawTrace(numbers, interval, scale, offset)

    def _numbers(self) -> NDArray[Any]:
        scope = self._scope
        if scope.format == "ascii":
            return self._transport.query(scope.read, lambda text: np.array([number_of(one) for one in text.split(",")]))
        kind = np.dtype(_FORMATS[scope.format]).newbyteorder("<" if scope.byte_order == "little" else ">")
        content = self._transport.query_block(scope.read)
        if len(content) % kind.itemsize:
            raise GarbledError(self.role, f"{len(content)} bytes are not a whole number of {scope.format}")
        numbers = np.frombuffer(content, kind).astype(kind.newbyteorder("="))
        if kind.kind == "f" and not np.isfinite(numbers).all():
            raise GarbledError(self.role, "the trace holds values that are not numbers")
        return numbers
