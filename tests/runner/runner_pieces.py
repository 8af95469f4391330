"""Work for the tests of the runner; imported by name on both sides."""

import os
import signal
import threading
from pathlib import Path

from edgewind.errors import InputError
from edgewind.runner import report


def square(x):
    report("progress", (x, 1))
    return x * x


def refuse(what):
    raise InputError(f"'{what}' is not a number", key="x", fix="write a number")


class OddError(Exception):
    def __init__(self, a, b):
        super().__init__("odd")


def raise_odd():
    raise OddError(1, 2)


def print_much():
    print("x" * 100_000)
    return "printed"


def process_id():
    return os.getpid()


def wait_in_block(folder):
    """Write a draft, say so, wait until the process is ended, and remove the draft on the way out."""
    draft = Path(folder) / "draft"
    draft.write_text("half")
    try:
        report("begun", os.getpid())
        threading.Event().wait(60)
    finally:
        draft.unlink()


def die_first(folder, piece):
    """Kill the process at the first attempt, and answer at the second."""
    mark = Path(folder) / f"tried-{piece}"
    if not mark.exists():
        mark.write_text("")
        os.kill(os.getpid(), signal.SIGKILL)
    return piece


def die():
    os.kill(os.getpid(), signal.SIGKILL)


def count(folder, piece):
    """Note each run of a piece."""
    with (Path(folder) / f"runs-{piece}").open("a") as runs:
        runs.write("x")
    return piece * 10


def slow_square(x, folder):
    """Wait until a file says so, then answer: pieces that are surely running when workers are killed."""
    report("begun", os.getpid())
    (Path(folder) / f"begun-{x}-{os.getpid()}").write_text("")
    while not (Path(folder) / "go").exists():
        threading.Event().wait(0.02)
    return x * x
