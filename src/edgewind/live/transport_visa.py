"""A VISA resource other than a TCP socket, through PyVISA with pyvisa-py: USB, GPIB, a serial line, VXI-11."""

from __future__ import annotations

import threading
from typing import Any

from edgewind.extras import need
from edgewind.live.errors import DisconnectedError, InstrumentError
from edgewind.live.transport import Transport, no_answer

_CHUNK = 1 << 20
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
                "check that it is switched on, that its cable is connected and that `resource` names it",
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
            except Exception:  # it is already closed
                return

    def _send(self, data: bytes) -> None:
        try:
            self._resource.write_raw(data)
        except self._visa.VisaIOError as error:
            raise self._as_error(error) from error

    def _read_line(self, timeout_s: float) -> bytes:
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
        try:
            self._resource.timeout = max(int(1000 * min(timeout_s, self.timeout_s)), 1)
            self._resource.read_termination = None  # a byte of a block may look like the end of a line
            return bytes(self._resource.read_bytes(count, chunk_size=_CHUNK))
        except self._visa.VisaIOError as error:
            raise self._as_error(error, timeout_s) from error

    def _pending(self) -> bool:
        # serial lines report unread bytes; USB separates messages by itself
        return bool(getattr(self._resource, "bytes_in_buffer", 0))

    def _drain(self) -> None:
        try:
            self._resource.clear()
        except (self._visa.VisaIOError, NotImplementedError, AttributeError):
            return  # not every kind of resource can be cleared: the check query detects the rest

    def _as_error(self, error: Any, timeout_s: float | None = None) -> InstrumentError:
        if error.error_code == self._visa.constants.StatusCode.error_timeout:
            return no_answer(self.address, self.timeout_s if timeout_s is None else timeout_s)
        return DisconnectedError(self.address, f"the connection broke ({error.abbreviation})")
