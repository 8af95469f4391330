"""A VISA resource, through PyVISA with pyvisa-py: a TCP socket, USB, a serial line."""

from __future__ import annotations

import contextlib
import select
import socket
import threading
from typing import Any

from edgewind.extras import need
from edgewind.live.errors import DisconnectedError, InstrumentError
from edgewind.live.transport import SEE, Transport, no_answer

_CHUNK = 1 << 20
_QUIET_S, _LONGEST_DRAIN_S = 0.02, 1.0
_manager: Any = None
_manager_lock = threading.Lock()


def _library() -> Any:
    need("pyvisa_py", extra="instruments", purpose="to talk to an instrument over VISA")
    return need("pyvisa", extra="instruments", purpose="to talk to an instrument over VISA")


def manager() -> Any:
    """Return the one resource manager of the program.

    Raises
    ------
    MissingExtraError
        The packages for instruments are not installed.
    """
    global _manager
    with _manager_lock:
        if _manager is None:
            _manager = _library().ResourceManager("@py")
        return _manager


class VisaTransport(Transport):
    """A VISA resource; see :class:`edgewind.live.transport.Transport`. `baud` is used for serial ones."""

    def __init__(self, address: str, *, baud: int = 9600, **settings: Any) -> None:
        super().__init__(address, **settings)
        self._baud = baud
        self._visa = _library()
        self._resource: Any = None

    def _open(self) -> None:
        wait_ms = max(int(1000 * self.timeout_s), 1)
        try:
            resource: Any = manager().open_resource(self.address, open_timeout=wait_ms)
        except Exception as error:  # PyVISA-py raises bare exceptions, ImportError, ValueError, OSError and its own
            raise DisconnectedError(
                self.address,
                f"cannot be opened ({str(error).splitlines()[0] if str(error) else type(error).__name__})",
                "see that it is switched on, that its cable is in place and that `resource` names it",
            ) from error
        resource.timeout = wait_ms
        if hasattr(resource, "baud_rate"):
            resource.baud_rate = self._baud
        self._resource = resource

    def _shut(self) -> None:
        resource, self._resource = self._resource, None
        if resource is not None:
            try:
                resource.close()
            except Exception:  # it is closed already, which was asked for
                return

    def _send(self, data: bytes) -> None:
        try:
            self._resource.write_raw(data)
        except self._visa.VisaIOError as error:
            raise self._as_error(error) from error

    def _read_line(self, timeout_s: float) -> bytes:
        self._await(timeout_s)
        try:
            self._resource.timeout = max(int(1000 * min(timeout_s, self.timeout_s)), 1)
            self._resource.read_termination = self.termination.decode()
            line = bytes(self._resource.read_raw(_CHUNK))
        except self._visa.VisaIOError as error:
            raise self._as_error(error, timeout_s) from error
        if not line.endswith(self.termination):
            raise no_answer(self.address, timeout_s, line)
        return line[: -len(self.termination)]

    def _read_exactly(self, count: int, timeout_s: float) -> bytes:
        if not count:
            return b""
        self._await(timeout_s)
        try:
            self._resource.timeout = max(int(1000 * min(timeout_s, self.timeout_s)), 1)
            self._resource.read_termination = None  # a byte of a block may look like the end of a line
            return bytes(self._resource.read_bytes(count, chunk_size=_CHUNK))
        except self._visa.VisaIOError as error:
            raise self._as_error(error, timeout_s) from error

    def abort(self) -> None:  # noqa: D102
        # the other thread may let go of the resource at this very moment, which is what is wanted
        with contextlib.suppress(OSError, AttributeError):
            link, _ = self._link()
            if link is not None:
                link.shutdown(socket.SHUT_RDWR)

    def _link(self) -> tuple[socket.socket | None, bool]:
        """The TCP socket beneath, where there is one, and whether bytes of it wait in pyvisa-py."""
        sessions = getattr(self._resource.visalib, "sessions", {})
        session = sessions.get(self._resource.session)
        link = getattr(session, "interface", None)
        return (link if isinstance(link, socket.socket) else None), bool(getattr(session, "_pending_buffer", b""))

    def _await(self, timeout_s: float) -> None:
        """Wait for the first byte; a connection that the other side has closed is reported at once.

        pyvisa-py takes a closed connection for one on which nothing comes, and asks it without rest until the time is
        over.
        """
        link, waiting = self._link()
        if link is None or waiting:
            return
        end = self.clock.monotonic() + timeout_s
        while not select.select([link], [], [], max(min(end - self.clock.monotonic(), 1.0), 0.0))[0]:
            if self.clock.monotonic() >= end:
                raise no_answer(self.address, timeout_s)
        self._see_open(link)

    def _see_open(self, link: socket.socket) -> None:
        if not link.recv(1, socket.MSG_PEEK):
            raise DisconnectedError(self.address, "the other side has closed the connection", SEE)

    def _pending(self) -> bool:
        link, waiting = self._link()
        if link is None:
            # serial lines know what has come; USB keeps messages apart by itself
            return bool(getattr(self._resource, "bytes_in_buffer", 0))
        if waiting:
            return True
        if not select.select([link], [], [], 0)[0]:
            return False
        self._see_open(link)
        return True

    def _drain(self) -> None:
        link, _ = self._link()
        if link is not None:
            # pyvisa-py's own clear never returns on a connection that the other side has closed
            end = self.clock.monotonic() + _LONGEST_DRAIN_S
            while select.select([link], [], [], _QUIET_S)[0] and self.clock.monotonic() < end:
                self._see_open(link)
                link.recv(65536)
            return
        try:
            self._resource.clear()
        except (self._visa.VisaIOError, NotImplementedError, AttributeError):
            return  # not every kind of resource can be cleared: the check question sees what is left

    def _as_error(self, error: Any, timeout_s: float | None = None) -> InstrumentError:
        if error.error_code == self._visa.constants.StatusCode.error_timeout:
            return no_answer(self.address, self.timeout_s if timeout_s is None else timeout_s)
        return DisconnectedError(self.address, f"the connection broke ({error.abbreviation})")
