"""The mains in a record of a tachometer: flicker of a lamp or hum, reported as such, and an optional time base.

A lamp on the mains flickers at twice their frequency; a hum has both. Samples too far apart for that, as the frames of
a clip are, show it folded: at F = (k +- nu) / dt, with nu cycles from one sample to the next and k whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.lines import (
    LineSpectrum,
    line_spectrum,
)
from edgewind.signals.mains import (
    on_grid,
)
from edgewind.signals.thresholds import (
    CLOCK_WITHIN,
    FLICKER_OWN_CELLS,
    FLICKER_PARTS,
    FLICKER_SAMPLES,
    GRID_U,
    LINE,
    MAINS_TOLERANCE,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Flicker:
    """A line of the mains in a record.

    Attributes
    ----------
    mains_hz : float
        Nominal frequency of the mains.
    order : int
        1 for the mains themselves, 2 for the flicker of a lamp.
    seen_hz : float
        Where the line is in the record, Hz; below half the sample rate.
    interval_s : float
        Sample interval by which the line is at its nominal frequency, s.
    interval_u_rel : float
        Relative standard uncertainty of that: of the grid, and of the place of the line.
    """

    mains_hz: float
    order: int
    seen_hz: float
    interval_s: float
    interval_u_rel: float

    @property
    def folded(self) -> bool:
        """Whether the samples are too far apart to show it where it is."""
        return abs(self.seen_hz / (self.order * self.mains_hz) - 1) > 2 * CLOCK_WITHIN

    def said(self) -> str:
        """Return a description for a note."""
        what = "the mains" if self.order == 1 else "a lamp on the mains"
        nominal = self.order * self.mains_hz
        if self.folded:
            return f"the line at {self.seen_hz:.4g} Hz is {what} at {nominal:g} Hz, folded by the samples"
        return f"the line at {self.seen_hz:.4g} Hz is {what}, nominally {nominal:g} Hz"


def find_flicker(
    signal: FloatArray,
    interval_s: float,
    mains_hz: float | None,
    rotor_hz: float,
    orders: tuple[int, ...] = (1, 2),
    within: float = MAINS_TOLERANCE,
) -> Flicker | None:
    """Return the strongest line of the mains in a record, none of the rotor's own; None where there is none.

    Parameters
    ----------
    signal : array, shape (n,)
        Evenly sampled.
    interval_s : float
        Time between samples as stated, s.
    mains_hz : float or None
        Nominal frequency; 50 Hz and 60 Hz are both looked for where None.
    rotor_hz : float
        Turn rate found, whose harmonics are not flicker; nan where nothing turns.
    orders : tuple of int
        Multiples of the mains to look for.
    within : float
        Relative distance from the nominal frequency within which a line is looked for.
    """
    if signal.size < FLICKER_SAMPLES or not 0 < float(np.ptp(signal)) < np.inf:
        return None
    signal = (signal - np.median(signal)) / np.ptp(signal)  # squares of huge numbers overflow
    lines = line_spectrum(signal, interval_s)
    best: tuple[float, Flicker] | None = None
    for base in (50.0, 60.0) if mains_hz is None else (mains_hz,):
        for order in orders:
            found = _line_at(lines, order * base, interval_s, signal.size, rotor_hz, within)
            if found is not None and (best is None or found[0] > best[0]):
                power, seen, interval = found
                # the place of a line is known to a tenth of a cell
                placed = 0.1 / (signal.size * interval_s) / (order * base)
                best = power, Flicker(base, order, seen, interval, float(np.hypot(GRID_U, placed)))
    return None if best is None else best[1]


def keeps_its_place(signal: FloatArray, interval_s: float, seen: Flicker) -> bool:
    """Return whether a line of the mains keeps its frequency throughout a record.

    A line of a rotor that slows, or that turns steadily in a part of the record only, does not: taken for the mains, it
    would distort the time.

    Parameters
    ----------
    signal : array, shape (n,)
        The record.
    interval_s : float
        Time between samples as stated, s.
    seen : Flicker
        The line as the whole record shows it.
    """
    for part in np.array_split(np.asarray(signal, dtype=np.float64), FLICKER_PARTS):
        lines = line_spectrum(part - np.median(part), interval_s)
        reach = 1 / (part.size * interval_s)
        first, last = (round((seen.seen_hz + side * reach) / lines.step_hz) for side in (-1, 1))
        first, last = max(first, 2), min(last, lines.power.size - 2)
        if last < first:
            return False
        cell = first + int(np.argmax(lines.power[first : last + 1]))
        left, middle, right = lines.power[cell - 1 : cell + 2]
        if lines.ratio[cell] < LINE or middle < left or middle < right:
            return False
    return True


def _line_at(
    lines: LineSpectrum, nominal_hz: float, interval_s: float, samples: int, rotor_hz: float, within: float
) -> tuple[float, float, float] | None:
    """Return power, frequency and true sample interval of the line that a frequency makes, folded or not."""
    cycles = nominal_hz * interval_s
    turns = round(cycles)
    place = abs(cycles - turns) / interval_s
    reach = within * nominal_hz + 1 / (samples * interval_s)
    first = max(2, int(np.floor((place - reach) / lines.step_hz)))
    last = min(lines.power.size - 2, int(np.ceil((place + reach) / lines.step_hz)))
    if last < first:
        return None
    cell = first + int(np.argmax(lines.power[first : last + 1]))
    near = lines.power[cell - 1 : cell + 2]
    if lines.ratio[cell] < LINE or near[1] < near[0] or near[1] < near[2] or not np.all(near > 0):
        return None
    shift = 0.5 * np.log(near[2] / near[0]) / np.log(near[1] ** 2 / (near[0] * near[2]))
    seen = float(cell + np.clip(shift, -0.5, 0.5)) * lines.step_hz
    if np.isfinite(rotor_hz) and bool(
        on_grid(np.array([seen]), rotor_hz, FLICKER_OWN_CELLS / (samples * interval_s))[0]
    ):
        return None
    sign = 1 if cycles >= turns else -1
    return float(near[1]), seen, (turns + sign * seen * interval_s) / nominal_hz
