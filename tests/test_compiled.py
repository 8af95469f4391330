"""Compiled functions on disk: none is used whose sources have changed since."""

from __future__ import annotations

import importlib
import os
import sys

import pytest

pytest.importorskip("numba")

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
