"""A virtual bench, folders that point at it, and books of both kinds."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from edgewind.virtual import invented_text, serve_bench, write_folder

SPEED_UP = 600.0
STEADINESS = "\n" + (Path(__file__).parents[1] / "quick.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def virtual():
    """The invented bench, in this process, 600 times faster than the clock."""
    with serve_bench(speed_up=SPEED_UP, seed=3) as running:
        yield running


@pytest.fixture
def make_folder(virtual, tmp_path):
    """Write a folder whose bench.toml points at the virtual bench; `change` alters its text."""

    def make(change=lambda text: text, name="rotor", ports=None):
        folder = tmp_path / name
        file = write_folder(folder, invented_text(), ports or virtual.ports)
        file.write_text(change(file.read_text(encoding="utf-8") + STEADINESS), encoding="utf-8")
        return folder

    return make


@pytest.fixture
def folder(make_folder):
    """Such a folder."""
    return make_folder()


@pytest.fixture
def tell(virtual):
    """Turn a knob of the virtual bench past the recorder: ``tell("valve", "OUTP ON", "VOLT 5")``."""

    def send(role, *commands):
        with socket.create_connection((virtual.host, virtual.ports[role]), timeout=30) as link:
            link.sendall("".join(f"{command}\n" for command in (*commands, "*OPC?")).encode())
            assert link.recv(10) == b"1\n"

    yield send
    send("valve", "VOLT 0", "OUTP OFF")
    send("lamp", "OUTP OFF")


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request, tmp_path):
    """A place for one new book, of either kind."""
    if request.param == "postgresql":
        return request.getfixturevalue("server").fresh_url()
    return str(tmp_path / "lab.book")
