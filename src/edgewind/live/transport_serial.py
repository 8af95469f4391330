"""The serial port of a board that prints lines, or answers with lines."""

from __future__ import annotations

import re
from typing import Any

from edgewind.extras import need
from edgewind.live.errors import DisconnectedError, GarbledError
from edgewind.live.transport import Transport, no_answer

_BREAKS: tuple[type[Exception], ...] = (OSError,)
try:
    import termios

    _BREAKS = (OSError, termios.error)
except ImportError:  # Windows
    pass

_QUIET_S = 0.05
_LONGEST_DRAIN_S = 1.0


class SerialTransport(Transport):
    """A serial port; see :class:`edgewind.live.transport.Transport`.

    Parameters
    ----------
    address : str
        The port: ``/dev/ttyACM0``, ``COM3``.
    baud : int
        Bits per second.
    pattern : str, optional
        A pattern with named groups that matches every whole line of a board that prints by itself.
    """

    def __init__(self, address: str, *, baud: int = 9600, pattern: str | None = None, **settings: Any) -> None:
        super().__init__(address, **settings)
        self._baud = baud
        self._pattern = None if pattern is None else re.compile(pattern)
        self._port: Any = None
        self._breaks = _BREAKS

    def listen(self, group: str) -> str:
        """Return a named group of the next line that begins after this call.

        Raises
        ------
        InstrumentError
            No matching line in any attempt.
        """

        def once() -> str:
            self._port.reset_input_buffer()
            self._read_line(self.timeout_s)  # the rest of a line whose beginning may be missing
            said = self._read_line(self.timeout_s).decode("ascii", errors="replace").strip("\r\n")
            match = None if self._pattern is None else self._pattern.fullmatch(said)
            found = None if match is None else match[group]
            if found is None:
                raise GarbledError(self.address, f"the line {said[:80]!r} does not match the pattern")
            return found

        return self._attempt(once, self.retries)

    def _open(self) -> None:
        serial = need("serial", extra="instruments", purpose="to talk to a board on a serial port")
        try:
            self._port = serial.serial_for_url(
                self.address, self._baud, timeout=self.timeout_s, write_timeout=self.timeout_s
            )
        except (OSError, ValueError) as error:
            raise DisconnectedError(
                self.address,
                f"cannot be opened ({error})",
                "check that the board is plugged in and that `port` names it",
            ) from error

    def _shut(self) -> None:
        port, self._port = self._port, None
        if port is not None:
            try:
                port.close()
            except OSError:
                return

    def _send(self, data: bytes) -> None:
        self._port.write(data)
        self._port.flush()

    def _read_line(self, timeout_s: float) -> bytes:
        self._port.timeout = timeout_s
        line = bytes(self._port.read_until(self.termination, 1 << 20))
        if not line.endswith(self.termination):
            raise no_answer(self.address, timeout_s, line)
        return line[: -len(self.termination)]

    def _read_exactly(self, count: int, timeout_s: float) -> bytes:
        self._port.timeout = timeout_s
        got = bytes(self._port.read(count))
        if len(got) < count:
            raise no_answer(self.address, timeout_s, got)
        return got

    def _pending(self) -> bool:
        # a board that prints by itself always has unread data
        return self._pattern is None and bool(self._port.in_waiting)

    def _drain(self) -> None:
        if self._pattern is not None:
            return  # it prints continuously; `listen` begins with a new line
        self._port.timeout = _QUIET_S
        end = self.clock.monotonic() + _LONGEST_DRAIN_S
        while self.clock.monotonic() < end and self._port.read(4096):
            continue
