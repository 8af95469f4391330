"""Candidate explanations, each with its verdict. A new one is a function here and a row in the table."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from edgewind.evidence.claims import Claim, Verdict, sentence
from edgewind.evidence.mechanism_case import MechanismCase
from edgewind.evidence.verdicts import FAR_TOO_SMALL, convection_size, judge, size_of
from edgewind.formatting import RPM_PER_RAD_S, format_number
from edgewind.rotor.drives import (
    accommodation,
    foreign,
    infrared_recoil,
    light_pressure,
    outgassing,
    thermal_force,
)
from edgewind.rotor.drives.outgassing import UNBAKED_PA_M_S, recoil_pressure

Mechanism = Callable[[MechanismCase], Claim]

THROUGH_FACES = "through the temperature of the faces only"
# Share of the speed with the lamp on that, seen in the dark, is called a contribution; our judgement, no source.
CONTRIBUTES_FROM = 0.1
CONVECTION = "convection"
PIVOT = "pivot or vibration"


def judge_outgassing(case: MechanismCase) -> Claim:
    """Judge recoil: that stated by the bench, else at most that of an unbaked surface on the dark face alone."""
    rotor = case.bench.rotor
    if rotor.dark_outgassing is not None or rotor.bright_outgassing is not None:
        return judge(case, name=outgassing.NAME, key=outgassing.KEY, leads="bright")
    if not case.enough:
        return judge(case, name=outgassing.NAME, key=outgassing.KEY, leads="bright")
    drawn = case.draws
    bound = (
        drawn.vanes * drawn.arm_m * drawn.vane_area_m2 * recoil_pressure(UNBAKED_PA_M_S, drawn.most_probable_speed_m_s)
    )
    size = size_of(case, np.broadcast_to(bound, case.needed_n_m.shape))
    high = size.interval[1]
    sign_ok = None if case.seen_face == "not observed" else case.seen_face == "bright"
    small = high < FAR_TOO_SMALL
    end = "so it is ruled out as the main drive" if small else "so it is undecided until the outgassing is stated"
    return Claim(
        name=outgassing.NAME,
        verdict="ruled out" if small else "cannot tell",
        sign_ok=sign_ok,
        size_ratio_interval=(0.0, high),
        light=THROUGH_FACES,
        envelope=THROUGH_FACES,
        why=sentence(
            f"it does not change with pressure, and a dark face that gives off {UNBAKED_PA_M_S:g} Pa m/s more than the "
            f"bright one, as much as an unbaked surface, would give at most {format_number(high, 2)} of the torque "
            f"needed at {format_number(case.pressure_pa, 3)} Pa, {end}"
        ),
    )


def judge_convection(case: MechanismCase) -> Claim:
    """Judge convection by a bound that a real rotor stays far below."""
    if not case.enough:
        why = sentence("too few readings of a moving rotor to judge its size")
        return Claim(name=CONVECTION, verdict="cannot tell", why=why)
    size = convection_size(case)
    high = size.interval[1]
    verdict: Verdict = "ruled out" if high < FAR_TOO_SMALL else "cannot tell"
    end = "so it is ruled out as the main drive there" if high < FAR_TOO_SMALL else "which does not rule it out"
    why = sentence(
        "even if the convection of the warm vanes acted with its full dynamic pressure on one side of each, it would "
        f"give at most {format_number(high, 2)} of the torque needed at {format_number(case.pressure_pa, 3)} Pa, "
        f"{end}; its direction is unknown, and it grows with the square of the pressure"
    )
    return Claim(
        name=CONVECTION, verdict=verdict, size_ratio_interval=(0.0, high), why=why,
        light="as the warmth of the vanes",
    )  # fmt: skip


def judge_pivot(case: MechanismCase) -> Claim:
    """Judge drives that need no light: steady speeds with the lamp off, over those with it on at the same pressure."""
    verdict: Verdict
    if not len(case.used):
        return Claim(name=PIVOT, verdict="cannot tell", why=sentence("there are no readings to decide"))
    if not case.lamp_off:
        why = "no steady speed was read with the lamp off; one such reading would decide"
        return Claim(name=PIVOT, verdict="cannot tell", why=sentence(why), light="independent of the light")
    pressure, speeds, spreads = (np.array(part) for part in zip(*case.lamp_off, strict=True))
    lit = _lit_speed(case, pressure)
    worst = int(np.argmax(speeds / lit))
    low, ratio, high = ((speeds[worst] + of * spreads[worst]) / lit[worst] for of in (-2, 0, 2))
    times = "once" if len(speeds) == 1 else f"{len(speeds)} times"
    place = f" at {format_number(float(pressure[worst]), 3)} Pa" if np.isfinite(pressure[worst]) else ""
    said = f"with the lamp off the rotor was read {times} and " + (
        f"turned at {format_number(RPM_PER_RAD_S * speeds[worst], 2)} rpm{place}, {format_number(float(ratio), 2)} "
        "of the speed there with the lamp on"
        if speeds[worst]
        else f"stood still, where it reaches {format_number(RPM_PER_RAD_S * lit[worst], 3)} rpm with the lamp on"
    )
    if high < CONTRIBUTES_FROM:
        verdict, end = "ruled out", "so it is ruled out as the main drive"
    elif low > CONTRIBUTES_FROM:
        verdict, end = "contributes", "so it contributes"
    else:
        verdict, end = "cannot tell", "which is too uncertain to decide"
    return Claim(
        name=PIVOT, verdict=verdict, size_ratio=float(ratio), size_ratio_interval=(max(0.0, float(low)), float(high)),
        why=sentence(f"{said}, {end}"), light="independent of the light",
    )  # fmt: skip


def _lit_speed(case: MechanismCase, pressure: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the speed with the lamp on at pressures, Pa, from the readings beside them; the greatest where none is."""
    used = case.used.sort_values("pressure_pa")
    at, speed = (used[name].abs().to_numpy(float) for name in ("pressure_pa", "speed_rad_s"))
    top = float(speed.max())
    with np.errstate(invalid="ignore"):
        beside = np.interp(np.log(pressure), np.log(at), speed, left=top, right=top)
    return np.where(beside > 0, beside, max(top, 1e-12))


MECHANISMS: dict[str, Mechanism] = {
    light_pressure.NAME: partial(
        judge, name=light_pressure.NAME, key=light_pressure.KEY, leads="dark", model="light pressure alone"
    ),
    thermal_force.NAME: partial(
        judge, name=thermal_force.NAME, key=thermal_force.KEY, leads="bright", model="thermal force alone"
    ),
    accommodation.NAME: partial(
        judge, name=accommodation.NAME, key=accommodation.KEY, leads=None, model="unequal accommodation alone"
    ),
    infrared_recoil.NAME: partial(judge, name=infrared_recoil.NAME, key=infrared_recoil.KEY, leads="bright"),
    foreign.NAME: partial(judge, name=foreign.NAME, key=foreign.KEY, leads=None, model="constant torque alone"),
    outgassing.NAME: judge_outgassing,
    CONVECTION: judge_convection,
    PIVOT: judge_pivot,
}
"""By name: the function that judges each candidate."""
