"""Clocks: that of the machine, one that runs faster, and a simulated one that passes only where waited for."""

from __future__ import annotations

import heapq
import itertools
import math
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Protocol

from edgewind.errors import InputError

FASTEST = 10_000.0


class Event(Protocol):
    """An event of :mod:`threading` or :mod:`multiprocessing`."""

    def is_set(self) -> bool:
        """Return whether it is set."""

    def wait(self, timeout: float | None = None) -> bool:
        """Wait until it is set, at most that long; return whether it is."""


class Clock(Protocol):
    """Anything that tells the time and waits; handed to everything that waits."""

    def time(self) -> float:
        """Return seconds since 1970-01-01 UTC."""

    def monotonic(self) -> float:
        """Return seconds since an arbitrary moment; they never go back."""

    def sleep(self, seconds: float) -> None:
        """Wait."""

    def wait(self, event: Event, seconds: float | None = None) -> bool:
        """Wait for an event, at most so many seconds, or without end; return whether it is set."""


def utc_now(clock: Clock) -> datetime:
    """Return the date and time of a clock, in UTC."""
    return datetime.fromtimestamp(clock.time(), UTC)


class SystemClock:
    """The clock of the machine."""

    def time(self) -> float:
        """Return seconds since 1970-01-01 UTC."""
        return time.time()

    def monotonic(self) -> float:
        """Return seconds since an arbitrary moment; they never go back."""
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(max(seconds, 0.0))

    def wait(self, event: Event, seconds: float | None = None) -> bool:
        """Wait for an event, at most so many seconds, or without end; return whether it is set."""
        return event.wait(seconds if seconds is None else max(seconds, 0.0))


class ScaledClock:
    """A clock that starts at zero and runs `speed_up` times as fast as that of the machine.

    Parameters
    ----------
    speed_up : float
        Its seconds for each second of the machine.

    Raises
    ------
    InputError
        A speed-up that is not above zero, or above :data:`FASTEST`.
    """

    def __init__(self, speed_up: float = 1.0) -> None:
        if not 0 < speed_up <= FASTEST:
            raise InputError(
                f"speed-up must be above 0 and at most {FASTEST:g}, not {speed_up:g}", fix="write 1 for real time"
            )
        self.speed_up = float(speed_up)
        self._start, self._start_time = time.monotonic(), time.time()

    def time(self) -> float:
        """Return seconds since 1970-01-01 UTC."""
        return self._start_time + self.monotonic()

    def monotonic(self) -> float:
        """Return seconds since it was made."""
        return (time.monotonic() - self._start) * self.speed_up

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(max(seconds, 0.0) / self.speed_up)

    def wait(self, event: Event, seconds: float | None = None) -> bool:
        """Wait for an event, at most so many seconds, or without end; return whether it is set."""
        return event.wait(seconds if seconds is None else max(seconds, 0.0) / self.speed_up)


class SimulatedClock:
    """A clock whose time passes only where it is waited for, and then at once: runs repeat to the last bit.

    It serves one thread that waits; others may read it, and set the events that this one waits for.

    Parameters
    ----------
    start : float
        Seconds since 1970-01-01 UTC at the start; 2000-01-01 where absent.
    """

    def __init__(self, start: float = 946_684_800.0) -> None:
        self._start, self._now = start, 0.0
        self._lock = threading.RLock()
        self._due: list[tuple[float, int, Callable[[], object]]] = []
        self._order = itertools.count()

    def time(self) -> float:
        """Return seconds since 1970-01-01 UTC."""
        return self._start + self._now

    def monotonic(self) -> float:
        """Return seconds since it was made."""
        return self._now

    def at(self, seconds: float, action: Callable[[], object]) -> None:
        """Call something when the clock, as :meth:`monotonic` tells it, comes to that time."""
        with self._lock:
            heapq.heappush(self._due, (seconds, next(self._order), action))

    def sleep(self, seconds: float) -> None:
        """Let time pass; what is due meanwhile is called, in the thread that waits."""
        self._pass(max(seconds, 0.0), lambda: False)

    def advance(self, seconds: float) -> None:
        """Let time pass.

        Raises
        ------
        InputError
            The time is negative.
        """
        if not seconds >= 0:
            raise InputError(f"seconds to pass must be zero or more, not {seconds!r}")
        self.sleep(seconds)

    def wait(self, event: Event, seconds: float | None = None) -> bool:
        """Let time pass until an event is set; without a time, what is due is called until it is.

        Raises
        ------
        RuntimeError
            Nothing is due any more that could set an event without a time.
        """
        if seconds is not None:
            self._pass(max(seconds, 0.0), event.is_set)
        while seconds is None and not event.is_set():
            with self._lock:
                if not self._due:
                    raise RuntimeError("nothing is due that could set the event")
                due = self._due[0][0]
            self._pass(max(due - self._now, 0.0), event.is_set)
        return event.is_set()

    def _pass(self, seconds: float, until: Callable[[], bool]) -> None:
        # Where what is left is lost in rounding, time passes all the same: who waits for it would wait for ever.
        end = max(self._now + seconds, math.nextafter(self._now, math.inf)) if seconds > 0 else self._now
        while not until():
            with self._lock:
                action = None
                if self._due and self._due[0][0] <= end:
                    due, _, action = heapq.heappop(self._due)
                    self._now = max(self._now, due)
                else:
                    self._now = max(self._now, end)
            if action is None:
                return
            action()
