"""What the benchmarks share: a row of what was measured, how a call is timed, and what the tests lend."""

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
    """Time a call so often, s: by the clock on the wall, or by ``time.process_time``."""
    taken = []
    for _ in range(repeats):
        begun = clock()
        call()
        taken.append(clock() - begun)
    return taken


def median_time(call: Callable[[], object], repeats: int) -> float:
    """Median time of a call by the clock on the wall, s, after one to warm up."""
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
    """Import a module that lies beside the tests of a room."""
    sys.path.insert(0, str(TESTS / room))
    try:
        return importlib.import_module(module)
    finally:
        sys.path.remove(str(TESTS / room))


def postgres() -> Any:
    """Start a PostgreSQL of our own; None where its driver is not installed."""
    try:
        return from_tests("", "postgres_server").Server()
    except ImportError:
        return None
