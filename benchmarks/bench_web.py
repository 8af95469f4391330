"""The pages: time to the first page, cost of a slider, delay of a reading, and fifty pages at once."""

from __future__ import annotations

import asyncio
import http.client
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from measured import EXAMPLE, Row, row

from edgewind.book import TraceFile, import_folder, open_book

ROTOR = EXAMPLE / "vane-12mm"
TITLES = ("time [s]", "gauge [V]", "trace", "speed [rpm]", "lamp")
# The full browser if there is one, as users have it; the headless one is quicker.
CHROMIUMS = ("chromium", "chromium-browser", "google-chrome", "chromium-headless-shell")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


def run(full: bool = True) -> list[Row]:
    """Serve a book with the example, and measure its pages."""
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        with open_book(root / "lab.book", make=True) as book:
            import_folder(book, ROTOR)
            import_folder(book, EXAMPLE / "vane-20mm")
            book.add_experiment("live", (ROTOR / "bench.toml").read_bytes(), TITLES)
        began = time.perf_counter()
        command = [sys.executable, "-m", "edgewind", "serve", str(root), "--port", "0", "--json"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
            try:
                assert server.stdout is not None
                url = json.loads(server.stdout.readline())["url"].rstrip("/")
                rows = [row("from the command to the first answer", time.perf_counter() - began, "s")]
                rows += _what_if(url, 60 if full else 12, server.pid)
                rows += _browser(url, 5 if full else 2, server.pid)
                rows += asyncio.run(_many(url, root, 50, 60.0 if full else 8.0))
            finally:
                server.terminate()
    return rows + _dropped(50 if full else 4) + _phone() + _firefox()


@contextmanager
def _served(root: Path) -> Iterator[tuple[str, int]]:
    """Serve a folder from a separate process; yield its address and its process."""
    command = [sys.executable, "-m", "edgewind", "serve", str(root), "--port", "0", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            yield json.loads(server.stdout.readline())["url"].rstrip("/"), server.pid
        finally:
            server.terminate()


@contextmanager
def _window(**options: Any) -> Iterator[Any]:
    """Open a page of a Chromium; None if there is none."""
    chromium = next(filter(None, map(shutil.which, CHROMIUMS)), None)
    if chromium is None:
        yield None
        return
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        yield browser.new_context(**options).new_page()
        browser.close()


def _dropped(count: int) -> list[Row]:
    """Drop files of 5 MB at once, each stored or reported as refused; measure the peak memory of the server."""
    from support import from_nothing as steps
    from support.chromium import Chromium

    with tempfile.TemporaryDirectory() as place, _window() as page:
        if page is None:
            return []
        root, folder = Path(place) / "root", Path(place) / "files"
        root.mkdir(), folder.mkdir()
        rows = 5_000_000 // 16
        turn = np.arange(rows) * 2e-4 * 90 / 60 * 4 % 1.0
        volts = np.where(turn < 0.3, 4.0, 0.2) + np.random.default_rng(1).normal(0, 0.03, rows)
        text = "time [s],CH1 [V]\n" + "".join(f"{2e-4 * k:.4f},{v:.6f}\n" for k, v in enumerate(volts))
        for number in range(count):
            (folder / f"{number:02d}.csv").write_text(text, encoding="utf-8")
        size = (folder / "00.csv").stat().st_size
        with _served(root) as (url, process):
            steps.begin(Chromium(page), url)
            before, start = _memory(process), time.perf_counter()
            page.set_input_files("#drop-files", sorted(folder.iterdir()))
            entries = page.locator("#dropped li")
            while entries.count() < count:
                page.wait_for_timeout(100)
            read = time.perf_counter() - start
            for number in range(count):
                entry = entries.filter(has_text=f"{number:02d}.csv")
                entry.locator("[name=pressure]").fill(f"{0.1 * 1.05**number:.4g}")
                entry.get_by_role("button", name="Store").click()
                entry.get_by_text("is stored as reading").or_(entry.get_by_text("store it again")).first.wait_for()
            stored = page.locator("#dropped li", has_text="is stored as reading").count()
            refused = page.locator("#dropped li.refused").count()
            most = _memory(process)
    name = f"{count} files of {size / 1e6:.1f} MB dropped at once"
    return [
        row(f"{name}: read and shown, per file", read / count, "s"),
        row(f"{name}: neither stored nor refused", count - stored - refused, "", "0"),
        row(f"{name}: increase of the peak memory of the server", (most - before) / 1e6, "MB", "500"),
    ]


def _memory(process: int) -> float:
    """Return the peak memory of a process and its children, bytes; nan if the system does not report it."""
    try:
        status = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    except OSError:
        return float("nan")
    return 1024.0 * next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM"))


def _phone() -> list[Row]:
    """Go from an empty folder to a report on a phone, by touch; a page wider than the screen is an error."""
    from support import from_nothing as steps
    from support.chromium import Chromium

    phone = {"viewport": {"width": 360, "height": 780}, "has_touch": True, "is_mobile": True}
    with tempfile.TemporaryDirectory() as place, _window(**phone) as page:
        if page is None:
            return []
        root, folder = Path(place) / "root", Path(place) / "files"
        root.mkdir(), folder.mkdir()
        taken = steps.recorded(folder)
        with _served(root) as (url, _):
            start = time.perf_counter()
            chromium = Chromium(page, touch=True)
            steps.begin(chromium, url)
            chromium.give_files(folder)
            steps.store_each(chromium, taken)
            wide = chromium.evaluate("document.documentElement.scrollWidth")
            steps.to_the_report(chromium)
            wide_report = chromium.evaluate("document.documentElement.scrollWidth")
            took = time.perf_counter() - start
    return [
        row("360 pixels wide, from an empty folder to a report of eleven files", took, "s"),
        row("360 pixels wide: widest part of the bench", wide, "pixels", "360"),
        row("360 pixels wide: widest part of the report", wide_report, "pixels", "360"),
    ]


def _firefox() -> list[Row]:
    """Go from an empty folder to a report in Firefox, by the script that drives Chromium."""
    from support import from_nothing as steps
    from support.firefox import Firefox, firefox_path

    path = firefox_path()
    if path is None:
        return []
    with tempfile.TemporaryDirectory() as place:
        root, folder = Path(place) / "root", Path(place) / "files"
        root.mkdir(), folder.mkdir()
        taken, window = steps.recorded(folder), Firefox(path, Path(place) / "profile")
        try:
            with _served(root) as (url, _):
                start = time.perf_counter()
                steps.begin(window, url)
                window.give_files(folder)
                steps.store_each(window, taken)
                steps.to_the_report(window)
                took = time.perf_counter() - start
        finally:
            window.close()
    name = "Firefox, from an empty folder to a report of eleven files"
    return [row(name, took, "s"), row(f"{name}: errors of the pages", len(window.complaints), "", "0")]


def _quantiles(name: str, values: list[float], unit: str, target: str | None = None) -> list[Row]:
    ordered = sorted(values)
    late = ordered[min(int(0.99 * len(ordered)), len(ordered) - 1)]
    return [
        row(f"{name}, median", statistics.median(ordered), unit, target),
        row(f"{name}, 99th percentile", late, unit),
        row(f"{name}, slowest", ordered[-1], unit),
    ]


def _processor(process: int, apart: int = 0) -> float:
    """Return the processor time of a process and its children without that of `apart`, s.

    A lower bound of the time of a page on an idle machine, which can be measured on a loaded one.
    """
    stats: dict[int, tuple[int, float]] = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()
        except OSError:
            continue
        stats[int(path.parent.name)] = int(fields[1]), (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    found, wanted = 0.0, [process]
    while wanted:
        one = wanted.pop()
        found += stats.get(one, (0, 0.0))[1]
        wanted += [child for child, (parent, _) in stats.items() if parent == one and child != apart]
    return found


def _own_processor(process: int) -> float:
    """Return the processor time of a process without its children, s."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _what_if(url: str, count: int, server: int) -> list[Row]:
    """Measure round trips of a slider, after the first has loaded the tables."""
    line = http.client.HTTPConnection(url.partition("//")[2], timeout=120)
    took = []
    for step in range(count + 1):
        start = time.perf_counter()
        line.request("GET", f"/api/what-if/lab.book/vane-12mm?rotor.vane_width={8 + 16 * step / count:.3f}+mm")
        line.getresponse().read()
        if step:
            took.append(1e3 * (time.perf_counter() - start))
        else:
            before = _own_processor(server)
    used = 1e3 * (_own_processor(server) - before) / count
    return [
        *_quantiles("what if: round trip of a slider", took, "ms", "150"),
        row("what if: processor time of the server for a move of a slider", used, "ms", "150"),
    ]


def _browser(url: str, count: int, server: int) -> list[Row]:
    """Open each page in a browser with an empty cache, and time a slider."""
    chromium = next(filter(None, map(shutil.which, CHROMIUMS)), None)
    if chromium is None:
        return []
    from playwright.sync_api import sync_playwright

    rows = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        for name, path, ready in (
            ("the books, the first page", "/", "#begin-link"),
            ("begin an experiment", "/begin", "body[data-begin=settled]"),
            ("the gas itself", "/gas", "#gas-picture[src]"),
            ("at the bench", "/bench/lab.book/live", "#now-pressure"),
            ("the question", "/question/lab.book/vane-12mm", "#optima strong"),
        ):
            took, served, shown = [], [], []
            for _ in range(count):
                context = browser.new_context()
                page = context.new_page()
                start, before = time.perf_counter(), (_own_processor(server), _processor(os.getpid(), server))
                page.goto(url + path)
                page.locator(ready).first.wait_for()
                took.append(time.perf_counter() - start)
                served.append(_own_processor(server) - before[0])
                shown.append(_processor(os.getpid(), server) - before[1])
                if name == "the question" and len(took) == count:
                    rows += _sliding(page, 4 * count)
                    rows += _resting(page, 2 * count)
                context.close()
            rows.append(row(f"{name}: open in a new browser window, median", statistics.median(took), "s", "1.5"))
            rows.append(row(f"{name}: processor time of the server", statistics.median(served), "s"))
            rows.append(row(f"{name}: processor time of the browser", statistics.median(shown), "s"))
        rows.append(_compared(browser, url))
        browser.close()
    return rows


def _compared(browser: Any, url: str) -> Row:
    """Compare two rotors on a page, and open report and data package; the page must contain both names."""
    page = browser.new_page()
    start = time.perf_counter()
    page.goto(url + "/question/lab.book/vane-12mm?with=lab.book/vane-20mm")
    page.locator("#report-zip").wait_for(timeout=900_000)
    took = time.perf_counter() - start
    text = page.locator("#answer-text").inner_text()
    assert "The two rotors" in text and "vane-20mm" in text
    assert page.request.get(url + page.get_attribute("#report", "href")).ok
    assert page.request.get(url + page.get_attribute("#report-zip", "href")).body()[:2] == b"PK"
    page.close()
    return row("two rotors with their traces compared: from opening the page to the answer", took, "s")


def _sliding(page: Any, count: int) -> list[Row]:
    """Measure the time from a key press on a slider until both optima are redrawn."""
    page.focus("#s1")
    took = []
    for _ in range(count):
        page.evaluate("delete document.body.dataset.whatifMs")
        page.keyboard.press("ArrowRight")
        page.locator("body[data-whatif-ms]").wait_for(state="attached")
        took.append(float(page.get_attribute("body", "data-whatif-ms")))
        page.wait_for_timeout(60)
    return _quantiles("what if: slider to both optima redrawn in the browser", took, "ms", "150")


def _resting(page: Any, count: int) -> list[Row]:
    """Measure the time from the last key press on a slider to its intervals, the wait for rest included."""
    page.locator('#intervals[aria-busy="false"]').wait_for(state="attached", timeout=600_000)
    took = []
    for _ in range(count):
        page.keyboard.press("ArrowRight")
        start = time.perf_counter()
        page.locator('#intervals[aria-busy="false"]').wait_for(state="attached", timeout=600_000)
        took.append(1e3 * (time.perf_counter() - start))
    return _quantiles("what if: slider at rest to its intervals shown", took, "ms")


async def _many(url: str, root: Path, pages: int, seconds: float) -> list[Row]:
    """Open many live pages at once, while another program stores readings with their traces."""
    from websockets.asyncio.client import connect

    heard: list[dict[int, float]] = [{} for _ in range(pages)]

    async def listen(own: dict[int, float]) -> None:
        address = url.replace("http", "ws", 1) + "/live/lab.book/live"
        async with connect(address, origin=url, max_size=None) as line:  # type: ignore[arg-type]
            async for text in line:
                now, message = time.time(), json.loads(text)
                for row in message.get("rows", ()):
                    own.setdefault(row["n"], now - datetime.fromisoformat(row["made_at"]).timestamp())

    tasks = [asyncio.create_task(listen(own)) for own in heard]
    await asyncio.sleep(2)
    stored: list[int] = []
    end = time.monotonic() + seconds

    def write() -> None:
        trace = (ROTOR / "traces" / "001.csv.gz").read_bytes()
        with open_book(root / "lab.book", write=True) as book:
            while time.monotonic() < end:
                number = len(stored) + 1
                cells = {"time": str(number), "gauge": "4.2", "lamp": "on"}
                if number % 2:
                    book.record("live", cells, TraceFile(f"traces/{number:04d}.csv.gz", trace))
                else:
                    book.record("live", cells | {"speed": "123.4"})
                stored.append(number)
                time.sleep(0.5)

    writer = threading.Thread(target=write)
    writer.start()
    while writer.is_alive():
        await asyncio.sleep(0.2)
    await asyncio.sleep(3)
    for task in tasks:
        task.cancel()
    lost = sum(len(stored) - len(own) for own in heard)
    every = [1e3 * late for own in heard for late in own.values()]
    typed = [1e3 * late for own in heard for number, late in own.items() if number % 2 == 0]
    return [
        row(f"{pages} live pages for {seconds:g} s: readings stored", len(stored)),
        row("readings that a page did not show", lost, "", "0"),
        row("readings shown later than 1 s", sum(late > 1e3 for late in every), "", "0"),
        *_quantiles("stored to shown, typed", typed, "ms", "200"),
        *_quantiles("stored to shown, all, half with a trace of 32 s", every, "ms", "200"),
    ]
