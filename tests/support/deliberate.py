"""Invented rotors, each turned by one known cause, and the tests made on them; for tests and benchmarks.

The rotors come from :mod:`edgewind.virtual.hidden_rotor`, which shares no line with the model that judges.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from edgewind.evidence.deliberate import deliberate_tests
from edgewind.evidence.deliberate_results import DRAUGHT, PIVOT, DeliberateTest, TestWeights
from edgewind.evidence.deliberate_weights import judge_tests
from edgewind.rotor.drives import NAMES
from edgewind.signals import read_experiment
from edgewind.virtual.hidden_rotor import BenchConditions, HiddenRotor
from edgewind.virtual.invented_sweeps import bench_text

CAUSES = ("thermal force", "light pressure", "recoil", "draught", "vibration")
ROOM_K, COLD_K = 295.15, 255.15
_NAME = {
    "thermal force": NAMES["thermal_force"], "light pressure": NAMES["light_pressure"],
    "recoil": NAMES["infrared_recoil"], "draught": DRAUGHT, "vibration": PIVOT,
}  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """What the tests said of one invented rotor."""

    cause: str
    tests: tuple[DeliberateTest, ...]
    weights: TestWeights

    @property
    def truth(self) -> str:
        """Name of the mechanism that turned it."""
        return _NAME[self.cause]

    @property
    def against_the_truth(self) -> float:
        """Logarithm of the likelihood of the true mechanism against the best."""
        return self.weights.log_likelihood[self.truth]

    @property
    def contradicted(self) -> Mapping[str, float]:
        """Mechanisms whose interval a test lies outside of, and the likelihood that they are left with."""
        return {
            name: self.weights.log_likelihood[name]
            for name in self.weights.log_likelihood
            if any(not test.predicted[name].agrees for test in self.tests)
        }


def rotor_of(cause: str, random: np.random.Generator) -> tuple[HiddenRotor, float]:
    """Return a rotor that one cause turns, and the pressure at which it is tested, Pa."""
    rotor = HiddenRotor(
        species=str(random.choice(["air", "N2", "Ar"])),
        conductance_w_m2_k=float(random.uniform(20, 120)), bright_emissivity=float(random.uniform(0.05, 0.6)),
        irradiance_w_m2=float(random.uniform(400, 1200)), accommodation=float(random.uniform(0.8, 0.98)),
        dry_n_m=1e-13, breakaway_n_m=1e-13, viscous_n_m_s=1e-12,
    )  # fmt: skip
    if cause == "thermal force":
        return rotor, float(random.uniform(0.2, 3))
    if cause == "light pressure":  # mirrors of one emissivity in high vacuum: no recoil, no gas
        return replace(rotor, specular=1.0, bright_emissivity=rotor.dark_emissivity, conductance_w_m2_k=1e4), 1e-5
    if cause == "recoil":  # the faces reflect nearly alike, and only the dark one radiates
        even = {"dark_absorptance": 0.6, "bright_absorptance": 0.4, "bright_emissivity": 0.03}
        return replace(rotor, **even, conductance_w_m2_k=1e4), 1e-5
    lit = BenchConditions(1.0, 1.0, ROOM_K)
    torque = 10 * float(rotor.torques(*rotor.faces(lit), lit)["thermal force"])
    return replace(rotor, foreign_n_m=torque, irradiance_w_m2=1e-3), float(random.uniform(0.2, 3))


def invented_tests(folder: Path, cause: str, seed: int) -> Outcome:
    """Write the folder of a rotor with four readings under the lamp and three tests, and return what they say."""
    random = np.random.default_rng(seed)
    rotor, pressure = rotor_of(cause, random)
    folder.mkdir(parents=True)
    bench = bench_text(rotor, random, states_everything=True, leading_face="not observed")
    known = ['pivot_dry_torque = "1e-13 +/- 20 % N m"', "leading_face"]
    if rotor.specular:
        known[:0] = ['bright_reflection = "mirror"', 'dark_reflection = "mirror"']
    (folder / "bench.toml").write_text(bench.replace("leading_face", "\n".join(known), 1))
    rows = [
        "pressure [Pa],pressure uncertainty [%],speed [rad/s],speed uncertainty [rad/s],leading face,lamp,"
        "envelope temperature [degC]"
    ]

    def note(p: float, speed: float, lamp: str, envelope_k: float) -> None:
        shown = speed * (1 + 0.01 * random.standard_normal())
        face = "" if shown == 0 else "bright" if shown > 0 else "dark"
        rows.append(
            f"{p:.5g},1,{abs(shown):.5g},{0.01 * abs(speed) + 1e-5:.3g},{face},{lamp},{envelope_k - 273.15:.2f}"
        )

    for factor in (0.7, 0.9, 1.1, 1.4):
        p = pressure * factor
        note(p, float(rotor.steady_speed(BenchConditions(p, 1.0, ROOM_K))), "on", ROOM_K)
    note(pressure, float(rotor.steady_speed(BenchConditions(pressure, 0.5, ROOM_K))), "0.5", ROOM_K)
    note(pressure, float(rotor.steady_speed(BenchConditions(pressure, 0.0, ROOM_K))), "off", ROOM_K)
    note(pressure, _cold_speed(rotor, pressure), "off", COLD_K)
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    tests = deliberate_tests(read_experiment(folder))
    return Outcome(cause, tests, judge_tests(tests))


def _cold_speed(rotor: HiddenRotor, pressure: float) -> float:
    """Speed that the torque would keep up while half of the warmth of the vane is left, in the chilled dark."""
    around = BenchConditions(pressure, 0.0, COLD_K)
    mean, low, high = (ROOM_K + COLD_K) / 2, -40.0, 40.0
    for _ in range(60):  # the difference at which both faces cool equally fast
        middle = (low + high) / 2
        flows = rotor.heat_flows(mean + middle / 2, mean - middle / 2, around)
        low, high = (middle, high) if float(flows[0] - flows[1]) > 0 else (low, middle)
    torque = float(sum(rotor.torques(mean + low / 2, mean - low / 2, around).values()))
    turning = np.sign(torque) * max(abs(torque) - rotor.dry_n_m, 0.0)
    return float(turning / (rotor.resistance(around) + rotor.viscous_n_m_s))
