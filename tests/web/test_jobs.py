"""Long work is done once, stored with its files, and cancelled; the runner itself is tested elsewhere."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest

from edgewind.errors import InputError
from edgewind.runner import Job, Runner
from edgewind.runner.base import Listener, reporting
from edgewind.web.jobs import Jobs


class ByHand(Runner):
    """A runner that does a job when it is asked to."""

    def __init__(self) -> None:
        self.waiting: list[tuple[Job, Callable[..., Any], tuple[Any, ...]]] = []

    @property
    def at_once(self) -> int:
        return 1

    def submit(self, function: Callable[..., Any], *arguments: Any, on_message: Listener | None = None) -> Job:
        self.waiting.append((Job(on_message), function, arguments))
        return self.waiting[-1][0]

    def do_next(self) -> None:
        job, function, arguments = self.waiting.pop(0)
        if job.begin(lambda: None):
            try:
                with reporting(job.message):
                    job.settle(result=function(*arguments))
            except Exception as error:
                job.settle(error=error)

    def close(self) -> None:
        for job, _, _ in self.waiting:
            job.cancel()


@pytest.fixture
def runner() -> ByHand:
    return ByHand()


@pytest.fixture
def jobs(runner: ByHand) -> Iterator[Jobs]:
    made = Jobs(runner)
    yield made
    made.close()


def write(out: Path, text: str) -> dict[str, str]:
    out.mkdir()
    (out / "report.html").write_text(text)
    return {"wrote": text}


def ask(jobs: Jobs, text: str = "a") -> Any:
    return jobs.ask((text,), write, lambda out: (out, text))


def test_work_requested_twice_is_done_once(jobs: Jobs, runner: ByHand) -> None:
    first, again, other = ask(jobs), ask(jobs), ask(jobs, "b")
    assert first is again and other is not first
    assert first.to_dict()["state"] == "waiting" and first.under_way
    runner.do_next()
    assert first.to_dict() | {"id": ""} == {
        "id": "", "state": "done", "what": "getting ready", "done": 0, "total": 1, "problem": "",
        "result": {"wrote": "a"},
    }  # fmt: skip
    assert ask(jobs) is first and jobs.get(first.id) is first


def test_cancelled_work_is_not_stored_and_can_be_requested_again(jobs: Jobs, runner: ByHand) -> None:
    job, behind = ask(jobs), ask(jobs, "b")
    assert job.cancel() and job.state == "cancelled"
    runner.do_next()
    runner.do_next()
    assert jobs.file(job.id, "report.html") is None and jobs.archive(job.id) is None
    assert behind.state == "done" and not behind.cancel()
    assert ask(jobs) is not job


def test_files_of_finished_work_are_found_and_no_others(jobs: Jobs, runner: ByHand, tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("hush-hush")
    job = ask(jobs)
    assert jobs.file(job.id, "report.html") is None
    runner.do_next()
    found = jobs.file(job.id, "report.html")
    assert found is not None and found.read_text() == "a"
    for path in ("../secret.txt", "/etc/passwd", "", "x\0y", "missing.html"):
        assert jobs.file(job.id, path) is None
    archive = jobs.archive(job.id)
    assert archive is not None
    with ZipFile(archive) as opened:
        assert opened.namelist() == ["report.html"]
    assert jobs.file("0" * 16, "report.html") is None


def test_failed_work_reports_its_reason(jobs: Jobs, runner: ByHand) -> None:
    def refuse(out: Path) -> None:
        raise InputError("there are too few readings", fix="take more")

    def break_down(out: Path) -> None:
        raise KeyError("x")

    told, broken = (jobs.ask((work,), work, lambda out: (out,)) for work in (refuse, break_down))
    runner.do_next()
    runner.do_next()
    assert told.to_dict()["problem"] == "there are too few readings; take more"
    assert broken.to_dict()["problem"] == "it failed: KeyError('x')"


def test_old_jobs_are_deleted_with_their_files(jobs: Jobs, runner: ByHand) -> None:
    first = ask(jobs, "0")
    runner.do_next()
    for number in range(1, 40):
        ask(jobs, str(number))
        runner.do_next()
    assert jobs.get(first.id) is None and not first.folder.exists()
