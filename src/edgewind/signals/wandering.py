"""Pulses on a baseline that wanders by as much as their height: found by their width, at several widths."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.edges import EdgeEstimate, estimate_from_edges
from edgewind.signals.few_pulses import evenly_alike
from edgewind.signals.lines import decimate
from edgewind.signals.thresholds import (
    WANDER_PART,
    WANDER_PITCH,
    WANDER_PULSES,
    WANDER_SAMPLES,
    WANDER_WIDTHS,
)

FloatArray = NDArray[np.float64]


def pulses_on_wander(
    voltage: FloatArray, interval_s: float, marks: int, mains_hz: float | None
) -> tuple[EdgeEstimate, FloatArray, float] | None:
    """Return the turn rate from pulses that stand out from a wandering baseline, and the trace without it.

    The morphological opening of a trace (J. Serra, Image Analysis and Mathematical Morphology, 1982) by a flat element
    is its baseline as far as that has no dent, and no bump, narrower than the element: what is left are the pulses. A
    mean over one period of the mains takes out a hum that an amplifier in saturation has spread over many lines.

    Parameters
    ----------
    voltage : array, shape (n,)
        The trace.
    interval_s : float
        Time between samples, s.
    marks : int
        Pulses a turn.
    mains_hz : float or None
        Frequency of the mains, where a hum shows.

    Returns
    -------
    tuple or None
        The estimate from the pulses, the levelled trace and its sample interval; None if no width gives significant
        pulses.
    """
    from scipy.ndimage import grey_opening, uniform_filter1d  # on first use: few traces come this far

    duration = voltage.size * interval_s
    smooth = mean_over(voltage, 1 / (mains_hz * interval_s)) if mains_hz else voltage
    coarse, step = decimate(smooth, interval_s, 0.35 * WANDER_SAMPLES / duration)
    best: tuple[tuple[bool, float], tuple[EdgeEstimate, FloatArray, float]] | None = None
    spread = float(np.std(voltage))
    for signed in (coarse, -coarse):
        for part in WANDER_WIDTHS:
            width = coarse.size // part
            if width < 8 or (mains_hz and duration / part < 2 / mains_hz):
                break
            eased = uniform_filter1d(signed, max(1, width // 8), mode="nearest")
            level = eased - grey_opening(eased, size=(width,), mode="reflect")
            if float(np.std(level)) < WANDER_PART * spread:
                continue  # noise, residual hum, or its beat with the pulses of a rotor near the mains
            found = estimate_from_edges(level, step, marks, WANDER_PITCH * width * step, None)
            if not found.sure or found.result is None or found.pulses is None or found.result.uneven:
                continue
            few = not found.even and found.pulses.time_s.size < WANDER_PULSES
            if found.contested or (few and not evenly_alike(found.pulses, marks)):
                continue
            rank = (not few, found.quality)
            if best is None or rank > best[0]:
                best = rank, (found, level, step)
    return None if best is None else best[1]


def mean_over(voltage: FloatArray, samples: float) -> FloatArray:
    """Return running means over a number of samples, not necessarily whole."""
    total = np.concatenate([[0.0], np.cumsum(voltage)])
    place = np.arange(voltage.size) + 0.5
    ends = np.arange(voltage.size + 1)
    begin, end = np.maximum(place - samples / 2, 0.0), np.minimum(place + samples / 2, float(voltage.size))
    return np.asarray((np.interp(end, ends, total) - np.interp(begin, ends, total)) / (end - begin))
