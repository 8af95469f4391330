"""An explanation as people read it."""

from __future__ import annotations

from collections.abc import Iterator

from edgewind.evidence.explain import Explanation
from edgewind.units import format_interval, format_number


def explanation_lines(found: Explanation) -> Iterator[str]:
    """Yield what the fit found: both optima, each unknown, the check of the fit, and what is still wanted."""
    if found.no_fit:
        yield f"No fit: {found.no_fit}."
    for name, optimum in (("speed", found.speed_optimum), ("torque", found.force_optimum)):
        if (
            optimum is not None
            and optimum.found
            and optimum.interval_pa is not None
            and optimum.pressure_pa is not None
        ):
            yield (
                f"By the fit the {name} is greatest at {format_number(optimum.pressure_pa, 3)} Pa "
                f"({format_interval(*optimum.interval_pa, 'Pa')})."
            )
        elif optimum is not None:
            yield f"By the fit the {name} has {optimum.reason}."
    fitted = found.fit
    if fitted is not None:
        said = {"yes": "", "partly": ", partly fixed by the readings", "no": ", not fixed by the readings"}
        for one in fitted.marginals:
            settle = f"; to settle it: {one.settled_by}" if one.settled_by else ""
            value = f"{format_number(one.median, 3)} ({format_interval(*one.interval)}) {one.unknown.unit}".rstrip()
            yield f"  {one.unknown.label}: {value}{said[one.fixed_by_data]}{settle}"
        outside = int((~fitted.predictive["inside"]).sum())
        yield (
            f"The fit misses {outside} of {len(fitted.predictive)} readings at the {100 * fitted.level:g} % level "
            f"(posterior predictive p = {format_number(fitted.p_value, 2)})."
        )
    if found.coasts:
        yield f"{len(found.coasts)} coast-downs were used for drag, pivot friction and the measured torque."
    if found.wanted:
        yield found.wanted
