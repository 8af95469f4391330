"""Choice of the next readings by the information on the maximising pressure for their time, and when to stop."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.errors import EdgewindError, InputError
from edgewind.evidence import Findings, Optimum, ResponseCurve, SweepData, find_optimum, fit_curve, sweep_data
from edgewind.evidence.optimum import FEWEST_PRESSURES, maxima_of
from edgewind.evidence.sweep_data import REPEAT_LOG_PRESSURE
from edgewind.formatting import format_interval, format_number
from edgewind.plan.cost import Cost, PlainCost, cost_from_record
from edgewind.plan.dwell import bench_times
from edgewind.plan.information import InformationGain
from edgewind.plan.others import other_proposals
from edgewind.plan.ranges import check_range, even_places, gauge_range
from edgewind.plan.repeats import Repeats
from edgewind.plan.sentences import ASSUMPTIONS, contradicted_by, is_beyond, reason_for, state_of
from edgewind.plan.spread import IntervalWidth, bits_of, rounded, spread_of
from edgewind.plan.target import TargetInterval, parse_target
from edgewind.plan.values import Kind, Plan, PlannedMeasurement, Stop, StopReason

Array = NDArray[np.float64]
# Largest batch: further ahead, the first readings would change the plan.
LARGEST_BATCH = 24
# A reading that narrows the whole interval by less than this share is not worth its time. Our judgement, no source.
LEAST_NARROWING = 0.01
# Where the curves that fit are highest at an end, pressures up to this factor beyond the readings are considered, too.
BEYOND = 4.0
# A repeat is preferred to a new pressure if scatter is unexplained and it gives this share of the information per time.
REPEAT_SHARE = 0.8
# Pressures closer than this share of the spacing of a log-even start count as measured.
_TAKEN = 0.4
# Readings that a study proposes in its report.
PLANNED = 3
_GRID, _DRAWS = 121, 2048


def propose(
    subject: Findings | SweepData,
    *,
    batch: int = 1,
    target: str | float | TargetInterval | None = None,
    level: float | None = None,
    range_pa: tuple[float, float] | None = None,
    cost: Cost | None = None,
    seed: int | None = None,
) -> Plan:
    """Return the next measurements, their expected effect, and whether they are worth their time.

    Parameters
    ----------
    subject : Findings or SweepData
        The data so far: a studied experiment, or bare readings.
    batch : int
        Number of readings to choose; each is chosen as if those before it were taken.
    target : str, float, TargetInterval or None
        Wanted full width of the interval: ``"10%"`` of the pressure, ``"0.1 Pa"``, or nothing.
    level : float, optional
        Level of the interval; that of the findings, or 0.9.
    range_pa : tuple of float, optional
        Lowest and highest pressure, Pa; default: the range of the gauge, or the measured pressures.
    cost : Cost, optional
        Time of a reading, s; default: by the times of the record, else by the forward model of the bench, else
        :class:`PlainCost`.
    seed : int, optional
        Seed of the draws; that of the bench, or 0.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        A batch below one or above 24, a target that is not above zero, a closed range, or no readings and no range.

    Examples
    --------
    >>> pressure = np.geomspace(0.1, 10.0, 8)
    >>> speed = 4 * pressure / (1 + pressure) ** 2
    >>> plan = propose(SweepData(pressure, np.full(8, 0.01), speed, np.full(8, 0.02)), target="20%")
    >>> plan.proposals[0].kind, 0.2 < plan.proposals[0].pressure_pa < 5.0
    ('reading', True)
    """
    if isinstance(batch, bool) or not isinstance(batch, int) or not 1 <= batch <= LARGEST_BATCH:
        raise InputError(
            f"a batch cannot hold {batch!r} readings", fix=f"give a whole number from 1 to {LARGEST_BATCH}"
        )
    wanted = parse_target(target)
    found = subject if isinstance(subject, Findings) else None
    bench = None if found is None else found.experiment.bench
    level = level if level is not None else 0.9 if bench is None else bench.study.level
    seed = seed if seed is not None else 0 if bench is None else bench.study.seed
    data = subject if isinstance(subject, SweepData) else sweep_data(subject.experiment.used)
    optimum = _optimum(found, data, level, seed)
    allowed = _allowed(range_pa, data, None if bench is None else gauge_range(bench), bench)
    known_cost, cost_words = _cost(cost, data, bench)
    name = "these readings" if found is None else found.experiment.name
    scatter = optimum.unstated
    if scatter is not None and optimum.reason == "scatter above that stated":
        plan = _repeats(name, Repeats(data, optimum, scatter), allowed, batch, known_cost, level, wanted)
    elif optimum.curve is None:
        plan = _start(name, data, optimum, allowed, batch, known_cost, level, wanted)
    else:
        plan = _readings(name, data, optimum, allowed, batch, known_cost, level, wanted, seed)
    others = other_proposals(found, data, plan, known_cost)
    return replace(plan, proposals=_in_order(plan, others), assumptions=(*plan.assumptions, cost_words))


def propose_if_possible(found: Findings) -> Plan | None:
    """Plan the next readings for a report; None without readings or a range."""
    try:
        return propose(found, batch=PLANNED)
    except InputError:
        return None


def _in_order(plan: Plan, others: tuple[PlannedMeasurement, ...]) -> tuple[PlannedMeasurement, ...]:
    """Put a sweep in the other direction before the readings if it narrows the interval more for its time.

    Coast-downs give other information, which cannot be compared: they come last, or first if no more readings are worth
    their time.
    """
    if plan.stop is not None or not plan.readings:
        return (*others, *plan.proposals)
    first = [one for one in others if one.kind == "sweep" and _rate(one) > _rate(plan.readings[0])]
    return (*first, *plan.proposals, *(one for one in others if one not in first))


def _rate(proposal: PlannedMeasurement) -> float:
    """Return the bits by which the whole interval narrows per second; zero if unknown."""
    before, after = proposal.interval_before_pa, proposal.interval_after_pa
    return 0.0 if before is None or after is None else bits_of(before, after) / proposal.cost_s


def _optimum(found: Findings | None, data: SweepData, level: float, seed: int) -> Optimum:
    if found is not None and found.optimum.level == level:
        return found.optimum
    return find_optimum(data, level=level, seed=seed)


def _allowed(
    range_pa: tuple[float, float] | None, data: SweepData, gauge: tuple[float, float] | None, bench: Bench | None
) -> tuple[float, float]:
    if range_pa is not None:
        return check_range(*range_pa, bench)
    if gauge is not None:
        return gauge
    if data.distinct_pressures() >= 2:
        return float(data.pressure_pa.min()) / BEYOND, float(data.pressure_pa.max()) * BEYOND
    raise InputError(
        "there is no range to start from: no readings at two pressures, and a gauge without a stated range",
        fix="state the range: --range '0.02Pa:20Pa'",
    )


def _cost(cost: Cost | None, data: SweepData, bench: Bench | None) -> tuple[Cost, str]:
    if cost is not None:
        words = getattr(cost, "sentence", "The time of a reading is that of the cost model given.")
        return cost, str(words)
    recorded = cost_from_record(data.pressure_pa, data.time_s)
    if recorded is not None:
        return recorded, f"{recorded.sentence} The first is the median of the times between the readings so far."
    if bench is not None:
        with suppress(EdgewindError):  # a rotor outside the forward model has the plain cost
            modelled = bench_times(bench)
            modelled(np.array([1.0]), None)
            return modelled, modelled.sentence
    return PlainCost(), f"{PlainCost().sentence} No measured times of readings are available."


def _start(
    name: str, data: SweepData, optimum: Optimum, allowed: tuple[float, float], batch: int, cost: Cost, level: float,
    target: TargetInterval | None,
) -> Plan:  # fmt: skip
    """Spread the first readings evenly over ln(pressure), leaving out what has been measured."""
    count = max(FEWEST_PRESSURES, min(batch, LARGEST_BATCH))
    places = np.log(even_places(*allowed, count))
    spacing = places[1] - places[0]
    known = data.log_pressure
    free = [x for x in places if not np.any(np.abs(known - x) < _TAKEN * spacing)]
    chosen = [float(x) for x in free[:batch]]
    while len(chosen) < batch:
        chosen.append(_emptiest(np.concatenate([known, chosen]), allowed))
    why = (
        f"{data.distinct_pressures() or 'No'} pressures have been measured, and {FEWEST_PRESSURES} are the fewest that "
        "show a maximum: the first readings are spaced evenly in the logarithm of pressure, whatever they show."
    )
    proposals, before = [], float(data.pressure_pa[-1]) if data.size else None
    for x in chosen:
        pressure = rounded(float(np.exp(x)), allowed)
        seconds = float(cost(np.array([pressure]), before)[0])
        proposals.append(
            PlannedMeasurement(
                kind="reading",
                about="maximising pressure",
                pressure_pa=pressure,
                pressures_pa=(pressure,),
                why=why,
                cost_s=seconds,
            )
        )
        before = pressure
    return Plan(
        name, tuple(proposals), None, level, target,
        f"Too few pressures have been measured for an estimate: readings evenly spaced in ln(pressure) from "
        f"{format_interval(*allowed, 'Pa')} come first.",
        ("The position of the maximum is not known yet: every part of the range is equally likely.",),
        ("Nothing: these are first readings and not a claim.",),
        optimum, allowed,
    )  # fmt: skip


def _repeats(
    name: str, repeats: Repeats, allowed: tuple[float, float], batch: int, cost: Cost, level: float,
    target: TargetInterval | None,
) -> Plan:  # fmt: skip
    proposals = repeats.proposals(batch, allowed, cost)
    if not proposals:
        raise _nothing_measured(allowed)
    return Plan(
        name, proposals, None, level, target, repeats.opening, repeats.assumptions, repeats.falsified_by,
        repeats.optimum, allowed,
    )  # fmt: skip


def _nothing_measured(allowed: tuple[float, float]) -> InputError:
    return InputError(
        f"no measured pressure lies between {format_number(allowed[0])} and {format_number(allowed[1])} Pa",
        fix="give a range that holds some of the readings",
    )


def _emptiest(known: Array, allowed: tuple[float, float]) -> float:
    """Return the place in the range that is farthest from all measured pressures."""
    grid = np.linspace(np.log(allowed[0]), np.log(allowed[1]), 241)
    return float(grid[np.argmax(np.abs(grid[:, None] - known).min(1))])


def planning_curve(optimum: Optimum, allowed: tuple[float, float], seed: int) -> ResponseCurve:
    """Return the curve to plan on: that of the optimum, extended beyond the readings if its maximum lies at an end.

    Readings outside the allowed range remain in the curve.
    """
    curve = optimum.curve
    assert curve is not None
    low, high = float(curve.pressure_pa[0]), float(curve.pressure_pa[-1])
    down = "low edge" in optimum.reason and allowed[0] < low / 1.05
    up = "high edge" in optimum.reason and allowed[1] > high * 1.05
    if optimum.reason == "flat within noise":
        down, up = allowed[0] < low / 1.05, allowed[1] > high * 1.05
    if not (down or up):
        return curve
    ends = (max(allowed[0], low / BEYOND) if down else low, min(allowed[1], high * BEYOND) if up else high)
    return fit_curve(curve.data, grid_points=_GRID, draws=_DRAWS, seed=seed, ends_pa=ends)


def choose(
    outlook: InformationGain, count: int, allowed: tuple[float, float], cost: Cost, before: float | None
) -> tuple[list[int], list[float], list[float], Array]:
    """Choose places on the grid one after the other, each by information for its time.

    Returns
    -------
    chosen : list of int
        Places on the grid.
    bits : list of float
        Information of each, given those before it.
    seconds : list of float
        Time of each.
    alone : ndarray, shape (m,)
        Information of a single reading at each place.
    """
    pressure = outlook.curve.pressure_pa
    slack = 1 + 1e-9
    open_places = (pressure >= allowed[0] / slack) & (pressure <= allowed[1] * slack)
    if not open_places.any():
        raise _nothing_measured(allowed)
    chosen: list[int] = []
    bits: list[float] = []
    seconds: list[float] = []
    alone = outlook.information()
    for _ in range(count):
        gain = outlook.information(chosen) if chosen else alone
        time = cost(pressure, before)
        best = int(np.argmax(np.where(open_places, gain / time, -1.0)))
        chosen.append(best)
        bits.append(float(gain[best]))
        seconds.append(float(time[best]))
        before = float(pressure[best])
    return chosen, bits, seconds, alone


def _readings(
    name: str, data: SweepData, optimum: Optimum, allowed: tuple[float, float], batch: int, cost: Cost, level: float,
    target: TargetInterval | None, seed: int,
) -> Plan:  # fmt: skip
    curve = planning_curve(optimum, allowed, seed)
    outlook = InformationGain(curve)
    spread = spread_of(optimum, outlook, level)
    before = float(data.pressure_pa[-1])
    chosen, bits, seconds, alone = choose(outlook, batch, allowed, cost, before)
    scattered = unexplained_scatter(optimum)
    wanted = [float(curve.pressure_pa[place]) for place in chosen]
    doubtful = _doubtful_maximum(optimum, data, allowed)
    if scattered:
        chosen[0], wanted[0] = _rather_repeat(chosen[0], outlook, alone, data, allowed, cost, before)
    if doubtful is not None:
        chosen[0], wanted[0] = int(np.argmin(np.abs(curve.pressure_pa - doubtful))), doubtful
    if scattered or doubtful is not None:
        bits[0], seconds[0] = float(alone[chosen[0]]), float(cost(curve.pressure_pa, before)[chosen[0]])
    proposals: list[PlannedMeasurement] = []
    told = 0.0
    for number, (place_pa, gain, time) in enumerate(zip(wanted, bits, seconds, strict=True)):
        pressure = rounded(place_pa, allowed)
        near = int(np.argmin(np.abs(data.log_pressure - np.log(pressure))))
        again = abs(float(data.log_pressure[near]) - np.log(pressure)) < REPEAT_LOG_PRESSURE
        again = again or any(is_beyond(pressure, data) and pressure == one.pressure_pa for one in proposals)
        kind: Kind = "repeat" if again else "reading"
        why = reason_for(pressure, again, number, scattered, optimum, spread, curve)
        why = _AT_A_MAXIMUM if doubtful is not None and not number else why
        ends = (spread.after(told), spread.after(told + gain)) if optimum.found else (None, None)
        proposals.append(
            PlannedMeasurement(
                kind=kind,
                about="maximising pressure",
                pressure_pa=pressure,
                pressures_pa=(pressure,),
                why=why,
                interval_before_pa=ends[0],
                interval_after_pa=ends[1],
                information_bits=None if is_beyond(pressure, data) else gain,
                cost_s=time,
            )
        )
        told += gain
    totals = np.concatenate([[0.0], np.cumsum(bits)])
    widths = np.array([np.diff(spread.after(float(total)))[0] for total in totals]) / np.exp(spread.middle)
    known = {"widths": widths, "floor_width": 2 * spread.fixed} if optimum.found else {}
    stop = _stop(data, optimum, spread, proposals[0], level, target, seed)
    return Plan(
        name, tuple(proposals), stop, level, target, state_of(optimum, level, target, allowed),
        ASSUMPTIONS if optimum.found else ASSUMPTIONS[::2],
        contradicted_by(proposals[0], curve, outlook, chosen[0], level, optimum), optimum, allowed,
        curve.pressure_pa, np.where(_inside(curve.pressure_pa, data), alone, np.nan), **known,
    )  # fmt: skip


def _inside(pressure_pa: Array, data: SweepData) -> NDArray[np.bool_]:
    return np.array([not is_beyond(float(one), data) for one in pressure_pa])


def unexplained_scatter(optimum: Optimum) -> bool:
    """Return whether the readings scatter by more than their uncertainties, about any smooth curve or among repeats."""
    curve, sweeps = optimum.curve, optimum.sweeps
    if curve is None:
        return False
    beyond = curve.excess_interval_rad_s[0] > float(np.median(curve.data.speed_u_rad_s))
    return beyond or (sweeps is not None and sweeps.repeat_p is not None and sweeps.repeat_p < 0.01)


_AT_A_MAXIMUM = "The curve has more than one maximum: a repeat at this one shows whether a reading was off."
# Readings at each of several maxima after which no more are asked for.
_AT_EACH_MAXIMUM = 3


def _doubtful_maximum(optimum: Optimum, data: SweepData, allowed: tuple[float, float]) -> float | None:
    """Return the measured pressure, Pa, at the maximum with fewest readings of several; None without several."""
    if optimum.curve is None or not optimum.found or len(maxima := maxima_of(optimum.curve)) < 2:
        return None
    near = [data.pressure_pa[np.argmin(np.abs(data.log_pressure - np.log(one)))] for one in maxima]
    count = [int(np.sum(np.abs(data.log_pressure - np.log(one)) < REPEAT_LOG_PRESSURE)) for one in near]
    pairs = [(n, float(p)) for n, p in zip(count, near, strict=True) if allowed[0] <= p <= allowed[1]]
    fewest = min(pairs, default=(_AT_EACH_MAXIMUM, 0.0))
    return fewest[1] if fewest[0] < _AT_EACH_MAXIMUM else None


def _rather_repeat(
    best: int,
    outlook: InformationGain,
    alone: Array,
    data: SweepData,
    allowed: tuple[float, float],
    cost: Cost,
    before: float,
) -> tuple[int, float]:
    """Return place and value, or those of a measured pressure if it gives nearly as much information per time."""
    pressure = outlook.curve.pressure_pa
    time = cost(pressure, before)
    rate = alone / time
    measured = [float(one) for one in data.pressure_pa if allowed[0] <= one <= allowed[1]]
    places = np.searchsorted(pressure, measured).clip(0, pressure.size - 1)
    if measured:
        again = int(np.argmax(rate[places]))
        if rate[places[again]] >= REPEAT_SHARE * rate[best]:
            return int(places[again]), measured[again]
    return best, float(pressure[best])


def _stop(
    data: SweepData, optimum: Optimum, spread: IntervalWidth, first: PlannedMeasurement, level: float,
    target: TargetInterval | None, seed: int,
) -> Stop | None:  # fmt: skip
    """Return why no further reading is worth its time; None if one is."""
    interval, pressure = optimum.interval_pa, optimum.pressure_pa

    def stop(reason: StopReason, sentence: str, *, reached: bool = False) -> Stop:
        return Stop(reason=reason, sentence=sentence, reached=reached, interval_pa=interval, pressure_pa=pressure)

    if optimum.reason == "drift between sweeps":
        sweeps = optimum.sweeps
        detail = "" if sweeps is None else " " + sweeps.sentence
        sentence = (
            "More readings would not help while the sweeps disagree: find the cause (a gauge that lags, a rotor that "
            f"warms, a lamp that ages), or dwell longer.{detail}"
        )
        return stop("drift dominates", sentence)
    if interval is None or pressure is None:
        return None
    if target is not None and target.reached(interval, pressure) and confirmed(data, level, target, seed):
        sentence = (
            f"The interval {format_interval(*interval, 'Pa')} has reached the target ({target.words}), and had "
            "reached it before the newest reading, which confirms it."
        )
        return stop("target reached", sentence, reached=True)
    floor = 2 * spread.fixed
    shift = abs(optimum.sweeps.optimum_shift or 0.0) if optimum.sweeps and optimum.sweeps.verdict == "differ" else 0.0
    common = data.common_log_pressure_u
    short = target is not None and floor >= target.log_width(pressure)
    narrowing = 1.0 - spread.shrink(first.information_bits or 0.0)
    if short or narrowing < LEAST_NARROWING:
        amount = f"the best reading would narrow the interval by {100 * narrowing:.1g} %"
        beneath = "" if target is None else f", where the target is {target.words}"
        if shift > 2 * common and (short or spread.fixed > spread.own):
            sentence = (
                f"The difference between the sweeps alone makes the interval {100 * floor:.2g} % wide{beneath}; "
                f"{amount}. Find its cause before more readings."
            )
            return stop("drift dominates", sentence)
        if short or spread.fixed > spread.own:
            sentence = (
                f"The uncertainty of pressure that all readings share makes the interval {100 * floor:.2g} % wide by "
                f"itself{beneath}; {amount}. A comparison with a better gauge would narrow it, readings will not."
            )
            return stop("gauge dominates", sentence)
        sentence = f"Now {amount}, for {format_number(first.cost_s / 60, 2)} min: not worth its time."
        return stop("gain below cost", sentence, reached=target is None)
    return None


def confirmed(data: SweepData, level: float, target: TargetInterval, seed: int) -> bool:
    """Return whether the target was already reached before the newest reading, which then confirms it.

    A rule that stops at the first interval narrow enough could favour those that are narrow by chance; cost and benefit
    of the confirmation are measured in benchmarks/bench_plan.py.
    """
    if data.distinct_pressures() <= FEWEST_PRESSURES:
        return False
    earlier = find_optimum(data.take(np.arange(data.size - 1)), level=level, seed=seed)
    return (
        earlier.interval_pa is not None
        and earlier.pressure_pa is not None
        and target.reached(earlier.interval_pa, earlier.pressure_pa)
    )
