"""Several programs at once, and programs that are killed."""

import json
import multiprocessing
import subprocess
import sys
from pathlib import Path

from edgewind.book import TraceFile, check_book, open_book

TRIAL = Path(__file__).with_name("kill_trial.py")
EACH = 25


def write_some(target, who):
    with open_book(target, write=True, wait_s=60) as book:
        for turn in range(EACH):
            trace = TraceFile(f"traces/{who}-{turn}.bin", f"{who} {turn}".encode() * 2000)
            book.record("rotor", {"time": f"2026-03-1{who}T10:00:{turn:02}", "gauge": "2.5"}, trace, made_by=str(who))


def test_two_programs_that_write_one_book_at_once_lose_nothing(target, bench_text):
    with open_book(target, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time", "gauge [V]", "trace"])
    context = multiprocessing.get_context("fork")
    writers = [context.Process(target=write_some, args=(target, who)) for who in (1, 2)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
        assert writer.exitcode == 0
    with open_book(target) as book:
        readings = book.contents("rotor").readings
    assert [reading.number for reading in readings] == list(range(1, 2 * EACH + 1))
    for who in ("1", "2"):
        own = [reading.cells["trace"] for reading in readings if reading.made_by == who]
        assert own == [f"traces/{who}-{turn}.bin" for turn in range(EACH)]
    assert check_book(target).whole


def test_two_programs_can_create_one_book_at_once(target):
    context = multiprocessing.get_context("fork")
    makers = [context.Process(target=make_it, args=(target,)) for _ in range(2)]
    for maker in makers:
        maker.start()
    for maker in makers:
        maker.join()
        assert maker.exitcode == 0
    assert check_book(target).whole


def make_it(target):
    open_book(target, make=True, wait_s=60).close()


def test_a_writer_killed_at_random_moments_loses_no_acknowledged_reading(target):
    """Twelve kills with SIGKILL in all: nine of a SQLite book's writer, three of a PostgreSQL book's.

    `benchmarks/bench_book.py` makes 200 of each.
    """
    kills = 3 if "://" in target else 9
    done = subprocess.run(
        [sys.executable, str(TRIAL), target, str(kills), "1"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["kills"] == kills
    assert found["acknowledged"] > kills / 2
    assert found["missing"] == found["damaged"] == found["check"] == []
    # a reading may have been stored whose writer was killed before its report: at most one per writer
    assert found["acknowledged"] <= found["kept"] <= found["acknowledged"] + kills
    assert found["files"] == found["kept"]
