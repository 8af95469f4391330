"""How a mechanism is weighed: sign, size, shape over pressure, dependence on light and envelope, evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.evidence.claims import Claim, TorqueNeed, Verdict, sentence, sign_agrees
from edgewind.evidence.coastdown import CoastDown, measured_torque
from edgewind.evidence.fit import Fit, FitData, Problem, fit_data
from edgewind.evidence.priors import unknowns_of
from edgewind.rotor import (
    DRIVES,
    RotorParameters,
    SteadyState,
    TableResponse,
    parameters_of,
    response_of,
    steady_state,
)
from edgewind.rotor.convection import convection_bound
from edgewind.rotor.drag import arm_drag, vane_drag
from edgewind.units import Measured, format_interval, format_number

Array = NDArray[np.float64]

PRIOR_DRAWS = 400
# A logarithm of an evidence ratio beyond which one model is preferred for certain (about 150 to 1).
DECISIVE = 5.0
# Scatter of the logarithm of predicted over needed torque, over all readings, within which a shape is said to agree.
ALIKE = 0.5
LEAST_READINGS = 3
# Least share of the needed torque that is called a contribution.
CONTRIBUTION = 0.05


@dataclass(frozen=True, eq=False)
class MechanismCase:
    """What the mechanisms of one rotor are weighed on.

    Attributes
    ----------
    bench : Bench
        The bench.
    used : DataFrame
        Readings that the curve uses.
    level : float
        Coverage of intervals.
    seed : int
        Seed of the draws.
    fits : mapping of str to Fit
        By model, a key of :data:`edgewind.evidence.fit.MODELS`; empty before any fit.
    laplace : mapping of str to float
        Logarithm of the evidence by Laplace's approximation, where a model was so poor that no more was asked.
    coasts : sequence of CoastDown
        Coast-downs.
    lamp_off_rad_s : tuple of (float, float)
        Steady speeds seen in the dark, with their uncertainties.
    """

    bench: Bench
    used: pd.DataFrame
    level: float = 0.9
    seed: int = 1
    fits: Mapping[str, Fit] | None = None
    laplace: Mapping[str, float] | None = None
    coasts: Sequence[CoastDown] = ()
    lamp_off_rad_s: tuple[tuple[float, float], ...] = ()

    @cached_property
    def moving(self) -> pd.DataFrame:
        """The used readings of a rotor that moves."""
        return self.used[self.used["speed_rad_s"].abs() > 3 * self.used["speed_u_rad_s"]]

    @cached_property
    def data(self) -> FitData:
        """The readings that move, as a fit takes them."""
        return fit_data(self.moving, self.bench, self.coasts)

    @cached_property
    def response(self) -> TableResponse:
        """The response of the gas."""
        return response_of(parameters_of(self.bench))

    @cached_property
    def inside(self) -> NDArray[np.bool_]:
        """Which readings the response of the gas reaches, with room for the gauge's uncertainty."""
        kn = parameters_of(self.bench).knudsen(self.data.pressure_pa)
        return np.asarray(kn > 1.3 * self.response.least_knudsen)

    @property
    def enough(self) -> bool:
        """Whether there is anything to weigh sizes on."""
        return int(self.inside.sum()) >= LEAST_READINGS

    @cached_property
    def draws(self) -> RotorParameters:
        """Draws of the rotor from what the bench states, before any fit; arrays of shape (draws, 1)."""
        return _drawn(self.bench, self.response, self.data.gauge_log_u, self.seed)[0]

    @cached_property
    def state(self) -> SteadyState:
        """The steady state of every draw at every reading, gauge uncertainty in it."""
        rotor, gauge = _drawn(self.bench, self.response, self.data.gauge_log_u, self.seed)
        pressure = self.data.pressure_pa[self.inside] * gauge
        most = rotor.knudsen(1.0) / self.response.least_knudsen
        return steady_state(np.minimum(pressure, most), rotor, self.response)

    @cached_property
    def needed_n_m(self) -> Array:
        """Torque that the readings ask for, N m, size, shape (draws, readings): drag of the gas times speed, and the
        pivot.

        Where coast-downs and a stated moment of inertia give it without a model, that takes its place.
        """
        state = self.state
        measured = self.measured
        speed = np.abs(self.data.speed_rad_s[self.inside])
        modelled = (state.drag_vanes + state.drag_arms) * speed + self._stated_pivot(speed)
        if measured is None or "torque_n_m" not in measured:
            return np.asarray(modelled)
        random = np.random.default_rng(self.seed + 2)
        for _, row in measured.iterrows():
            k = int(np.argmin(np.abs(np.log(self.data.pressure_pa[self.inside] / float(row["pressure_pa"])))))
            spread = float(row["torque_u_n_m"]) * random.standard_normal(modelled.shape[0])
            modelled[:, k] = np.maximum(float(row["torque_n_m"]) + spread, 1e-3 * float(row["torque_n_m"]))
        return np.asarray(modelled)

    def _stated_pivot(self, speed: Array) -> Array:
        """Friction that the bench states; an unknown pivot is left out, so the need is at least this."""
        rotor, drawn = self.bench.rotor, self.draws
        dry = drawn.pivot_dry_n_m if rotor.pivot_dry_torque is not None else 0.0
        viscous = drawn.pivot_viscous_n_m_s if rotor.pivot_viscous is not None else 0.0
        return np.asarray(dry + viscous * speed)

    @cached_property
    def measured(self) -> pd.DataFrame | None:
        """The measured torque curve, where coast-downs give one."""
        inertia: Measured | None = self.bench.rotor.moment_of_inertia
        return measured_torque(self.used, self.coasts, inertia, shapes=self._gas_drag)

    def _gas_drag(self, pressure_pa: Array) -> Array:
        """Drag of the gas at pressures, N m s, one row a draw of what the bench states, gauge uncertainty in it."""
        rotor, gauge = _drawn(self.bench, self.response, self.data.gauge_log_u, self.seed)
        most = 0.999 * rotor.knudsen(1.0) / self.response.least_knudsen
        pressure = np.minimum(pressure_pa * gauge, most)
        gas = self.response.at(rotor.knudsen(pressure), rotor.accommodation)
        return np.asarray(vane_drag(pressure, gas, rotor) + arm_drag(pressure, self.response, rotor))

    @property
    def fastest(self) -> int:
        """Which of the readings inside is the fastest."""
        return int(np.argmax(np.abs(self.data.speed_rad_s[self.inside])))

    @property
    def pressure_pa(self) -> float:
        """Indicated pressure of the fastest reading."""
        return float(self.data.pressure_pa[self.inside][self.fastest])

    @property
    def need(self) -> TorqueNeed | None:
        """The torque that the fastest reading asks for; None with too few readings of a moving rotor."""
        if not self.enough:
            return None
        tails = [(1 - self.level) / 2, 0.5, (1 + self.level) / 2]
        low, middle, high = (float(q) for q in np.quantile(self.needed_n_m[:, self.fastest], tails))
        rotor = self.bench.rotor
        return TorqueNeed(
            line=int(self.moving["line"].to_numpy()[self.inside][self.fastest]),
            pressure_pa=self.pressure_pa, torque_n_m=middle, interval_n_m=(low, high), level=self.level,
            pivot_included=rotor.pivot_dry_torque is not None or rotor.pivot_viscous is not None,
        )  # fmt: skip

    def torque(self, key: str) -> Array:
        """Torque of a drive, N m, shape (draws, readings), positive when the bright face goes ahead."""
        return np.broadcast_to(DRIVES[key](self.state.at), self.needed_n_m.shape)

    def evidence(self, model: str) -> float | None:
        """Logarithm of the evidence of a model, sampled or by Laplace's approximation; None where it was not fitted."""
        if self.fits and model in self.fits:
            return self.fits[model].log_evidence
        return None if self.laplace is None else self.laplace.get(model)


def _drawn(bench: Bench, response: TableResponse, gauge_log_u: float, seed: int) -> tuple[RotorParameters, Array]:
    """Return draws of a rotor from its priors, and of true over indicated pressure; both of shape (draws, 1)."""
    random = np.random.default_rng(seed)
    unknowns = {u.name: u for u in unknowns_of(bench, response, gauge_log_u, coasts=True)}
    column = {
        name: np.array([[u.value(score)] for score in random.standard_normal(PRIOR_DRAWS)])
        for name, u in unknowns.items()
    }
    rotor = parameters_of(bench)
    arm = rotor.arm_m * (1 + bench.rotor.arm.relative * random.standard_normal((PRIOR_DRAWS, 1)))
    return rotor.with_(
        irradiance_w_m2=rotor.irradiance_w_m2 * column["light"],
        vane_conductance_w_m2_k=column["conductance"],
        bright_emissivity=column["bright_emissivity"],
        accommodation=column["accommodation"],
        pivot_dry_n_m=column["pivot_dry"],
        pivot_breakaway_n_m=column["pivot_dry"],
        pivot_viscous_n_m_s=column["pivot_viscous"],
        arm_m=arm,
        creep_factor=column.get("creep", 1.0),
        gas_force_factor=column["gas_force"],
        gas_drag_factor=column["gas_drag"],
    ), column["gauge"]


def prior_draws(bench: Bench, seed: int) -> RotorParameters:
    """Return draws of a rotor from what its bench states, arrays of shape (draws, 1)."""
    return _drawn(bench, response_of(parameters_of(bench)), 0.05, seed)[0]


@dataclass(frozen=True)
class TorqueRatio:
    """Predicted over needed torque: at the fastest reading, and over all readings.

    Attributes
    ----------
    ratio, interval : float, tuple of float
        At the fastest reading; median and interval, sizes without a sign.
    positive : float
        Share of draws in which the torque makes the bright face go ahead there.
    spread : float
        Standard deviation over the readings of the logarithm of the median ratio.
    predicted_change, needed_change : float
        Largest over smallest torque over the readings, predicted and needed.
    """

    ratio: float
    interval: tuple[float, float]
    positive: float
    spread: float
    predicted_change: float
    needed_change: float


def size_of(case: MechanismCase, torque: Array) -> TorqueRatio:
    """Compare a torque, shape (draws, readings), with what the readings ask for."""
    needed, k = case.needed_n_m, case.fastest
    ratio = np.abs(torque) / needed
    tails = [(1 - case.level) / 2, 0.5, (1 + case.level) / 2]
    low, middle, high = (float(q) for q in np.quantile(ratio[:, k], tails))
    over = np.median(np.abs(torque), axis=0)
    need = np.median(needed, axis=0)
    spread = float(np.std(np.log(np.maximum(over, 1e-300) / need)))
    return TorqueRatio(
        middle, (low, high), float(np.mean(torque[:, k] > 0)), spread,
        float(over.max() / max(over.min(), 1e-300)), float(need.max() / need.min()),
    )  # fmt: skip


def shape_words(size: TorqueRatio) -> str:
    """Say how the torque goes over the readings against how the needed one goes."""
    if size.spread < ALIKE:
        return f"over the readings it goes as needed, to within a factor {format_number(float(np.exp(size.spread)), 2)}"
    change = "over a million-fold" if size.predicted_change > 1e6 else f"{format_number(size.predicted_change, 2)}-fold"
    needed = format_number(size.needed_change, 2)
    return f"over the readings it changes {change} where the needed torque changes {needed}-fold"


def dependence(case: MechanismCase, key: str) -> tuple[str, str]:
    """Say how a drive goes with the light and with the envelope, at the fastest reading, from the forward model."""
    rotor = parameters_of(case.bench)
    pressure = np.array([case.pressure_pa])

    def torque(of: RotorParameters) -> float:
        return float(steady_state(pressure, of, case.response).torque[key][0])

    now = torque(rotor)
    if now == 0:
        return "", ""
    power = float(np.log(torque(rotor.with_(irradiance_w_m2=1.05 * rotor.irradiance_w_m2)) / now) / np.log(1.05))
    light = f"as the light to the power {power:.2f}" if abs(power) > 0.01 else "not with the light"
    warmer = torque(rotor.with_(envelope_temperature_k=rotor.envelope_temperature_k + 10)) / now - 1
    dark = torque(rotor.lamp_off().with_(envelope_temperature_k=rotor.envelope_temperature_k - 10))
    envelope = "not with the envelope"
    if abs(warmer) > 1e-4:
        back = "turns round" if dark * now < 0 else "keeps its direction"
        envelope = f"{100 * warmer:+.2g} % for an envelope 10 K warmer; in the dark, under one 10 K colder, it {back}"
    return light, envelope


def judge(
    case: MechanismCase,
    *,
    name: str,
    key: str,
    leads: Literal["bright", "dark"],
    model: str | None = None,
    within: float = 1.0,
) -> Claim:
    """Weigh a drive of the forward model.

    Parameters
    ----------
    case : MechanismCase
        The rotor and its readings.
    name, key : str
        Name of the mechanism; key of its drive.
    leads : {"bright", "dark"}
        The face that it makes go ahead.
    model : str, optional
        The model of this drive alone, where one is fitted.
    within : float
        Factor either way to which the size holds, where it is an estimate; the draws hold it already.
    """
    sign_ok = sign_agrees(case.bench, leads)
    other = "dark" if leads == "bright" else "bright"
    sign = {
        True: f"it would make the {leads} face lead, as seen",
        False: f"it would make the {leads} face lead, and the {other} face was seen to lead",
        None: f"it would make the {leads} face lead; which face led was not noted",
    }[sign_ok]
    if not case.enough:
        verdict: Verdict = "ruled out" if sign_ok is False else "cannot tell"
        return Claim(
            name,
            verdict,
            sign_ok,
            None,
            None,
            None,
            sentence(f"{sign}; too few readings of a moving rotor to weigh its size"),
        )
    torque = case.torque(key)
    if not np.any(torque):
        return Claim(
            name, "ruled out" if sign_ok is False else "cannot tell", sign_ok, None, None, None,
            sentence(f"{sign}; the bench does not state what its size needs"),
        )  # fmt: skip
    size = size_of(case, torque)
    low, high = size.interval
    alone, best = (None if model is None else case.evidence(model)), _best_evidence(case)
    verdict, because = _verdict(case, size, (low, high), sign_ok, model, alone, best)
    light, envelope = dependence(case, key)
    estimate = f", an estimate to a factor {within:g}" if within > 1 else ""
    words = (
        f"at {format_number(case.pressure_pa, 3)} Pa it gives {format_number(size.ratio, 2)} "
        f"({format_interval(low, high, digits=2)}) of the torque needed{estimate}"
    )
    why = sentence(f"{sign}; {words}; {shape_words(size)}{because}")
    return Claim(name, verdict, sign_ok, size.ratio, (low, high), alone, why, shape_words(size), light, envelope)


def _best_evidence(case: MechanismCase) -> float | None:
    values = [fit.log_evidence for fit in (case.fits or {}).values()] + list((case.laplace or {}).values())
    return max(values) if values else None


def _verdict(
    case: MechanismCase,
    size: TorqueRatio,
    interval: tuple[float, float],
    sign_ok: bool | None,
    model: str | None,
    alone: float | None,
    best: float | None,
) -> tuple[Verdict, str]:
    """Return the verdict and the clause that gives its reason."""
    low, high = interval
    if sign_ok is False:
        return "ruled out", ", so it is ruled out as the main drive by its sign"
    if alone is not None and best is not None and alone < best - DECISIVE:
        behind = format_number(best - alone, 3)
        if high >= 1 and _share_in_fit(case, model) >= CONTRIBUTION:
            return (
                "contributes",
                f"; alone it is ln(evidence) {behind} behind the best model, so it contributes but does not suffice",
            )
        return (
            "ruled out",
            f"; alone it is ln(evidence) {behind} behind the best model, so it is ruled out as the main drive",
        )
    if high < 1:
        if high < CONTRIBUTION or low < CONTRIBUTION / 5:
            return "ruled out", ", so it is ruled out as the main drive"
        return "contributes", ", so it is too small to be the main drive and not too small to matter"
    fitted = None if case.fits is None or model is None else case.fits.get(model)
    if fitted is not None and alone is not None and best is not None:
        if 0.005 < fitted.p_value < 0.999:
            return "sufficient", (
                f"; alone it fits every reading (posterior predictive p = {format_number(fitted.p_value, 2)}) with "
                f"ln(evidence) {format_number(alone, 4)} against {format_number(best, 4)} of the best model"
            )
        return (
            "cannot tell",
            f"; its fit leaves more than noise (posterior predictive p = {format_number(fitted.p_value, 2)})",
        )
    if low >= 1 and size.spread < ALIKE and sign_ok:
        return "sufficient", ", so it suffices"
    return "cannot tell", ", which leaves it open"


def _share_in_fit(case: MechanismCase, model: str | None) -> float:
    """Share of the net torque at the fastest reading that the drive of `model` has in the fit of all drives."""
    whole = (case.fits or {}).get("all")
    if whole is None or model is None:
        return 0.0
    values = np.median(whole.draws, axis=0)
    partial = Problem(case.bench, whole.problem.data, model, whole.problem.response)
    place = np.array([case.pressure_pa])
    return float(
        abs(partial.predicted(values, place)[1, 0]) / max(abs(whole.problem.predicted(values, place)[1, 0]), 1e-300)
    )


def convection_size(case: MechanismCase) -> TorqueRatio:
    """Compare the bound on convection with the torque needed."""
    return size_of(case, np.broadcast_to(convection_bound(case.state.at), case.needed_n_m.shape))


def case_of(
    bench: Bench, readings: pd.DataFrame, *, level: float, seed: int, coasts: Sequence[CoastDown] = (), **fitted: Any
) -> MechanismCase:
    """Return the case of an experiment: its used readings, and steady speeds seen with the lamp off and nothing else
    changed.
    """
    used = readings[readings["used"]]
    off = readings[
        (readings["condition"] == "lamp off") & (readings["exclude"] == "") & readings["speed_rad_s"].notna()
    ]
    coasting = {coast.line for coast in coasts}
    dark = tuple(
        (abs(float(row["speed_rad_s"])), float(row["speed_u_rad_s"]))
        for row in off.to_dict("records")
        if "drifting" not in str(row["speed_flags"]).split() and row["line"] not in coasting
    )
    return MechanismCase(bench, used, level, seed, coasts=coasts, lamp_off_rad_s=dark, **fitted)
