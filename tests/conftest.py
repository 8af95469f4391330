"""Fixtures of several packages: one invented bench, modified section by section; a browser; a PostgreSQL server.

Heavy libraries are imported where they are used: the process that distributes the tests reads this file, too.
"""

from __future__ import annotations

import gc
import inspect
import json
import os
import pickle
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

from edgewind.memory import collect_seldom, keep_freed_memory, kept_memory_variables

if TYPE_CHECKING:
    from edgewind.bench import Bench

sys.path.insert(0, str(Path(__file__).parent))  # for postgres_server and support
# One BLAS thread, as in the Makefile: those of two workers and of what they start would fight for two cores. Set
# before NumPy is imported, which reads it then.
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")
keep_freed_memory()
collect_seldom()
os.environ.update(kept_memory_variables())  # read by programs that the tests start
# The same examples in every run, however slow the machine; `--hypothesis-profile=default` looks for new ones.
settings.register_profile("calm", deadline=None, derandomize=True, database=None)
settings.load_profile("calm")

ROOT = Path(__file__).parents[1]
BENCH = (Path(__file__).parent / "bench.toml").read_text(encoding="utf-8")


def pytest_configure(config: pytest.Config) -> None:
    """Write the cost of each test, if EDGEWIND_TEST_COST names a file."""
    if file := os.environ.get("EDGEWIND_TEST_COST"):
        from support.cost import Cost

        config.pluginmanager.register(Cost(Path(file).absolute()))


@pytest.fixture(scope="session", autouse=True)
def recorders_folder() -> Iterator[Path]:
    """Set the folder in which recorders and pages of the tests find each other, apart from those of the user.

    The path of a socket may have at most 107 characters, hence a short path.
    """
    folder = Path(tempfile.mkdtemp(prefix="edgewind-recorders-", dir="/tmp"))
    before, os.environ["EDGEWIND_RECORDERS"] = os.environ.get("EDGEWIND_RECORDERS"), str(folder)
    yield folder
    if before is None:
        del os.environ["EDGEWIND_RECORDERS"]
    else:
        os.environ["EDGEWIND_RECORDERS"] = before
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder shared by all processes of this test run."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "shared"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def kept_runs(shared_folder: Path) -> Iterator[Path]:
    """Set the folder that stores the output of the commands of the manual, so that each is run once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("EDGEWIND_MANUAL_RUNS", str(shared_folder))
        yield shared_folder


@pytest.fixture(scope="session")
def example_study(shared_folder: Path) -> tuple[Any, Path]:
    """Return the fitted study of the example with two rotors and the folder of its report; made once for all."""
    from edgewind.files import write_whole
    from edgewind.study import run_study

    made, out = shared_folder / "study.pickle", shared_folder / "study"
    with held(shared_folder / "study.lock"):
        if not made.exists():
            study = run_study(ROOT / "examples" / "two-rotors", out, fit=True, steps=100)
            write_whole(made, pickle.dumps(study))
    return pickle.loads(made.read_bytes()), out


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Hold a lock that one test process may hold at a time; without such locks, do nothing."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    with path.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@pytest.fixture(scope="session")
def bench_text() -> str:
    """Return the text of a `bench.toml`."""
    return BENCH


@pytest.fixture(scope="session")
def make_bench_text() -> Callable[..., str]:
    """Return that text with other values: ``make_bench_text(rotor={"vane_width": "20 mm"})``.

    A gauge with a kind replaces the whole section.
    """
    import tomlkit

    def make(**changes: dict[str, Any]) -> str:
        table = tomllib.loads(BENCH)
        for section, values in changes.items():
            whole = section == "gauge" and "kind" in values
            table[section] = values if whole else table.get(section, {}) | values
        return tomlkit.dumps(table)

    return make


@pytest.fixture(scope="session")
def make_bench(make_bench_text: Callable[..., str]) -> Callable[..., Bench]:
    """Return that bench with other values: ``make_bench(rotor={"vane_width": "20 mm"})``."""
    from edgewind.bench import parse_bench

    return lambda **changes: parse_bench(make_bench_text(**changes))


@pytest.fixture(scope="session")
def standin() -> Any:
    """Return a closed form in place of the kinetic tables."""
    from support.standin import StandIn

    return StandIn()


BROWSER_ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",  # no page reaches another machine
    "--disable-site-isolation-trials", "--renderer-process-limit=1",  # one process draws all pages, started once
]  # fmt: skip


@pytest.fixture(scope="session")
def chromium() -> str:
    """Return the path of a Chromium; tests that need one are skipped if there is none.

    The headless one is preferred: it renders a page at a fifth of the cost.
    """
    names = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        pytest.skip("no Chromium here: see tools/ensure-browser")
    return found


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Any]:
    """Return a Chromium driven by Playwright, one for all tests of a process.

    While it is open, Playwright's loop counts as running in the main thread: `asyncio.run` needs a separate thread.
    """
    from playwright.sync_api import expect, sync_playwright
    from support.pages import LIMIT_MS, patient

    expect.set_options(timeout=LIMIT_MS)
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=BROWSER_ARGUMENTS)
        make = launched.new_context
        launched.new_context = lambda **options: patient(make(**options))  # type: ignore[method-assign]
        yield launched
        launched.close()


@pytest.fixture(scope="session")
def server() -> Iterator[Any]:
    """Return a running PostgreSQL server."""
    if not sys.platform.startswith("linux"):
        pytest.skip("PostgreSQL is started by these tests on Linux only")
    from postgres_server import Server

    running = Server()
    yield running
    running.remove()


Published = Callable[..., None]


@pytest.fixture
def published(request: pytest.FixtureRequest) -> Published:
    """Compare a computed value with a published one, and record both for the validation page of the manual.

    ``published("mean free path", ours, theirs, rel=1e-4, unit="m")``. The source is the docstring of the test. Where
    EDGEWIND_PUBLISHED names a folder, every comparison writes a line there; `docs/make_reference.py` reads them.
    """
    import numpy as np

    source = inspect.getdoc(request.function)
    assert source, "a published check names its source in its docstring"

    def hold(what: str, ours: Any, theirs: Any, *, rel: float | None = None, abs: float | None = None,
             unit: str = "") -> None:  # fmt: skip
        found, wanted = np.broadcast_arrays(np.asarray(ours, float), np.asarray(theirs, float))
        folder = os.environ.get("EDGEWIND_PUBLISHED")
        if folder:
            line = {
                "test": request.node.nodeid, "source": source, "what": what, "unit": unit, "ours": found.tolist(),
                "theirs": wanted.tolist(), "rel": rel, "abs": abs,
            }  # fmt: skip
            with (Path(folder) / f"{os.getpid()}.jsonl").open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")
        assert found == pytest.approx(wanted, rel=rel, abs=abs), what

    return hold


# What begins which share of the tests, rooms and files, by the number of processes. Each process begins with a share,
# so that what a room makes once is not made twice. All others, which make little, fill the shares up, last: what is
# left of them is taken over by whichever process ends first.
SHARES = {
    2: (
        ("test_study.py", "test_json_keys.py", "test_notebooks.py", "test_manual.py", "web", "plan", "kinetics",
         "virtual", "test_example.py", "test_base_install.py", "test_cli.py"),
        ("live", "book", "report", "evidence", "signals"),
    ),
    3: (
        ("test_study.py", "test_json_keys.py", "test_notebooks.py", "test_manual.py", "plan", "kinetics", "virtual"),
        ("web", "report", "evidence", "test_example.py", "test_base_install.py", "test_cli.py"),
        ("live", "book", "signals"),
    ),
}  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark comparisons with published values (``pytest -m published``), and put long packages first."""
    for item in items:
        if "published" in getattr(item, "fixturenames", ()):
            item.add_marker("published")
    shares = SHARES[3 if os.environ.get("PYTEST_XDIST_WORKER_COUNT") == "3" else 2]
    rooms: dict[str, list[pytest.Item]] = defaultdict(list)
    for item in items:
        rooms[_room(item)].append(item)
    begun = [[item for name in names for item in rooms[name]] for names in shares]
    taken = {id(item) for share in begun for item in share}
    others = [item for item in items if id(item) not in taken]
    ordered: list[pytest.Item] = []
    for number, share in enumerate(begun):
        size = (len(items) - len(ordered)) // (len(shares) - number)  # as xdist divides the list
        cut = min(max(size - len(share), 0), len(others))
        ordered += share + others[:cut]
        others = others[cut:]
    items[:] = ordered + others


def pytest_collection_finish() -> None:
    """Exclude the collected tests from garbage collection."""
    gc.freeze()


def _room(item: pytest.Item) -> str:
    """Return the folder of a test, or its file if it is in none."""
    return item.path.relative_to(Path(__file__).parent).parts[0]


@pytest.fixture
def edgewind(monkeypatch, capfd) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run a command in this process, as the program runs it: ``edgewind("gas", "air", "1 Pa", cwd=folder)``."""
    from edgewind.cli import main

    def run(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
        with monkeypatch.context() as patch:
            patch.setenv("COLUMNS", "100")
            patch.setenv("NO_COLOR", "1")
            if cwd is not None:
                patch.chdir(cwd)
            capfd.readouterr()
            status = 0
            try:
                main(list(arguments))
            except SystemExit as ended:
                status = ended.code if isinstance(ended.code, int) else 1 if ended.code else 0
        told = capfd.readouterr()
        return subprocess.CompletedProcess(list(arguments), status, told.out, told.err)

    return run
