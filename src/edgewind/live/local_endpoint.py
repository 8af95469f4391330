"""Connections between programs of one user on one machine: a Unix socket, or TCP on the loopback with a token.

A Unix socket lies in a folder that only this user can enter, so the system controls access. Without Unix sockets
(Windows), a recorder listens on a free port of 127.0.0.1 and writes the port and a random token into a file in the
user's own folder; a client must send the token first.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import secrets
import socket
import struct
import tempfile
from collections.abc import Iterator
from pathlib import Path

from edgewind.errors import InputError
from edgewind.files import write_whole

UNIX_SUFFIX, TCP_SUFFIX = ".sock", ".port"
_MOST_WAITING = 32
_ACCEPT_S, _TOKEN_S = 0.2, 2.0
_TOKEN_BYTES = 32


def has_unix_sockets() -> bool:
    """Return whether this system has Unix sockets that Python can open."""
    return hasattr(socket, "AF_UNIX")


def endpoint_folder() -> Path:
    """Return the folder of the endpoints of this user: EDGEWIND_RECORDERS, or one in the user's folders."""
    named = os.environ.get("EDGEWIND_RECORDERS")
    if named:
        return Path(named)
    base = os.environ.get("LOCALAPPDATA") if os.name == "nt" else os.environ.get("XDG_STATE_HOME")
    try:
        return Path(base or Path.home() / ".local" / "state") / "edgewind" / "recorders"
    except RuntimeError:  # a user without a home
        return Path(tempfile.gettempdir()) / f"edgewind-recorders-{_user()}"


def _user() -> str:
    return str(os.geteuid()) if hasattr(os, "geteuid") else os.environ.get("USERNAME", "user")


def is_private(folder: Path) -> bool:
    """Return whether a folder belongs to this user and no other user can enter it.

    On Windows the permissions of the user's own folder apply; they are not checked.
    """
    found = folder.lstat()
    if not folder.is_dir() or folder.is_symlink():
        return False
    return not hasattr(os, "geteuid") or (found.st_uid == os.geteuid() and not found.st_mode & 0o077)


def machine_id() -> str:
    """Return eight characters for this machine: folders may be shared between machines, sockets are not."""
    try:
        name = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        name = socket.gethostname()
    return hashlib.sha256(name.encode()).hexdigest()[:8]


class Listener:
    """Accepts connections of other programs of this user.

    Parameters
    ----------
    folder : Path
        Folder of the endpoint.

    Attributes
    ----------
    path : Path
        The socket, or the file with port and token.

    Raises
    ------
    InputError
        It cannot be opened there.
    """

    def __init__(self, folder: Path) -> None:
        self._token = ""
        name = f"{machine_id()}-{secrets.token_hex(6)}"
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            if not is_private(folder):
                raise InputError("other users can enter this folder", file=folder, fix=f"chmod 700 {folder}")
            self.path, self._socket = self._unix(folder, name) if has_unix_sockets() else self._tcp(folder, name)
        except OSError as error:
            said = "its path is too long for a socket" if "too long" in str(error) else error.strerror or str(error)
            fix = "name another folder by EDGEWIND_RECORDERS, for the recorder and for the pages"
            raise InputError(f"no control socket can be opened here ({said})", file=folder, fix=fix) from error
        self._socket.settimeout(_ACCEPT_S)

    def _unix(self, folder: Path, name: str) -> tuple[Path, socket.socket]:
        draft, path = folder / f".{name[-8:]}", folder / f"{name}{UNIX_SUFFIX}"
        with _closed_on_error(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)) as opened:
            try:
                opened.bind(str(draft))
                draft.chmod(0o600)
                opened.listen(_MOST_WAITING)
                # It listens before it has its name: an endpoint that refuses belongs to a recorder that has ended.
                draft.rename(path)
            except BaseException:
                draft.unlink(missing_ok=True)
                raise
        return path, opened

    def _tcp(self, folder: Path, name: str) -> tuple[Path, socket.socket]:
        self._token, path = secrets.token_hex(_TOKEN_BYTES // 2), folder / f"{name}{TCP_SUFFIX}"
        with _closed_on_error(socket.socket(socket.AF_INET, socket.SOCK_STREAM)) as opened:
            exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)
            if exclusive is not None:  # Windows lets another program take the same port otherwise
                opened.setsockopt(socket.SOL_SOCKET, exclusive, 1)
            opened.bind(("127.0.0.1", 0))
            opened.listen(_MOST_WAITING)
            content = json.dumps({"port": opened.getsockname()[1], "token": self._token}).encode()
            path.touch(mode=0o600)
            write_whole(path, content)
        return path, opened

    def accept(self) -> socket.socket:
        """Return the next connection.

        Raises
        ------
        TimeoutError
            None came for a moment.
        OSError
            None can be accepted now.
        """
        return self._socket.accept()[0]

    def admits(self, link: socket.socket) -> bool:
        """Return whether a program of this user is at the other end; wait for its token if needed."""
        if not self._token:
            return _is_same_user(link)
        link.settimeout(_TOKEN_S)
        said = b""
        with contextlib.suppress(OSError):
            while len(said) <= _TOKEN_BYTES and not said.endswith(b"\n"):
                more = link.recv(_TOKEN_BYTES + 1 - len(said))
                if not more:
                    break
                said += more
        return secrets.compare_digest(said, self._token.encode() + b"\n")

    def close(self) -> None:
        """Accept no further connection and remove the endpoint."""
        self.path.unlink(missing_ok=True)
        self._socket.close()


@contextlib.contextmanager
def _closed_on_error(opened: socket.socket) -> Iterator[socket.socket]:
    try:
        yield opened
    except BaseException:
        opened.close()
        raise


def endpoints() -> list[Path]:
    """Return the endpoints of recorders of this user."""
    place = endpoint_folder()
    suffix = UNIX_SUFFIX if has_unix_sockets() else TCP_SUFFIX
    try:
        if not is_private(place):
            return []
        return sorted(place.glob(f"{machine_id()}-*{suffix}"))
    except OSError:
        return []


def connect_to(path: Path, timeout_s: float) -> socket.socket:
    """Connect to a recorder.

    Raises
    ------
    FileNotFoundError, ConnectionRefusedError
        Its recorder has ended.
    OSError
        It cannot be reached.
    ValueError
        The file is not one of a recorder.
    """
    if path.suffix == UNIX_SUFFIX:
        with _closed_on_error(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)) as link:
            link.settimeout(timeout_s)
            link.connect(str(path))
            return link
    named = json.loads(path.read_bytes())
    with _closed_on_error(socket.socket(socket.AF_INET, socket.SOCK_STREAM)) as link:
        link.settimeout(timeout_s)
        try:
            link.connect(("127.0.0.1", int(named["port"])))
            link.sendall(str(named["token"]).encode() + b"\n")
        except (KeyError, TypeError) as error:
            raise ValueError("no port and token") from error
        return link


def _is_same_user(link: socket.socket) -> bool:
    """Return whether the program at the other end runs as this user, if the system reports it."""
    asked = getattr(socket, "SO_PEERCRED", None)
    if asked is None:
        return True  # no other user can enter the folder
    try:
        _, user, _ = struct.unpack("3i", link.getsockopt(socket.SOL_SOCKET, asked, struct.calcsize("3i")))
    except OSError as error:
        return error.errno == errno.ENOPROTOOPT
    return bool(user == os.geteuid())
