"""Text of an explanation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from edgewind.evidence.claims import p_words
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.explain import Explanation
from edgewind.evidence.likelihood import REPEATS
from edgewind.evidence.what_if import Moved, Spread, WhatIf
from edgewind.formatting import RPM_PER_RAD_S, format_interval, format_number, raise_exponents
from edgewind.rotor.words import flat_words

_UNIT = {"speed": (RPM_PER_RAD_S, "rpm"), "torque": (1.0, "N m")}


def what_if_lines(found: WhatIf) -> Iterator[str]:
    """Yield how both optima change: a table of medians and intervals, and the draws behind them."""
    said = " and ".join(f"{key} = {value}" for key, value in found.changes.items())
    yield f"What if {said}?" if said else "As it is:"
    for moved in (found.speed, found.torque):
        scale, unit = _UNIT[moved.quantity]
        shown = (moved.before, moved.after)[: 2 if found.changes else 1]
        places = [_spread_words(Spread(at.pressure_pa, at.interval_pa), 1.0, "Pa") for at in shown]
        values = [_spread_words(Spread(at.value, at.value_interval), scale, unit) for at in shown]
        if not any(places):
            continue
        ratio = _spread_words(moved.ratio, 1.0, "") if found.changes else ""
        line = "  ->  ".join(place or "no maximum" for place in places)
        yield f"{f'greatest {moved.quantity} at':<19} {line}" + (f";  ratio {ratio}" if ratio else "")
        yield f"{f'  {moved.quantity} there':<19} {'  ->  '.join(value or 'no maximum' for value in values)}"
    what = (
        "the posterior of the fit"
        if found.kind == "posterior"
        else "priors only: bench.toml without the readings; --fit uses them"
    )
    yield f"medians and {100 * found.level:g} % intervals over {found.draws} draws of {what}"
    for moved in (found.speed, found.torque):
        for when, at in (("before", moved.before), ("after", moved.after))[: 2 if found.changes else 1]:
            if at.flat_pa is not None:
                yield f"{when} the change the {moved.quantity} is {flat_words(at.flat_pa)}"
        yield from _no_maximum(moved, bool(found.changes))


def _spread_words(spread: Spread, scale: float, unit: str) -> str:
    if spread.median is None or spread.interval is None:
        return ""
    low, high = (format_number(scale * end, 3) for end in spread.interval)
    return f"{format_number(scale * spread.median, 3)} ({low} to {high}) {unit}".rstrip()


def _no_maximum(moved: Moved, changed: bool) -> Iterator[str]:
    for when, at in (("before", moved.before), ("after", moved.after))[: 2 if changed else 1]:
        if not at.found:
            yield (
                f"{when} the change the {moved.quantity} has a maximum between these pressures in "
                f"only {100 * at.share:.0f} % of the draws: ask for a wider range"
            )


def explanation_lines(found: Explanation) -> Iterator[str]:
    """Yield the results of the fit: both optima, each unknown, the check of the fit, and the next useful reading."""
    return (raise_exponents(line) for line in _explanation_lines(found))


def _explanation_lines(found: Explanation) -> Iterator[str]:
    if found.no_fit:
        yield f"No fit: {found.no_fit}."
    for name, optimum in (("speed", found.speed_optimum), ("torque", found.force_optimum)):
        if (
            optimum is not None
            and optimum.found
            and optimum.interval_pa is not None
            and optimum.pressure_pa is not None
        ):
            flat = f"; it is {flat_words(optimum.flat_pa)}" if optimum.flat_pa else ""
            yield (
                f"By the fit the {name} is greatest at {format_number(optimum.pressure_pa, 3)} Pa "
                f"({format_interval(*optimum.interval_pa, 'Pa')}){flat}."
            )
        elif optimum is not None:
            yield f"By the fit the {name} has {optimum.reason}."
    fitted = found.fit
    if fitted is not None and found.beyond:
        lie, are = "1 reading lies at a pressure", "is"
        if found.beyond > 1:
            lie, are = f"{found.beyond} readings lie at pressures", "are"
        yield f"{lie} outside the range of the gas response and {are} not used by the fit."
    if fitted is not None:
        said = {"yes": "", "partly": ", partly fixed by the readings", "no": ", not fixed by the readings"}
        for one in fitted.marginals:
            settle = f"; would be narrowed most by {one.settled_by}" if one.settled_by else ""
            value = f"{format_number(one.median, 3)} ({format_interval(*one.interval)}) {one.unknown.unit}".rstrip()
            yield f"  {one.unknown.label}: {value}{said[one.fixed_by_data]}{settle}"
        outside = int((~fitted.predictive["inside"]).sum())
        yield (
            f"The fit misses {outside} of {len(fitted.predictive)} readings at the {100 * fitted.level:g} % level "
            f"(posterior predictive {p_words(fitted.p_value)}; with the stated uncertainties and a repeatability of "
            f"{100 * REPEATS:g} % alone {p_words(fitted.p_stated)})."
        )
        if not fitted.settled:
            yield "The walkers did not converge: intervals of the fit are not reliable; fit again with another seed."
    yield from _coast_down_lines(found.coasts, [run.line for run in found.runs])
    if found.wanted:
        yield found.wanted


def _coast_down_lines(coasts: Sequence[CoastDown], in_fit: Sequence[int]) -> Iterator[str]:
    def words(count: int) -> str:
        recorded = "" if count == len(coasts) else f", of {len(coasts)} recorded"
        return "1 coast-down was {}" + recorded if count == 1 else f"{count} coast-downs were {{}}{recorded}"

    used, followed = [one for one in coasts if one.usable], [one for one in coasts if one.line in in_fit]
    if used:
        yield f"{words(len(used)).format('used for drag, pivot friction and the measured torque')}."
    if followed:
        how = "used by the fit as runs from the moment the lamp was switched off, since warm vanes still drove"
        yield f"{words(len(followed)).format(how if len(followed) > 1 else how.replace('as runs', 'as a run'))}."
    for coast in coasts:
        if not coast.usable and coast.line not in in_fit:
            known = np.isfinite(coast.pressure_pa)
            which = f"The coast-down at {format_number(coast.pressure_pa, 3)} Pa" if known else "A coast-down"
            yield f"{which} was not used: {coast.why_not}."
