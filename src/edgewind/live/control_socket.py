"""The channel of a running sweep: programs of the same user on the same machine hear of it and steer it.

It is a socket in a folder that this user alone can enter. So the system itself says who may connect, whether anybody
listens is known at once and for certain, and a command is either heard by the recorder that it was meant for or by
nobody: nothing stays behind that could steer the next one. Rows in the book would do none of this: it is never altered,
so commands would stay there for good, and it could not carry the state several times a second.

Each side sends lines of JSON. The recorder begins with who it is; ``{"do": "tell"}`` asks for events and state from now
on; a command has an ``id`` of its own, by which it is carried out once however often it comes, the ``run`` that it is
meant for, and ``until``, the time on the machine's clock after which nobody waits for it and it is not carried out.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import queue
import secrets
import select
import socket
import struct
import tempfile
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from edgewind.errors import InputError
from edgewind.live.commands import COMMANDS
from edgewind.live.events import Event
from edgewind.live.messages import plain_event, plain_status
from edgewind.live.sweep import ENDED, Sweep

SPEAKS = 1
SUFFIX = ".sock"
MOST_LINE = 65_536
# How often state is told, seconds.
TELL_EVERY_S = 0.2
_MOST_EVENTS = 60
QUIET = ("observed", "steady")
_MOST_VISITORS = 32
_MOST_WAITING = 5000
_KEPT_ANSWERS = 1000
_SLOW_S = 5.0


def socket_folder() -> Path:
    """The folder in which recorders of this user are found: EDGEWIND_RECORDERS, or one in the user's state folder."""
    named = os.environ.get("EDGEWIND_RECORDERS")
    if named:
        return Path(named)
    try:
        return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "edgewind" / "recorders"
    except RuntimeError:  # a user without a home
        return Path(tempfile.gettempdir()) / f"edgewind-recorders-{os.geteuid()}"


def is_ours(folder: Path) -> bool:
    """Tell whether a folder belongs to this user, and nobody else can enter it."""
    found = folder.lstat()
    return folder.is_dir() and not folder.is_symlink() and found.st_uid == os.geteuid() and not found.st_mode & 0o077


def machine() -> str:
    """Eight characters for this machine: homes may be shared among several, and sockets reach no further than one."""
    try:
        name = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        name = socket.gethostname()
    return hashlib.sha256(name.encode()).hexdigest()[:8]


class ControlSocket:
    """Where a sweep is heard of and steered by others, for as long as it is open.

    Parameters
    ----------
    sweep : Sweep
        What is steered.
    made_by : str
        What people call the program that runs it.
    run : str, optional
        What tells it from every other; made where absent.
    folder : path, optional
        Where it is found; :func:`socket_folder` otherwise.

    Raises
    ------
    InputError
        It cannot be opened here; the sweep can be run all the same.
    """

    def __init__(self, sweep: Sweep, made_by: str, *, run: str | None = None, folder: Path | None = None) -> None:
        self._sweep, self.run = sweep, run or secrets.token_hex(8)
        self._hello = {
            "kind": "hello", "speaks": SPEAKS, "run": self.run, "sweep": sweep.id, "experiment": sweep.experiment,
            "book": sweep.book.identity(sweep.experiment), "made_by": made_by, "pid": os.getpid(),
        }  # fmt: skip
        self._lock = threading.Lock()
        self._answers: OrderedDict[str, dict[str, Any]] = OrderedDict()
        self._closing = threading.Event()
        self._visitors: set[threading.Thread] = set()
        self._path, self._door = _open(socket_folder() if folder is None else folder)
        self._thread = threading.Thread(target=self._welcome, name="welcome pages", daemon=True)
        self._thread.start()

    def __enter__(self) -> ControlSocket:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Take no further command; who hears of the sweep hears its end first."""
        self._path.unlink(missing_ok=True)
        self._closing.set()
        self._thread.join()
        self._door.close()
        for visitor in tuple(self._visitors):
            visitor.join(timeout=2)

    def _welcome(self) -> None:
        while not self._closing.is_set():
            try:
                link, _ = self._door.accept()
            except TimeoutError:
                continue
            except OSError:  # too many open files, most likely: whoever asks tries again
                self._closing.wait(0.2)
                continue
            if len(self._visitors) >= _MOST_VISITORS or not _is_same_user(link):
                link.close()
                continue
            visitor = threading.Thread(target=self._serve, args=(link,), name="a page that steers", daemon=True)
            self._visitors.add(visitor)
            visitor.start()

    def _serve(self, link: socket.socket) -> None:
        try:
            with link:
                _Client(link, self._sweep, self._hello, self._obey, self._closing).serve()
        except (OSError, ValueError):
            pass  # it is gone, or spoke nonsense: the sweep goes on
        finally:
            self._visitors.discard(threading.current_thread())

    def _obey(self, said: dict[str, Any]) -> dict[str, Any]:
        """Carry out a command, once, and return the answer; the same again is given the same answer."""
        key = str(said.get("id", ""))[:64]
        with self._lock:
            if key in self._answers:
                return self._answers[key]
            answer: dict[str, Any] = {"kind": "answer", "id": key, "refused": None}
            try:
                self._give(said)
            except InputError as error:
                answer["refused"] = {"problem": error.problem, "fix": error.fix}
            self._answers[key] = answer
            while len(self._answers) > _KEPT_ANSWERS:
                self._answers.popitem(last=False)
        return answer

    def _give(self, said: dict[str, Any]) -> None:
        name, text, of, until = (said.get(key) for key in ("do", "text", "of", "until"))
        if said.get("run") != self.run:
            raise InputError("that was meant for a recorder that is gone", fix="see how the sweep stands now")
        if not isinstance(until, int | float) or time.monotonic() > until:
            raise InputError("that came too late", fix="see how the sweep stands now, and command again")
        if name not in COMMANDS or not isinstance(text, str) or not (of is None or type(of) is int):
            raise InputError("that is no command", fix=", ".join(COMMANDS))
        self._sweep.command(name, text, of=of, who="from the pages")


class _Client:
    """One connection, in a thread of its own: it can be as slow as it likes without the sweep noticing."""

    def __init__(
        self,
        link: socket.socket,
        sweep: Sweep,
        hello: dict[str, Any],
        obey: Callable[[dict[str, Any]], dict[str, Any]],
        closing: threading.Event,
    ) -> None:
        self._link, self._sweep, self._hello, self._obey, self._closing = link, sweep, hello, obey, closing
        self._events: queue.Queue[Event] = queue.Queue(_MOST_WAITING)
        self._unsaid = b""
        self._told_at = 0.0
        self._leave: Callable[[], None] | None = None

    def serve(self) -> None:
        self._link.settimeout(_SLOW_S)
        self._send(self._hello)
        try:
            while not self._closing.is_set():
                if not self._hear(0.05 if self._leave else 0.2):
                    return
                self._tell()
            self._hear(0.0)
            self._tell(last=True)
        finally:
            if self._leave is not None:
                self._leave()

    def _hear(self, wait_s: float) -> bool:
        """Wait for what is said, and obey; False where nobody is there any more."""
        if not select.select([self._link], [], [], wait_s)[0]:
            return True
        more = self._link.recv(MOST_LINE)
        if not more:
            return False
        *lines, self._unsaid = (self._unsaid + more).split(b"\n")
        if len(self._unsaid) > MOST_LINE:
            return False
        for line in lines:
            said = json.loads(line)
            if not isinstance(said, dict):
                return False
            if said.get("do") == "tell":
                self._begin_to_tell()
            else:
                self._send(self._obey(said))
        return True

    def _begin_to_tell(self) -> None:
        if self._leave is None:
            self._leave = self._sweep.subscribe(self._events.put_nowait)  # one that falls far behind is let go
            self._send(events_message(recent_events(self._sweep), self._hello["run"]))

    def _tell(self, *, last: bool = False) -> None:
        if self._leave is None:
            return
        events = []
        while not self._events.empty():
            event = self._events.get_nowait()
            if event.kind not in QUIET:
                events.append(event)
        if events:
            self._send(events_message(events, self._hello["run"]))
        if last or events or time.monotonic() - self._told_at > TELL_EVERY_S:
            self._told_at = time.monotonic()
            self._send(status_message(self._sweep, self._hello["run"], self._hello["made_by"]))

    def _send(self, message: dict[str, Any]) -> None:
        self._link.sendall(json.dumps(message, ensure_ascii=False, allow_nan=False).encode() + b"\n")


def status_message(sweep: Sweep, run: str, made_by: str = "") -> dict[str, Any]:
    """What a page is told of the state of a sweep; `run` tells one recorder of it from the next."""
    status = sweep.status()
    about = {"kind": "status", "id": sweep.id, "run": run, "by": made_by, "running": status.phase not in ENDED}
    return about | plain_status(status)


def events_message(events: list[Event], run: str) -> dict[str, Any]:
    """What a page is told of events."""
    return {"kind": "events", "run": run, "events": [plain_event(event) for event in events]}


def recent_events(sweep: Sweep) -> list[Event]:
    """What a page that opens now should know of what has happened."""
    return [event for event in sweep.history() if event.kind not in QUIET][-_MOST_EVENTS:]


def _open(folder: Path) -> tuple[Path, socket.socket]:
    """Make the folder and, in one step, a socket in it that takes connections."""
    if not hasattr(socket, "AF_UNIX"):
        raise InputError("this system has no sockets between programs of one user", fix="steer it where it was begun")
    door = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    draft = folder / f".{secrets.token_hex(4)}"
    path = folder / f"{machine()}-{secrets.token_hex(6)}{SUFFIX}"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not is_ours(folder):
            raise InputError("others can enter this folder", file=folder, fix=f"chmod 700 {folder}")
        with _removed(draft):
            door.bind(str(draft))
            draft.chmod(0o600)
            door.listen(_MOST_VISITORS)
            # Whoever finds it under its name finds it listening: one that refuses is one whose recorder is gone.
            draft.rename(path)
    except OSError as error:
        door.close()
        said = "its path is too long for a socket" if "too long" in str(error) else error.strerror or str(error)
        fix = "name another folder by EDGEWIND_RECORDERS, for the recorder and for the pages"
        raise InputError(f"no channel can be opened here ({said})", file=folder, fix=fix) from error
    except InputError:
        door.close()
        raise
    door.settimeout(0.2)
    return path, door


@contextlib.contextmanager
def _removed(draft: Path) -> Iterator[None]:
    try:
        yield
    except BaseException:
        draft.unlink(missing_ok=True)
        raise


def _is_same_user(link: socket.socket) -> bool:
    """Tell whether the program at the other end runs as this user, where the system says so."""
    asked = getattr(socket, "SO_PEERCRED", None)
    if asked is None:
        return True  # the folder lets nobody else in
    try:
        _, user, _ = struct.unpack("3i", link.getsockopt(socket.SOL_SOCKET, asked, struct.calcsize("3i")))
    except OSError as error:
        return error.errno == errno.ENOPROTOOPT
    return bool(user == os.geteuid())
