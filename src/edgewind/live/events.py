"""State of a running sweep, and its events."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from edgewind.clock import Clock, SystemClock, utc_now
from edgewind.live.run_table import RunRow
from edgewind.live.steadiness import Steadiness
from edgewind.live.sweep_request import Step

ENDED = ("finished", "stopped", "failed")
_KEPT = 10_000


def now_text(clock: Clock) -> str:
    """Return the time of a clock, UTC, to the millisecond, in the form of readings and events."""
    return utc_now(clock).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@dataclass(frozen=True)
class SweepEvent:
    """An event of a sweep.

    Attributes
    ----------
    number : int
        Number, from one.
    time : str
        UTC, ISO 8601, to the millisecond.
    kind : str
        ``phase, observed, steady, stored, proposal, question, answered, command, note, prompt, change, skipped,
        trouble, retry, safe, interlock, end``.
    text : str
        In words.
    data : mapping
        The same for programs: JSON values, SI, the unit in each key.
    """

    number: int
    time: str
    kind: str
    text: str
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Status:
    """The state of a sweep at one moment; None and empty texts for unknown values.

    `asked` is the number of the question, `last_reading` that of the reading stored last since the sweep was started or
    resumed.
    """

    phase: str = "ready"
    step: Step | None = None
    done: int = 0
    total: int = 0
    elapsed_s: float = 0.0
    time_left_s: float | None = None
    pressure_pa: float | None = None
    pressure_flag: str = ""
    gauge: str = ""
    speed_rad_s: float | None = None
    temperature_k: float | None = None
    valve_v: float | None = None
    lamp: str = ""
    steadiness: Steadiness | None = None
    question: str = ""
    asked: int = 0
    last_reading: int | None = None
    message: str = ""
    problem: str = ""


class Events:
    """The events of one sweep, stored and passed on."""

    def __init__(self, clock: Clock) -> None:
        self._lock, self._clock = threading.Lock(), clock
        self._kept: deque[SweepEvent] = deque(maxlen=_KEPT)
        self._listeners: list[Callable[[SweepEvent], None]] = []
        self._count = 0

    def tell(self, kind: str, text: str, **data: Any) -> SweepEvent:
        """Store an event and call every listener with it; a listener that raises an error is removed."""
        with self._lock:
            self._count += 1
            event = SweepEvent(self._count, now_text(self._clock), kind, text, data)
            self._kept.append(event)
            listeners = list(self._listeners)
        for listener in listeners:
            try:
                listener(event)
            except Exception:  # a listener that fails must not stop a sweep
                self.remove(listener)
        return event

    def since(self, number: int) -> list[SweepEvent]:
        """Return the stored events after a number."""
        with self._lock:
            return [event for event in self._kept if event.number > number]

    def add(self, listener: Callable[[SweepEvent], None]) -> Callable[[], None]:
        """Call a listener with every new event, in the sweep's thread; return a function that ends this."""
        with self._lock:
            self._listeners.append(listener)
        return lambda: self.remove(listener)

    def remove(self, listener: Callable[[SweepEvent], None]) -> None:
        """End the calls of a listener."""
        with self._lock:
            if listener in self._listeners:
                self._listeners.remove(listener)


class SweepState:
    """State of a running sweep, readable from any thread."""

    def __init__(self, clock: Clock | None = None) -> None:
        self.events = Events(clock or SystemClock())
        self._lock = threading.Lock()
        self._status = Status()
        self._run: tuple[str, Sequence[RunRow]] = ("", ())

    def run(self, key: str, moments: Sequence[RunRow]) -> None:
        """Show a run from now on, by the rows of its growing table."""
        with self._lock:
            self._run = (key, moments)

    def run_since(self, key: str, number: int) -> tuple[str, int, list[RunRow]]:
        """Return the name of the run that is shown, and its rows after a number of them.

        If `key` names another run, the number is ignored and all rows are returned.
        """
        with self._lock:
            shown, moments = self._run
        first = number if key == shown else 0
        return shown, first, list(moments[first:])

    @property
    def status(self) -> Status:
        """The state as it was last written."""
        with self._lock:
            return self._status

    def set(self, **changes: Any) -> None:
        """Change parts of the state."""
        with self._lock:
            self._status = replace(self._status, **changes)

    def tell(self, kind: str, text: str, **data: Any) -> None:
        """Add an event."""
        self.events.tell(kind, text, **data)

    def phase(self, phase: str, message: str) -> None:
        """Enter a phase, and add an event."""
        self.set(phase=phase, message=message)
        self.tell("phase", message, phase=phase)
