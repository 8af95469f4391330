"""Repeated kills of a program that writes a book, at random moments, with a count of the missing readings.

``python kill_trial.py TARGET KILLS SEED`` prints JSON. A writer reports each reading through a pipe after `record` has
returned; the book is opened again after each kill, and every reading reported so far must be there with its trace.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from edgewind.book import TraceFile, check_book, open_book

BENCH = (Path(__file__).parents[1] / "bench.toml").read_text(encoding="utf-8")
TITLES = ["time [s]", "gauge [V]", "trace", "note"]
NAME = "sweep"


def trace_of(key: str) -> bytes:
    """Return the bytes of a key: from one to 300 kB, so that a kill may occur anywhere in a transaction."""
    chance = random.Random(key)
    return chance.randbytes(int(10 ** chance.uniform(0, 5.5)))


def write(target: str, life: int, pipe: int) -> None:
    """Record endlessly."""
    with open_book(target, make=True) as book:
        if NAME not in book.experiments():
            book.add_experiment(NAME, BENCH.encode(), TITLES)
        turn = 0
        while True:
            key = f"{life}-{turn}"
            cells = {"time": f"{life * 1_000_000 + turn}", "gauge": "2.5", "note": key}
            number = book.record(NAME, cells, TraceFile(f"traces/{key}.bin", trace_of(key)), key=key)
            os.write(pipe, f"{number} {key}\n".encode())
            turn += 1


def live_and_die(target: str, life: int, chance: random.Random) -> list[tuple[int, str]]:
    """Start a writer, kill it at a random moment, and return the readings that it reported."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            write(target, life, writer)
        finally:
            os._exit(1)  # reached only after an error
    os.close(writer)
    first = b""
    if chance.random() < 0.25:
        time.sleep(chance.uniform(0.0, 0.1))  # while it opens or upgrades the book
    else:
        first = os.read(reader, 4096)
        time.sleep(chance.uniform(0.0, 0.1))  # while it writes
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with os.fdopen(reader, "rb") as stream:
        lines = (first + stream.read()).decode().splitlines()
    if not os.WIFSIGNALED(status):
        raise SystemExit(f"the writer of life {life} ended by itself")
    return [(int(line.split()[0]), line.split()[1]) for line in lines]


def main() -> None:
    target, kills, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    chance = random.Random(seed)
    with open_book(target, make=True):
        pass
    told: dict[str, int] = {}
    missing: list[str] = []
    damaged: list[str] = []
    kept = slowest = 0.0
    for life in range(kills):
        fresh = live_and_die(target, life, chance)
        told |= {key: number for number, key in fresh}
        start = time.perf_counter()
        with open_book(target, write=True) as book:
            contents = book.contents(NAME) if NAME in book.experiments() else None
            slowest = max(slowest, time.perf_counter() - start)
            there = {reading.key: reading for reading in contents.readings} if contents else {}
            missing += [key for key, number in told.items() if key not in there or there[key].number != number]
            for _, key in fresh:
                stream = io.BytesIO()
                book.copy_file(NAME, f"traces/{key}.bin", stream)
                if stream.getvalue() != trace_of(key):
                    damaged.append(key)
            kept = len(there)
    health = check_book(target)
    with open_book(target) as book:
        contents = book.contents(NAME)
        digests = {file.path: file.sha256 for file in contents.files}
    for reading in contents.readings:
        right = hashlib.sha256(trace_of(reading.key)).hexdigest()
        if digests.get(reading.trace_path or "") != right or reading.cells["note"] != reading.key:
            damaged.append(reading.key)
    print(
        json.dumps(
            {
                "kills": kills,
                "acknowledged": len(told),
                "kept": int(kept),
                "files": len(digests),
                "missing": sorted(set(missing)),
                "damaged": sorted(set(damaged)),
                "check": [f"{found.where}: {found.what}" for found in health.damage],
                "slowest_reopening_s": slowest,
            }
        )
    )


if __name__ == "__main__":
    main()
