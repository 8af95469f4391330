"""Clocks: that of the machine, a faster one, and a simulated one whose time passes only in waits."""

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
        """Wait until it is set, up to a timeout; return whether it is set."""


class Clock(Protocol):
    """Protocol of a clock, which gives the time and waits."""

    def time(self) -> float:
        """Return seconds since 1970-01-01 UTC."""

    def monotonic(self) -> float:
        """Return seconds since an arbitrary moment; they never go back."""

    def sleep(self, seconds: float) -> None:
        """Wait."""

    def wait(self, event: Event, seconds: float | None = None) -> bool:
        """Wait for an event, up to a number of seconds or without a limit; return whether it is set."""


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
        """Wait for an event, up to a number of seconds or without a limit; return whether it is set."""
        return event.wait(seconds if seconds is None else max(seconds, 0.0))


class ScaledClock:
    """A clock that starts at zero and runs `speed_up` times as fast as that of the machine.

    Parameters
    ----------
    speed_up : float
        Its seconds for each second of the machine.
    longest_gap_s : float, optional
        If the time is not read for longer than this, in seconds of the machine, the clock stands still for the rest of
        that pause: a process that was suspended, or that is too slow for its clock, is not asked to catch up.

    Raises
    ------
    InputError
        A speed-up that is not above zero, or above :data:`FASTEST`.
    """

    def __init__(self, speed_up: float = 1.0, longest_gap_s: float = math.inf) -> None:
        if not 0 < speed_up <= FASTEST:
            raise InputError(
                f"speed-up must be above 0 and at most {FASTEST:g}, not {speed_up:g}", fix="write 1 for real time"
            )
        self.speed_up, self._longest_gap_s = float(speed_up), longest_gap_s
        self._lock = threading.Lock()
        self._start, self._start_time = time.monotonic(), time.time()
        self._read = self._start

    def time(self) -> float:
        """Return seconds since 1970-01-01 UTC."""
        return self._start_time + self.monotonic()

    def monotonic(self) -> float:
        """Return seconds since it was made."""
        with self._lock:
            now = time.monotonic()
            self._start += max(now - self._read - self._longest_gap_s, 0.0)
            self._read = now
            return (now - self._start) * self.speed_up

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(max(seconds, 0.0) / self.speed_up)

    def wait(self, event: Event, seconds: float | None = None) -> bool:
        """Wait for an event, up to a number of seconds or without a limit; return whether it is set."""
        return event.wait(seconds if seconds is None else max(seconds, 0.0) / self.speed_up)


class SimulatedClock:
    """A clock whose time passes only in waits, and then immediately: runs repeat to the last bit.

    Only one thread may wait; others may read it and set the events of that wait.

    Parameters
    ----------
    start : float
        Seconds since 1970-01-01 UTC at the start; default: 2000-01-01.
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
        """Call a function when :meth:`monotonic` reaches a time."""
        with self._lock:
            heapq.heappush(self._due, (seconds, next(self._order), action))

    def sleep(self, seconds: float) -> None:
        """Let time pass; functions that are due are called in the waiting thread."""
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
        """Let time pass until an event is set; without a limit, due functions are called until it is.

        Raises
        ------
        RuntimeError
            No function is due that could set the event of an unlimited wait.
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
        # If the rest is lost in rounding, time passes all the same: otherwise the wait would never end.
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
