"""A sweep begun by `edgewind record` in a process of its own, shown and steered by the pages; and what is refused."""

import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from postgres_server import ROLE, Server
from psycopg.sql import SQL, Identifier

from edgewind.book import check_book, open_book
from edgewind.live import Recorder, recorders

Begin = Callable[..., tuple[subprocess.Popen[bytes], Recorder]]


def wait_for(condition: Callable[[], Any], seconds: float = 120.0) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = condition()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"it did not come about within {seconds} s")


@pytest.fixture
def begin(virtual_folder: Path) -> Iterator[Begin]:
    """Begin `edgewind record` on the virtual bench, and find it as the pages do."""
    processes: list[subprocess.Popen[bytes]] = []

    def start(pressures: str = "1Pa:4Pa:90", book: str = "") -> tuple[subprocess.Popen[bytes], Recorder]:
        command = [
            sys.executable, "-m", "edgewind", "record", str(virtual_folder / "virtual"),
            book or str(virtual_folder / "lab.book"), "--pressures", pressures, "--name", "swept", "--yes",
        ]  # fmt: skip
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        processes.append(process)

        def find() -> list[Recorder]:
            assert process.poll() is None, "the recorder has ended"
            return recorders()

        (found,) = wait_for(find)
        return process, found

    yield start
    for process in processes:
        process.kill()
        process.wait()


class Heard:
    """What a recorder tells, as it comes."""

    def __init__(self, recorder: Recorder) -> None:
        self.status: dict[str, Any] = {}
        self.skipped: list[int] = []
        self._known = 0
        self._listening = recorder.listen()
        threading.Thread(target=self._hear, daemon=True).start()

    def _hear(self) -> None:
        try:
            while True:
                message = self._listening.next(60)
                if message is not None and message["kind"] == "status":
                    self.status = message
                elif message is not None and message["kind"] == "events":
                    new = [event for event in message["events"] if event["number"] > self._known]
                    self.skipped += [event["data"]["step"] for event in new if event["what"] == "skipped"]
                    self._known = max([self._known, *(event["number"] for event in new)])
        except EOFError:
            pass

    def until(self, wanted: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
        wait_for(lambda: self.status and wanted(self.status))
        return self.status


def test_a_recorder_is_steered_through_the_pages(serve: Callable, begin: Begin, server: Server) -> None:
    book = server.fresh_url()  # the other tests here take a file
    pages = serve(book)
    process, recorder = begin(book=book)
    heard, at = Heard(recorder), f"/api/sweeps/{recorder.sweep}"

    def command(name: str, **body: Any) -> tuple[int, str]:
        status, content, _ = pages.ask(f"{at}/{name}", {"run": recorder.run} | body)
        return status, content.decode()

    heard.until(lambda one: one["step"])
    assert command("pause")[0] == 200
    step = heard.until(lambda one: one["phase"] == "paused")["step"]["number"]
    assert command("note", text="from a page") == (200, "{}")
    assert command("skip", of=step + 1)[0] == 400
    assert command("skip", of=step) == (200, "{}")
    assert command("resume")[0] == 200
    last = heard.until(lambda one: one["last_reading"])["last_reading"]
    assert command("repeat", of=last + 7)[0] == 400
    for name, body, said in (
        ("note", {"text": " "}, "the note is empty"),
        ("answer", {"text": "3"}, "nothing is asked just now"),
        ("fly", {}, "no command"),
        ("skip", {"of": "1"}, "by its number"),
        ("stop", {"run": "another"}, "another has taken up the sweep"),
        ("start", {}, "not made ready here"),
        ("drop", {}, "not made ready here"),
    ):
        status, told = command(name, **body)
        assert status in (400, 404) and said in told, (name, told)
    # a page of another site cannot steer it, and neither can who names a sweep that there is not
    assert pages.ask(f"{at}/stop", b"{}", headers={"origin": "http://elsewhere.example"})[0] == 403
    assert pages.ask("/api/sweeps/20260101T000000-abcd1234/stop", {})[0] == 404
    assert command("stop") == (200, "{}")
    assert process.wait(60) == 0
    assert heard.skipped == [step]
    status, told = command("pause")
    assert status == 400 and "this sweep is over" in told
    assert check_book(book).whole
    with open_book(book) as opened:
        cells = opened.contents("swept").cells_now()
    assert cells and "from a page" in "".join(one["note"] for one in cells)


def test_a_command_after_the_recorder_was_killed_is_refused_and_does_not_reach_the_next(
    serve: Callable, begin: Begin, virtual_folder: Path
) -> None:
    book = str(virtual_folder / "lab.book")
    pages = serve(virtual_folder)
    process, recorder = begin(book=book)
    heard, at = Heard(recorder), f"/api/sweeps/{recorder.sweep}"
    heard.until(lambda one: one["step"])
    assert pages.ask(f"{at}/pause", {"run": recorder.run})[0] == 200
    heard.until(lambda one: one["phase"] == "paused")
    process.send_signal(signal.SIGKILL)
    process.wait()
    for name in ("skip", "stop"):
        status, told, _ = pages.ask(f"{at}/{name}", {"run": recorder.run})
        assert status == 400 and b"and nothing was done" in told and b"lamp and valve" in told, told
    # pages that were not there at the time know of no such recorder either
    late = serve(virtual_folder)
    status, told, _ = late.ask(f"{at}/stop", {"run": recorder.run})
    assert status == 404 and b"no sweep of that name runs" in told
    process, again = begin(book=book)
    assert again.sweep == recorder.sweep
    heard = Heard(again)
    status, told, _ = pages.ask(f"{at}/stop", {"run": recorder.run})  # from a window that saw the one that was killed
    assert status == 400 and b"another has taken up the sweep" in told
    state = heard.until(lambda one: one["last_reading"])  # it is neither paused nor stopped, and has skipped nothing
    assert heard.skipped == [] and state["running"]
    assert pages.ask(f"{at}/stop", {"run": again.run})[0] == 200
    assert process.wait(60) == 0
    with open_book(book) as opened:
        assert opened.contents("swept").readings[0].key.split("/")[1:] == ["0001", "1"]


def test_two_servers_steer_one_recorder_and_neither_skips_what_the_other_did(
    serve: Callable, begin: Begin, virtual_folder: Path
) -> None:
    both = serve(virtual_folder), serve(virtual_folder)
    process, recorder = begin()
    heard = Heard(recorder)
    steps = []
    for _ in range(4):
        step = heard.until(lambda one: one["step"] and one["step"]["number"] not in steps)["step"]["number"]
        steps.append(step)
        found: list[int] = []

        def skip(pages: Any, step: int = step, found: list[int] = found) -> None:
            found.append(pages.ask(f"/api/sweeps/{recorder.sweep}/skip", {"run": recorder.run, "of": step})[0])

        threads = [threading.Thread(target=skip, args=(pages,)) for pages in both]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert set(found) <= {200, 400}
    both[0].ask(f"/api/sweeps/{recorder.sweep}/stop", {"run": recorder.run})
    assert process.wait(60) == 0
    with open_book(virtual_folder / "lab.book") as opened:
        contents = opened.contents("swept")
    skipped = sorted(
        int(match[1]) for kept in contents.files if (match := re.search(r"/(\d+)-skipped\.json$", kept.path))
    )
    assert set(skipped) <= set(steps), "a step was skipped that nobody meant"
    done = sorted({int(reading.key.split("/")[1]) for reading in contents.readings} | set(skipped))
    assert done == list(range(1, len(done) + 1))


def test_who_may_not_write_the_book_may_not_steer_what_does(serve: Callable, begin: Begin, server: Server) -> None:
    url = server.fresh_url()
    schema = url.rpartition("%3D")[2]
    writer = serve(url)
    process, recorder = begin(book=url)
    with server.connect() as connection:
        connection.execute(SQL("CREATE ROLE {} LOGIN").format(Identifier(f"only_{schema}")))
        for grant in ("USAGE ON SCHEMA {}", "SELECT ON ALL TABLES IN SCHEMA {}"):
            text = SQL(f"GRANT {grant} TO {{}}")
            connection.execute(text.format(Identifier(schema), Identifier(f"only_{schema}")))
    assert writer.ask(f"/api/sweeps/{recorder.sweep}/pause", {"run": recorder.run})[0] == 200
    reader = serve(url.replace(f"{ROLE}@", f"only_{schema}@"))
    at = f"/api/sweeps/{recorder.sweep}/stop"
    for _ in range(2):
        wait_for(lambda: reader.ask(at, {"run": recorder.run})[0] != 404)  # a slow recorder may be found a little later
        status, told, _ = reader.ask(at, {"run": recorder.run})
        assert status == 400 and b"may only be read" in told, told
    assert process.poll() is None
    assert writer.ask(f"/api/sweeps/{recorder.sweep}/stop", {"run": recorder.run})[0] == 200
    assert process.wait(60) == 0


def test_a_copy_of_the_book_steers_nothing(serve: Callable, begin: Begin, virtual_folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "copies"
    place.mkdir()
    pages = serve(place)
    process, recorder = begin()
    heard = Heard(recorder)
    heard.until(lambda one: one["last_reading"])
    copy(virtual_folder / "lab.book", place / "lab.book")
    assert b"swept" in pages.ask("/api/catalog")[1]
    status, told, _ = pages.ask(f"/api/sweeps/{recorder.sweep}/stop", {"run": recorder.run})
    assert status == 404, told
    assert heard.status["running"] and process.poll() is None


def copy(book: Path, to: Path) -> None:
    """Copy a book that is being written."""
    with closing(sqlite3.connect(book)) as here, closing(sqlite3.connect(to)) as there:
        here.backup(there)


@pytest.mark.browser
def test_a_person_steers_a_recorder_from_a_browser(
    serve: Callable, visit: Callable, begin: Begin, virtual_folder: Path
) -> None:
    with open_book(virtual_folder / "lab.book", make=True) as book:
        text = (virtual_folder / "virtual" / "bench.toml").read_bytes()
        titles = ("time", "gauge [V]", "trace", "lamp", "sweep", "envelope temperature [degC]", "note", "exclude")
        book.add_experiment("swept", text, titles)
    pages, window, other = serve(virtual_folder), visit(), visit()
    page: Page = window.page
    for one in (page, other.page):
        one.goto(pages.url + "/bench/lab.book/swept")
        expect(one.locator("#phase-text")).to_have_text("No sweep is running here.")
    process, recorder = begin("1Pa:4Pa:30")
    # windows that were open before it was begun show it
    for one in (page, other.page):
        expect(one.locator("#steer-step")).to_contain_text("of 30", timeout=60_000)
        expect(one.locator("#steer-by")).to_contain_text("edgewind record")
    expect(page.locator("#now-pressure")).to_have_text(re.compile(r"\d"))
    page.click("#pause")
    expect(page.locator("#phase-text")).to_contain_text("paused")
    expect(other.page.locator("#phase-text")).to_contain_text("paused")
    page.fill("#note-text", "steered from afar")
    page.press("#note-text", "Enter")
    expect(page.locator("#events")).to_contain_text("steered from afar")
    other.page.click("#resume")
    expect(page.locator("#phase-text")).not_to_contain_text("paused")
    expect(page.locator('#readings tr[data-n="1"]')).to_be_visible(timeout=240_000)
    page.click("#pause")  # a step that is shown may be over when the click arrives
    expect(page.locator("#phase-text")).to_contain_text("paused")
    page.get_by_role("button", name="Skip this step").click()
    expect(page.locator("#events")).to_contain_text("skipped by the user")
    page.click("#resume")
    expect(page.locator("#phase-text")).not_to_contain_text("paused")
    # the recorder is killed: the page says so, and goes on saying so
    process.send_signal(signal.SIGKILL)
    process.wait()
    expect(page.locator("#phase-text")).to_contain_text("gone without a word")
    page.wait_for_timeout(3000)
    expect(page.locator("#trouble")).to_contain_text("lamp and valve may be as they were")
    expect(page.locator("#steer-running")).to_be_hidden()
    expect(page.locator("#waiting")).to_contain_text("of 30 steps are done")
    # its command is given again: the same windows show it again, and stop it
    process, again = begin("1Pa:4Pa:30")
    assert again.sweep == recorder.sweep
    expect(page.locator("#steer-step")).to_contain_text("of 30", timeout=60_000)
    expect(page.locator("#trouble")).to_be_hidden()
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.locator("#phase-text")).to_contain_text("The sweep is over: stopped", timeout=60_000)
    assert process.wait(60) == 0
    expect(page.get_by_role("button", name="Go on with it")).to_be_visible()
    with open_book(virtual_folder / "lab.book") as opened:
        assert any("steered from afar" in cells["note"] for cells in opened.contents("swept").cells_now())
    assert window.complaints == [] and other.complaints == []
