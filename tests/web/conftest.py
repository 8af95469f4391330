"""The pages served from a thread of the tests or from a process of their own, a real browser, and a virtual bench."""

import http.client
import itertools
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, ClassVar
from urllib.parse import urlsplit

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page
from support.chromium import drag as onto_page

from edgewind.bench import write_template
from edgewind.book import open_book
from edgewind.runner import Job, LocalRunner, Runner
from edgewind.runner.base import Listener
from edgewind.virtual import invented_text, serve_bench, write_folder
from edgewind.web import make_app
from edgewind.web.jobs import PageJob
from edgewind.web.security import access_policy

TYPED = (
    "time", "gauge [V]", "pressure [Pa]", "trace", "speed [rpm]", "speed uncertainty [rpm]", "lamp", "sweep", "note",
    "exclude",
)  # fmt: skip
QUICK = (Path(__file__).parents[1] / "quick.toml").read_text(encoding="utf-8")


class Asked:
    """A server of the pages, asked without a browser."""

    url: str

    @property
    def port(self) -> int:
        return int(urlsplit(self.url).port or 0)

    def ask(
        self, path: str, body: Any = None, *, method: str = "", headers: dict[str, str] | None = None
    ) -> tuple[int, bytes, dict[str, str]]:
        """Ask; a body is sent as our own pages send it."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=240)
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


class Served(Asked):
    """The pages served from a thread of the tests: the application and its server, without the start of a program."""

    def __init__(self, root: Path | str, host: str = "127.0.0.1", token: str | None = None, *, port: int = 0) -> None:
        policy = access_policy(host, token)
        self.app = make_app(root, policy)
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        self.url = f"http://127.0.0.1:{listening.getsockname()[1]}"
        self.token = policy.token
        ready = threading.Event()

        class Server(uvicorn.Server):
            async def startup(self, sockets: list[socket.socket] | None = None) -> None:
                await super().startup(sockets)
                ready.set()

        settings = uvicorn.Config(
            self.app, log_level="warning", access_log=False, server_header=False, ws="websockets-sansio",
            timeout_graceful_shutdown=1,
        )  # fmt: skip
        self._server = Server(settings)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listening]}, daemon=True)
        self._thread.start()
        assert ready.wait(240), "the pages do not answer"

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(30)


class ServedApart(Asked):
    """The pages in a process of their own, as `edgewind serve` starts them."""

    def __init__(self, root: Path) -> None:
        self._root, self._port = root, free_port()
        self.start()

    def start(self) -> None:
        """Start, and wait until the pages answer; again at the same port after a fault."""
        command = [sys.executable, "-m", "edgewind", "serve", str(self._root), "--port", str(self._port), "--json"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        self.url = json.loads(self.process.stdout.readline())["url"].rstrip("/")

    def kill(self) -> None:
        """End it as a fault would, without warning."""
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


def free_port() -> int:
    """Return a port that is free now, and that the system assigns to no other program while a server restarts."""
    for port in range(20_000 + os.getpid() % 10_000, 32_000):  # below those of connections that go out
        with socket.socket() as tried, suppress(OSError):
            tried.bind(("127.0.0.1", port))
            return port
    raise AssertionError("no port is free")


class LentRunner(Runner):
    """A runner whose process serves every server of the pages: its start is not part of any claim here."""

    _made = itertools.count()
    _shared: ClassVar[dict[int, LocalRunner]] = {}

    def __init__(self, processes: int, *, nice: int = 0) -> None:
        assert processes == 1
        # studies, films and intervals, in the order in which a server makes them
        place = next(self._made) % 3
        self._runner = self._shared.setdefault(place, LocalRunner(1))
        self._jobs: list[Job] = []

    @property
    def at_once(self) -> int:
        return self._runner.at_once

    def submit(self, function: Callable[..., Any], *arguments: Any, on_message: Listener | None = None) -> Job:
        self._jobs.append(self._runner.submit(function, *arguments, on_message=on_message))
        return self._jobs[-1]

    def close(self) -> None:
        for job in self._jobs:
            job.cancel()

    @classmethod
    def end(cls) -> None:
        while cls._shared:
            cls._shared.popitem()[1].close()


class Watched:
    """A page on which nothing may go wrong unseen, and from which nothing may leave this machine.

    It is listened to and not routed: a request that Playwright lets pass costs a message there and back, and without
    the browser's cache each page fetches every file anew. The browser finds no other machine (`BROWSER_ARGUMENTS`).
    """

    def __init__(self, context: BrowserContext, expected: tuple[str, ...]) -> None:
        self.context, self.complaints, self.outside = context, [], []  # type: ignore[var-annotated]
        self.expected = expected
        context.on("request", lambda request: self._asked(request.url))
        context.on("page", lambda page: page.on("websocket", lambda line: self._asked(line.url)))
        self.page = context.new_page()
        self.page.on(
            "console", lambda message: self.complaints.append(message.text) if message.type == "error" else None
        )
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _asked(self, url: str) -> None:
        asked = urlsplit(url)
        if asked.scheme not in ("blob", "data") and asked.hostname not in ("127.0.0.1", "localhost"):
            self.outside.append(url)


@pytest.fixture
def visit(browser: Browser) -> Iterator[Callable[..., Watched]]:
    """Open a new browser window, as another person would; one who has seen the tour, unless it is asked for.

    Nothing may be wrong in it but what is `expected`: parts of what the browser logs of refusals that a test causes.
    """
    opened: list[Watched] = []

    def new(*, tour: bool = False, expected: tuple[str, ...] = (), **options: Any) -> Watched:
        options = {"viewport": {"width": 1440, "height": 900}} | options
        context = browser.new_context(**options)
        if not tour:
            context.add_init_script('localStorage.setItem(\'edgewind-tour\', \'{"step": -1, "at": ""}\')')
        opened.append(Watched(context, expected))
        return opened[-1]

    yield new
    complaints = [said for one in opened for said in one.complaints if not any(part in said for part in one.expected)]
    for one in opened:
        one.context.close()
        assert one.outside == [], "a page asked another machine"
    assert complaints == []


@pytest.fixture
def drag() -> Callable[[Page, str, list[Path]], None]:
    """Drag files and folders onto an element of a page."""
    return onto_page


@contextmanager
def _serving(kind: Callable[..., Any]) -> Iterator[Callable[..., Any]]:
    running: list[Any] = []

    def start(*arguments: Any, **options: Any) -> Any:
        running.append(kind(*arguments, **options))
        return running[-1]

    yield start
    for one in running:
        one.stop()


@pytest.fixture
def serve() -> Iterator[Callable[..., Served]]:
    """Serve a folder or a book for one test."""
    with _serving(Served) as start:
        yield start


@pytest.fixture
def serve_apart() -> Iterator[Callable[..., ServedApart]]:
    """Serve a folder for one test, in a process of its own."""
    with _serving(ServedApart) as start:
        yield start


@pytest.fixture(scope="session", autouse=True)
def lent_runners() -> Iterator[None]:
    """Let work of the pages run in processes that stay, and as other programs do.

    Yielding to busy ones it would wait for minutes. Pictures that a server draws at its start are left out.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("edgewind.web.jobs.LocalRunner", LentRunner)
        patch.setattr("edgewind.web.app._warm", lambda state: None)
        for limit in ("HELLO_S", "ANSWER_S"):  # for a recorder beside tests that fill the machine
            patch.setattr(f"edgewind.live.client.{limit}", 60.0)
        yield
    LentRunner.end()


@pytest.fixture
def hold(tmp_path: Path) -> Iterator[Callable[[Served, str], PageJob]]:
    """Let a queue of a server wait: ``hold(pages, "studies")`` is another job, which ends only when cancelled.

    What is ordered behind it waits for its turn, however fast it would be done.
    """
    held: list[tuple[Path, PageJob]] = []

    def begin(pages: Served, kind: str) -> PageJob:
        gate = tmp_path / f"gate-{len(held)}"
        os.mkfifo(gate)
        job = pages.app.state.pages.jobs[kind].ask((str(gate),), Path.read_bytes, lambda out: (gate,))
        held.append((gate, job))
        return job

    yield begin
    for gate, job in held:
        while job.under_way:
            with suppress(OSError):  # nobody reads yet
                os.close(os.open(gate, os.O_WRONLY | os.O_NONBLOCK))
            job.wait(0.05)


@pytest.fixture(scope="session")
def one_root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that one server serves to all tests of this room."""
    return tmp_path_factory.mktemp("pages")


@pytest.fixture(scope="session")
def one_server(one_root: Path) -> Iterator[Served]:
    """One server for all tests of this room that need no other."""
    with _serving(Served) as start:
        yield start(one_root)


@pytest.fixture(scope="session")
def mine(one_root: Path) -> Path:
    """The folder of an experiment in that folder whose readings can be fitted: one study of it serves all tests."""
    write_template(one_root / "mine")
    return one_root / "mine"


@pytest.fixture
def book_folder(tmp_path: Path, bench_text: str) -> Path:
    """A folder with a book, `lab.book`, and in it the experiment `typed` without readings."""
    with open_book(tmp_path / "lab.book", make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TYPED)
    return tmp_path


@pytest.fixture(scope="session")
def virtual_bench() -> Iterator[Any]:
    """A virtual bench that runs."""
    with serve_bench(speed_up=1000.0, seed=1) as bench:
        yield bench


@pytest.fixture
def virtual_folder(tmp_path: Path, virtual_bench: Any) -> Path:
    """A folder with the folder of the virtual bench."""
    path = write_folder(tmp_path / "virtual", invented_text(), virtual_bench.ports)
    path.write_text(path.read_text(encoding="utf-8") + "\n" + QUICK, encoding="utf-8")
    return tmp_path
