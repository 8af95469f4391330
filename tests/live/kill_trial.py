"""Repeated kills of a recorder at random moments of a sweep, with a count of what is missing.

``python kill_trial.py FOLDER TARGET KILLS SEED`` prints JSON. The recorder reports each reading through a pipe once the
sweep has stored it; after the last kill it may continue to its end. Then every reported reading must be complete in the
book, and no step may be missing or stored twice.
"""

from __future__ import annotations

import io
import json
import os
import random
import re
import select
import signal
import sys
import time
from pathlib import Path

import numpy as np

from edgewind.book import check_book, open_book
from edgewind.live import SweepRequest, prepare

REQUEST = SweepRequest((1.0, 1.6, 2.5, 2.0), coast_downs=1)


def record(folder: str, target: str, pipe: int) -> None:
    """Record one sweep, or its remainder."""
    sweep = prepare(folder, target, REQUEST)

    def told(event):
        if event.kind == "stored":
            os.write(pipe, f"{event.data['reading']} {event.data['key']} {event.data['path']}\n".encode())

    sweep.subscribe(told)
    os.write(pipe, b"begun\n")
    sweep.start()
    sweep.join()
    phase = sweep.status().phase
    sweep.close()
    if phase != "finished":
        os.write(pipe, f"problem {sweep.status().problem}\n".encode())
        os._exit(3)


def live(folder: str, target: str, wait_s: float | None, sign: bytes = b"") -> tuple[list[list[str]], bool]:
    """Start a recorder, kill it after a while (never if None), and return its reports and whether it had ended.

    The time counts from its report of `sign`.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            record(folder, target, writer)
            os._exit(0)
        finally:
            os._exit(1)  # only reached by an error
    os.close(writer)
    said, ended = b"", False
    if wait_s is not None:
        limit = time.monotonic() + 60
        while sign not in said and time.monotonic() < limit:
            if select.select([reader], [], [], 1.0)[0]:
                if not (more := os.read(reader, 4096)):
                    break  # it has ended
                said += more
        end = time.monotonic() + wait_s
        while time.monotonic() < end and not ended:
            found, status = os.waitpid(child, os.WNOHANG)
            ended = found != 0
            if ended and status:
                raise SystemExit(f"the recorder failed: {said.decode()}")
            time.sleep(0.005)
        if not ended:
            os.kill(child, signal.SIGKILL)
    if not ended:
        _, status = os.waitpid(child, 0)
        ended = not os.WIFSIGNALED(status)
        if ended and os.WEXITSTATUS(status):
            with os.fdopen(reader, "rb") as stream:
                raise SystemExit(f"the recorder failed: {stream.read().decode()}")
    with os.fdopen(reader, "rb") as stream:
        lines = [line.split() for line in (said + stream.read()).decode().splitlines()]
    return [line for line in lines if len(line) == 3], ended


def main() -> None:
    folder, target, kills, seed = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    chance, told, killed = random.Random(seed), {}, 0
    while killed < kills:
        # as it opens the book, as its sweep begins, or once it has stored a reading
        sign = chance.choice([b"", b"begun", b".npz", b".npz"])
        lines, ended = live(folder, target, chance.uniform(0.0, 1.2), sign)
        told |= {key: (int(number), path) for number, key, path in lines}
        killed += not ended
    lines, _ = live(folder, target, None)
    told |= {key: (int(number), path) for number, key, path in lines}
    missing, broken, steps = [], [], {}
    with open_book(target) as book:
        name = Path(folder).name
        contents = book.contents(name)
        there = {reading.key: reading for reading in contents.readings}
        for key, (number, path) in told.items():
            found = there.get(key)
            if found is None or found.number != number or found.trace_path != path:
                missing.append(key)
        for reading in contents.readings:
            stream = io.BytesIO()
            book.copy_file(name, reading.trace_path, stream)
            if np.load(io.BytesIO(stream.getvalue()))["tachometer_v"].size < 1000:
                broken.append(reading.key)
        ended = {kept.path.split("/")[1] for kept in contents.files if kept.path.endswith("/end.json")}
        begun = {kept.path.split("/")[1] for kept in contents.files if kept.path.endswith("/plan.json")}
        for sweep in begun:
            skipped = {
                int(k.path[-17:-13])
                for k in contents.files
                if re.fullmatch(f"sweeps/{sweep}/\\d+-skipped.json", k.path)
            }
            numbers = [int(key.split("/")[1]) for key in there if key.startswith(f"{sweep}/")] + sorted(skipped)
            if sorted(numbers) != [step.number for step in REQUEST.steps()]:
                steps[sweep] = sorted(numbers)
    print(
        json.dumps(
            {
                "kills": killed,
                "acknowledged": len(told),
                "kept": len(there),
                "sweeps": len(begun),
                "unfinished": sorted(begun - ended),
                "missing": missing,
                "broken": broken,
                "steps": steps,
                "check": [f"{found.where}: {found.what}" for found in check_book(target).damage],
                "spool": sorted(path.name for path in Path(folder).glob(".spool/*/*") if path.name != "lock"),
            }
        )
    )


if __name__ == "__main__":
    main()
