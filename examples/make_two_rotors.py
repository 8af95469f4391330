"""Make the example `two-rotors`: an INVENTED bench, its readings and raw traces, from a seed.

Two rotors, with vanes of 12 mm and of 20 mm, turn in nitrogen under a lamp. Each is swept up and down in pressure over
three decades. The gauge gives log-linear volts; the tachometer gives pulses of unequal height and spacing on a
wandering baseline with hum and noise. One trace has dropouts, one is drifting, one is too short.

Nothing here was measured. The speeds do not come from Edgewind's model of a rotor but from
`edgewind.virtual.hidden_rotor`: bridging formulas with hidden smooth factors, faces that accommodate unequally, a weak
draught, a gauge whose error is not a factor. Nor does the bench.toml state it exactly: see `rotor`. So a study can be
compared with the truth, which `python examples/make_two_rotors.py` prints. Three coast-downs of each rotor, lamp off
from full speed, follow the same rotor; each trace begins twelve seconds later, when the faces are alike again.
"""

from __future__ import annotations

import csv
import gzip
import shutil
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline

from edgewind.signals import Trace
from edgewind.signals.synthetic import PulseTrain, pulses, synthesise
from edgewind.virtual.hidden_rotor import BenchConditions, Deviation, HiddenRotor
from edgewind.virtual.invented_sweeps import truth_of

FOLDER = Path(__file__).parent / "two-rotors"
SEED = 20260314
ENVELOPE_C = 22.0
ENVELOPE_K = ENVELOPE_C + 273.15
SAMPLES = 6000
VOLTS_AT_1_PA, VOLTS_PER_DECADE, GAUGE_NOISE_V, VOLTMETER_STEP_V = 5.0, 1.0, 0.004, 0.001
GAUGE_SCALE_TRUTH = 1.03  # the invented gauge shows about 3 % too little, inside its stated uncertainty
SPEED_SCATTER = 0.008  # from reading to reading, beyond what a trace shows: the lamp and the pivot


@dataclass(frozen=True)
class Rotor:
    """An invented rotor and how its traces were recorded."""

    name: str
    width_m: float
    arm_m: float
    marks: int
    inertia_kg_m2: float
    pivot_dry_n_m: float
    pivot_viscous_n_m_s: float
    start: datetime


SMALL = Rotor("vane-12mm", 0.012, 0.022, 4, 8.6e-8, 0.8e-10, 0.6e-10, datetime(2026, 3, 14, 9, 30))
LARGE = Rotor("vane-20mm", 0.020, 0.026, 3, 3.45e-7, 3.0e-10, 2.0e-10, datetime(2026, 3, 15, 9, 30))
# What the benches do not tell exactly: the lamp is 5 % brighter than stated, faces and vane differ from the best
# estimates.
IRRADIANCE, CONDUCTANCE, BRIGHT_EMISSIVITY, ACCOMMODATION = 840.0, 62.0, 0.82, 0.92
COAST_PRESSURES_PA = (0.05, 0.6, 8.0)
COAST_SAMPLES = 12_000
WAIT_S = 12.0  # from lamp off to the beginning of the trace


_random = np.random.default_rng([SEED, 1])
# One nature for both rotors: what force, drag and heat depart by, over the Knudsen number, and the gauge over pressure.
FORCE, DRAG, HEAT = (Deviation.draw(0.08, 0.01, 100.0, _random) for _ in range(3))
GAUGE = Deviation.draw(0.02, 1e-3, 100.0, _random)


def rotor(made: Rotor) -> HiddenRotor:
    """Return the rotor as it is, not as its bench.toml has it."""
    return HiddenRotor(
        width_m=made.width_m, arm_m=made.arm_m, chamber_width_m=0.16, chamber_height_m=0.22,
        irradiance_w_m2=IRRADIANCE, conductance_w_m2_k=CONDUCTANCE,
        bright_absorptance=0.14, bright_emissivity=BRIGHT_EMISSIVITY, accommodation=ACCOMMODATION,
        accommodation_difference=0.004, foreign_n_m=0.05 * made.pivot_dry_n_m, inertia_kg_m2=made.inertia_kg_m2,
        dry_n_m=made.pivot_dry_n_m, breakaway_n_m=made.pivot_dry_n_m, viscous_n_m_s=made.pivot_viscous_n_m_s,
        force=FORCE, drag=DRAG, heat=HEAT, gauge=GAUGE,
    )  # fmt: skip


def coast_down(made: Rotor, pressure_pa: float, seed: int) -> Trace:
    """Record an invented coast-down until the speed has fallen to a third; it begins as the faces are alike again."""
    true, dark = rotor(made), BenchConditions(pressure_pa, 0.0, ENVELOPE_K)
    lit = replace(dark, light=1.0)
    start = float(true.steady_speed(lit))
    warm = tuple(float(face) for face in true.faces(lit))
    rate = (float(true.resistance(dark)) + made.pivot_viscous_n_m_s) / made.inertia_kg_m2
    coarse = np.linspace(0.0, 4 / rate, 4000)
    cooled = true.run(np.array([0.0, WAIT_S]), lambda _: dark, (warm[0], warm[1], start))[-1]
    start = float(cooled[2])
    speed = true.run(coarse, lambda _: dark, tuple(cooled))[:, 2]
    seconds = float(np.round(coarse[np.argmax(speed < start / 3)], 1))
    time = np.arange(COAST_SAMPLES) * seconds / COAST_SAMPLES
    turns = CubicSpline(coarse, speed).antiderivative()(time) / (2 * np.pi)
    seen = PulseTrain(start / (2 * np.pi), marks=made.marks, height_v=1.2, height_spread=0.2, spacing_spread=0.04)
    random = np.random.default_rng(seed)
    voltage = 0.4 + pulses(turns, seen, random) + 0.05 * random.standard_normal(COAST_SAMPLES)
    return Trace(np.round(voltage * 64) / 64, seconds / COAST_SAMPLES, channel="invented", source="invented")


def gauge_volts(pressure_pa: float, random: np.random.Generator) -> float:
    """What the voltmeter on the invented gauge shows."""
    volts = VOLTS_AT_1_PA + VOLTS_PER_DECADE * np.log10(pressure_pa * float(GAUGE(pressure_pa)) / GAUGE_SCALE_TRUTH)
    return float(np.round((volts + GAUGE_NOISE_V * random.standard_normal()) / VOLTMETER_STEP_V) * VOLTMETER_STEP_V)


def record(made: Rotor, speed_rad_s: float, fault: str, seed: int) -> Trace:
    """Record an invented trace long enough for a dozen turns, or with the named fault."""
    turn_rate = speed_rad_s / (2 * np.pi)
    seconds = float(np.clip(np.round(14 / turn_rate), 2, 60))
    if fault == "short":
        seconds = round(1.4 / turn_rate, 1)
    seen = PulseTrain(
        turn_rate, marks=made.marks, height_v=1.2, height_spread=0.2, spacing_spread=0.04, offset_v=0.4, wander_v=0.12,
        hum_v=0.05, noise_v=0.05, resolution_v=4.0 / 256,
    )  # fmt: skip
    if fault == "dropouts":
        seen = replace(seen, dropout=0.15)
    if fault == "drifting":
        seen = replace(seen, acceleration_hz_s=0.25 * turn_rate / seconds)
    return synthesise(seen, samples=SAMPLES, interval_s=seconds / SAMPLES, seed=seed)


def write_with_time_column(path: Path, trace: Trace) -> None:
    """Write a trace as one kind of oscilloscope exports it: header, units row, time column; packed."""
    lines = ["Model,invented instrument", "Note,INVENTED DATA", "Time,CH1", "s,V"]
    lines += [f"{t:.6g},{v:.5f}" for t, v in zip(trace.time_s, trace.voltage_v, strict=True)]
    with path.open("wb") as raw, gzip.GzipFile(filename="", mode="wb", fileobj=raw, mtime=0) as packed:
        packed.write(("\n".join(lines) + "\n").encode())


def write_with_interval(path: Path, trace: Trace) -> None:
    """Write a trace as another kind exports it: sample interval in the header, decimal comma, millivolts."""
    interval = f"{trace.interval_s:.9g}".replace(".", ",")
    lines = ["INVENTED DATA", f"Sample interval;{interval};s", "CH1 (mV)"]
    lines += [f"{1e3 * v:.1f}".replace(".", ",") for v in trace.voltage_v]
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode())


def make_experiment(root: Path, made: Rotor, pressures: np.ndarray, faults: dict[int, str], seed: int) -> None:
    """Write one experiment folder: two sweeps and the coast-downs, every reading with its trace."""
    random, true = np.random.default_rng(seed), rotor(made)
    folder = root / made.name
    (folder / "traces").mkdir(parents=True)
    (folder / "bench.toml").write_text(BENCH.format(**bench_words(made)), encoding="utf-8")
    rows, time = [], made.start
    order = [*(("up", p) for p in pressures), *(("down", p) for p in pressures[::-1] * 1.12)]
    for number, (sweep, target) in enumerate(order, start=1):
        pressure = float(target * np.exp(0.03 * random.standard_normal()))
        steady = float(true.steady_speed(BenchConditions(pressure, 1.0, ENVELOPE_K)))
        true_speed = steady * (1 + SPEED_SCATTER * random.standard_normal())
        fault = faults.get(number, "")
        trace = record(made, true_speed, fault, seed + number)
        name = f"traces/{number:03d}.csv" + (".gz" if made is SMALL else "")
        (write_with_time_column if made is SMALL else write_with_interval)(folder / name, trace)
        time += timedelta(minutes=6, seconds=int(random.integers(0, 90)))
        envelope = ENVELOPE_C + 0.2 * random.standard_normal()
        note = "lamp had just been switched on" if fault == "drifting" else ""
        exclude = "door opened, draught on the chamber" if fault == "excluded" else ""
        clock, volts = f"{time:%Y-%m-%d %H:%M:%S}", f"{gauge_volts(pressure, random):.3f}"
        rows.append([clock, volts, name, "on", sweep, f"{envelope:.1f}", note, exclude])
    for number, pressure in enumerate(COAST_PRESSURES_PA, start=len(order) + 1):
        name = f"traces/{number:03d}.csv" + (".gz" if made is SMALL else "")
        trace = coast_down(made, pressure, seed + number)
        (write_with_time_column if made is SMALL else write_with_interval)(folder / name, trace)
        time += timedelta(minutes=30)
        clock, volts = f"{time:%Y-%m-%d %H:%M:%S}", f"{gauge_volts(pressure, random):.3f}"
        rows.append([clock, volts, name, "off", "", f"{ENVELOPE_C:.1f}", "coast-down from full speed", ""])
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as stream:
        stream.write("# INVENTED DATA, made by examples/make_two_rotors.py. Nothing here was measured.\n")
        table = csv.writer(stream, lineterminator="\n")
        titles = ["time", "gauge [V]", "trace", "lamp", "sweep", "envelope temperature [degC]", "note", "exclude"]
        table.writerow(titles)
        table.writerows(rows)


def bench_words(made: Rotor) -> dict[str, str]:
    """What differs between the two descriptions."""
    width = f"{1e3 * made.width_m:.1f}"
    title = f"Invented rotor with {width[:-2]} mm vanes"
    inertia = f"{1.04 * made.inertia_kg_m2:.2e}"
    return {
        "width": width, "arm": f"{1e3 * made.arm_m:.1f}", "marks": str(made.marks), "title": title, "inertia": inertia
    }  # fmt: skip


BENCH = """\
# INVENTED DATA, made by examples/make_two_rotors.py. Nothing here was measured.

[experiment]
title = "{title}"
place = "no bench: made by a script"
notes = "Sweeps up and down in pressure with the lamp on; then three coast-downs with the lamp off."

[gas]
species = "N2"
temperature = "22.0 +/- 0.5 degC"

[chamber]
width = "160 mm"
height = "220 mm"

[rotor]
vanes = 4
vane_width = "{width} +/- 0.1 mm"
vane_height = "{width} +/- 0.1 mm"
vane_thickness = "0.10 mm"
arm = "{arm} +/- 0.3 mm"
dark_absorptance = "0.94 +/- 0.03"
bright_absorptance = "0.12 +/- 0.04"
leading_face = "bright"
bright_emissivity = "0.80 +/- 0.05"   # white paper
vane_conductance = "80 +/- 40 W/(m^2 K)"
moment_of_inertia = "{inertia} +/- 8 % kg m^2"

[light]
arrangement = "beam"
irradiance = "800 +/- 80 W/m^2"
source = "invented halogen lamp"

[gauge]
kind = "log-linear"
principle = "thermal-conductivity"
reference_pressure = "1 Pa"
reference_voltage = "5.000 V"
voltage_per_decade = "1.000(5) V"
signal_low = "2.5 V"
signal_high = "7.5 V"
noise = "4 mV"
resolution = "1 mV"
transfer_uncertainty = "5 %"

[tachometer]
marks = {marks}
mains_frequency = "50 Hz"

[study]
level = 0.90
seed = 1
"""


def make(root: Path) -> None:
    """Make both experiments in a folder."""
    pressures = np.geomspace(0.02, 20.0, 17)
    make_experiment(root, SMALL, pressures, {5: "drifting", 12: "dropouts", 24: "short", 27: "excluded"}, SEED)
    make_experiment(root, LARGE, pressures, {9: "dropouts", 30: "excluded"}, SEED + 1000)


if __name__ == "__main__":
    shutil.rmtree(FOLDER, ignore_errors=True)
    make(FOLDER)
    for made in (SMALL, LARGE):
        print(made.name, truth_of(rotor(made)))
