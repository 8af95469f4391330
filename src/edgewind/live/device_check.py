"""A check of every device that a bench names: whether it answers, its identity and its reading; moves nothing."""

from __future__ import annotations

from dataclasses import dataclass

from edgewind.bench import Bench
from edgewind.formatting import format_number
from edgewind.live.errors import InstrumentError
from edgewind.live.instruments import Instruments, connect


@dataclass(frozen=True)
class DeviceCheck:
    """Answers of one device.

    Attributes
    ----------
    role : str
        ``gauge``, ``thermometer``, ``valve``, ``lamp`` or ``tachometer``.
    address : str
        Its VISA resource or serial port.
    identity : str
        Its answer to the check query; empty if it has none.
    reading : str
        Its reading, with a unit; empty if it can only be set.
    problem : str
        Why it cannot be used; empty if it can.
    """

    role: str
    address: str
    identity: str
    reading: str
    problem: str


def check_devices(bench: Bench) -> list[DeviceCheck]:
    """Connect to every device of a bench and query it once; nothing is set or switched.

    Returns
    -------
    list of DeviceCheck
        In the order gauge, thermometer, valve, lamp, tachometer; empty if everything is done by hand.

    Raises
    ------
    InputError
        Something could be moved and no limits are stated.
    """
    section = bench.instruments
    if section is None:
        return []
    with connect(bench) as opened:
        return [_check(opened, role, one.address) for role, one in section.named()]


def _check(instruments: Instruments, role: str, address: str) -> DeviceCheck:
    try:
        reading = _reading(instruments, role)
    except InstrumentError as error:
        return DeviceCheck(role, address, "", "", str(error))
    device = getattr(instruments, role)
    return DeviceCheck(role, address, device.identity, reading, "")


def _reading(instruments: Instruments, role: str) -> str:
    if role in ("gauge", "thermometer"):
        meter = instruments.gauge if role == "gauge" else instruments.thermometer
        assert meter is not None
        return f"{meter.read().text} {meter.unit}"
    if role == "lamp" and instruments.lamp is not None and instruments.lamp.can_read:
        return "on" if instruments.lamp.read() else "off"
    if role == "valve" and instruments.valve is not None and instruments.valve.can_read:
        return f"{format_number(instruments.valve.read(), 4)} V"
    if role == "tachometer" and instruments.tachometer is not None and instruments.tachometer.has_rate:
        rate = instruments.tachometer.rate_hz()
        return f"{format_number(rate, 4)} pulses per second" if rate == rate else "no pulses"
    getattr(instruments, role).verify()
    return ""
