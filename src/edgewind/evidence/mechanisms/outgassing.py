"""Recoil of gas that the warm face gives off: bounded where the bench states nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from edgewind.evidence.mechanisms.base import Claim, sentence, sign_agrees
from edgewind.evidence.verdicts import Case, judge, size_of
from edgewind.rotor.drives.outgassing import KEY, NAME, UNBAKED_PA_M_S, recoil_pressure
from edgewind.units import format_number

THROUGH_FACES = "through the temperature of the faces only"


def weigh(case: Case) -> Claim:
    """Weigh recoil: as stated by the bench, else at most that of an unbaked surface on the dark face alone."""
    rotor = case.bench.rotor
    if rotor.dark_outgassing is not None or rotor.bright_outgassing is not None:
        return judge(case, name=NAME, key=KEY, leads="bright")
    if not case.enough:
        return judge(case, name=NAME, key=KEY, leads="bright")
    drawn = case.draws
    bound = (
        drawn.vanes * drawn.arm_m * drawn.vane_area_m2 * recoil_pressure(UNBAKED_PA_M_S, drawn.most_probable_speed_m_s)
    )
    size = size_of(case, np.broadcast_to(bound, case.needed_n_m.shape))
    high = size.interval[1]
    claim = Claim(
        NAME, "ruled out" if high < 1 else "cannot tell", sign_agrees(case.bench, "bright"), size.ratio, (0.0, high),
        None, "", light=THROUGH_FACES, envelope=THROUGH_FACES,
    )  # fmt: skip
    end = "so it is ruled out as the main drive" if high < 1 else "so it stays open until the outgassing is stated"
    return replace(
        claim,
        why=sentence(
            f"it does not change with pressure, and a dark face that gives off {UNBAKED_PA_M_S:g} Pa m/s more than the "
            f"bright one, as much as an unbaked surface, would give at most {format_number(high, 2)} of the torque "
            f"needed at {format_number(case.pressure_pa, 3)} Pa, {end}"
        ),
    )
