"""The section `[instruments]` of `bench.toml`: the connected instruments and the commands for them.

No make of instrument is built in: the owner states the commands from its manual.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from string import Formatter
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, model_validator

from edgewind.bench.fields import FieldProblem, Section, Temperature, Time, Voltage, quantity
from edgewind.errors import InputError
from edgewind.units import Measured, parse_quantity, parse_unit


def _regular(pattern: str) -> str:
    try:
        re.compile(pattern)
    except re.error as error:
        raise FieldProblem(
            InputError(f"'{pattern}' is not a pattern ({error})", fix=r"write one like '^P=(?P<gauge>\S+)$'")
        ) from None
    return pattern


def _with_value(command: str) -> str:
    problem = ""
    try:
        fields = [name for _, name, _, _ in Formatter().parse(command) if name is not None]
        if fields != ["value"]:
            problem = "it has to hold {value} once"
        elif command.format(value=1.5) == command.format(value=2.5):
            problem = "it writes 1.5 and 2.5 in the same way"
    except (ValueError, KeyError, IndexError) as error:
        problem = str(error)
    if problem:
        raise FieldProblem(
            InputError(f"'{command}' cannot send a value: {problem}", fix="write it like 'VOLT {value:.4f}'")
        )
    return command


Pattern = Annotated[str, AfterValidator(_regular)]
Setting = Annotated[str, AfterValidator(_with_value)]
Command = Annotated[str, Field(min_length=1)]


class Instrument(Section):
    """Connection to an instrument; the same keys for every role.

    Attributes
    ----------
    resource : str or None
        A VISA resource: ``TCPIP::127.0.0.1::5025::SOCKET``, ``USB0::…::INSTR``, ``ASRL/dev/ttyUSB0::INSTR``.
    port : str or None
        Serial port of a board that prints lines, instead of a resource.
    baud : int
        Baud rate of that port.
    lines : str or None
        Pattern of a line: each group is named for the role whose number it holds.
    timeout : Measured
        Longest wait for an answer, s.
    retries : int
        Number of repeated queries before the instrument counts as not answering.
    termination : str
        Line terminator, in both directions.
    check : str or None
        Query whose answer never changes. After an error it must give the same answer as at the beginning before other
        answers are accepted, so that a late answer is not taken for the next one. Empty: there is no such query;
        default: ``*IDN?`` for a VISA resource, none for a port.
    errors : str
        Query answered with ``0`` or ``0,"No error"`` if the last command was understood: ``SYST:ERR?``. If stated, it
        follows every command, and a command that was not understood is sent again.
    """

    resource: Command | None = None
    port: Command | None = None
    baud: int = Field(default=9600, ge=50, le=10_000_000)
    lines: Pattern | None = None
    timeout: Time = Measured(2.0)
    retries: int = Field(default=2, ge=0, le=20)
    termination: Literal["\n", "\r\n", "\r"] = "\n"
    check: str | None = None
    errors: str = ""

    @model_validator(mode="after")
    def _reached_one_way(self) -> Instrument:
        if getattr(self, "sound_card", None) is not None:  # the tachometer's alone
            if self.resource is not None or self.port is not None:
                raise FieldProblem(
                    InputError("two connections are stated", fix="give the sound card or the VISA resource")
                )
            return self
        if (self.resource is None) == (self.port is None):
            raise FieldProblem(
                InputError(
                    "no connection to the instrument is stated" if self.port is None else "two connections are stated",
                    fix="give a VISA resource, or the port of a board that prints lines",
                )
            )
        if self.resource is not None and self.lines is not None:
            raise FieldProblem(
                InputError("lines belong to a port, and a resource is given", fix="give port = '/dev/ttyACM0'")
            )
        return self

    @property
    def check_question(self) -> str:
        """The query whose answer never changes; empty if there is none."""
        return ("*IDN?" if self.resource is not None else "") if self.check is None else self.check

    @property
    def address(self) -> str:
        """Address of the connection; instruments with the same address share it."""
        return str(self.resource or self.port or f"sound card {getattr(self, 'sound_card', '')}")


def _unit_of(unit: str, kinds: tuple[str, ...], example: str) -> str:
    for kind in kinds:
        try:
            parse_unit(unit, kind)
        except InputError:
            continue
        return unit
    raise FieldProblem(InputError(f"'{unit}' is not a unit that fits", key=None, fix=f"write {example}"))


class GaugeInstrument(Instrument):
    """Reads the pressure gauge.

    Attributes
    ----------
    read : str or None
        Query for a number.
    unit : str
        Unit of that number: of a voltage, which `[gauge]` turns into a pressure, or of a pressure.
    """

    read: Command | None = None
    unit: Annotated[str, AfterValidator(lambda unit: _unit_of(unit, ("voltage", "pressure"), "'V', 'mV' or 'Pa'"))] = (
        "V"
    )

    @property
    def gives_volts(self) -> bool:
        """Whether it answers in volts."""
        try:
            parse_unit(self.unit, "voltage")
        except InputError:
            return False
        return True


class ThermometerInstrument(Instrument):
    """Reads the temperature of the envelope.

    Attributes
    ----------
    read : str or None
        Query for a number.
    unit : str
        Unit of that number.
    """

    read: Command | None = None
    unit: Annotated[str, AfterValidator(lambda unit: _unit_of(unit, ("temperature",), "'degC' or 'K'"))] = "degC"


class ValveInstrument(Instrument):
    """Sets the voltage of a proportional valve. Its `off` state is the safe one.

    Attributes
    ----------
    set : str
        Command that sets the voltage, with `{value}` in its place.
    read : str or None
        Query for the voltage, which confirms the setting.
    on : str or None
        Command that switches the valve on.
    off : str
        Command that switches the valve off, its safe state.
    low : Measured
        Lower end of the valve's range.
    high : Measured
        Upper end of the valve's range.
    rises : bool
        Whether a higher voltage admits more gas.
    """

    set: Setting
    read: Command | None = None
    on: Command | None = None
    off: Command
    low: Voltage
    high: Voltage
    rises: bool = True

    @model_validator(mode="after")
    def _has_a_range(self) -> ValveInstrument:
        if not self.low.value < self.high.value:
            raise FieldProblem(
                InputError(
                    f"low is {self.low.value:g} V and high {self.high.value:g} V",
                    key="instruments.valve.low",
                    fix="give the lower end of the valve's range as low",
                )
            )
        return self

    @property
    def closed(self) -> float:
        """The end of the range at which the valve admits least gas, V."""
        return float(self.low.value if self.rises else self.high.value)


class LampInstrument(Instrument):
    """Switches the lamp. Off is the safe state.

    Attributes
    ----------
    on : str
        Command that switches the lamp on.
    off : str
        Command that switches the lamp off, its safe state.
    read : str or None
        Query answered with 1, 0, on or off.
    """

    on: Command
    off: Command
    read: Command | None = None


class ThermostatInstrument(Instrument):
    """Holds the envelope at a temperature. Off, in which the envelope returns to room temperature, is its safe state.

    Attributes
    ----------
    set : str
        Command that sets the temperature, with `{value}` in its place.
    unit : str
        Unit of that number.
    on : str or None
        Command that switches it on.
    off : str
        Command that switches it off, its safe state.
    low, high : Measured
        Limits of its temperature: those that the glass, its seals and its glued joints withstand.
    """

    set: Setting
    unit: Annotated[str, AfterValidator(lambda unit: _unit_of(unit, ("temperature",), "'degC' or 'K'"))] = "degC"
    on: Command | None = None
    off: Command
    low: Temperature
    high: Temperature

    @model_validator(mode="after")
    def _has_a_range(self) -> ThermostatInstrument:
        if not self.low.value < self.high.value:
            raise _problem("instruments.thermostat.low", "low must be below high", "write low = '-30 degC', say")
        return self


class TachometerInstrument(Instrument):
    """Takes a trace of the tachometer with an oscilloscope.

    Volts are ``offset + scale * number``.

    Attributes
    ----------
    start : str or None
        Command that begins a trace.
    wait : str or None
        Query answered when the trace is complete.
    read : str
        Query for the samples: a definite-length block (IEEE 488.2, 8.7.9), or numbers with commas
        between.
    format : str
        Format of the numbers in a block.
    byte_order : str
        Order of the bytes of a number.
    interval : str
        Time between two samples: a query, or a value such as ``0.1 ms``.
    scale : str or float
        Volts per number: a query or a value.
    offset : str or float
        Volts at zero: a query or a value.
    set_duration : str or None
        Command that sets the length of a trace, in s, with `{value}` in its place; coast-downs and short looks need it.
    rate : str or None
        Query for the pulses per second: polled while a reading settles, and recorded in a run.
    signed : bool
        Whether that answer has a sign, as of a counter on two sensors: negative where the dark face leads.
    time : str or None
        Query for the time on the instrument's own clock, s, for runs; default: the clock of the computer.
    twice : bool
        Whether each trace is read twice and must be the same.
    sound_card : str or None
        The input of a sound card instead of an oscilloscope: its name, its number, or ``default``.
    sample_rate : Measured
        Samples a second of a sound card.
    duration : Measured
        Default length of a recording by a sound card.
    input_channel : int
        Channel of a sound card, counted from one.
    """

    sound_card: Command | None = None
    sample_rate: quantity("frequency", least=4000.0) = Measured(48_000.0)  # type: ignore[valid-type]
    duration: Time = Measured(10.0)
    input_channel: int = Field(default=1, ge=1, le=32)
    start: Command | None = None
    wait: Command | None = None
    read: Command = "-"
    format: Literal["int8", "int16", "int32", "float32", "float64", "ascii"] = "int16"
    byte_order: Literal["little", "big"] = "little"
    interval: Command = "-"
    scale: Command | float = 1.0
    offset: Command | float = 0.0
    set_duration: Setting | None = None
    rate: Command | None = None
    signed: bool = False
    time: Command | None = None
    twice: bool = True

    @model_validator(mode="after")
    def _is_asked(self) -> TachometerInstrument:
        if self.port is not None:
            raise FieldProblem(
                InputError("a board that prints lines sends no traces", fix="give the VISA resource of an oscilloscope")
            )
        for key in ("read", "interval"):
            if self.sound_card is None and key not in self.model_fields_set:
                raise FieldProblem(InputError("no query is stated", key=key, fix=f"write {key} = '...', or sound_card"))
        return self


class InstrumentsSection(Section):
    """The connected instruments; all others are read and operated by hand."""

    gauge: GaugeInstrument | None = None
    thermometer: ThermometerInstrument | None = None
    valve: ValveInstrument | None = None
    lamp: LampInstrument | None = None
    tachometer: TachometerInstrument | None = None
    thermostat: ThermostatInstrument | None = None

    def named(self) -> Iterator[tuple[str, Instrument]]:
        """Return the roles that are described, and their connections."""
        for role in type(self).model_fields:
            instrument = getattr(self, role)
            if instrument is not None:
                yield role, instrument

    @model_validator(mode="after")
    def _fit_together(self) -> InstrumentsSection:
        patterns: dict[str, str] = {}
        first: dict[str, tuple[str, Instrument]] = {}
        for role, one in self.named():
            if one.lines is not None and patterns.setdefault(one.address, one.lines) != one.lines:
                raise _problem(f"instruments.{role}.lines", "another pattern is given for this port", "write one only")
            other_role, other = first.setdefault(one.address, (role, one))
            shared: tuple[tuple[str, Any, Any], ...] = (
                ("baud", one.baud, other.baud),
                ("termination", one.termination, other.termination),
                ("check", one.check, other.check),
            )
            for key, mine, theirs in shared:
                if mine != theirs:
                    raise _problem(
                        f"instruments.{role}.{key}",
                        f"{mine!r} here and {theirs!r} for the {other_role}, on one connection",
                        "write the same for both",
                    )
        for role, one in self.named():
            if role not in ("gauge", "thermometer") or getattr(one, "read", None) is not None:
                continue
            if one.port is None:
                raise _problem(f"instruments.{role}.read", "no query is stated", "write read = 'MEAS:VOLT?'")
            pattern = patterns.get(one.address)
            if pattern is None or role not in re.compile(pattern).groupindex:
                raise _problem(
                    f"instruments.{role}.lines",
                    f"no group of the pattern is named '{role}'",
                    rf"write lines = '^X=(?P<{role}>\S+)$'",
                )
        return self

    def pattern_of(self, address: str) -> str | None:
        """Return the pattern of the lines that the board at a port prints; None where it prints none by itself."""
        return next((one.lines for _, one in self.named() if one.address == address and one.lines is not None), None)


def _problem(key: str, problem: str, fix: str) -> FieldProblem:
    return FieldProblem(InputError(problem, key=key, fix=fix))


def sample_interval(instrument: TachometerInstrument) -> float | None:
    """Return the interval between samples as a value, s; None if it is a query."""
    try:
        return parse_quantity(instrument.interval, "time")
    except InputError:
        return None
