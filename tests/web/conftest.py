"""The pages served by a process of their own, a real browser, and a virtual bench to record from."""

import http.client
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from edgewind.book import open_book
from edgewind.virtual import serve_bench, write_folder

TYPED = (
    "time", "gauge [V]", "pressure [Pa]", "trace", "speed [rpm]", "speed uncertainty [rpm]", "lamp", "sweep", "note",
    "exclude",
)  # fmt: skip
# Steady enough on a bench whose time runs a thousand times as fast.
STEADINESS = """
[steadiness]
dwell = "0.3 s"
trace = "20 s"
at_least = "0.2 s"
at_most = "20 s"
every = "0.03 s"
look = "10 s"
"""


class Served:
    """The pages in a process of their own, as `edgewind serve` starts them."""

    def __init__(self, root: Path, *options: str) -> None:
        self._root, self._options = root, options
        self.url = ""
        self.start()

    def start(self, port: int = 0) -> None:
        """Start, and wait until the pages answer."""
        command = [sys.executable, "-m", "edgewind", "serve", str(self._root), "--port", str(port), "--json"]
        self.process = subprocess.Popen([*command, *self._options], stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        self.url = json.loads(self.process.stdout.readline())["url"].rstrip("/")

    @property
    def port(self) -> int:
        return int(urlsplit(self.url).port or 0)

    def kill(self) -> None:
        """End it as a fault would: no word to anybody."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(timeout=60)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def ask(
        self, path: str, body: Any = None, *, method: str = "", headers: dict[str, str] | None = None
    ) -> tuple[int, bytes, dict[str, str]]:
        """Ask without a browser; a body is sent as our own pages send it."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        sent = (
            {"origin": f"http://127.0.0.1:{self.port}", "content-type": "application/json"} if body is not None else {}
        )
        data = None if body is None else body if isinstance(body, bytes) else json.dumps(body).encode()
        line.request(method or ("GET" if body is None else "POST"), path, data, sent | (headers or {}))
        answer = line.getresponse()
        found = answer.status, answer.read(), {name.lower(): value for name, value in answer.getheaders()}
        line.close()
        return found

    def told(self, path: str, body: Any = None) -> Any:
        return json.loads(self.ask(path, body)[1])


class Watched:
    """A page on which nothing may go wrong unseen, and from which nothing may leave this machine."""

    def __init__(self, context: BrowserContext) -> None:
        self.context, self.complaints, self.outside = context, [], []  # type: ignore[var-annotated]
        context.route("**/*", self._route)
        self.page = context.new_page()
        self.page.on(
            "console", lambda message: self.complaints.append(message.text) if message.type == "error" else None
        )
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _route(self, route: Any) -> None:
        if urlsplit(route.request.url).hostname in ("127.0.0.1", "localhost"):
            route.continue_()
        else:
            self.outside.append(route.request.url)
            route.abort()


@pytest.fixture
def visit(browser: Browser) -> Iterator[Callable[..., Watched]]:
    """Open a new browser window, as another person would."""
    opened: list[Watched] = []

    def new(**options: Any) -> Watched:
        options = {"viewport": {"width": 1440, "height": 900}} | options
        opened.append(Watched(browser.new_context(**options)))
        return opened[-1]

    yield new
    for one in opened:
        one.context.close()
        assert one.outside == [], "a page asked another machine"


@pytest.fixture
def serve() -> Iterator[Callable[..., Served]]:
    """Serve a folder or a book for one test."""
    yield from _serving()


@pytest.fixture(scope="module")
def serve_long() -> Iterator[Callable[..., Served]]:
    """Serve a folder or a book for all the tests of a file."""
    yield from _serving()


def _serving() -> Iterator[Callable[..., Served]]:
    running: list[Served] = []

    def start(root: Path, *options: str) -> Served:
        running.append(Served(root, *options))
        return running[-1]

    yield start
    for one in running:
        one.stop()


@pytest.fixture
def book_folder(tmp_path: Path, bench_text: str) -> Path:
    """A folder with a book, `lab.book`, and in it the experiment `typed` without readings."""
    with open_book(tmp_path / "lab.book", make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TYPED)
    return tmp_path


@pytest.fixture
def virtual_folder(tmp_path: Path) -> Iterator[Path]:
    """A folder with the folder of a virtual bench that runs."""
    with serve_bench(speed_up=1000.0, seed=1) as bench:
        from edgewind.virtual import invented_text

        path = write_folder(tmp_path / "virtual", invented_text(), bench.ports)
        path.write_text(path.read_text(encoding="utf-8") + STEADINESS, encoding="utf-8")
        yield tmp_path


os.environ.setdefault("OMP_NUM_THREADS", "1")
expect.set_options(timeout=30_000)  # nothing here is a test of a time: a loaded machine may take longer
