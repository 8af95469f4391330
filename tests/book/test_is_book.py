"""Recognition of a book without affecting the locks of programs that have it open."""

import subprocess
import sys
from pathlib import Path

import pytest

from edgewind.book import is_book, open_book

# SQLite only, since the locks are those of SQLite.
LOOK = """
import contextlib, sqlite3, sys
with contextlib.closing(sqlite3.connect(sys.argv[1])) as book:
    print(book.execute("SELECT count(*) FROM readings").fetchone()[0])
"""


def look(path: Path) -> int:
    """Return the number of readings that another program sees."""
    found = subprocess.run([sys.executable, "-c", LOOK, str(path)], check=True, capture_output=True, text=True)
    return int(found.stdout)


def test_checking_whether_a_file_is_a_book_keeps_the_log_of_an_open_book(tmp_path: Path, bench_text: str) -> None:
    """Closing a file drops all POSIX locks of the program on it: the next program to close the book would delete the
    log, and later readings would be lost (SQLite, "How to corrupt", 2.2).
    """
    path = tmp_path / "lab.book"
    with open_book(path, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time [s]", "pressure [Pa]", "speed [rpm]"])
        book.record("rotor", {"time": "1", "pressure": "1", "speed": "1"})
        assert is_book(path)
        assert look(path) == 1
        book.record("rotor", {"time": "2", "pressure": "1", "speed": "1"})
        assert look(path) == 2
    with open_book(path) as book:
        assert len(book.contents("rotor").readings) == 2


HELD = """
import fcntl, sys
with open(sys.argv[1], "r+b") as file:
    try:
        fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB, 1, 128)
    except OSError:
        print("held")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="locks of POSIX")
def test_checking_whether_a_file_is_a_book_keeps_the_lock_of_an_open_book(tmp_path: Path, bench_text: str) -> None:
    """Byte 128 says that a program uses it (SQLite, "WAL-mode file format", 2.3): without it the next program to open
    the book truncates the file, and a read by this one ends with a bus error.
    """
    path = tmp_path / "lab.book"
    with open_book(path, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time [s]", "pressure [Pa]", "speed [rpm]"])
        book.record("rotor", {"time": "1", "pressure": "1", "speed": "1"})
        found = {name.name: is_book(name) for name in sorted(tmp_path.iterdir())}
        assert found == {"lab.book": True, "lab.book-shm": False, "lab.book-wal": False}
        command = [sys.executable, "-c", HELD, str(tmp_path / "lab.book-shm")]
        assert subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip() == "held"


def test_a_file_that_is_not_a_book_is_recognised(tmp_path: Path) -> None:
    (tmp_path / "text").write_text("time,pressure\n" * 100)
    (tmp_path / "empty").touch()
    (tmp_path / "short").write_bytes(b"SQL")
    (tmp_path / "single").write_bytes(b"x")
    for name in ("text", "empty", "short", "single", "missing", "."):
        assert not is_book(tmp_path / name)
    assert is_book("postgresql://ada@lab/book")
    made = tmp_path / "made"
    open_book(made, make=True).close()
    assert is_book(made)
    content = bytearray(made.read_bytes())
    content[40:4096] = b"\xff" * (4096 - 40)
    made.write_bytes(content)
    assert is_book(made)  # damaged, as opening it shows
