"""Generation of the INVENTED readings of the template of `edgewind new`, by a rotor that is not the program's model.

The rotor agrees with the template's `bench.toml` within the uncertainties stated there. Its speeds come from
`edgewind.virtual.hidden_rotor`, so that the first study of a new user is not of data made by the model itself.

    python tools/make_template.py   # also prints the truth
"""

from __future__ import annotations

import csv
import io
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from edgewind.formatting import RPM_PER_RAD_S
from edgewind.virtual.hidden_rotor import BenchConditions, Deviation, HiddenRotor
from edgewind.virtual.invented_sweeps import truth_of

FILE = Path(__file__).parents[1] / "src" / "edgewind" / "bench" / "template_files" / "readings.csv"
SEED = 20260101
PA_PER_MTORR = 0.133322
ROOM_K = 295.15
SCATTER = 0.01
UP_MTORR = (0.5, 0.9, 1.8, 3.4, 6.3, 12.0, 22.0, 41.0, 77.0, 145.0)
DOWN_MTORR = (150.0, 30.0, 9.0, 2.6, 2.5, 0.7)
MOVED = 13  # the reading before which the lamp was moved
SAYS = """\
# INVENTED readings: replace them with yours. Under a title 'trace' goes a file in this folder, such as traces/001.csv.
# A gauge voltage goes under 'gauge [V]'. Give a reason under 'exclude' and a row is kept, shown and not used.
"""


def rotor() -> HiddenRotor:
    """Return the invented rotor."""
    random = np.random.default_rng([SEED, 1])
    force, drag, heat = (Deviation.draw(0.08, 0.01, 100.0, random) for _ in range(3))
    return HiddenRotor(
        species="air", arm_m=0.022, chamber_width_m=0.15, chamber_height_m=0.2, irradiance_w_m2=540.0,
        dark_absorptance=0.94, bright_absorptance=0.17, bright_emissivity=0.32, conductance_w_m2_k=24.0,
        accommodation=0.9, accommodation_difference=0.004,
        dry_n_m=2e-10, breakaway_n_m=2e-10, viscous_n_m_s=3e-11, inertia_kg_m2=9e-8,
        force=force, drag=drag, heat=heat, gauge=Deviation.draw(0.05, 1e-3, 100.0, random),
    )  # fmt: skip


def readings() -> str:
    """Return the text of `readings.csv`."""
    random, true = np.random.default_rng([SEED, 2]), rotor()
    out = io.StringIO()
    out.write(SAYS)
    table = csv.writer(out, lineterminator="\n")
    titles = "time,pressure [mTorr],pressure uncertainty [%],speed [rpm],speed uncertainty [rpm],lamp,sweep"
    table.writerow([*titles.split(","), "envelope temperature [degC]", "note", "exclude"])
    time = datetime(2026, 1, 1, 10)
    for number, target in enumerate((*UP_MTORR, *DOWN_MTORR)):
        pressure = PA_PER_MTORR * target * float(np.exp(0.02 * random.standard_normal()))
        moved = number == MOVED
        speed = float(true.steady_speed(BenchConditions(pressure, 0.8 if moved else 1.0, ROOM_K))) * RPM_PER_RAD_S
        speed *= 1 + SCATTER * random.standard_normal()
        shown = pressure * float(true.gauge(pressure)) / PA_PER_MTORR * np.exp(0.01 * random.standard_normal())
        sweep = "up" if number < len(UP_MTORR) else "down"
        envelope = 22.0 + 0.1 * min(number // 3, 2)
        note, exclude = ("invented, lamp bumped", "lamp was moved") if moved else ("invented", "")
        row = [f"{time:%Y-%m-%d %H:%M}", f"{shown:.3g}", "3", f"{speed:.1f}", "0.5", "on", sweep]
        table.writerow([*row, f"{envelope:.1f}", note, exclude])
        time += timedelta(minutes=6)
    table.writerow(
        [f"{time:%Y-%m-%d %H:%M}", "6.2", "3", "0", "0.5", "off", "", "22.1", "invented: it stands still", ""]
    )
    return out.getvalue()


if __name__ == "__main__":
    FILE.write_text(readings(), encoding="utf-8")
    print(truth_of(rotor()))
