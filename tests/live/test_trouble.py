"""A full disk, a read-only folder, a locked book, a lost server: clear errors without loss of data."""

import os
import resource
import signal
import sqlite3
import sys

import pytest

from edgewind.book import FullBookError, check_book, open_book
from edgewind.errors import InputError
from edgewind.live import SweepRequest, file_lock, prepare, unfinished

REQUEST = SweepRequest((1.0, 2.0, 4.0))


def run(bench, folder, target, *, during=None, request=REQUEST):
    sweep = bench.run(folder, target, request, during)
    return sweep.status(), sweep.history()


def count(target):
    with open_book(target) as book:
        return len(book.contents("rotor").readings)


def spooled(folder):
    return sorted(path.suffix for path in folder.glob(".spool/*/*") if path.name != "lock")


def test_a_full_disk_ends_the_sweep_safely_and_it_resumes_once_there_is_space(bench, folder, tmp_path, monkeypatch):
    """A limit on the size of files, set as the second reading is stored, so that the book cannot grow."""
    target = str(tmp_path / "lab.book")
    before, handler = resource.getrlimit(resource.RLIMIT_FSIZE), signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    stored = []

    def during(sweep, event):
        stored.append(True) if event.kind == "stored" else None
        if len(stored) == 1 and event.data.get("phase") == "storing":
            size = max(path.stat().st_size for path in tmp_path.glob("lab.book*"))
            resource.setrlimit(resource.RLIMIT_FSIZE, (max(size, 60_000), before[1]))

    try:
        status, _ = run(bench, folder, target, during=during)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)
    assert status.phase == "failed", status
    assert "free some space" in status.problem
    assert status.lamp == "off"
    assert check_book(target).whole
    kept = count(target)
    assert kept == len(stored)
    waiting = spooled(folder)  # the reading that did not fit lies on the disk
    assert ".json" in waiting and ".npz" in waiting
    prepare(folder, target, REQUEST).close()
    assert count(target) == kept + 1 and spooled(folder) == []
    status, _ = run(bench, folder, target)
    assert (status.phase, status.done) == ("finished", 3)
    assert count(target) == 3 and check_book(target).whole


def test_a_spool_that_cannot_be_written_is_reported_before_anything_moves(bench, make_folder, tmp_path, plain_place):
    folder = make_folder()
    (folder / ".spool").write_text("a file, and not a folder")
    with pytest.raises(InputError, match="nothing can be written here") as raised:
        prepare(folder, tmp_path / "lab.book", REQUEST)
    assert str(folder / ".spool") in str(raised.value)


@pytest.fixture
def warm(make_folder, tmp_path):
    """All that is imported late is imported: another user may not read where Python lies."""
    prepare(make_folder(name="warm"), tmp_path / "warm.book", REQUEST).close()


def test_a_read_only_folder_is_reported_before_anything_moves(make_folder, plain_place, warm):
    folder = plain_place / "rotor"
    folder.mkdir()
    (folder / "bench.toml").write_bytes((make_folder() / "bench.toml").read_bytes())
    (folder / "bench.toml").chmod(0o444)
    folder.chmod(0o555)
    try:
        with unprivileged(), pytest.raises(InputError, match="nothing can be written here") as raised:
            prepare(folder, plain_place / "lab.book", REQUEST)
        assert "permissions" in str(raised.value)
    finally:
        folder.chmod(0o777)


def test_a_book_in_a_read_only_folder_is_reported(make_folder, plain_place, warm):
    folder, place = plain_place / "rotor", plain_place / "locked"
    folder.mkdir()
    (folder / "bench.toml").write_bytes((make_folder() / "bench.toml").read_bytes())
    place.mkdir(mode=0o555)
    with unprivileged(), pytest.raises(InputError, match="cannot be opened"):
        prepare(folder, place / "lab.book", REQUEST, spool=plain_place / "spool")


@pytest.fixture
def plain_place(tmp_path_factory):
    """A folder that any user may enter."""
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory(dir="/tmp") as place:
        Path(place).chmod(0o777)
        yield Path(place)


class unprivileged:
    """Without the rights of root, which no permission stops."""

    def __enter__(self):
        self.was = os.geteuid(), os.getegid()
        if self.was[0] == 0:
            os.setegid(65534)
            os.seteuid(65534)

    def __exit__(self, *_):
        if self.was[0] == 0:
            os.seteuid(self.was[0])
            os.setegid(self.was[1])


def impatient(monkeypatch):
    """Let the book wait for its lock for a moment only: the recorder tries again."""
    module = sys.modules["edgewind.live.prepare"]  # the function of that name hides it
    monkeypatch.setattr(module, "open_book", lambda *a, **k: open_book(*a, **k, wait_s=0.05))


def test_a_sweep_waits_for_a_book_that_is_locked_for_a_while(bench, folder, tmp_path, monkeypatch):
    target = str(tmp_path / "lab.book")
    lock = []
    impatient(monkeypatch)

    def during(sweep, event):
        if event.data.get("phase") == "storing" and not lock:
            other = sqlite3.connect(target, isolation_level=None, check_same_thread=False)
            other.execute("BEGIN IMMEDIATE")
            lock.append(other)
            bench.clock.at(bench.clock.monotonic() + 1.5, lambda: (other.execute("ROLLBACK"), other.close()))

    status, _ = run(bench, folder, target, during=during, request=SweepRequest((1.0,)))
    assert status.phase == "finished" and count(target) == 1


def test_a_book_that_stays_locked_ends_the_sweep_with_the_reading_in_the_spool(bench, folder, tmp_path, monkeypatch):
    target = str(tmp_path / "lab.book")
    impatient(monkeypatch)
    lock = []

    def during(sweep, event):
        if event.data.get("phase") == "storing" and not lock:
            lock.append(sqlite3.connect(target, isolation_level=None, check_same_thread=False))
            lock[0].execute("BEGIN IMMEDIATE")

    status, history = run(bench, folder, target, during=during)
    lock[0].execute("ROLLBACK")
    lock[0].close()
    assert status.phase == "failed"
    assert "another program holds the book locked" in status.problem and "this reading lies in" in status.problem
    assert sum(event.kind == "retry" for event in history) == 4  # bounded
    assert count(target) == 0 and ".json" in spooled(folder)
    prepare(folder, target, REQUEST).close()
    assert count(target) == 1 and spooled(folder) == []
    assert [one.done for one in unfinished(folder, target)] == [1]


def test_a_sweep_waits_for_a_server_that_is_lost_for_a_while(bench, folder, server):
    target, stopped = server.fresh_url(), []

    def during(sweep, event):
        if event.data.get("phase") == "storing" and not stopped:
            stopped.append(True)
            server.stop("immediate")
            bench.clock.at(bench.clock.monotonic() + 2.5, server.start)

    status, history = run(bench, folder, target, during=during, request=SweepRequest((1.0, 2.0)))
    assert status.phase == "finished", status
    assert count(target) == 2 and check_book(target).whole
    assert any(event.kind == "retry" for event in history)


def test_a_reading_stored_without_acknowledgement_is_stored_once(bench, folder, tmp_path):
    """As where the program is killed between the book's commit and the removal from the spool."""
    target = str(tmp_path / "lab.book")
    sweep = bench.prepare(folder, target, SweepRequest((1.0,)))
    left = []
    sweep._spool.remove = left.append
    sweep.start()
    assert sweep.join(240) and sweep.status().phase == "finished"
    sweep.close()
    assert count(target) == 1 and spooled(folder) == [".json", ".npz"]
    prepare(folder, target, SweepRequest((1.0,))).close()
    assert count(target) == 1 and spooled(folder) == []


def test_a_file_half_written_by_a_killed_recorder_is_not_read_as_a_reading(folder, tmp_path):
    target = str(tmp_path / "lab.book")
    sweep = prepare(folder, target, REQUEST)
    place = sweep._spool.folder
    sweep.close()
    (place / "x-0001-1.npz").write_bytes(b"PK half")
    (place / ".x-0002-1.json-0a1b2c3d.json").write_bytes(b'{"experiment": "ro')
    (place / "x-0003-1.npz").write_bytes(b"PK other")
    (place / "x-0003-1.json").write_text(
        '{"experiment": "rotor", "key": "x/3/1", "cells": {}, "trace": "traces/x.npz", "sha256": "00"}'
    )
    prepare(folder, target, REQUEST).close()
    assert count(target) == 0
    assert [path.name for path in place.glob(".*")] == []


def test_full_book_errors_are_a_kind_of_input_error():
    assert issubclass(FullBookError, InputError)


def test_two_recorders_cannot_use_one_bench_on_windows(tmp_path, monkeypatch):
    """With the calls of Windows in place of those of this system."""
    held = set()

    class Windows:
        LK_NBLCK = 2

        @staticmethod
        def locking(number, mode, count):
            name = os.fstat(number).st_ino
            if name in held:
                raise PermissionError(13, "Permission denied")
            held.add(name)

    monkeypatch.setattr(file_lock, "fcntl", None)
    monkeypatch.setattr(file_lock, "msvcrt", Windows)
    with file_lock.lock_file(tmp_path / "lock"), pytest.raises(file_lock.LockedError):
        file_lock.lock_file(tmp_path / "lock")
    with file_lock.lock_file(tmp_path / "another"):
        pass
