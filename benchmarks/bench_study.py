"""The example study from end to end, and what its parts cost."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from measured import EXAMPLE, Row, row

from edgewind.evidence import find
from edgewind.signals import read_experiment


def run(full: bool = True) -> list[Row]:
    """Time the whole command, and in this process reading, finding and both again."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        command = [sys.executable, "-m", "edgewind", "study", str(EXAMPLE), "--out", f"{folder}/out", "--json"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        whole = time.perf_counter() - start
        report = (Path(folder) / "out" / "report.html").stat().st_size
        output = sum(file.stat().st_size for file in Path(folder).rglob("*") if file.is_file())
    reading = finding = 0.0
    for place in sorted(EXAMPLE.iterdir()):
        start = time.perf_counter()
        experiment = read_experiment(place)
        reading += time.perf_counter() - start
        start = time.perf_counter()
        find(experiment)
        finding += time.perf_counter() - start
    return [
        row("example study, the whole command", whole, "s", "20"),
        row("reading 68 traces, share of the whole", reading / whole),
        row("curves, optima and claims, share of the whole", finding / whole),
        row("size of report.html", report / 1e6, "MB"),
        row("size of everything written", output / 1e6, "MB"),
    ]
