"""Fixtures of the tests of the virtual bench."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from edgewind.virtual import invented_bench, serve_bench

sys.path.insert(0, str(Path(__file__).parent))
from desk import Desk, Link, plain_bench


@pytest.fixture
def desk():
    return Desk(invented_bench())


@pytest.fixture
def plain_desk():
    """A desk at an apparatus that is just as its bench.toml says."""
    return Desk(plain_bench())


@pytest.fixture(scope="module")
def served():
    """The invented bench behind sockets, a thousand times as fast as the clock."""
    with serve_bench(speed_up=1000.0, seed=1) as bench:
        yield bench


@pytest.fixture
def link(served):
    """Connect to a role of the served bench: ``link("gauge")``."""
    links = []

    def connect(role):
        links.append(Link(served.ports[role]))
        return links[-1]

    yield connect
    for each in links:
        each.close()
