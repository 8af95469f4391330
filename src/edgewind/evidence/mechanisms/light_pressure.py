"""The pressure of the light itself, which pushes harder on the bright face."""

from __future__ import annotations

import numpy as np
from scipy.constants import speed_of_light

from edgewind.bench import Bench
from edgewind.evidence.mechanisms.base import NOT_THIN_ENOUGH, Claim, Verdict, sentence, sign_agrees
from edgewind.evidence.torque import NeededTorque, free_molecular_drag_torque
from edgewind.uncertainty import Input, Propagated, propagate
from edgewind.units import format_number

NAME = "light pressure"

# Mean over a turn of the push of a unit irradiance on one face. A beam meets a face at the angle phi over half of each
# turn: the mean of cos^2(phi) is 1/4. Light from all round presses with 2/3 of its irradiance (isotropic radiation).
TURN_MEAN = {"beam": 0.25, "all-round": 2.0 / 3.0}


def light_force(power_w: float, reflectance: float) -> float:
    """Force of light at normal incidence, ``F = (P / c) (1 + R)``, in N; any shape.

    Source: Maxwell, A Treatise on Electricity and Magnetism (1873), art. 792; measured by Nichols and Hull, Phys. Rev.
    17, 26 (1903).

    Examples
    --------
    >>> round(light_force(50.0, 0.0) / 9.80665 * 1e9, 1)  # micrograms-force of 50 W fully absorbed
    17.0
    """
    return power_w / speed_of_light * (1 + reflectance)


def light_torque(
    irradiance: float,
    area: float,
    arm: float,
    dark_absorptance: float,
    bright_absorptance: float,
    vanes: int,
    turn_mean: float,
) -> float:
    """Net torque on the rotor, N m, positive when the dark face leads; arrays broadcast.

    The bright face is pushed by ``1 + R_bright`` and the dark one by ``1 + R_dark``, with ``R = 1 - absorptance``.
    """
    power = irradiance * area
    push = light_force(power, 1 - bright_absorptance) - light_force(power, 1 - dark_absorptance)
    return vanes * turn_mean * arm * push


def weigh(bench: Bench, needed: NeededTorque | None, level: float) -> Claim:
    """Weigh light pressure by its sign and by the ratio of its torque to the torque needed."""
    sign_ok = sign_agrees(bench, "dark")
    sign = {
        True: "it would make the dark face lead, as seen",
        False: "it would make the dark face lead, and the bright face was seen to lead",
        None: "it would make the dark face lead; which face led was not noted",
    }[sign_ok]
    if needed is None:
        verdict: Verdict = "ruled out" if sign_ok is False else "cannot tell"
        return Claim(NAME, verdict, sign_ok, None, None, None, sentence(f"{sign}; {NOT_THIN_ENOUGH}"))
    ratio = _size_ratio(bench, needed, level)
    low, high = max(ratio.interval[0], 0.0), ratio.interval[1]
    if sign_ok is False or high < 1:
        verdict = "ruled out"
    elif low >= 1 and sign_ok:
        verdict = "sufficient"
    else:
        verdict = "cannot tell"
    size = (
        f"it gives at most {format_number(ratio.value, 2)} ({format_number(low, 2)} to {format_number(high, 2)}) of "
        f"the torque needed against the gas alone at {format_number(needed.pressure_pa, 3)} Pa"
    )
    consequence = ", so it is ruled out as the main drive" if verdict == "ruled out" else ""
    return Claim(NAME, verdict, sign_ok, ratio.value, (low, high), None, sentence(f"{sign}; {size}{consequence}"))


def _size_ratio(bench: Bench, needed: NeededTorque, level: float) -> Propagated:
    rotor, light = bench.rotor, bench.light
    inputs = needed.inputs | {
        "irradiance": Input(*light.irradiance),
        "arm": Input(*rotor.arm),
        "dark": Input(*rotor.dark_absorptance),
        "bright": Input(*rotor.bright_absorptance),
    }
    turn_mean, vanes, v0 = TURN_MEAN[light.arrangement], rotor.vanes, needed.most_probable_speed_m_s

    def ratio(
        pressure: float, speed: float, area: float, mean_square_arm: float, drag: float,
        irradiance: float, arm: float, dark: float, bright: float,
    ) -> float:  # fmt: skip
        light_part = light_torque(irradiance, area, arm, dark, bright, vanes, turn_mean)
        return light_part / free_molecular_drag_torque(pressure, speed, area, mean_square_arm, drag, vanes, v0)

    found = propagate(ratio, inputs, level=level)
    return (
        found if np.isfinite(found.u) else Propagated(found.value, 0.0, (found.value, found.value), level, found.method)
    )
