"""Parts shared by the benchmarks: a row of the report, timing of a call, and imports from the tests."""

from __future__ import annotations

import importlib
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import tomlkit

from edgewind.bench import Bench, parse_bench

Row = dict[str, Any]
ROOT = Path(__file__).resolve().parents[1]
TESTS = ROOT / "tests"
EXAMPLE = ROOT / "examples" / "two-rotors"


def row(name: str, value: float, unit: str = "", target: str | float | None = None) -> Row:
    """Return one line of the report."""
    return {"name": name, "value": value, "unit": unit, "target": target}


def spent(call: Callable[[], object], repeats: int, clock: Callable[[], float] = time.perf_counter) -> list[float]:
    """Time a call a number of times, s: elapsed time, or ``time.process_time``."""
    taken = []
    for _ in range(repeats):
        begun = clock()
        call()
        taken.append(clock() - begun)
    return taken


def median_time(call: Callable[[], object], repeats: int) -> float:
    """Return the median elapsed time of a call, s, after one warm-up call."""
    call()
    return statistics.median(spent(call, repeats))


def invented_bench(**rotor: str) -> Bench:
    """Return the invented bench of the tests with a whole rotor and a vacuum; `rotor` changes keys of ``[rotor]``."""
    table, more = (tomlkit.parse((TESTS / name).read_text("utf-8")).unwrap() for name in ("bench.toml", "whole.toml"))
    for section, values in more.items():
        table[section] = table.get(section, {}) | values
    table["rotor"] |= rotor
    return parse_bench(tomlkit.dumps(table))


def from_tests(room: str, module: str) -> Any:
    """Import a module from the tests of a package."""
    sys.path.insert(0, str(TESTS / room))
    try:
        return importlib.import_module(module)
    finally:
        sys.path.remove(str(TESTS / room))


def postgres() -> Any:
    """Start a private PostgreSQL server; None if its driver is not installed."""
    try:
        return from_tests("", "postgres_server").Server()
    except ImportError:
        return None
