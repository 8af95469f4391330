"""The instruments of `[instruments]`: one connection for each address, one object for each role."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Self

from edgewind.bench import Bench
from edgewind.bench.instruments import Instrument, InstrumentsSection
from edgewind.clock import Clock
from edgewind.errors import InputError
from edgewind.live.devices import Lamp, Meter, Tachometer, Thermostat, Valve
from edgewind.live.sound_card import SoundCard
from edgewind.live.transport import Transport
from edgewind.live.transport_serial import SerialTransport
from edgewind.live.transport_tcp import TcpTransport, is_tcp_socket
from edgewind.live.transport_visa import VisaTransport


def open_resource(address: str, **settings: Any) -> Transport:
    """Return the transport of a VISA resource name; that of a TCP socket needs no VISA."""
    return (TcpTransport if is_tcp_socket(address) else VisaTransport)(address, **settings)


# Kinds of connection, by the key of `bench.toml` that chooses them.
TRANSPORTS: dict[str, Callable[..., Transport]] = {"resource": open_resource, "port": SerialTransport}


@dataclass
class Instruments:
    """The connected devices; None for one that is operated by hand."""

    gauge: Meter | None = None
    thermometer: Meter | None = None
    valve: Valve | None = None
    lamp: Lamp | None = None
    tachometer: Tachometer | SoundCard | None = None
    thermostat: Thermostat | None = None
    transports: list[Transport] = field(default_factory=list)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close every connection; moves nothing."""
        for transport in self.transports:
            transport.close()

    def on_trouble(self, report: Callable[[str], None]) -> None:
        """Report every failed attempt."""
        for transport in self.transports:
            transport.on_trouble = report

    def verify(self) -> None:
        """Check on every connection that queries and answers match.

        Raises
        ------
        InstrumentError
            On one they do not match.
        """
        for transport in self.transports:
            transport.verify()

    def make_safe(self) -> tuple[list[str], list[str]]:
        """Switch lamp, valve and thermostat off, each independently of the others.

        Returns
        -------
        done, failed : list of str
            Devices that are off, and those that could not be switched off with the reason.
        """
        done, failed = [], []
        moves: list[tuple[str, Callable[[], Any]]] = []
        if self.lamp is not None:
            lamp = self.lamp
            moves.append(("lamp off", lambda: lamp.switch(False)))
        if self.valve is not None:
            moves.append(("valve off", self.valve.switch_off))
        if self.thermostat is not None:
            moves.append(("thermostat off", self.thermostat.switch_off))
        for name, move in moves:
            try:
                move()
                done.append(name)
            except Exception as error:  # for any error, the others must still be tried
                failed.append(f"{name}: {error}")
        return done, failed


def connect(
    bench: Bench, clock: Clock | None = None, transports: Mapping[str, Callable[..., Transport]] = TRANSPORTS
) -> Instruments:
    """Return the instruments of a bench; connections open at first use, and nothing moves.

    Parameters
    ----------
    bench : Bench
        The apparatus.
    clock : Clock, optional
        Clock of the connections; default: that of the machine.
    transports : mapping of str to callable
        Makers of connections, by the key of `bench.toml` that names the address: ``resource`` or ``port``.

    Raises
    ------
    InputError
        Something could be moved and no limits are stated.
    """
    section = bench.instruments or InstrumentsSection()
    check_limits(bench)
    opened: dict[str, Transport] = {}

    def transport(one: Instrument) -> Transport:
        if one.address not in opened:
            opened[one.address] = _transport_of(one, section, clock, transports)
        found = opened[one.address]
        found.timeout_s, found.retries = max(found.timeout_s, one.timeout.value), max(found.retries, one.retries)
        return found

    limits = bench.limits
    most = None if limits is None or limits.valve_above is None else limits.valve_above.value
    made = Instruments(
        gauge=None if section.gauge is None else Meter(transport(section.gauge), section.gauge, "gauge"),
        thermometer=(
            None
            if section.thermometer is None
            else Meter(transport(section.thermometer), section.thermometer, "thermometer")
        ),
        valve=None if section.valve is None else Valve(transport(section.valve), section.valve, most),
        lamp=None if section.lamp is None else Lamp(transport(section.lamp), section.lamp),
        tachometer=(
            None
            if section.tachometer is None
            else SoundCard(section.tachometer, clock)
            if section.tachometer.sound_card is not None
            else Tachometer(transport(section.tachometer), section.tachometer)
        ),
        thermostat=(
            None if section.thermostat is None else Thermostat(transport(section.thermostat), section.thermostat)
        ),
    )
    made.transports = list(opened.values())
    return made


def _transport_of(
    one: Instrument,
    section: InstrumentsSection,
    clock: Clock | None,
    transports: Mapping[str, Callable[..., Transport]],
) -> Transport:
    settings: dict[str, Any] = {
        "baud": one.baud,
        "timeout_s": one.timeout.value,
        "retries": one.retries,
        "termination": one.termination,
        "check": one.check_question,
        "clock": clock,
    }
    if one.port is not None:
        return transports["port"](one.port, pattern=section.pattern_of(one.address), **settings)
    return transports["resource"](one.resource, **settings)


def check_limits(bench: Bench) -> None:
    """Check that nothing can be moved without the limits that guard it.

    Raises
    ------
    InputError
        A valve without ``limits.pressure_above`` or without a gauge to watch it, or a lamp without `[limits]`.
    """
    section, limits = bench.instruments, bench.limits
    if section is None:
        return
    if section.valve is not None:
        if limits is None or limits.pressure_above is None:
            raise InputError(
                "a connected valve needs a limit of the pressure",
                key="limits.pressure_above",
                fix="write [limits] with pressure_above = '…', the highest pressure for your pump and your glass",
            )
        if section.gauge is None:
            raise InputError(
                "a connected valve needs a gauge that is read while it moves",
                key="instruments.gauge",
                fix="add [instruments.gauge], or move the valve by hand",
            )
        if limits.valve_above is not None and limits.valve_above.value <= section.valve.low.value:
            raise InputError(
                f"the valve may not be set beyond {limits.valve_above.value:g} V, and its range begins at "
                f"{section.valve.low.value:g} V",
                key="limits.valve_above",
                fix="give a voltage within the range of the valve",
            )
        if limits.valve_above is not None and section.valve.closed > limits.valve_above.value:
            raise InputError(
                f"the valve is closed at {section.valve.closed:g} V, and may not be set beyond "
                f"{limits.valve_above.value:g} V: it could not be closed",
                key="limits.valve_above",
                fix="give a voltage at which it can be closed",
            )
    if section.thermostat is not None and section.thermometer is None:
        raise InputError(
            "a connected thermostat needs a thermometer for the envelope",
            key="instruments.thermometer",
            fix="add [instruments.thermometer], or chill and warm by hand",
        )
    if section.lamp is not None and limits is None:
        raise InputError(
            "a connected lamp needs limits",
            key="limits",
            fix="write [limits] with a condition that stops a sweep, such as temperature_above = '60 degC'",
        )
