"""Proposals other than readings under the lamp: a sweep in the other direction, and coast-downs."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from edgewind.evidence import Findings, ResponseCurve, SweepData
from edgewind.evidence.coastdown import CoastDown
from edgewind.formatting import format_number
from edgewind.plan.cost import Cost
from edgewind.plan.information import NATS_PER_BIT, InformationGain
from edgewind.plan.spread import IntervalWidth, bits_of, other_interval, rounded, spread_of
from edgewind.plan.values import Plan, PlannedMeasurement

# Standard deviation of the unseen shift in ln(pressure) of a sweep in one direction by a lag of gauge or rotor.
# Our judgement, no source.
UNSEEN_SHIFT = 0.05
# Readings of a short sweep the other way: two on each flank, where the speed changes most with pressure.
_BACKWARD = 4
# A coast-down counts as made at a pressure where one lies within this factor of it.
_NEAR = 2.5
# Relative standard uncertainty of the drag by one coast-down, where none has been made. Our judgement, no source.
_TYPICAL_DRAG_U = 0.03
_TYPICAL_COAST_S = 600.0
# Relative standard uncertainty of the drag by theory alone: shares of the walls, of the wake of the vane ahead, and of
# specular reflection. Our judgement, no source.
_THEORY_DRAG_U = 0.10
# The same of a moment of inertia worked out from the drawing, where the bench states none: a coast-down gives drag
# over inertia.
_TYPICAL_INERTIA_U = 0.08
# Flanks are sought where the speed is above this share of the greatest: a shift far out in a tail contains little
# information on the maximum.
_FLANK = 0.6


def other_proposals(found: Findings | None, data: SweepData, plan: Plan, cost: Cost) -> tuple[PlannedMeasurement, ...]:
    """Propose a sweep in the other direction and coast-downs, if not yet made.

    Parameters
    ----------
    found : Findings or None
        The experiment; coast-downs are proposed only where there is one.
    data : SweepData
        The readings.
    plan : Plan
        The readings proposed so far.
    cost : Cost
        Time of a reading.
    """
    backward = _backward(data, plan, cost)
    coasts = () if found is None else _coast_downs(found, plan, cost)
    return (*(() if backward is None else (backward,)), *coasts)


def open_direction(data: SweepData) -> int:
    """Return the direction in which no reading has yet been taken: -1 falling, +1 rising, 0 where both or neither were.

    Examples
    --------
    >>> open_direction(SweepData([1.0, 2.0, 4.0], [0.01] * 3, [1.0, 2.0, 1.0], [0.1] * 3))
    -1
    """
    rising, falling = bool(np.any(data.direction > 0)), bool(np.any(data.direction < 0))
    return 0 if rising == falling else -1 if rising else 1


def _backward(data: SweepData, plan: Plan, cost: Cost) -> PlannedMeasurement | None:
    """Propose a few readings with the pressure changing in the other direction, if not yet made."""
    missing, curve, optimum = open_direction(data), plan.optimum.curve, plan.optimum
    differ = optimum.sweeps is not None and optimum.sweeps.verdict == "differ"
    if curve is None or not (differ or (missing and optimum.found)):
        return None
    outlook = InformationGain(curve)
    spread = spread_of(optimum, outlook, plan.level)
    places = _steepest(curve, outlook, spread)
    pressures = [rounded(float(curve.pressure_pa[i]), plan.range_pa) for i in places]
    pressures = sorted({p for p in pressures if plan.range_pa[0] <= p <= plan.range_pa[1]}, reverse=missing <= 0)
    if len(pressures) < 2:
        return None
    slope = np.gradient(curve.mean, curve.log_pressure)[places]
    shift_u = float(np.sum(slope**2 / (outlook.noise[places] + curve.sd[places] ** 2)) ** -0.5)
    time, at = 0.0, float(data.pressure_pa[-1])
    for pressure in pressures:
        time += float(cost(np.array([pressure]), at)[0])
        at = pressure
    z = float(ndtri(0.5 + plan.level / 2))
    left = float((UNSEEN_SHIFT**-2 + (shift_u / 2) ** -2) ** -0.5)
    ends = other_interval(spread, z * UNSEEN_SHIFT), other_interval(spread, z * left)
    before, after = ends if optimum.found else (None, None)  # of an optimum that is not claimed there is no interval
    way = "falling" if missing <= 0 else "rising"
    if differ:
        why = (
            "The sweeps differ: a few readings on the flanks, with longer dwell, show whether the difference is a "
            "lag, which dwelling removes, or a drift, which it does not."
        )
    else:
        why = (
            f"No reading was taken with the pressure {way}: a lag of gauge or rotor would shift the maximum unnoticed; "
            f"{100 * UNSEEN_SHIFT:g} % are assumed for it. Readings on the steep flanks would show it."
        )
    return PlannedMeasurement(
        kind="sweep",
        about="difference of sweeps",
        pressure_pa=pressures[0],
        pressures_pa=tuple(pressures),
        why=why,
        interval_before_pa=before,
        interval_after_pa=after,
        information_bits=max(bits_of(*ends), 0.0) if optimum.found else None,
        cost_s=time,
    )


def _steepest(curve: ResponseCurve, outlook: InformationGain, spread: IntervalWidth) -> list[int]:
    """Return places on the grid, two on each side of the maximum, with the greatest effect of a shift of the curve."""
    x = curve.log_pressure
    slope = np.gradient(curve.mean, x)
    shown = slope**2 / (outlook.noise + curve.sd**2)
    shown = np.where(np.abs(curve.mean) > _FLANK * np.abs(curve.mean).max(), shown, -1.0)
    apart = 0.1 * float(x[-1] - x[0])
    places: list[int] = []
    for side in (x < spread.middle, x > spread.middle):
        weight = np.where(side, shown, -1.0)
        for _ in range(_BACKWARD // 2):
            best = int(np.argmax(weight))
            if weight[best] <= 0:
                break
            places.append(best)
            weight = np.where(np.abs(x - x[best]) < apart, -1.0, weight)
    return places


def _coast_downs(found: Findings, plan: Plan, cost: Cost) -> tuple[PlannedMeasurement, ...]:
    """Propose coast-downs at the ends and the middle of the measured pressures, if not yet made."""
    used = found.experiment.used
    if used.empty:
        return ()
    coasts = [
        one
        for one in (found.coasts if found.explanation is None else found.explanation.coasts)
        if one.usable and one.drag_rate > 0
    ]
    low, high = float(used["pressure_pa"].min()), float(used["pressure_pa"].max())
    middle = plan.optimum.pressure_pa if plan.optimum.found else None
    wanted = [low, middle or float(np.sqrt(low * high)), high]
    there = [*(one.pressure_pa for one in coasts), *(one.pressure_pa for one in found.runs)]
    missing = [p for p in wanted if not any(1 / _NEAR < pressure / p < _NEAR for pressure in there)]
    own = float(np.median([one.drag_rate_u / one.drag_rate for one in coasts])) if coasts else _TYPICAL_DRAG_U
    inertia = found.experiment.bench.rotor.moment_of_inertia
    after = float(np.hypot(own, _TYPICAL_INERTIA_U if inertia is None else inertia.relative))
    proposals = []
    for pressure in missing[:2]:
        pressure = rounded(pressure, plan.range_pa)
        bits = float(np.log(np.hypot(_THEORY_DRAG_U, after) / after) / NATS_PER_BIT)
        move = float(cost(np.array([pressure]), None)[0])
        time = move + _coast_time(coasts, pressure)
        why = _why(found, coasts, after)
        proposals.append(
            PlannedMeasurement(
                kind="coast-down",
                about="drag and pivot",
                pressure_pa=pressure,
                pressures_pa=(pressure,),
                why=why,
                information_bits=bits,
                cost_s=time,
            )
        )
    return tuple(proposals)


def _coast_time(coasts: list[CoastDown], pressure_pa: float) -> float:
    """Return the time for the speed to halve, s, by the nearest coast-down: drag grows at most as the pressure."""
    if not coasts:
        return _TYPICAL_COAST_S
    near = min(coasts, key=lambda one: abs(np.log(one.pressure_pa / pressure_pa)))
    rate = near.drag_rate * min(1.0, pressure_pa / near.pressure_pa) if near.drag_rate > 0 else 0.0
    return float(np.log(2) / rate) if rate > 0 else _TYPICAL_COAST_S


def _why(found: Findings, coasts: list[CoastDown], after: float) -> str:
    fitted = None if found.explanation is None else found.explanation.fit
    loose = []
    if fitted is not None:
        loose = [
            one.unknown.label
            for one in fitted.marginals
            if one.unknown.name.startswith("pivot") and one.fixed_by_data == "no"
        ]
    said = f"; the fit leaves {' and '.join(loose)} open" if loose else ""
    to = format_number(100 * after, 2)
    none = "" if coasts else "(without any coast-down) "
    return (
        f"The drag here is known {none}from theory only, to {100 * _THEORY_DRAG_U:.2g} %; a coast-down until the speed "
        f"has halved measures it to about {to} %, with the pivot and hence the torque{said}. It gives "
        "information on the mechanism, not on the maximising pressure."
    )
