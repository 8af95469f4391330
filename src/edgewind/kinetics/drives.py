"""Drives of the gas: each is one right-hand side of the same linear operator."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Drive:
    """Temperatures and velocities of the walls, small against T0 and v0.

    Parameters
    ----------
    front, back : float
        Temperature of the faces, (T - T0) / T0; the front looks along +x.
    room : float
        Temperature of the walls of the room.
    speed : float
        Velocity of the vane along +x, in v0.
    slide : float
        Velocity of the vane along its own plane, in v0 (for plates: Couette flow).
    """

    front: float = 0.0
    back: float = 0.0
    room: float = 0.0
    speed: float = 0.0
    slide: float = 0.0

    @property
    def parity(self) -> float | None:
        """+1 or -1 if the solution of a symmetric domain is even or odd in the vane's plane, else None."""
        even = self.front == self.back and self.speed == 0.0
        odd = self.front == -self.back and self.room == 0.0 and self.slide == 0.0
        return 1.0 if even else -1.0 if odd else None


DRIVES = {
    "faces": Drive(front=0.5, back=-0.5),
    "both": Drive(front=1.0, back=1.0),
    "room": Drive(room=1.0),
    "motion": Drive(speed=1.0),
}
