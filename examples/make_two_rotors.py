"""Make the example `two-rotors`: an INVENTED bench, its readings and raw traces, from a seed.

Two rotors, with vanes of 12 mm and of 20 mm, turn in nitrogen under a lamp. Each is swept up and down in pressure over
three decades. The gauge gives log-linear volts; the tachometer gives pulses of unequal height and spacing on a
wandering baseline with hum and noise. One trace has dropouts, one is drifting, one is too short.

Nothing here was measured. The speeds come from the small stand-in model below, whose bridging between thin and dense
gas is made up to look plausible; the point is to have signals whose truth is known.

    python examples/make_two_rotors.py
"""

from __future__ import annotations

import csv
import gzip
import shutil
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from edgewind.gas import GasState, find_gas
from edgewind.signals import Trace
from edgewind.signals.synthetic import Tachometer, synthesise

FOLDER = Path(__file__).parent / "two-rotors"
SEED = 20260314
GAS_K, ENVELOPE_C = 295.15, 22.0
SAMPLES = 6000
VOLTS_AT_1_PA, VOLTS_PER_DECADE, GAUGE_NOISE_V, VOLTMETER_STEP_V = 5.0, 1.0, 0.004, 0.001
GAUGE_SCALE_TRUTH = 1.03  # the invented gauge shows 3 % too little, inside its stated uncertainty
SPEED_SCATTER = 0.008  # from reading to reading, beyond what a trace shows: the lamp and the pivot


@dataclass(frozen=True)
class Rotor:
    """An invented rotor and how its traces were recorded."""

    name: str
    width_m: float
    arm_m: float
    marks: int
    faces_apart_k: float  # temperature difference of the faces in thin gas
    pivot_dry_n_m: float
    pivot_viscous_n_m_s: float
    start: datetime


SMALL = Rotor("vane-12mm", 0.012, 0.022, 4, 3.0, 2.0e-10, 1.5e-10, datetime(2026, 3, 14, 9, 30))
LARGE = Rotor("vane-20mm", 0.020, 0.026, 3, 3.0, 4.0e-10, 4.0e-10, datetime(2026, 3, 15, 9, 30))


def speed(pressure_pa: float, rotor: Rotor) -> float:
    """Invented steady speed, rad/s: torque less dry friction, over drag.

    Free-molecular force and drag, each with a made-up factor that bends it over towards dense gas.
    """
    gas = GasState(find_gas("N2"), pressure_pa, GAS_K)
    kn = gas.mean_free_path_m() / rotor.width_m
    area = rotor.width_m**2
    faces_apart = rotor.faces_apart_k / (1 + 0.02 * pressure_pa)
    force = pressure_pa * area * faces_apart / (4 * GAS_K) / (1 + (0.3 / kn) ** 1.7)
    drag = 4.03 * pressure_pa * area * (rotor.arm_m**2 + rotor.width_m**2 / 12) / gas.most_probable_speed_m_s
    torque = 4 * force * rotor.arm_m - rotor.pivot_dry_n_m
    return max(torque, 0.0) / (4 * drag / (1 + 0.55 / kn) + rotor.pivot_viscous_n_m_s)


def gauge_volts(pressure_pa: float, random: np.random.Generator) -> float:
    """What the voltmeter on the invented gauge shows."""
    volts = VOLTS_AT_1_PA + VOLTS_PER_DECADE * np.log10(pressure_pa / GAUGE_SCALE_TRUTH)
    return float(np.round((volts + GAUGE_NOISE_V * random.standard_normal()) / VOLTMETER_STEP_V) * VOLTMETER_STEP_V)


def record(rotor: Rotor, speed_rad_s: float, fault: str, seed: int) -> Trace:
    """Record an invented trace long enough for a dozen turns, or with the named fault."""
    turn_rate = speed_rad_s / (2 * np.pi)
    seconds = float(np.clip(np.round(14 / turn_rate), 2, 60))
    if fault == "short":
        seconds = round(1.4 / turn_rate, 1)
    seen = Tachometer(
        turn_rate, marks=rotor.marks, height_v=1.2, height_spread=0.2, spacing_spread=0.04, offset_v=0.4, wander_v=0.12,
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


def make_experiment(root: Path, rotor: Rotor, pressures: np.ndarray, faults: dict[int, str], seed: int) -> None:
    """Write one experiment folder: two sweeps, every reading with its trace."""
    random = np.random.default_rng(seed)
    folder = root / rotor.name
    (folder / "traces").mkdir(parents=True)
    (folder / "bench.toml").write_text(BENCH.format(**bench_words(rotor)), encoding="utf-8")
    rows, time = [], rotor.start
    order = [*(("up", p) for p in pressures), *(("down", p) for p in pressures[::-1] * 1.12)]
    for number, (sweep, target) in enumerate(order, start=1):
        pressure = float(target * np.exp(0.03 * random.standard_normal()))
        true_speed = speed(pressure, rotor) * (1 + SPEED_SCATTER * random.standard_normal())
        fault = faults.get(number, "")
        trace = record(rotor, true_speed, fault, seed + number)
        name = f"traces/{number:03d}.csv" + (".gz" if rotor is SMALL else "")
        (write_with_time_column if rotor is SMALL else write_with_interval)(folder / name, trace)
        time += timedelta(minutes=6, seconds=int(random.integers(0, 90)))
        envelope = ENVELOPE_C + 0.2 * random.standard_normal()
        note = "lamp had just been switched on" if fault == "drifting" else ""
        exclude = "door opened, draught on the chamber" if fault == "excluded" else ""
        clock, volts = f"{time:%Y-%m-%d %H:%M:%S}", f"{gauge_volts(pressure, random):.3f}"
        rows.append([clock, volts, name, "on", sweep, f"{envelope:.1f}", note, exclude])
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as stream:
        stream.write("# INVENTED DATA, made by examples/make_two_rotors.py. Nothing here was measured.\n")
        table = csv.writer(stream, lineterminator="\n")
        titles = ["time", "gauge [V]", "trace", "lamp", "sweep", "envelope temperature [degC]", "note", "exclude"]
        table.writerow(titles)
        table.writerows(rows)


def bench_words(rotor: Rotor) -> dict[str, str]:
    """What differs between the two descriptions."""
    width = f"{1e3 * rotor.width_m:.1f}"
    title = f"Invented rotor with {width[:-2]} mm vanes"
    return {"width": width, "arm": f"{1e3 * rotor.arm_m:.1f}", "marks": str(rotor.marks), "title": title}


BENCH = """\
# INVENTED DATA, made by examples/make_two_rotors.py. Nothing here was measured.

[experiment]
title = "{title}"
place = "no bench: made by a script"
notes = "Sweeps up and down in pressure; the lamp is on throughout."

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
