"""From an empty table to a report: simulate a bench, record a sweep from it, study the book. INVENTED DATA throughout.

``python examples/live_demo.py [--out demo-out] [--quick]``. The simulated bench is a process of its own and speaks SCPI
over TCP; the recorder does not know that it is none. Bench time runs 600 times faster than the clock, so that a
dwell of half a minute is 0.05 s here.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from edgewind.bench import write_to_bench

EDGEWIND = (sys.executable, "-m", "edgewind")
SPEED_UP = 600
# Long enough for the rotor to slow down by a good part, in bench time.
COAST_DOWN = "240 s"


def main() -> int:
    """Run the demonstration; the exit status is that of the first step that failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("demo-out"))
    parser.add_argument("--quick", action="store_true", help="few readings and no fit, for a look")
    options = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="edgewind-demo-") as place:
        folder, book = Path(place) / "demo-rotor", Path(place) / "lab.book"
        print("A simulated bench starts; everything it says is invented.", flush=True)
        bench = subprocess.Popen(
            [*EDGEWIND, "bench", "--speed-up", str(SPEED_UP), "--seed", "1", "--json", "--write", str(folder)],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            assert bench.stdout is not None
            ports = json.loads(bench.stdout.readline() or "{}").get("ports")
            if not ports:
                return bench.wait() or 2
            wait_for(folder / "bench.toml")
            write_to_bench(folder / "bench.toml", "steadiness", {"coast_down": COAST_DOWN})
            status = record_and_study(folder, book, options.out, quick=options.quick)
        finally:
            bench.terminate()
            bench.wait(20)
        if status == 0:
            shutil.copyfile(book, options.out / "lab.book")
            shutil.copyfile(folder / "bench.toml", options.out / "bench.toml")
            print(f"\nDone in {time.monotonic() - began:.0f} s: open {options.out / 'report.html'}")
            print(f"The lab book it was made from is {options.out / 'lab.book'}.")
        return status


def wait_for(path: Path, seconds: float = 60.0) -> None:
    """Wait until a file is there."""
    end = time.monotonic() + seconds
    while not path.is_file() and time.monotonic() < end:
        time.sleep(0.05)


def record_and_study(folder: Path, book: Path, out: Path, *, quick: bool) -> int:
    """Record a sweep into the book and study it."""
    pressures, coast_downs = ("0.3Pa:12Pa:7", "1") if quick else ("0.03Pa:20Pa:14", "3")
    for command in (
        ["record", str(folder), str(book), "--pressures", pressures, "--coast-downs", coast_downs, "--yes"],
        ["study", str(book), "--out", str(out), "--replace", *(["--quick"] if quick else [])],
    ):
        status = subprocess.run([*EDGEWIND, *command], check=False).returncode
        if status:
            return status
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
