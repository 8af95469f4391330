"""The live bench: readings lost when a recorder is killed, and the cost of recording a reading.

The simulated bench runs in a separate process. `python benchmarks/run.py --only live [--quick]`.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from measured import TESTS, Row, postgres, row

from edgewind.book import open_book
from edgewind.live.devices import RawTrace
from edgewind.live.spool import Spool, npz_of


def run(full: bool = True) -> list[Row]:
    """Kill recorders, and time a reading."""
    rows = _latency(200 if full else 20)
    rows += _killed("SQLite", lambda place: str(place / "lab.book"), 200 if full else 5)
    server = postgres()
    if server is None:
        return rows
    try:
        rows += _killed("PostgreSQL", lambda place: server.fresh_url(), 200 if full else 5)
    finally:
        server.remove()
    return rows


@contextmanager
def _bench(speed_up: float, *options: str) -> Any:
    """Run a simulated bench in a separate process; yield its ports."""
    words = ["bench", "--json", "--seed", "1", "--speed-up", str(speed_up), *options]
    command = [sys.executable, "-m", "edgewind", *words]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        assert process.stdout is not None
        yield json.loads(process.stdout.readline())["ports"]
    finally:
        process.terminate()
        process.wait(20)


def _latency(count: int) -> list[Row]:
    """Measure the time from a trace in memory until it is in the book and out of the spool."""
    rng = np.random.default_rng(1)
    took, spooling = [], []
    with tempfile.TemporaryDirectory() as place, open_book(Path(place) / "lab.book", make=True) as book:
        book.add_experiment("rotor", (TESTS / "bench.toml").read_bytes())
        spool = Spool(Path(place) / "spool")
        for number in range(count):
            trace = RawTrace(rng.integers(-3000, 3000, 10_000).astype(np.int16), 1e-3, 1e-3, 0.0)
            cells = {"time": f"2026-03-14T09:{number // 60:02}:{number % 60:02}.000Z", "gauge": "3.3", "lamp": "on"}
            began = time.perf_counter()
            entry = spool.put("rotor", f"x/{number}/1", cells, npz_of(trace), f"traces/{number}.npz")
            spooling.append(time.perf_counter() - began)
            entry.into(book)
            spool.remove(entry)
            took.append(time.perf_counter() - began)
        spool.close()
    return [
        row("a reading with 10 000 samples, onto the disk, median", 1e3 * statistics.median(spooling), "ms"),
        row("the same, onto the disk and into a SQLite book, median", 1e3 * statistics.median(took), "ms"),
        row("the same, slowest", 1e3 * max(took), "ms"),
    ]


def _killed(kind: str, target_in: Any, kills: int) -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        with _bench(600.0, "--write", str(place / "rotor")):
            while not (place / "rotor" / "bench.toml").is_file():
                time.sleep(0.05)
            command = [
                sys.executable, str(TESTS / "live" / "kill_trial.py"), str(place / "rotor"), target_in(place),
                str(kills), "7",
            ]  # fmt: skip
            done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, Any] = json.loads(done.stdout)
    wrong = len(found["broken"]) + len(found["check"]) + len(found["spool"])
    return [
        row(f"{kind}: recorders killed with SIGKILL in a sweep", found["kills"]),
        row(f"{kind}: readings acknowledged before the kills", found["acknowledged"]),
        row(f"{kind}: acknowledged readings missing", len(found["missing"]), "", "0"),
        row(f"{kind}: readings incomplete, or left in the spool", wrong, "", "0"),
        row(f"{kind}: sweeps started", found["sweeps"]),
        row(f"{kind}: sweeps not completed after resuming", len(found["unfinished"]), "", "0"),
        row(f"{kind}: sweeps with a step missing or twice", len(found["steps"]), "", "0"),
    ]
