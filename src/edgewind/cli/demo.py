"""The command `edgewind demo`: simulate a bench, record a sweep from it, study the book. INVENTED DATA throughout.

The simulated bench is a process of its own that speaks SCPI over TCP; to the recorder it is a bench like any other.
Its time runs up to 300 times faster than the clock, so that a dwell of half a minute takes 0.1 s. The last
recording is a reversal: the lamp goes off, and the envelope is chilled in the dark.

The physics of the simulated rotor differs from the model of the program, so that the study is as difficult as with a
real rotor. The true values are printed at the end beside those found.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Annotated

import typer

from edgewind.cli.base import app
from edgewind.errors import EdgewindError

EDGEWIND = (sys.executable, "-m", "edgewind")
SPEED_UP, LEAST_SPEED_UP = 300.0, 30.0
# Long enough for the rotor to slow down considerably, in bench time.
COAST_DOWN = "100 s"
REVERSAL = "2.5 Pa, -20 degC"


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder to create for report, figures, data and lab book.")] = Path(
        "demo-out"
    ),
    quick: Annotated[bool, typer.Option("--quick", help="Few readings and no fit, for a first look.")] = False,
) -> None:
    """Show a whole study: a simulated bench, a sweep recorded from it, a report; everything is invented."""
    from edgewind.bench import write_to_bench
    from edgewind.study import check_out

    check_out(out, None, replace=True)
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="edgewind-demo-", ignore_cleanup_errors=True) as place:
        folder, book = Path(place) / "demo-rotor", Path(place) / "lab.book"
        print("Starting a simulated bench; all its readings are invented.", flush=True)
        bench = subprocess.Popen(
            [*EDGEWIND, "bench", "--speed-up", f"{speed_up():.0f}", "--seed", "1", "--json", "--write", str(folder)],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            assert bench.stdout is not None
            if not json.loads(bench.stdout.readline() or "{}").get("ports"):
                raise EdgewindError("the simulated bench did not start")
            write_to_bench(folder / "bench.toml", "steadiness", {"coast_down": COAST_DOWN})
            status = record_and_study(folder, book, out, bench, quick=quick)
        finally:
            bench.terminate()
            try:
                bench.wait(20)
            except subprocess.TimeoutExpired:
                bench.kill()
                bench.wait()
        if status:
            raise SystemExit(status)
        shutil.copyfile(book, out / "lab.book")
        shutil.copyfile(folder / "bench.toml", out / "bench.toml")
    print(f"\nDone in {time.monotonic() - began:.0f} s: open {out / 'report.html'}")
    print(f"The lab book it was made from is {out / 'lab.book'}.")
    print_truth(out)


def speed_up() -> float:
    """Return simulated time over real time: less if the processors are busy, so that no moment of a run is missed."""
    try:
        load = os.getloadavg()[0] / (os.cpu_count() or 1)
    except (AttributeError, OSError):  # Windows
        load = 1.0
    return max(SPEED_UP / max(load, 1.0), LEAST_SPEED_UP)


def record_and_study(folder: Path, book: Path, out: Path, bench: subprocess.Popen[str], *, quick: bool) -> int:
    """Record a sweep into the book and study it by the commands themselves; return the first nonzero status."""
    from edgewind.cli import main

    pressures, coast_downs = ("0.3Pa:12Pa:7", "1") if quick else ("0.03Pa:20Pa:14", "3")
    sweep = ["--pressures", pressures, "--coast-downs", coast_downs, "--reversal", REVERSAL]
    for command in (
        ["record", str(folder), str(book), *sweep, "--yes"],
        ["study", str(book), "--out", str(out), "--replace", *(["--quick"] if quick else [])],
    ):
        if bench.poll() is not None:  # Ctrl-C also reaches the recorder, which then ends in the safe state
            raise EdgewindError("the simulated bench has ended")
        try:
            main(command)
        except SystemExit as ended:
            if ended.code:
                return ended.code if isinstance(ended.code, int) else 1
    return 0


def print_truth(out: Path) -> None:
    """Print the true values of the simulated rotor beside those of the study."""
    from edgewind.clock import SimulatedClock
    from edgewind.formatting import text_table
    from edgewind.virtual import Apparatus, invented_bench
    from edgewind.virtual.invented_sweeps import truth_of

    rotor = Apparatus(invented_bench(), SimulatedClock()).hidden
    assert rotor is not None
    truth, study = truth_of(rotor), json.loads((out / "study.json").read_text(encoding="utf-8"))
    rows = [("", "true", "found")]
    for name, true_pa, found in (
        ("fastest at", truth.speed_optimum_pa, study["optimum"]),
        ("greatest force at", truth.drive_optimum_pa, study["force_optimum"]),
    ):
        low, high = found["interval_pa"] or (None, None)
        shown = f"{low:.3g} to {high:.3g} Pa" if found["found"] and low is not None else "not found"
        rows.append((name, f"{true_pa:.3g} Pa", shown))
    verdicts = {one["name"]: one["verdict"] for one in study["mechanisms"]}
    for cause, name in (
        ("thermal force", "thermal force of the gas"),
        ("unequal accommodation", "unequal accommodation"),
    ):
        found = verdicts.get(name, "not judged")
        rows.append((name, f"{100 * truth.shares[cause]:.1f} % of the torque there", found))
    rows.append(("draught, light", f"{100 * (truth.shares['foreign'] + truth.shares['light']):.1f} %", ""))
    for test in study.get("tests", []):
        agree = [name for name, one in test["predicted"].items() if one["agrees"]]
        rows.append((test["kind"], "the thermal force reverses it", "agrees with " + (", ".join(agree) or "none")))
    print("\nWhat is true of this invented rotor, and what the study found:")
    print("\n".join(text_table(rows, left=(0, 1, 2))))
    print("The physics of the simulated rotor is not that of the program: the two may differ.")
