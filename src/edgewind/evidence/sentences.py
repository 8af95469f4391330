"""The three sentences of an answer: why the rotor turns, the effect of a larger one, and the reversal in the cold."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from pydantic import Field

from edgewind.errors import EdgewindError
from edgewind.evidence.claims import Claim
from edgewind.evidence.deliberate_results import (
    CHILLED_IN_THE_DARK,
    PIVOT,
    DeliberateTest,
    list_of_names,
    speed_against,
)
from edgewind.evidence.draws import draws_of
from edgewind.evidence.fit import Fit
from edgewind.evidence.optimum import Optimum
from edgewind.evidence.verdicts import describes
from edgewind.evidence.what_if import what_if
from edgewind.formatting import RPM_PER_RAD_S, format_interval, format_number
from edgewind.frozen_model import FrozenModel
from edgewind.rotor import parameters_of
from edgewind.rotor.drives import accommodation, foreign, infrared_recoil, light_pressure, outgassing, thermal_force

_LARGER = {2.0: "twice as large", 1.5: "one and a half times as large", 1.25: "a quarter larger"}
# Share of the draws in which the dark face must emit more for a statement that it does.
_SURE = 0.95
# Share of the torque that may be that of a mechanism left open for it to be named beside a compatible one.
_LARGE = 0.3

_SPOKEN = {
    thermal_force.NAME: (
        "the thin gas pushes harder on the dark side of each vane, which the light keeps warmer than the bright side"
    ),
    light_pressure.NAME: "the light itself pushes harder on the bright side, which reflects it",
    accommodation.NAME: "the faces transfer heat to the gas unequally well, so that it pushes one of them harder",
    infrared_recoil.NAME: "the dark side emits more infrared and recoils from it",
    outgassing.NAME: "the warm side emits gas and recoils from it",
    foreign.NAME: "a torque from outside acts on it: a draught, a tilt, a magnet or vibration",
    PIVOT: "its pivot or vibration turns it, without light",
}


class Sentences(FrozenModel):
    """The answer on a rotor in three sentences."""

    why_it_turns: str = Field(description="Why the rotor turns, by the verdicts of the study.")
    a_larger_one: str = Field(description="Effect of a larger rotor on the optimum, or why it is not known.")
    in_the_cold: str = Field(
        description="Its direction in the dark under a chilled envelope, and why: observed in a test, or predicted."
    )


def sentences_of(
    claims: tuple[Claim, ...],
    fitted: Fit | None,
    optimum: Optimum | None = None,
    seed: int = 1,
    *,
    tests: Sequence[DeliberateTest] = (),
    usual_face: str = "",
) -> Sentences:
    """Return the three sentences from judged mechanisms.

    Parameters
    ----------
    claims : tuple of Claim
        Every mechanism, judged.
    fitted : Fit, optional
        The fit with every drive acting.
    optimum : Optimum, optional
        The pressure of greatest speed by the curve.
    seed : int
        Of the draws.
    tests : sequence of DeliberateTest
        Tests made on purpose: an observation in the cold takes precedence over a prediction.
    usual_face : {"bright", "dark", ""}
        Face that leads under the lamp; empty where it was not observed.
    """
    return Sentences(
        why_it_turns=_why(claims),
        a_larger_one=effect_withheld(claims, fitted, tests) or _larger(fitted, optimum, seed),
        in_the_cold=_cold_seen(claims, tests, usual_face) or _cold(claims, fitted),
    )


def effect_withheld(claims: tuple[Claim, ...], fitted: Fit | None, tests: Sequence[DeliberateTest]) -> str:
    """Return why the effect of other vanes is not stated, in a sentence; empty where a fit bears it or without one."""
    if fitted is None:
        return ""
    if tests_against(claims, tests):
        return (
            "The tests made on purpose rule out the drives of the fit, so the effect of larger or smaller vanes is not "
            "stated."
        )
    if not describes(fitted):
        return "The fit does not describe the readings, so the effect of larger or smaller vanes is not stated."
    return ""


def tests_against(claims: tuple[Claim, ...], tests: Sequence[DeliberateTest]) -> bool:
    """Return whether most of the torque of the fit is that of drives that the tests rule out."""
    of_fit = _SPOKEN.keys() - {PIVOT}
    ruled_out = [claim for claim in claims if claim.verdict == "ruled out" and claim.name in of_fit]
    return bool(tests) and sum(abs(claim.size_ratio or 0.0) for claim in ruled_out) > 0.5


def _why(claims: tuple[Claim, ...]) -> str:
    by_verdict = {
        verdict: [claim for claim in claims if claim.verdict == verdict and claim.name in _SPOKEN]
        for verdict in ("sufficient", "compatible", "contributes")
    }
    if by_verdict["sufficient"]:
        return f"It turns because {_SPOKEN[by_verdict['sufficient'][0].name]}; this alone explains every reading."
    if by_verdict["compatible"]:
        first, *others = by_verdict["compatible"]
        also = "" if not others else f", or {_SPOKEN[others[0].name]}"
        besides = [claim.name for claim in claims if _left_open(claim)]
        but = f", and they leave open {list_of_names(besides)}" if besides else ""
        parts = [claim.name for claim in by_verdict["contributes"]]
        but += f"; {list_of_names(parts)} contribute{'s' if len(parts) == 1 else ''}" if parts else ""
        return (
            f"It may turn because {_SPOKEN[first.name]}{also}; the readings agree with this but do not prove it{but}."
        )
    if by_verdict["contributes"]:
        causes = "; because ".join(_SPOKEN[claim.name] for claim in by_verdict["contributes"])
        return f"It turns in part because {causes}. No single cause explains the readings."
    return "These readings do not show why it turns."


def _left_open(claim: Claim) -> bool:
    """Return whether a mechanism that is not decided on may give a large part of the torque."""
    interval = claim.size_ratio_interval
    return claim.name in _SPOKEN and claim.verdict == "cannot tell" and interval is not None and interval[1] > _LARGE


def _larger(fitted: Fit | None, optimum: Optimum | None, seed: int) -> str:
    if fitted is None:
        return "The effect of larger vanes is not known without a fit of the readings."
    drawn = draws_of(fitted, draws=100, seed=seed)
    width, height = (1e3 * getattr(fitted.problem.bench.rotor, key).value for key in ("vane_width", "vane_height"))
    most, level = 0.99 * drawn.most_pa, 0.9 if optimum is None else optimum.level
    for factor, words in _LARGER.items():
        changes = {"rotor.vane_width": f"{factor * width:.4g} mm", "rotor.vane_height": f"{factor * height:.4g} mm"}
        try:
            moved = what_if(drawn, changes, np.geomspace(most / 3e3, most / factor, 5), level=level)
        except EdgewindError:
            continue  # it would not fit the chamber, or the gas is not computed that far
        speed = moved.speed
        if speed.ratio.median is None or not speed.before.value or speed.after.value is None:
            break
        faster = speed.after.value / speed.before.value
        if optimum is None or optimum.pressure_pa is None or optimum.speed_rad_s is None:
            place, pace = format_number(speed.ratio.median, 2), format_number(abs(faster), 2)
            return (
                f"By the fit, with vanes {words} it would be fastest at {place} times that pressure, {pace} times as "
                "fast."
            )
        # From the measured optimum, moved as in the fit.
        rpm = RPM_PER_RAD_S * abs(optimum.speed_rad_s)
        place_pa, between = speed.ratio.median * optimum.pressure_pa, ""
        if speed.ratio.interval is not None and optimum.interval_pa is not None:
            # Independent: where the readings have their maximum, and how the model moves it.
            found = np.divide(optimum.interval_pa, optimum.pressure_pa)
            ratio = np.divide(speed.ratio.interval, speed.ratio.median)
            low, high = place_pa * np.exp(np.hypot(np.log(found), np.log(ratio)) * [-1, 1])
            between = f" ({100 * moved.level:g} % interval {format_interval(low, high, 'Pa', digits=2)})"
        return (
            f"By the fit, with vanes {words} it would be fastest at about "
            f"{format_number(place_pa, 2)} Pa{between} instead of "
            f"{format_number(optimum.pressure_pa, 2)} Pa, at about {format_number(abs(faster) * rpm, 2)} instead of "
            f"{format_number(rpm, 2)} turns a minute."
        )
    return "The fit does not show at which pressure larger vanes would be fastest."


def _cold_seen(claims: tuple[Claim, ...], tests: Sequence[DeliberateTest], usual_face: str) -> str:
    """Return the observation in the dark under a chilled envelope; empty if it, or a direction, was not noted."""
    usual = {"bright": 1.0, "dark": -1.0}.get(usual_face, 0.0)
    seen = [
        (*speed_against(test, usual), test)
        for test in tests
        if usual and test.seen.signed and test.kind.endswith(CHILLED_IN_THE_DARK)
    ]
    if not seen:
        return ""
    speed, u, test = min(seen, key=lambda one: usual * one[0])
    cold = "In the dark under a chilled envelope"
    place = f"reading {test.reading}, {format_number(test.pressure_pa, 3)} Pa"
    face, rpm = "bright" if speed > 0 else "dark", format_number(RPM_PER_RAD_S * abs(speed), 2)
    if not usual * speed < -2 * (u if np.isfinite(u) else 0.0):
        still = test.run is None and speed == 0
        so = "it stood still" if still else f"the {face} face led at {rpm} rpm" if test.run is None else ""
        return f"{cold} it was not observed to reverse{f': {so}' if so else ''} ({place})."
    most = "" if test.run is None else "up to "
    back = (
        f"{cold} it was observed to reverse: the {face} face led at {most}{rpm} rpm, where the {usual_face} face leads "
        f"under the lamp ({place})"
    )
    agree = [name for name, stated in test.predicted.items() if stated.agrees and test.log_evidence[name] > -1]
    if not agree:
        return f"{back}; no candidate mechanism predicts this."
    verdict = next((claim.verdict for claim in claims if claim.name == thermal_force.NAME), "cannot tell")
    if thermal_force.NAME not in agree or verdict == "ruled out":
        return f"{back}; of the candidate mechanisms, {' and '.join(agree)} would do this."
    others = [name for name in agree if name != thermal_force.NAME]
    also = f"; {' and '.join(others)} would do the same" if others else ""
    return (
        f"{back}. If the gas drives it, that is because the dark side radiates more and becomes the colder one, so "
        f"that the gas pushes harder on the bright side{also}."
    )


def _cold(claims: tuple[Claim, ...], fitted: Fit | None) -> str:
    if fitted is None:
        return "Which way it would turn in the cold is not known without a fit of the readings."
    rotor = parameters_of(fitted.problem.bench)
    names = [unknown.name for unknown in fitted.unknowns]
    share = float(np.mean(fitted.draws[:, names.index("bright_emissivity")] < rotor.dark_emissivity))
    thermal = next((claim for claim in claims if claim.name == thermal_force.NAME), None)
    if thermal is not None and thermal.verdict == "ruled out":
        return "The thermal force is not its main drive, so chilling the envelope in the dark need not reverse it."
    verdict = "sufficient" if thermal is None else thermal.verdict
    if not describes(fitted) and verdict != "sufficient":
        return "The fit does not describe the readings, so its direction in the cold is not stated."
    if verdict == "cannot tell":
        return "It would reverse in the cold if the thermal force drives it, which these readings do not show."
    if share > _SURE:
        because = "because the dark side radiates more and becomes the colder one"
        if verdict == "contributes":
            return (
                "In the dark under a chilled envelope the thermal force would drive it backwards for a while, "
                f"{because}; whether it reverses depends on what else drives it."
            )
        condition = "" if verdict == "sufficient" else " if the thermal force drives it"
        return (
            f"In the dark under a chilled envelope it would reverse for a while{condition}, {because}, so that the "
            "gas pushes harder on the bright side."
        )
    return (
        "In the dark under a chilled envelope it reverses only if the dark side radiates more than the bright one, "
        "which is not known: the emissivity of the bright face decides it."
    )
