"""Sentences of a plan: why a reading, the state of the experiment, assumptions, and what would contradict them."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtri

from edgewind.evidence import Optimum, ResponseCurve, SweepData
from edgewind.evidence.optimum import REASONS, RISE_ABOVE_ENDS
from edgewind.formatting import format_interval, format_number
from edgewind.plan.information import InformationGain
from edgewind.plan.spread import IntervalWidth
from edgewind.plan.target import TargetInterval
from edgewind.plan.values import PlannedMeasurement


def reason_for(
    pressure: float,
    again: bool,
    number: int,
    scattered: bool,
    optimum: Optimum,
    spread: IntervalWidth,
    curve: ResponseCurve,
) -> str:
    """Return why a reading, the `number`-th of a batch, is proposed at a pressure, Pa."""
    if is_beyond(pressure, curve.data):
        return _BEYOND[optimum.reason.partition(" at ")[0]]
    if again and scattered:
        return (
            "The readings scatter by more than their stated uncertainties; a repeat separates noise from the curve, "
            "and gives as much information on the maximum as a new pressure."
        )
    if not optimum.found:
        return "Here a reading distinguishes best between the curves that fit, which differ in their maxima."
    side = math.log(pressure) - spread.middle
    half = max(spread.high - spread.middle, spread.middle - spread.low)
    lead = "A repeat" if again else "A reading"
    follow = ", after the readings before it" if number else ""
    if abs(side) <= half:
        return f"{lead} at the maximum gives most information for its time{follow}: it fixes the height of the curve."
    flank = "below" if side < 0 else "above"
    return (
        f"{lead} on the flank {flank} the maximum gives most information for its time{follow}: the slopes of the "
        "curves that fit differ there."
    )


def is_beyond(pressure: float, data: SweepData) -> bool:
    """Return whether a pressure, Pa, lies beyond the readings, where the curve is a continuation without a claim."""
    return bool(pressure < 0.99 * data.pressure_pa.min() or pressure > 1.01 * data.pressure_pa.max())


# Why a reading is proposed beyond the readings, by the reason why no optimum is claimed.
_BEYOND = {
    "peak": "The speed still rises towards this end: a reading beyond it shows whether the maximum lies there.",
    "no clear fall": "The speed is not shown to fall towards this end: a reading beyond it shows whether it does.",
    "flat within noise": "The speed is flat so far: a reading beyond this end shows whether it changes there.",
}


def state_of(optimum: Optimum, level: float, target: TargetInterval | None, allowed: tuple[float, float]) -> str:
    """Return the state of the experiment: the interval, or why none is claimed."""
    if not optimum.found or optimum.interval_pa is None:
        more, curve = "", optimum.curve
        end = optimum.reason.partition(" at the ")[2]
        if end and curve is not None:
            low = end == "low edge"
            rise = optimum.rise_above_low if low else optimum.rise_above_high
            if optimum.reason.startswith("no clear fall"):
                stands = f"the maximum of the curve stands {rise or 0.0:.1f} standard deviations above that end"
                stands = "the curve is highest at that end" if (rise or 0.0) < 0.05 else stands
                more = f" By its mean {stands}; a fall is shown by {RISE_ABOVE_ENDS:g} standard deviations."
            measured = float(curve.pressure_pa[0 if low else -1])
            if (allowed[0] >= measured / 1.05) if low else (allowed[1] <= measured * 1.05):
                more += f" Pressures beyond it lie outside the range considered ({format_interval(*allowed, 'Pa')})."
        return f"No optimum is claimed yet ({optimum.reason}): {REASONS[optimum.reason]}.{more}"
    wanted = "" if target is None else f"; the target is {target.words}"
    width = 100 * (optimum.interval_pa[1] - optimum.interval_pa[0]) / (optimum.pressure_pa or 1.0)
    return (
        f"The {100 * level:g} % interval is {format_interval(*optimum.interval_pa, 'Pa')}, {format_number(width, 2)} % "
        f"of the pressure wide{wanted}."
    )


ASSUMPTIONS = (
    "The curve is as smooth in ln(pressure) as that of the readings so far; new readings scatter by their stated "
    "uncertainties and the excess scatter found so far.",
    "Expected widths are averages over possible readings: a single reading can widen the interval.",
    "The rotor does not change in the meantime: no drift, and the same light.",
)


def contradicted_by(
    first: PlannedMeasurement, curve: ResponseCurve, outlook: InformationGain, place: int, level: float,
    optimum: Optimum,
) -> tuple[str, ...]:  # fmt: skip
    """Return what would show that a plan of readings is wrong."""
    if is_beyond(first.pressure_pa, curve.data):
        above = first.pressure_pa > curve.data.pressure_pa.max()
        end = format_number(float(curve.data.pressure_pa.max() if above else curve.data.pressure_pa.min()), 3)
        return (
            f"A speed at {format_number(first.pressure_pa, 3)} Pa that equals that at {end} Pa within the "
            "uncertainties: such a reading shows neither that the maximum lies beyond nor that it does not.",
        )
    z = float(ndtri(0.5 + level / 2))
    u = float(np.sqrt(curve.sd[place] ** 2 + outlook.noise[place]))
    low, high = (30 / np.pi * (float(curve.mean[place]) + side * z * u) for side in (-1, 1))
    speed = (
        f"A speed at {format_number(first.pressure_pa, 3)} Pa outside {format_interval(low, high, 'rpm')} "
        f"(expected {100 * level:g} % of the time inside): the curve or the stated uncertainties are then wrong, and "
        "so is this plan."
    )
    if not optimum.found:
        return (speed,)
    return (
        speed,
        "An interval that does not narrow over three successive readings by about the expected amount.",
    )
