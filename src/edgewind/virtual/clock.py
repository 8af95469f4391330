"""Bench time: the clock of the simulated apparatus, which may run faster than the one on the wall."""

from __future__ import annotations

import time
from typing import Protocol

from edgewind.errors import InputError

FASTEST = 10_000.0


class Clock(Protocol):
    """Anything that tells bench time."""

    def now(self) -> float:
        """Bench time, s; it never goes back."""

    def real_seconds_until(self, bench_s: float) -> float:
        """Time on the wall until `bench_s`, or how long to wait before asking again, s."""


class RunningClock:
    """Bench time that runs `speed_up` times as fast as the wall clock, from zero.

    Raises
    ------
    InputError
        A speed-up that is not above zero, or above :data:`FASTEST`.
    """

    def __init__(self, speed_up: float = 1.0) -> None:
        if not 0 < speed_up <= FASTEST:
            raise InputError(f"a speed-up of {speed_up:g}", fix=f"give one above 0, up to {FASTEST:g}; 1 is real time")
        self.speed_up = float(speed_up)
        self._start = time.monotonic()

    def now(self) -> float:
        """Bench time, s."""
        return (time.monotonic() - self._start) * self.speed_up

    def real_seconds_until(self, bench_s: float) -> float:
        """Time on the wall until then, s; zero where it is past."""
        return max(0.0, (bench_s - self.now()) / self.speed_up)


class HandClock:
    """Bench time that moves only when told to: for runs that repeat to the last bit."""

    def __init__(self) -> None:
        self._now = 0.0

    def now(self) -> float:
        """Bench time, s."""
        return self._now

    def advance(self, seconds: float) -> None:
        """Let bench time pass."""
        if not seconds >= 0:
            raise InputError(f"{seconds!r} s cannot pass", fix="give zero or more seconds")
        self._now += seconds

    def real_seconds_until(self, bench_s: float) -> float:
        """Zero where `bench_s` is past, else a short pause after which to ask again."""
        return 0.0 if bench_s <= self._now else 0.002
