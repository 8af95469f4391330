"""Verdict on a mechanism: sign, size, shape over pressure, dependence on light and envelope, evidence.

Before a fit a size is that of the priors, and if these rest on an unstated key of the bench it rules nothing out. After
a fit the size is the share of the torque that its posterior gives to the mechanism, every drive acting.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgewind.evidence.claims import Claim, Verdict, p_words, sentence
from edgewind.evidence.fit import MODELS, Fit
from edgewind.evidence.mechanism_case import MechanismCase, behind_words
from edgewind.formatting import format_interval, format_number
from edgewind.rotor import DRIVES, RotorParameters, parameters_of, steady_state
from edgewind.rotor.convection import convection_bound
from edgewind.rotor.drives import NAMES

Array = NDArray[np.float64]

# A logarithm of an evidence ratio beyond which one model is preferred for certain (about 150 to 1).
DECISIVE = 5.0
# Least distance of every rival from a sufficient mechanism (about 20 to 1).
NO_RIVAL = 3.0
# Scatter of the logarithm of predicted over needed torque, over all readings, within which a shape is said to agree.
ALIKE = 0.5
# Least share of the needed torque that is called a contribution.
CONTRIBUTION = 0.05
# A mechanism is ruled out as the main drive where the upper end of its share is below this, and it is far behind by the
# evidence of what it does alone, where that was fitted. Neither does it by itself. A drive of 0.6 of the torque was 15
# in ln(evidence) behind a rival of 0.4, for errors of the gas that a fit with one drive has to follow; and one of 0.86
# had less than 0.03 of the torque in the fit with every drive, which must have all others near zero to give it more,
# while alone it explained the readings as well as that fit.
FAR_TOO_SMALL = 0.3
# Elsewhere in the sweep it must be as small, where the torque needed is at least this share of the greatest: a drive of
# a tenth of the torque at the fastest reading, in the thinnest gas, was most of it at ten times that pressure.
WHERE_IT_TURNS = 0.2
# That upper end is this quantile; a sign is known where it is that of as many draws of what the bench states.
SURELY = 0.995
# Largest share of all others beside a sufficient mechanism.
OTHERS = 0.15
# Posterior predictive probability below which a fit leaves more than noise.
MISFIT = 0.01
RIVALS = ("thermal force alone", "light pressure alone", "unequal accommodation alone", "constant torque alone")
# Keys of bench.toml that the size of a drive depends on.
_RESTS_ON = {
    "thermal_force": ("vane_conductance", "bright_emissivity"),
    "unequal_accommodation": ("accommodation_difference",),
}
_KEY_WORDS = {
    "accommodation_difference": "rotor.dark_accommodation and rotor.bright_accommodation",
}


@dataclass(frozen=True)
class TorqueRatio:
    """Torque of a mechanism over the torque needed: at the fastest reading, and over all readings.

    Attributes
    ----------
    ratio, interval : float, tuple of float
        At the fastest reading; median and interval. Sizes without a sign before a fit; after it shares of the torque,
        negative where it works against the motion.
    most : float
        Quantile of the ratio that one draw in 200 exceeds, needed to rule a mechanism out.
    spread : float
        Standard deviation over the readings of the logarithm of the median ratio.
    predicted_change, needed_change : float
        Largest over smallest torque over the readings, predicted and needed.
    largest : LargestShare or None
        The same ratio at the reading where its median is greatest, of those where the rotor needs much torque.
    """

    ratio: float
    interval: tuple[float, float]
    most: float
    spread: float
    predicted_change: float
    needed_change: float
    largest: LargestShare | None = None


class LargestShare(NamedTuple):
    """Ratio of a torque over that needed, at a pressure, with its interval and the quantile that one in 200 exceeds."""

    pressure_pa: float
    ratio: float
    interval: tuple[float, float]
    most: float


def size_of(case: MechanismCase, torque: Array, *, signed: bool = False) -> TorqueRatio:
    """Compare a torque, shape (draws, readings), with the torque needed."""
    needed, k = case.needed_n_m, case.fastest
    sense = np.sign(case.state.net_torque if signed else torque)
    ratios = sense * torque / needed
    quantiles = np.quantile(ratios, [(1 - case.level) / 2, 0.5, (1 + case.level) / 2, SURELY], axis=0)
    low, middle, high, most = (float(q) for q in quantiles[:, k])
    over = np.median(np.abs(torque), axis=0)
    need = np.median(needed, axis=0)
    spread = float(np.std(np.log(np.maximum(over, 1e-300) / need)))
    top = int(np.argmax(np.where(need >= WHERE_IT_TURNS * need.max(), quantiles[1], -np.inf)))
    there = [float(q) for q in quantiles[:, top]]
    largest = LargestShare(float(case.data.pressure_pa[top]), there[1], (there[0], there[2]), there[3])
    return TorqueRatio(
        middle, (low, high), most, spread, float(over.max() / max(over.min(), 1e-300)),
        float(need.max() / need.min()), largest,
    )  # fmt: skip


def small_everywhere(size: TorqueRatio) -> bool:
    """Return whether a torque is far too small at the fastest reading and at every other that needs much torque."""
    return size.most < FAR_TOO_SMALL and (size.largest is None or size.largest.most < FAR_TOO_SMALL)


def shape_words(size: TorqueRatio) -> str:
    """Describe how the torque and the needed torque change over the readings."""
    if size.spread < ALIKE:
        factor = format_number(float(np.exp(size.spread)), 2)
        return f"over the readings it changes with pressure as the needed torque does, within a factor of {factor}"
    change = size.predicted_change
    if change < 1.05:
        own = "stays constant"
    else:
        own = f"changes by a factor of {'over a million' if change > 1e6 else format_number(change, 2)}"
    return (
        f"over the readings it {own} while the needed torque changes by a factor of "
        f"{format_number(size.needed_change, 2)}"
    )


def dependence(case: MechanismCase, key: str) -> tuple[str, str]:
    """Describe the dependence of a drive on light and envelope, at the fastest reading, from the forward model."""
    rotor = parameters_of(case.bench)
    pressure = np.array([case.pressure_pa])

    def torque(of: RotorParameters) -> float:
        return float(steady_state(pressure, of, case.response).torque[key][0])

    now = torque(rotor)
    if now == 0:
        return "", ""
    power = float(np.log(torque(rotor.with_(irradiance_w_m2=1.05 * rotor.irradiance_w_m2)) / now) / np.log(1.05))
    light = f"proportional to the light to the power {power:.2f}" if abs(power) > 0.01 else "independent of the light"
    warmer = torque(rotor.with_(envelope_temperature_k=rotor.envelope_temperature_k + 10)) / now - 1
    dark = torque(rotor.lamp_off().with_(envelope_temperature_k=rotor.envelope_temperature_k - 10))
    envelope = "independent of the temperature of the envelope"
    if abs(warmer) > 1e-4:
        back = "reverses" if dark * now < 0 else "keeps its direction"
        envelope = f"{100 * warmer:+.2g} % for an envelope 10 K warmer; in the dark, under one 10 K colder, it {back}"
    return light, envelope


def judge(
    case: MechanismCase,
    *,
    name: str,
    key: str,
    leads: Literal["bright", "dark"] | None,
    model: str | None = None,
) -> Claim:
    """Judge a drive of the forward model.

    Parameters
    ----------
    case : MechanismCase
        The rotor and its readings.
    name, key : str
        Name of the mechanism; key of its drive.
    leads : {"bright", "dark"} or None
        The face that it makes lead under light if the dark face is the warmer one; None if it may be either. The bench
        decides if it states enough to compute it.
    model : str, optional
        The model of this drive alone, where one is fitted.
    """
    seen = case.seen_face
    if leads is not None and case.enough:
        leads = _leading(case.by_prior.torque(key)[:, case.fastest], leads)
    sign_ok = None if leads is None or seen == "not observed" else seen == leads
    other = "dark" if leads == "bright" else "bright"
    sign = {
        True: f"it would make the {leads} face lead, as seen",
        False: f"it would make the {leads} face lead, and the {other} face was seen to lead",
        None: "it may turn the rotor either way"
        if leads is None
        else f"it would make the {leads} face lead; which face led was not noted",
    }[sign_ok]
    if not case.enough:
        verdict: Verdict = "ruled out" if sign_ok is False else "cannot tell"
        why = sentence(f"{sign}; too few readings of a moving rotor to judge its size")
        return Claim(name=name, verdict=verdict, sign_ok=sign_ok, why=why)
    torque = case.torque(key)
    if not np.any(torque):
        verdict = "ruled out" if sign_ok is False else "cannot tell"
        if key == "foreign":
            shape = _shape_of_constant(case)
            missing = f"{f'{shape}; ' if shape else ''}only a fit of the readings bounds it"
            return Claim(name=name, verdict=verdict, sign_ok=sign_ok, why=sentence(f"{sign}; {missing}"), shape=shape)
        missing = "bench.toml lacks a value on which its size depends"
        return Claim(name=name, verdict=verdict, sign_ok=sign_ok, why=sentence(f"{sign}; {missing}"))
    fitted = case.fit is not None
    size = size_of(case, torque, signed=fitted)
    low, high = size.interval
    alone = None if model is None else case.evidence(model)
    verdict, because = (
        _fitted_verdict(case, size, sign_ok, model) if fitted else _prior_verdict(case, size, sign_ok, key)
    )
    light, envelope = dependence(case, key)
    if fitted and not fit_holds(case):  # its shares are then not used
        reason = because.lstrip(";, ")
        return Claim(
            name=name, verdict=verdict, sign_ok=sign_ok, log_evidence=alone, why=sentence(f"{reason}; {sign}"),
            light=light, envelope=envelope,
        )  # fmt: skip
    gives = "the fit gives it" if fitted else "it gives"
    words = (
        f"at {format_number(case.pressure_pa, 3)} Pa {gives} {format_number(size.ratio, 2)} "
        f"({format_interval(low, high, digits=2)}) of the torque needed"
    )
    if size.largest is not None and size.largest.most >= FAR_TOO_SMALL > size.most:
        most = size.largest
        words += (
            f", and {format_number(most.ratio, 2)} ({format_interval(*most.interval, digits=2)}) of it at "
            f"{format_number(most.pressure_pa, 3)} Pa"
        )
    why = sentence(f"{sign}; {words}; {shape_words(size)}{because}")
    return Claim(
        name=name, verdict=verdict, sign_ok=sign_ok, size_ratio=size.ratio, size_ratio_interval=(low, high),
        log_evidence=alone, why=why, shape=shape_words(size), light=light, envelope=envelope,
    )  # fmt: skip


def _shape_of_constant(case: MechanismCase) -> str:
    """Describe the needed torque beside a constant one; empty where draws of the bench leave it constant."""
    spread = np.std(np.log(np.abs(case.needed_n_m)), axis=1)
    if np.quantile(spread, 1 - SURELY) < ALIKE:
        return ""
    need = np.median(np.abs(case.needed_n_m), axis=0)
    change = format_number(float(need.max() / need.min()), 2)
    return f"over the readings it stays constant while the needed torque changes by a factor of {change}"


def _leading(torque: Array, otherwise: Literal["bright", "dark"]) -> Literal["bright", "dark"] | None:
    """Return the leading face by draws of a torque; None if they do not agree."""
    if not np.any(torque):
        return otherwise
    ahead = float(np.mean(torque > 0))
    return "bright" if ahead >= SURELY else "dark" if ahead <= 1 - SURELY else None


def _prior_verdict(case: MechanismCase, size: TorqueRatio, sign_ok: bool | None, key: str) -> tuple[Verdict, str]:
    """Return the verdict by the bench alone, and the clause that gives its reason."""
    low, high = size.interval
    if sign_ok is False:
        return "ruled out", ", so it is ruled out as the main drive by its sign"
    open_keys = [name for name in _RESTS_ON.get(key, ()) if getattr(case.bench.rotor, name, None) is None]
    if open_keys:
        words = " and ".join(_KEY_WORDS.get(name, f"rotor.{name}") for name in open_keys)
        return (
            "cannot tell",
            f"; that size depends on {words}, not stated in bench.toml, so it decides no verdict",
        )
    if small_everywhere(size):
        return "ruled out", ", so it is ruled out as the main drive"
    if high < 1:
        if low >= CONTRIBUTION:
            return "contributes", ", so it is too small to be the only drive, but large enough to contribute"
        return "cannot tell", ", which leaves it open"
    if low >= 1 and size.spread < ALIKE and sign_ok:
        return "compatible", ", so it is large enough; only a fit compares it with its rivals"
    return "cannot tell", ", which leaves it open"


def _fitted_verdict(
    case: MechanismCase, size: TorqueRatio, sign_ok: bool | None, model: str | None
) -> tuple[Verdict, str]:
    """Return the verdict by the fit, and the clause that gives its reason."""
    low, high = size.interval
    if sign_ok is False:
        return "ruled out", ", so it is ruled out as the main drive by its sign"
    alone, best = (None if model is None else case.evidence(model)), best_evidence(case)
    behind = None if alone is None or best is None else best - alone
    far = behind is not None and behind > DECISIVE
    against = "" if behind is None else f"; alone it is ln(evidence) {behind_words(behind)} behind the best model"
    holds = fit_holds(case)
    if holds and small_everywhere(size) and (far or behind is None):
        return "ruled out", ", so it is ruled out as the main drive"
    fits_alone = None if case.fits is None or model is None else case.fits.get(model)
    if fits_alone is not None and not far and fits_alone.p_value > MISFIT:
        objections = objections_to(case, model or "", (low, high))
        if not objections:
            p = p_words(fits_alone.p_stated)
            return "sufficient", f"; alone it fits every reading (posterior predictive {p}), and no rival does"
        follows = "it fits the readings" if fits_alone.p_stated > MISFIT else "it follows the readings roughly"
        return "compatible", f"; alone {follows}, but {'; '.join(objections)}"
    if not holds:
        return "cannot tell", "the fit with every drive does not describe the readings, so its shares are not used"
    much_elsewhere = size.largest is not None and size.largest.interval[0] >= FAR_TOO_SMALL
    little_here = size.most < FAR_TOO_SMALL and (far or behind is None)
    enough = _enough_without(case, model)
    if (much_elsewhere or low >= CONTRIBUTION) and enough:
        return "cannot tell", f"; {enough} fits the readings without it, which leaves open whether it contributes"
    if much_elsewhere or (low >= CONTRIBUTION and not little_here):
        return "contributes", f"{against}, so it contributes but is not sufficient" if far else ", so it contributes"
    return "cannot tell", f"{against}, which leaves open whether it contributes" if far else ", which leaves it open"


def _enough_without(case: MechanismCase, model: str | None) -> str:
    """Return another model of one drive that explains the readings as well as the best; empty if there is none."""
    best = best_evidence(case)
    for rival in RIVALS:
        fitted, worth = (case.fits or {}).get(rival), case.evidence(rival)
        if rival == model or fitted is None or worth is None or best is None:
            continue
        if worth > best - DECISIVE and fitted.p_value > MISFIT:
            return rival
    return ""


def fit_holds(case: MechanismCase) -> bool:
    """Return whether the fit with every drive has converged and describes the readings, so its shares are valid."""
    return case.fit is not None and describes(case.fit)


def describes(fitted: Fit) -> bool:
    """Return whether a fit has converged and leaves no more than noise."""
    return fitted.settled and fitted.p_value > MISFIT and not fitted.smooth.found


def objections_to(case: MechanismCase, model: str, share: tuple[float, float]) -> tuple[str, ...]:
    """Return why a mechanism that fits by itself is not called sufficient; empty where it is."""
    found = []
    alone = case.evidence(model)
    fitted = None if case.fits is None else case.fits.get(model)
    if fitted is not None and fitted.p_stated <= MISFIT:
        p = p_words(fitted.p_stated)
        found.append(
            f"the readings scatter about it by more than their stated uncertainties (posterior predictive {p})"
        )
    for rival in RIVALS:
        other = case.evidence(rival)
        if rival != model and other is not None and alone is not None and other > alone - NO_RIVAL:
            found.append(f"{rival} fits as well (ln(evidence) {other - alone:+.1f})")
    found += [f"its size is that of {free}, known from these readings alone" for free in _free_size(case, model)]
    if not fit_holds(case):
        found.append("the fit with every drive does not describe the readings, so other shares are not known")
    elif share[0] < 1 - OTHERS or share[1] > 1 + OTHERS:
        found.append(f"the readings do not limit the share of other drives to {100 * OTHERS:g} % of the torque")
    else:
        keys = [key for key in DRIVES if key not in MODELS[model]]
        shares = {key: size_of(case, case.torque(key), signed=True).interval[0] for key in keys}
        found += [f"{NAMES[key]} contributes" for key, low in shares.items() if low >= CONTRIBUTION]
    if case.tensions:
        count = len(case.tensions)
        found.append("a tension is open" if count == 1 else f"{count} tensions are open")
    return tuple(found)


def _free_size(case: MechanismCase, model: str) -> tuple[str, ...]:
    """Return the unknown that gives a drive any size, where the bench does not state it."""
    if "foreign" in MODELS[model]:
        return ("a torque from outside",)
    if "unequal_accommodation" in MODELS[model] and case.bench.rotor.accommodation_difference is None:
        return ("a difference in accommodation",)
    return ()


def best_evidence(case: MechanismCase) -> float | None:
    """Return the greatest ln(evidence) of the models that were fitted."""
    values = [fit.log_evidence for fit in (case.fits or {}).values()] + list((case.laplace or {}).values())
    return max(values) if values else None


def convection_size(case: MechanismCase) -> TorqueRatio:
    """Compare the bound on convection with the torque needed."""
    return size_of(case, np.broadcast_to(convection_bound(case.state.at), case.needed_n_m.shape))
