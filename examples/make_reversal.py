"""Make the example `reversal`: an INVENTED sweep with typed speeds, and one reversal in the cold, from a seed.

Fourteen readings under the lamp, each with the direction of turning, and one run: at 2.5 Pa the lamp goes off, the
rotor comes to rest, and at 150 s its envelope is chilled to -20 degC in the dark. Then the dark face leads.

Nothing here was measured. The speeds do not come from Edgewind's model of a rotor but from
`edgewind.virtual.hidden_rotor`: bridging formulas with hidden smooth factors, faces that accommodate unequally, a weak
draught, a gauge whose error is not a factor. `python examples/make_reversal.py` also prints what is true.
"""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

import numpy as np

from edgewind.live.run_table import RunRow, RunTable
from edgewind.virtual.hidden_rotor import BenchConditions, Deviation, HiddenRotor
from edgewind.virtual.invented_sweeps import bench_text, readings_text, truth_of

FOLDER = Path(__file__).parent / "reversal"
SEED = 20261128
ROOM_K, COLD_K = 295.15, 253.15
PRESSURE_PA, LAMP_OFF_S, CHILLED_S, THERMOSTAT_S, LAST_S = 2.5, 12.0, 150.0, 45.0, 600.0


def rotor() -> HiddenRotor:
    """Return the invented rotor."""
    random = np.random.default_rng([SEED, 1])
    force, drag, heat = (Deviation.draw(0.12, 0.01, 100.0, random) for _ in range(3))
    return HiddenRotor(
        arm_m=0.022, chamber_width_m=0.07, chamber_height_m=0.07, conductance_w_m2_k=24.0, bright_emissivity=0.36,
        irradiance_w_m2=840.0, inertia_kg_m2=8.6e-8, dry_n_m=8e-11, breakaway_n_m=8e-11, viscous_n_m_s=6e-11,
        accommodation_difference=0.006, foreign_n_m=4e-11,
        force=force, drag=drag, heat=heat, gauge=Deviation.draw(0.04, 1e-3, 100.0, random),
    )  # fmt: skip


def surroundings(time_s: float) -> BenchConditions:
    """Return lamp and envelope at a moment of the run."""
    cooled = 1 - np.exp(-max(time_s - CHILLED_S, 0.0) / THERMOSTAT_S)
    return BenchConditions(PRESSURE_PA, 1.0 if time_s < LAMP_OFF_S else 0.0, ROOM_K + (COLD_K - ROOM_K) * cooled)


def reversal(true: HiddenRotor, random: np.random.Generator) -> RunTable:
    """Follow the rotor through the run, and read it every six seconds with a little noise."""
    lit = surroundings(0.0)
    dark, bright = true.faces(lit)
    time = np.arange(0.0, LAST_S + 1.0, 6.0)
    before = true.run(np.array([0.0, LAMP_OFF_S]), lambda t: lit, (float(dark), float(bright), true_speed(true)))
    after = true.run(time[time >= LAMP_OFF_S], surroundings, tuple(before[-1]))
    speeds = np.concatenate([np.full((time < LAMP_OFF_S).sum(), true_speed(true)), after[:, 2]])
    table = RunTable(signed=True)
    for t, speed in zip(time, speeds, strict=True):
        now = surroundings(t)
        seen = speed * (1 + 1e-3 * random.standard_normal()) if abs(speed) > 0.02 else 0.0
        envelope = float(now.envelope_k) + 0.02 * random.standard_normal()
        lamp = "on" if now.light else "off"
        u = float("nan") if seen else 0.1
        table.moments.append(RunRow(float(t), seen, u, envelope, lamp, PRESSURE_PA))
    return table


def true_speed(true: HiddenRotor) -> float:
    """Return the speed under the lamp at the pressure of the run, rad/s."""
    return float(true.steady_speed(surroundings(0.0)))


def make(folder: Path) -> None:
    """Make the example in a folder."""
    random, true = np.random.default_rng([SEED, 2]), rotor()
    (folder / "runs").mkdir(parents=True)
    bench = bench_text(true, random, states_everything=True).replace(
        '"Invented rotor"', '"Invented rotor, reversed in the cold"'
    )
    (folder / "bench.toml").write_text(bench.replace("# INVENTED DATA, from a generator of random rotors.", _SAYS))
    readings = readings_text(true, np.geomspace(0.05, 20.0, 14), random)
    rows = list(csv.reader(io.StringIO(readings)))
    out = io.StringIO()
    out.write(f"{_SAYS} Nothing here was measured.\n")
    table = csv.writer(out, lineterminator="\n")
    table.writerow([*rows[1], "trace", "changed"])
    for row in rows[2:]:
        signed = row[2] if row[2].startswith(("-", "+")) else f"+{row[2]}"
        table.writerow([*row[:2], signed, *row[3:], "", ""])
    shown = PRESSURE_PA * float(true.gauge(PRESSURE_PA))
    table.writerow([f"{shown:.5g}", "1", "", "", "off", "runs/001.csv", "lamp off, then envelope to -20 degC"])
    (folder / "readings.csv").write_text(out.getvalue(), encoding="utf-8")
    (folder / "runs" / "001.csv").write_bytes(f"{_SAYS}\n".encode() + reversal(true, random).to_csv())


_SAYS = "# INVENTED DATA, made by examples/make_reversal.py."


if __name__ == "__main__":
    shutil.rmtree(FOLDER, ignore_errors=True)
    make(FOLDER)
    print(truth_of(rotor()))
