"""Compiled functions on disk: none is used whose sources have changed since."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys

import pytest

pytest.importorskip("numba")

from edgewind import compiled_cache

CALLER = """
from typing import NamedTuple
from pack.callee import FACTOR, grown
from edgewind.compiled import njit

class {name}(NamedTuple):
    x: float

@njit(cache=True)
def asked(given):
    return FACTOR * grown(given.x)

def ask():
    return asked({name}(1.5)), sum(asked.stats.cache_hits.values())
"""
CALLEE = """
from edgewind.compiled import njit
FACTOR = {factor}

@njit(cache=True)
def grown(x):
    return x + {more}
"""


@pytest.fixture
def package(tmp_path, monkeypatch):
    """Write a package of two modules and import it as a new program would: ``package(factor, more, name)``."""
    folder = tmp_path / "pack"
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    written = [1_700_000_000]

    def begin(**sources):
        for name, text in sources.items():
            path = folder / f"{name}.py"
            path.write_text(text)
            written[0] += 10
            os.utime(path, (written[0], written[0]))
        for name in [name for name in sys.modules if name.partition(".")[0] == "pack"]:
            del sys.modules[name]
        importlib.invalidate_caches()
        return importlib.import_module("pack.caller").ask()

    yield begin
    for name in [name for name in sys.modules if name.partition(".")[0] == "pack"]:
        del sys.modules[name]


def test_stored_functions_follow_the_sources_that_they_were_compiled_from(package):
    caller = CALLER.format(name="Before")
    assert package(caller=caller, callee=CALLEE.format(factor=2.0, more=1.0)) == (5.0, 0)
    assert package() == (5.0, 1)  # from the disk
    assert package(callee=CALLEE.format(factor=2.0, more=3.0)) == (9.0, 0)  # a function of another file
    assert package(callee=CALLEE.format(factor=4.0, more=3.0)) == (18.0, 0)  # a constant of another file
    assert package() == (18.0, 1)
    assert package(caller=CALLER.format(name="After")) == (
        18.0,
        0,
    )  # a stored signature names a class that no longer exists
    assert package() == (18.0, 1)


ALONE = """
from edgewind.compiled import njit

@njit(cache=True)
def grown(x):
    return x + 1.0

def ask():
    return grown(1.5), sum(grown.stats.cache_hits.values())
"""
COMPILE = "import sys; sys.path.insert(0, sys.argv[1]); from pack.caller import ask; print(ask())"
HOLD = """
import fcntl, pathlib, sys
with open(sys.argv[1], "ab") as stream:
    fcntl.lockf(stream, fcntl.LOCK_EX)
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def holder(tmp_path):
    """Let another program hold the lock of a file: ``holder(path)`` returns that program."""
    programs = []

    def hold(path):
        path.parent.mkdir(exist_ok=True)
        program = subprocess.Popen(
            [sys.executable, "-c", HOLD, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        programs.append(program)
        assert program.stdout.readline() == "held\n"
        return program

    yield hold
    for program in programs:
        program.kill()
        program.communicate()


@pytest.fixture
def waits(monkeypatch):
    """Allow waits for another program, whatever a test before or within this one found out."""
    monkeypatch.setattr(compiled_cache.FunctionLock, "waits", True)
    if compiled_cache.fcntl is None:
        pytest.skip("this system has no fcntl")
    return monkeypatch


def lock_of(tmp_path):
    (lock,) = (tmp_path / "pack" / "__pycache__").glob("caller.grown-*.lock")
    return lock


def test_what_another_program_stored_during_the_wait_is_not_compiled_again(package, tmp_path, waits):
    others = []

    def wait_for_another_program(stream):
        others.append(
            subprocess.run(
                [sys.executable, "-c", COMPILE, str(tmp_path)], check=True, capture_output=True, text=True
            ).stdout
        )
        return locked(stream)

    locked = compiled_cache._lock
    waits.setattr(compiled_cache, "_lock", wait_for_another_program)
    assert package(caller=ALONE) == (2.5, 1)
    assert others == ["(2.5, 0)\n"]


def test_a_function_is_locked_while_it_is_compiled_and_not_after(package, tmp_path, holder, waits):
    states = []
    save = compiled_cache.KernelCache.save_overload

    def observed(cache, *form):
        states.append(cache._lock.held)
        save(cache, *form)

    waits.setattr(compiled_cache.KernelCache, "save_overload", observed)
    assert package(caller=ALONE) == (2.5, 0)
    assert states == [True]
    waits.setattr(compiled_cache, "LONGEST_WAIT_S", 0.0)
    lock = compiled_cache.FunctionLock(lock_of(tmp_path))
    another = holder(lock_of(tmp_path))  # which gets it
    assert not lock.acquire()
    another.kill()
    another.wait()
    waits.setattr(compiled_cache.FunctionLock, "waits", True)
    waits.setattr(compiled_cache, "LONGEST_WAIT_S", 60.0)
    assert lock.acquire()  # the lock of a program that died
    lock.release()


def test_a_function_is_compiled_after_too_long_a_wait_for_another_program(package, tmp_path, holder, waits):
    package(caller=ALONE)
    holder(lock_of(tmp_path))
    waits.setattr(compiled_cache, "LONGEST_WAIT_S", 0.02)
    assert package(caller=ALONE.replace("1.0", "2.0")) == (3.5, 0)
    assert not compiled_cache.FunctionLock.waits
    waits.setattr(compiled_cache.time, "sleep", lambda _: pytest.fail("it waits again"))
    assert package(caller=ALONE.replace("1.0", "3.0")) == (4.5, 0)


@pytest.mark.parametrize("locks", ["no fcntl", "no locks in the folder", "no file"])
def test_functions_are_compiled_and_stored_where_files_cannot_be_locked(locks, package, tmp_path, waits):
    if locks == "no fcntl":
        waits.setattr(compiled_cache, "fcntl", None)
    elif locks == "no file":
        waits.setattr(compiled_cache.FunctionLock, "__init__", lambda lock, path: _nowhere(lock, tmp_path))
    else:

        def refuse(*_):
            raise OSError(37, "No locks available")

        waits.setattr(compiled_cache.fcntl, "lockf", refuse)
    assert package(caller=ALONE) == (2.5, 0)
    assert package() == (2.5, 1)


def _nowhere(lock, folder):
    lock._path, lock._stream = folder, None  # a folder cannot be opened as a file


def test_a_function_that_cannot_be_compiled_is_not_left_locked(package, tmp_path, waits):
    from numba.core.errors import TypingError

    for _ in range(2):
        with pytest.raises(TypingError):
            package(caller=ALONE.replace("x + 1.0", "x.missing"))
    lock = compiled_cache.FunctionLock(lock_of(tmp_path))
    ask = "import fcntl, sys; fcntl.lockf(open(sys.argv[1], 'ab'), fcntl.LOCK_EX | fcntl.LOCK_NB)"
    subprocess.run([sys.executable, "-c", ask, str(lock._path)], check=True)
