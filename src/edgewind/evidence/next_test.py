"""Ranking of possible tests made on purpose by the expected change of the log evidence per hour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from edgewind.errors import InputError
from edgewind.evidence.deliberate import log_densities
from edgewind.evidence.deliberate_prediction import CANDIDATES, CONSTANT, TestBench, bench_of_tests, predicted_speeds
from edgewind.evidence.deliberate_results import kind_of
from edgewind.evidence.usual import LEAST_SPREAD
from edgewind.formatting import RPM_PER_RAD_S, format_interval
from edgewind.frozen_model import FrozenModel
from edgewind.rotor import parameters_of
from edgewind.rotor.drives import NAMES
from edgewind.signals import Experiment

Array = NDArray[np.float64]

# Usual chilling and warming of an envelope, K: a freezer or ice with salt, and a hair dryer. Common practice,
# no source.
CHILLED_BY_K, WARMED_BY_K = -40.0, 30.0
_SAMPLES = 60
# A test that is expected to change the log evidence by less than this is not proposed.
LEAST_GAIN = 0.5
# Noise of a test over the speed at the usual conditions, and that of the usual speed with it.
NOISE_OF_TESTS = 2 * LEAST_SPREAD


class ProposedTest(FrozenModel):
    """A test worth making."""

    kind: str = Field(description="The change, named as for a test that was made.")
    how: str = Field(description="Instructions: what to do and what to write down.")
    pressure_pa: float = Field(description="Pressure, Pa.")
    hours: float = Field(description="Duration, h; common practice, no source.")
    gain: float = Field(
        description="Expected change of the logarithm of the evidence between two mechanisms that are still open."
    )
    gain_per_hour: float = Field(description="The same per hour of work.")
    outcomes: dict[str, str] = Field(description="By mechanism: the observation if it turns the rotor.")
    cautions: tuple[str, ...] = Field(description="Hazards of it, as keys of edgewind.cautions.HAZARDS.")


def propose_tests(experiment: Experiment, open_mechanisms: Sequence[str] | None = None) -> tuple[ProposedTest, ...]:
    """Return possible tests, those with the most information per hour first.

    Each open mechanism in turn is assumed true: observations are drawn from its predictions, and their likelihood under
    every other one is computed.

    Parameters
    ----------
    experiment : Experiment
        With readings at the usual conditions; without any nothing is proposed.
    open_mechanisms : sequence of str, optional
        Names of those that are not ruled out; default: all.
    """
    used = experiment.used
    if used.empty:
        return ()
    known = bench_of_tests(experiment)
    fastest = int(np.argmax(used["speed_rad_s"].abs().to_numpy(float)))
    pressure = float(used["pressure_pa"].to_numpy(float)[fastest])
    every = [*(NAMES[key] for key in CANDIDATES), *CONSTANT]
    names = [name for name in every if open_mechanisms is None or name in open_mechanisms]
    made = {kind_of(row, known.envelope_k, known.bench.light.arrangement) for row in _made(experiment)}
    rated = (_rated(one, known, names) for one in _candidates(known, pressure))
    return tuple(sorted((one for one in rated if one and one.kind not in made), key=lambda one: -one.gain_per_hour))


def _made(experiment: Experiment) -> Iterator[dict[str, Any]]:
    table = experiment.readings
    for row in table[table["usable"] & (table["condition"] != "")].to_dict("records"):
        yield {str(name): value for name, value in row.items()}


class _Candidate(NamedTuple):
    """Conditions of a test as a row of readings, what to do, hours and hazards."""

    row: dict[str, Any]
    how: str
    hours: float
    cautions: tuple[str, ...]


def _candidates(known: TestBench, pressure: float) -> Iterator[_Candidate]:
    usual = {
        "pressure_pa": pressure, "lamp_share": 1.0, "lamp_side": "", "envelope_k": np.nan, "gas": "", "changed": "",
        "speed_rad_s": 0.0,
    }  # fmt: skip
    dark = usual | {"lamp_share": 0.0}
    note = "note the speed and which face leads"
    steady = f"wait until the speed is steady, and {note}"
    for change, verb, hazards in (
        (CHILLED_BY_K, "chill", ("cold", "refrigerant", "glass")), (WARMED_BY_K, "warm", ("warm envelope", "glass")),
    ):  # fmt: skip
        envelope = known.envelope_k + change
        how = (
            f"switch the lamp off, let the rotor come to rest, {verb} the envelope to about {envelope - 273.15:.0f} "
            f"°C, and from the first minute on {note}, with the temperature"
        )
        yield _Candidate(dark | {"envelope_k": envelope}, how, 0.75, hazards)
    yield _Candidate(dark, f"switch the lamp off, wait until nothing changes, and {note}", 0.25, ())
    half = f"set the lamp to half of its irradiance, {steady}"
    yield _Candidate(usual | {"lamp_share": 0.5}, half, 0.25, ("lamp",))
    if known.bench.light.arrangement == "beam":
        how = f"light the rotor from all sides with the same irradiance, {steady}"
        yield _Candidate(usual | {"lamp_side": "all-round"}, how, 0.5, ("lamp",))
    if known.bench.gauge.principle == "diaphragm":
        gas = "Ar" if known.bench.gas.gas.name == "He" else "He"
        here, there = parameters_of(known.bench), parameters_of(known.bench.with_gas(gas))
        same = pressure * float(there.knudsen(pressure) / here.knudsen(pressure))
        how = f"fill {gas} to the same Knudsen number, {steady}"
        yield _Candidate(usual | {"gas": gas, "pressure_pa": same}, how, 1.5, ("bottle", "valve"))


def _rated(one: _Candidate, known: TestBench, names: Sequence[str]) -> ProposedTest | None:
    """Return a test with its expected information; None if that is small, or outside the response of the gas."""
    try:
        predicted = predicted_speeds(one.row, known)
    except InputError:
        return None
    if predicted is None or len(names) < 2:
        return None
    samples, scale = predicted
    spread = NOISE_OF_TESTS * scale
    random = np.random.default_rng(known.seed)
    picked = {name: random.choice(samples[name], _SAMPLES) for name in names}
    gains = []
    for truth in names:
        seen = picked[truth] + spread * random.standard_normal(_SAMPLES)
        own = log_densities(seen, samples[truth], spread, scale)
        gains += [
            float(np.mean(own - log_densities(seen, samples[name], spread, scale))) for name in names if name != truth
        ]
    gain = float(np.mean(gains))
    if gain < LEAST_GAIN:
        return None
    return ProposedTest(
        kind=kind_of(one.row, known.envelope_k, known.bench.light.arrangement),
        how=one.how,
        pressure_pa=float(one.row["pressure_pa"]),
        hours=one.hours,
        gain=round(gain, 2),
        gain_per_hour=round(gain / one.hours, 2),
        outcomes={name: _outcome(picked[name], spread) for name in names},
        cautions=one.cautions,
    )


def _outcome(speeds: Array, spread: float) -> str:
    low, high = (float(end) for end in np.quantile(speeds, (0.05, 0.95)))
    if max(abs(low), abs(high)) < spread:
        return "stands still, or nearly"
    ends = format_interval(RPM_PER_RAD_S * low, RPM_PER_RAD_S * high, "rpm", digits=2)
    if low >= -spread:
        return f"bright face leads, {ends}"
    return f"dark face leads, {ends}" if high <= spread else f"either way, {ends}"
