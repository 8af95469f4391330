"""Artefacts of the pivot, of vibration and of draughts: whatever turns a rotor in the dark."""

from __future__ import annotations

import numpy as np

from edgewind.evidence.mechanisms.base import Claim, Verdict, sentence
from edgewind.evidence.verdicts import Case
from edgewind.units import format_number, from_si

NAME = "pivot or vibration"
# Share of the greatest speed that, seen in the dark, is called a contribution; our judgement, no source.
CONTRIBUTES_FROM = 0.1


def weigh(case: Case) -> Claim:
    """Weigh what does not need light: by the steady speeds seen with the lamp off, against the fastest with it on."""
    if not len(case.used):
        return Claim(NAME, "cannot tell", None, None, None, None, sentence("there are no readings to weigh it on"))
    top = float(case.used["speed_rad_s"].abs().max())
    rpm = float(from_si(1.0, "rpm", "angular speed"))
    if not case.lamp_off_rad_s:
        why = "no steady speed was read with the lamp off, which would tell; one such reading settles it"
        return Claim(NAME, "cannot tell", None, None, None, None, sentence(why), light="not with the light")
    speeds, spreads = (np.array(part) for part in zip(*case.lamp_off_rad_s, strict=True))
    worst = int(np.argmax(np.abs(speeds)))
    most = abs(float(speeds[worst])) + 2 * float(spreads[worst])
    ratio, high = abs(float(speeds[worst])) / top, most / top
    said = (
        f"with the lamp off the rotor was read {len(speeds)} times and turned at "
        f"{format_number(rpm * abs(speeds[worst]), 2)} rpm at most, {format_number(ratio, 2)} of its greatest speed "
        "with it on"
    )
    small = high < CONTRIBUTES_FROM
    verdict: Verdict = "ruled out" if small else "contributes"
    end = "so it is ruled out as the main drive" if small else "so it matters"
    return Claim(NAME, verdict, None, ratio, (0.0, high), None, sentence(f"{said}, {end}"), light="not with the light")
