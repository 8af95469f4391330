"""A VISA resource, through PyVISA with pyvisa-py: a TCP socket, USB, a serial line."""

from __future__ import annotations

import threading
from typing import Any

import pyvisa
from pyvisa.constants import StatusCode

from edgewind.live.errors import GoneError, InstrumentError
from edgewind.live.wire import Wire, silent

_CHUNK = 1 << 20
_manager: pyvisa.ResourceManager | None = None
_manager_lock = threading.Lock()


def manager() -> pyvisa.ResourceManager:
    """The one resource manager of the program."""
    global _manager
    with _manager_lock:
        if _manager is None:
            _manager = pyvisa.ResourceManager("@py")
        return _manager


class VisaWire(Wire):
    """A VISA resource; see :class:`edgewind.live.wire.Wire`. `baud` is used for serial ones."""

    def __init__(self, address: str, *, baud: int = 9600, **settings: Any) -> None:
        super().__init__(address, **settings)
        self._baud = baud
        self._resource: Any = None

    def _open(self) -> None:
        wait_ms = max(int(1000 * self.timeout_s), 1)
        try:
            resource: Any = manager().open_resource(self.address, open_timeout=wait_ms)
        except Exception as error:  # pyvisa-py raises bare exceptions, ImportError, ValueError, OSError and its own
            raise GoneError(
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
            except Exception:  # it is gone already, which was asked for
                return

    def _write(self, data: bytes) -> None:
        try:
            self._resource.write_raw(data)
        except pyvisa.VisaIOError as error:
            raise self._told(error) from error

    def _read_line(self, timeout_s: float) -> bytes:
        end = self.termination.decode()
        try:
            self._resource.timeout = max(int(1000 * timeout_s), 1)
            self._resource.read_termination = end
            line = bytes(self._resource.read_raw(_CHUNK))
        except pyvisa.VisaIOError as error:
            raise self._told(error, timeout_s) from error
        if not line.endswith(self.termination):
            raise silent(self.address, timeout_s, line)
        return line[: -len(self.termination)]

    def _read_exactly(self, count: int, timeout_s: float) -> bytes:
        try:
            self._resource.timeout = max(int(1000 * timeout_s), 1)
            self._resource.read_termination = None  # a byte of a block may look like the end of a line
            return bytes(self._resource.read_bytes(count, chunk_size=_CHUNK))
        except pyvisa.VisaIOError as error:
            raise self._told(error, timeout_s) from error

    def _pending(self) -> bool:
        if "::SOCKET" not in self.address.upper():
            return bool(getattr(self._resource, "bytes_in_buffer", 0))  # serial lines know; USB keeps messages apart
        try:
            self._resource.timeout = 1
            self._resource.read_termination = None
            return bool(self._resource.read_bytes(1))
        except pyvisa.VisaIOError as error:
            if error.error_code == StatusCode.error_timeout:
                return False
            raise self._told(error) from error

    def _drain(self) -> None:
        try:
            self._resource.clear()
        except (pyvisa.VisaIOError, NotImplementedError, AttributeError):
            return  # not every kind of resource can be cleared: the check question sees what is left

    def _told(self, error: pyvisa.VisaIOError, timeout_s: float | None = None) -> InstrumentError:
        if error.error_code == StatusCode.error_timeout:
            return silent(self.address, self.timeout_s if timeout_s is None else timeout_s)
        return GoneError(self.address, f"the connection broke ({error.abbreviation})")
