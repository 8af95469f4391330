"""Start-up time of commands over that of ``python -c "import numpy"``, measured alternately."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np
from measured import Row, row


def run(full: bool = True) -> list[Row]:
    """Run each command and the import of NumPy alternately, and return ratios of medians."""
    with tempfile.TemporaryDirectory() as place:
        trace = Path(place) / "trace.csv"
        write_trace(trace)
        orders = {
            "--help": (["--help"], 3),
            "--version": (["--version"], 3),
            "new": (["new", ""], 3),
            "gas": (["gas", "air", "7 mTorr", "--size", "10 mm"], 6),
            "trace of 20,000 samples": (["trace", str(trace), "--marks", "4"], 6),
        }
        seconds: dict[str, list[float]] = {name: [] for name in ("numpy", *orders)}
        for turn in range(1 + (15 if full else 3)):  # the first fills the caches
            seconds["numpy"].append(_seconds([sys.executable, "-c", "import numpy"]))
            for name, (arguments, _) in orders.items():
                last = [str(Path(place) / f"new-{turn}")] if name == "new" else []
                seconds[name].append(_seconds([sys.executable, "-m", "edgewind", *filter(None, arguments), *last]))
    reference = median(seconds["numpy"][1:])
    rows = [row("import numpy", reference, "s")]
    for name, (_, most) in orders.items():
        rows.append(row(f"edgewind {name}", median(seconds[name][1:]) / reference, "times", f"at most {most}"))
    return rows


def write_trace(path: Path) -> None:
    """Write 20,000 samples of invented pulses, four per turn, 5 turns per second, with noise."""
    t = np.arange(20_000) * 1e-4
    pulses = (np.sin(2 * np.pi * 20 * t) > 0.8) + 0.02 * np.random.default_rng(1).standard_normal(t.size)
    np.savetxt(
        path, np.column_stack([t, pulses]), delimiter=",", header="time [s],voltage [V]", comments="", fmt="%.6g"
    )


def _seconds(order: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(order, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begun
