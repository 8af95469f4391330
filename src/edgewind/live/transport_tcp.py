"""A TCP socket of an instrument, with its VISA name: ``TCPIP::192.168.1.20::5025::SOCKET``."""

from __future__ import annotations

import contextlib
import re
import select
import socket
from typing import Any

from edgewind.live.errors import DisconnectedError
from edgewind.live.transport import SEE, Transport, no_answer

_RESOURCE = re.compile(r"TCPIP\d*::(?P<host>[^:\[\]]+|\[[0-9A-Fa-f:.]+\])::(?P<port>\d{1,5})::SOCKET", re.IGNORECASE)
_CHUNK = 1 << 16
_LONGEST_LINE = 1 << 20
_QUIET_S, _LONGEST_DRAIN_S = 0.02, 1.0


def is_tcp_socket(resource: str) -> bool:
    """Return whether a resource name is that of a TCP socket."""
    return _RESOURCE.fullmatch(resource.strip()) is not None


class TcpTransport(Transport):
    """A TCP socket; see :class:`edgewind.live.transport.Transport`. It needs no package besides Python."""

    def __init__(self, address: str, *, baud: int = 0, **settings: Any) -> None:
        super().__init__(address, **settings)
        named = _RESOURCE.fullmatch(address.strip())
        assert named is not None
        self._place = named["host"].strip("[]"), int(named["port"])
        self._link: socket.socket | None = None
        self._come = bytearray()

    def _open(self) -> None:
        try:
            link = socket.create_connection(self._place, timeout=max(self.timeout_s, 1e-3))
        except (OSError, OverflowError) as error:
            raise DisconnectedError(
                self.address,
                f"cannot be opened ({getattr(error, 'strerror', None) or error})",
                "check that it is switched on, that its cable is connected and that `resource` names it",
            ) from error
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._come.clear()
        self._link = link

    def _shut(self) -> None:
        link, self._link = self._link, None
        if link is not None:
            link.close()

    def _open_link(self) -> socket.socket:
        if self._link is None:
            raise DisconnectedError(self.address, "the connection was closed", SEE)
        return self._link

    def _send(self, data: bytes) -> None:
        link = self._open_link()
        link.settimeout(max(self.timeout_s, 1e-3))
        link.sendall(data)

    def _read_line(self, timeout_s: float) -> bytes:
        end = self.clock.monotonic() + timeout_s
        while (place := self._come.find(self.termination)) < 0 and len(self._come) < _LONGEST_LINE:
            if not self._receive(end):
                raise no_answer(self.address, timeout_s, bytes(self._come))
        if place < 0:
            raise no_answer(self.address, timeout_s, bytes(self._come))
        line = bytes(self._come[:place])
        del self._come[: place + len(self.termination)]
        return line

    def _read_exactly(self, count: int, timeout_s: float) -> bytes:
        end = self.clock.monotonic() + timeout_s
        while len(self._come) < count:
            if not self._receive(end):
                raise no_answer(self.address, timeout_s, bytes(self._come))
        found = bytes(self._come[:count])
        del self._come[:count]
        return found

    def _receive(self, end: float) -> bool:
        """Wait for bytes until a moment; False if none arrived. A closed connection is reported immediately."""
        link = self._open_link()
        while not select.select([link], [], [], max(min(end - self.clock.monotonic(), 1.0), 0.0))[0]:
            if self.clock.monotonic() >= end:
                return False
        came = link.recv(_CHUNK)
        if not came:
            raise DisconnectedError(self.address, "the other side has closed the connection", SEE)
        self._come += came
        return True

    def abort(self) -> None:  # noqa: D102
        # the other thread may close the socket at this moment, which has the same effect
        with contextlib.suppress(OSError, AttributeError):
            if self._link is not None:
                self._link.shutdown(socket.SHUT_RDWR)

    def _pending(self) -> bool:
        if self._come:
            return True
        link = self._open_link()
        if not select.select([link], [], [], 0)[0]:
            return False
        return self._receive(self.clock.monotonic())

    def _drain(self) -> None:
        end = self.clock.monotonic() + _LONGEST_DRAIN_S
        while self.clock.monotonic() < end and self._receive(self.clock.monotonic() + _QUIET_S):
            self._come.clear()
        self._come.clear()
