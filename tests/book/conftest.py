"""Books of both kinds for the tests: a SQLite file, and a schema of a PostgreSQL server that the tests start."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
from pathlib import Path

import pytest

from edgewind.book import open_book

TITLES = ["time", "gauge [V]", "trace", "speed [rpm]", "lamp", "note"]


@pytest.fixture(scope="session", params=["sqlite", "postgresql"])
def new_target(request, tmp_path_factory):
    """Return locations for new books: ``new_target()``."""
    if request.param == "postgresql":
        return request.getfixturevalue("server").fresh_url
    place, count = tmp_path_factory.mktemp("books"), iter(range(10**9))
    return lambda: str(place / f"{next(count)}.book")


@pytest.fixture(scope="session")
def two_books(new_target):
    """Open two books for many experiments; creating one takes longer than most tests."""
    with open_book(new_target(), make=True) as one, open_book(new_target(), make=True) as other:
        yield one, other


@pytest.fixture
def target(new_target):
    """Return a location for one new book."""
    return new_target()


@pytest.fixture
def book(target, bench_text):
    """Open a book with one experiment, 'rotor'."""
    with open_book(target, make=True) as opened:
        opened.add_experiment("rotor", bench_text.encode(), TITLES)
        yield opened


@pytest.fixture
def lite(tmp_path, bench_text):
    """Make a SQLite book with one experiment and three readings, closed."""
    path = tmp_path / "lab.book"
    with open_book(path, make=True) as opened:
        opened.add_experiment("rotor", bench_text.encode(), TITLES)
        for number in range(3):
            opened.record("rotor", {"time": f"2026-03-14 09:00:0{number}", "gauge": f"{number + 1}.5", "speed": "7"})
    return path


@pytest.fixture
def raw():
    """Access a book as another program would: ``raw(target)`` gives a function that runs SQL."""
    with contextlib.ExitStack() as stack:

        def reach(target):
            if "://" in target:
                import psycopg

                connection = stack.enter_context(psycopg.connect(target, autocommit=True))
                return lambda statement: connection.execute(statement)
            connection = stack.enter_context(contextlib.closing(sqlite3.connect(target, isolation_level=None)))
            return lambda statement: connection.execute(statement).fetchall()

        yield reach


@pytest.fixture
def plain_folder():
    """Make a folder that any user may enter."""
    with tempfile.TemporaryDirectory(dir="/tmp") as folder:
        Path(folder).chmod(0o777)
        yield Path(folder)


@pytest.fixture
def unprivileged():
    """Do something without the rights of root, to which permissions do not apply."""

    @contextlib.contextmanager
    def reduced():
        if os.geteuid() != 0:
            yield
            return
        os.setegid(65534)
        os.seteuid(65534)
        try:
            yield
        finally:
            os.seteuid(0)
            os.setegid(0)

    return reduced
