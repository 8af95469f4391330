"""Long work that is given up ends whole: its process, what that began, and what was half written; the next is done."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection, Listener
from pathlib import Path
from typing import Any

import pytest

from edgewind.bench import Bench, write_template
from edgewind.runner import processors
from edgewind.web import jobs as module
from edgewind.web.jobs import Job, Jobs
from edgewind.web.worker import FilmOrder, IntervalOrder, StudyOrder, Subject

PROCESSES = Path("/proc")
needs_processes = pytest.mark.skipif(not (PROCESSES / "self" / "stat").exists(), reason="no table of processes here")
# The worker as the server starts it, but that its gas is rough, and so computed in a moment.
ROUGH_WORKER = """
import sys
from multiprocessing.connection import Client
from edgewind.report import film
from edgewind.web.worker import work

whole = film.gas_series
film.gas_series = lambda shape, drive, progress: whole(shape, [3.0, 0.6], drive=drive, tolerance=0.05, fineness=0.5)
work(Client(sys.argv[1], "AF_UNIX"))
"""


@pytest.fixture
def jobs() -> Iterator[Jobs]:
    made = Jobs()
    yield made
    made.close()


@pytest.fixture
def bench(make_bench: Callable[..., Bench]) -> Bench:
    return make_bench()


def until(true: Callable[[], Any], *, seconds: float = 600.0) -> Any:
    """Wait until something is so."""
    end = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < end, "it did not come to pass"
        time.sleep(0.02)
    return found


def over(job: Job) -> bool:
    """Whether the thread of the jobs is done with it."""
    return job.seconds is not None


def parents() -> dict[int, int]:
    """Every process that runs, and which began it."""
    found: dict[int, int] = {}
    for entry in PROCESSES.iterdir():
        if entry.name.isdecimal():
            try:
                state, above = (entry / "stat").read_text().rpartition(")")[2].split()[:2]
            except OSError:
                continue  # it ended meanwhile
            if state != "Z":
                found[int(entry.name)] = int(above)
    return found


def begun_by(process: int) -> set[int]:
    """The processes that a process began, and those that they began."""
    known, found = parents(), {process}
    while more := {one for one, above in known.items() if above in found} - found:
        found |= more
    return found - {process}


def two_rotors(place: Path) -> Callable[[Path], StudyOrder]:
    """A study with fits that takes its time."""
    for name in ("one", "two"):
        write_template(place / name)
    subjects = tuple(Subject("folder", str(place / name), name) for name in ("one", "two"))
    return lambda folder: StudyOrder(subjects, str(folder), fit=True)


@needs_processes
def test_a_study_that_is_given_up_ends_with_all_that_it_began(jobs: Jobs, bench: Bench, tmp_path: Path) -> None:
    study = jobs.ask(("study",), two_rotors(tmp_path))
    behind = jobs.ask(("behind",), lambda folder: IntervalOrder(bench, {}))
    until(lambda: study.progress[0].startswith("fitting"))
    worker = jobs._process.pid
    if processors() > 1:
        until(lambda: len(begun_by(worker)) >= 2)  # one for each rotor
    running = begun_by(worker) | {worker}
    jobs.give_up(study.id)
    assert study.as_plain()["state"] == "given up"
    until(lambda: over(study))
    until(lambda: not running & parents().keys())
    assert not study.folder.exists()
    # what waited behind it is done, by another process
    until(lambda: over(behind))
    assert (behind.state, behind.problem) == ("done", "")
    assert jobs.ask(("study",), two_rotors(tmp_path / "again")) is not study


def test_what_waits_is_given_up_and_what_is_done_is_not(jobs: Jobs, bench: Bench) -> None:
    first, second, third = (
        jobs.ask((width,), lambda folder, width=width: IntervalOrder(bench, {"rotor.vane_width": width}))  # type: ignore[misc]
        for width in ("8 mm", "9 mm", "10 mm")
    )
    jobs.give_up(second.id)
    until(lambda: over(third))
    assert [job.state for job in (first, second, third)] == ["done", "given up", "done"]
    assert not over(second) and second.result == {}
    jobs.give_up(first.id)
    jobs.give_up("there is none of that name")
    assert first.state == "done" and jobs.ask(("8 mm",), lambda folder: first.order) is first


@needs_processes
def test_a_process_that_will_not_end_is_ended(jobs: Jobs, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_GRACE_S", 0.3)
    study = jobs.ask(("study",), two_rotors(tmp_path))
    until(lambda: study.progress[0] not in ("waiting for its turn", "getting ready"))
    number = jobs._process.pid
    os.kill(number, signal.SIGSTOP)  # it hears nothing now
    jobs.give_up(study.id)
    until(lambda: over(study))
    with pytest.raises(ProcessLookupError):
        os.kill(number, 0)


@needs_processes
def test_a_film_that_is_given_up_leaves_no_half_of_it(tmp_path: Path) -> None:
    """Its process is told to end while FFmpeg codes: FFmpeg ends, and the file that it wrote is removed."""
    listener = Listener(str(tmp_path / "line"), "AF_UNIX")
    command = [sys.executable, "-c", ROUGH_WORKER, str(tmp_path / "line")]
    worker = subprocess.Popen(command, env=os.environ | {"EDGEWIND_CACHE": str(tmp_path / "cache")})
    try:
        line: Connection = listener.accept()
        out = tmp_path / "made" / "film.mp4"
        line.send(FilmOrder("strip", "thermal", "temperature", "dark", "1080p", 60.0, str(out)))
        while (told := line.recv())[1][0] != "drawing frames":
            assert told[0] == "progress"
        coding = until(lambda: begun_by(worker.pid))
        assert list(out.parent.iterdir())
        worker.terminate()
        assert worker.wait(60) == 128 + 15
        until(lambda: not coding & parents().keys())
        assert list(out.parent.iterdir()) == []
    finally:
        worker.kill()
        worker.wait()
        listener.close()
