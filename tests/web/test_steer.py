"""A sweep in a separate recorder, started at a terminal or from a page: shown and controlled by every server."""

import re
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from support.pages import SERVER_ENDS

from edgewind.book import BookError, check_book, open_book
from edgewind.live import Recorder, recorders, unfinished
from edgewind.web.catalog import Catalog
from edgewind.web.remote_sweeps import RemoteSweep

Begin = Callable[..., tuple[subprocess.Popen[bytes], Recorder]]
soon = threading.Event()


@pytest.fixture
def begin(virtual_folder: Path) -> Iterator[Begin]:
    """Begin `edgewind record` on the virtual bench, and find it as the pages do."""
    processes: list[subprocess.Popen[bytes]] = []
    known: set[str] = set()

    def start(pressures: str = "1Pa:4Pa:400") -> tuple[subprocess.Popen[bytes], Recorder]:
        command = [
            sys.executable, "-m", "edgewind", "record", str(virtual_folder / "virtual"),
            str(virtual_folder / "lab.book"), "--pressures", pressures, "--name", "swept", "--remote",
        ]  # fmt: skip
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        processes.append(process)
        while not (found := [one for one in recorders() if one.run not in known]):
            assert process.poll() is None, "the recorder has ended"
            soon.wait(0.05)
        known.add(found[0].run)
        return process, found[0]

    yield start
    for process in processes:
        process.kill()
        process.wait()


class Heard:
    """What a recorder sends, as it comes."""

    def __init__(self, recorder: Recorder) -> None:
        self.status: dict[str, Any] = {}
        self.skipped: list[int] = []
        self._known = 0
        self._listening = recorder.listen()

    def until(self, wanted: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
        """Read messages until the state is as wanted."""
        while not (self.status and wanted(self.status)):
            self._take(self._listening.next(240))
        return self.status

    def rest(self) -> None:
        """Read messages until the recorder ends."""
        try:
            while True:
                self._take(self._listening.next(240))
        except EOFError:
            pass

    def _take(self, message: dict[str, Any] | None) -> None:
        assert message is not None, "the recorder says nothing"
        if message["kind"] == "status":
            self.status = message
        elif message["kind"] == "events":
            new = [event for event in message["events"] if event["number"] > self._known]
            self.skipped += [event["data"]["step"] for event in new if event["what"] == "skipped"]
            self._known = max([self._known, *(event["number"] for event in new)])


def test_a_recorder_is_controlled_by_two_servers_and_one_command_affects_one_step(
    serve: Callable, begin: Begin, virtual_folder: Path
) -> None:
    both = serve(virtual_folder), serve(virtual_folder)
    process, recorder = begin()
    heard, at = Heard(recorder), f"/api/sweeps/{recorder.sweep}"

    def command(name: str, pages: Any = both[0], **body: Any) -> tuple[int, str]:
        status, content, _ = pages.ask(f"{at}/{name}", {"run": recorder.run} | body)
        return status, content.decode()

    heard.until(lambda one: one["step"])
    assert command("pause")[0] == 200
    step = heard.until(lambda one: one["phase"] == "paused")["step"]["number"]
    assert command("note", text="from a page") == (200, "{}")
    assert command("skip", of=step + 1)[0] == 400
    # both servers are asked to skip the step that both show: it is skipped once, and not the next one with it
    answers: list[int] = []
    threads = [
        threading.Thread(target=lambda pages=pages: answers.append(command("skip", pages, of=step)[0]))  # type: ignore[misc]
        for pages in both
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(answers) <= {200, 400} and 200 in answers
    assert command("resume", both[1])[0] == 200
    last = heard.until(lambda one: one["last_reading"])["last_reading"]
    assert command("repeat", of=last + 7)[0] == 400
    for name, body, said in (
        ("note", {"text": " "}, "empty"),
        ("answer", {"text": "3"}, "no question is open"),
        ("fly", {}, "command"),
        ("skip", {"of": "1"}, "must be a whole number"),
        ("stop", {"run": "another"}, "another one has resumed this sweep"),
        ("start", {}, "not prepared on this server"),
        ("drop", {}, "not prepared on this server"),
    ):
        status, told = command(name, **body)
        assert status in (400, 404) and said in told, (name, told)
    # a page of another site cannot steer it, and nobody can steer a sweep that does not exist
    assert both[0].ask(f"{at}/stop", b"{}", headers={"origin": "http://elsewhere.example"})[0] == 403
    assert both[0].ask("/api/sweeps/20260101T000000-abcd1234/stop", {})[0] == 404
    assert command("stop", both[1]) == (200, "{}")
    heard.rest()
    assert process.wait(240) == 0
    assert heard.skipped == [step]
    status, told = command("pause")
    assert status == 400 and "has ended" in told
    assert check_book(virtual_folder / "lab.book").whole
    with open_book(virtual_folder / "lab.book") as opened:
        cells = opened.contents("swept").cells_now()
    assert cells and "from a page" in "".join(one["note"] for one in cells)


def test_a_killed_recorder_is_reported_and_its_commands_do_not_reach_the_next(
    serve: Callable, begin: Begin, visit: Callable, virtual_folder: Path
) -> None:
    pages, window = serve(virtual_folder), visit()
    page: Page = window.page
    process, recorder = begin()
    heard, at = Heard(recorder), f"/api/sweeps/{recorder.sweep}"
    page.goto(pages.url + "/bench/lab.book/swept")
    expect(page.locator("#steer-by")).to_contain_text("edgewind record")
    page.click("#pause")
    expect(page.locator("#phase-text")).to_contain_text("paused")
    page.fill("#note-text", "steered from afar")
    page.press("#note-text", "Enter")
    expect(page.locator("#note-text")).to_have_value("")
    page.click("#resume")
    heard.until(lambda one: one["last_reading"])
    # a copy of the book is another book: it steers nothing
    copies = virtual_folder / "copies"
    copies.mkdir()
    with (
        closing(sqlite3.connect(virtual_folder / "lab.book")) as one,
        closing(sqlite3.connect(copies / "lab.book")) as other,
    ):
        one.backup(other)
    assert Catalog(copies).slug_of("swept", recorder.book) is None
    assert Catalog(virtual_folder).slug_of("swept", recorder.book) == "lab.book"
    process.send_signal(signal.SIGKILL)
    process.wait()
    expect(page.locator("#trouble")).to_contain_text("disconnected unexpectedly")
    expect(page.locator("#trouble")).to_contain_text("Lamp and valve may still be on")
    expect(page.locator("#steer-running")).to_be_hidden()
    for name in ("skip", "stop"):
        status, told, _ = pages.ask(f"{at}/{name}", {"run": recorder.run})
        assert status == 400 and b"not carried out" in told and b"Lamp and valve" in told, told
    # a server that starts later knows of no such recorder
    late = serve(virtual_folder)
    status, told, _ = late.ask(f"{at}/stop", {"run": recorder.run})
    assert status == 404 and b"No sweep of that name is running" in told
    process, again = begin()
    assert again.sweep == recorder.sweep
    heard = Heard(again)
    status, told, _ = pages.ask(f"{at}/stop", {"run": recorder.run})  # from a window that saw the one that was killed
    assert status == 400 and b"another one has resumed this sweep" in told
    expect(page.locator("#steer-step")).to_contain_text("of 400")
    expect(page.locator("#trouble")).to_be_hidden()
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.locator("#phase-text")).to_contain_text("The sweep has ended: stopped")
    assert process.wait(240) == 0
    heard.rest()
    assert heard.skipped == []
    expect(page.get_by_role("button", name="Resume it")).to_be_visible()
    with open_book(virtual_folder / "lab.book") as opened:
        assert any("steered from afar" in cells["note"] for cells in opened.contents("swept").cells_now())


class ReadOnlyBook:
    def must_be_writable(self) -> None:
        raise BookError("this book is read-only from here")


class SilentRecorder:
    """A recorder without messages, which counts what reaches it."""

    sweep, run, experiment, made_by = "s", "r", "swept", "edgewind record"

    def __init__(self) -> None:
        self.reached: list[str] = []
        self.closed = threading.Event()

    def listen(self) -> Any:
        return SimpleNamespace(next=self._next, close=self.closed.set)

    def _next(self, wait_s: float) -> dict[str, Any]:
        self.closed.wait(wait_s)
        raise EOFError

    def command(self, name: str, text: str, *, of: int | None = None) -> None:
        self.reached.append(name)


def test_a_user_who_may_not_write_the_book_may_not_control_its_sweep() -> None:
    recorder = SilentRecorder()
    catalog = SimpleNamespace(book=lambda slug, write: ReadOnlyBook())
    feeds = SimpleNamespace(tell=lambda *_: None, kick=lambda *_: None)
    sweep = RemoteSweep("lab.book", recorder, catalog, feeds)  # type: ignore[arg-type]
    with pytest.raises(BookError, match="read-only"):
        sweep.command("stop", "")
    assert recorder.reached == []
    sweep.close()


def begin_from_page(page: Page, pressures: str) -> None:
    """From the first click to a sweep that runs."""
    with page.expect_navigation():
        page.get_by_role("link", name="At the bench", exact=True).click()
    page.select_option("#sweep-folder", "virtual")
    page.fill("#sweep-pressures", pressures)
    page.fill("#sweep-name", "swept")
    if page.input_value("#sweep-book") == "":
        page.fill("#sweep-new_book", "lab.book")
    page.get_by_role("button", name="Make ready").click()
    dialog = page.locator("#caution")
    expect(dialog).to_contain_text("valve")
    expect(dialog).to_contain_text("Glass under vacuum can implode")
    expect(dialog).to_contain_text("The rules of your laboratory")
    page.get_by_role("button", name="I have taken these precautions: begin").click()
    page.wait_for_url("**/bench/lab.book/swept")


def test_a_sweep_started_from_a_page_continues_after_its_server_stops(
    serve_apart: Callable, serve: Callable, visit: Callable, virtual_folder: Path
) -> None:
    file = virtual_folder / "virtual" / "bench.toml"
    slow = file.read_text(encoding="utf-8")
    # three steps last long enough to be paused from a page that is slow to come, with readings less often for it
    for quick, patient in (('at_least = "0.1 s"', 'at_least = "2 s"'), ('every = "5 ms"', 'every = "50 ms"')):
        assert quick in slow
        slow = slow.replace(quick, patient)
    file.write_text(slow, encoding="utf-8")
    pages, page = serve_apart(virtual_folder), visit(expected=("400", *SERVER_ENDS)).page
    page.goto(pages.url)
    with page.expect_navigation():
        page.get_by_role("link", name="At the bench", exact=True).click()
    # a form that is refused says why beside its field, and neither it nor one that is dropped leaves a book behind
    page.fill("#sweep-pressures", "fast")
    page.get_by_role("button", name="Make ready").click()
    expect(page.locator("#sweep-pressures-problem")).to_contain_text("pressure")
    page.fill("#sweep-pressures", "1 Pa")
    page.get_by_role("button", name="Make ready").click()
    page.get_by_role("button", name="Not now").click()
    expect(page.get_by_role("button", name="Make ready")).to_be_enabled()
    assert not (virtual_folder / "lab.book").exists()

    begin_from_page(page, "1Pa:4Pa:3")
    expect(page.locator("#steer-step")).to_contain_text("of 3")
    page.click("#pause")
    expect(page.locator("#phase-text")).to_contain_text("paused")
    pages.kill()
    (recorder,) = recorders()  # it runs on, and stays paused
    expect(page.locator("#trouble")).to_contain_text("No update from the server")
    serve(virtual_folder, port=pages.port)  # another server at the same place, in the process of the tests
    # the page finds the new server, and this finds the recorder
    expect(page.locator("#trouble")).to_be_hidden()
    page.reload()
    expect(page.locator("#phase-text")).to_contain_text("paused")
    expect(page.locator("#steer-by")).to_contain_text("these pages")
    page.get_by_role("button", name="Skip this step").click()
    expect(page.locator("#events")).to_contain_text("skipped")
    page.click("#resume")
    expect(page.locator("#now-pressure")).to_have_text(re.compile(r"\d"))
    expect(page.locator("#phase-text")).to_contain_text("The sweep has ended: finished", timeout=120_000)
    expect(page.locator('#readings tr[data-n="2"]')).to_be_visible()
    expect(page.locator("#trace svg")).to_be_visible()
    with open_book(virtual_folder / "lab.book") as book:
        contents = book.contents("swept")
    assert len(contents.readings) == 2
    assert unfinished("", virtual_folder / "lab.book", "swept") == []
    assert check_book(virtual_folder / "lab.book").whole
    assert recorder.experiment == "swept"
