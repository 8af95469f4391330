"""The lab book: readings lost when a writer is killed, and the cost of storing a reading."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from measured import EXAMPLE, TESTS, Row, postgres, row

from edgewind.book import TraceFile, check_book, export_book, import_folder, open_book

TRACE_BYTES = 150_000  # 8000 samples as an oscilloscope writes them
TITLES = ["time [s]", "gauge [V]", "trace"]


def run(full: bool = True) -> list[Row]:
    """Kill writers, then time readings; in SQLite, and in a PostgreSQL started here if it is installed."""
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as place:
        rows += _trial("SQLite", f"{place}/kill.book", 200 if full else 10)
        rows += _costs("SQLite", f"{place}/costs.book", 300 if full else 30)
        rows += _folders(Path(place))
    server = postgres()
    if server is None:
        return rows
    try:
        rows += _trial("PostgreSQL", server.fresh_url(), 200 if full else 10)
        rows += _costs("PostgreSQL", server.fresh_url(), 300 if full else 30)
    finally:
        server.remove()
    return rows


def _trial(kind: str, target: str, kills: int) -> list[Row]:
    command = [sys.executable, str(TESTS / "book" / "kill_trial.py"), target, str(kills), "2"]
    found: dict[str, Any] = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return [
        row(f"{kind}: writers killed with SIGKILL", found["kills"]),
        row(f"{kind}: readings acknowledged before the kills", found["acknowledged"]),
        row(f"{kind}: acknowledged readings missing", len(found["missing"]), "", "0"),
        row(f"{kind}: incomplete readings or traces", len(found["damaged"]) + len(found["check"]), "", "0"),
        row(f"{kind}: slowest opening and reading after a kill", 1e3 * found["slowest_reopening_s"], "ms"),
    ]


def _costs(kind: str, target: str, count: int) -> list[Row]:
    content, took = os.urandom(TRACE_BYTES), []
    with open_book(target, make=True) as book:
        book.add_experiment("rotor", (TESTS / "bench.toml").read_bytes(), TITLES)
        for number in range(count):
            cells = {"time": str(number), "gauge": "2.5"}
            start = time.perf_counter()
            book.record("rotor", cells, TraceFile(f"traces/{number}.csv", content))
            took.append(time.perf_counter() - start)
    start = time.perf_counter()
    health = check_book(target)
    checking = time.perf_counter() - start
    return [
        row(f"{kind}: one reading with a trace of 150 kB, median", 1e3 * statistics.median(took), "ms"),
        row(f"{kind}: the same, 99th percentile", 1e3 * statistics.quantiles(took, n=100)[98], "ms"),
        row(f"{kind}: check", health.bytes / 1e6 / checking, "MB/s"),
    ]


def _folders(place: Path) -> list[Row]:
    start = time.perf_counter()
    with open_book(place / "example.book", make=True) as book:
        for folder in sorted(EXAMPLE.iterdir()):
            import_folder(book, folder)
        middle = time.perf_counter()
        export_book(book, place / "out")
    end = time.perf_counter()
    size = sum(file.stat().st_size for file in EXAMPLE.rglob("*") if file.is_file())
    kept = (place / "example.book").stat().st_size
    return [
        row("import of the example, 68 readings and traces", middle - start, "s"),
        row("export of the example", end - middle, "s"),
        row("size of the book over that of its folders", kept / size),
    ]
