"""A virtual bench on a simulated clock and one behind sockets, folders that point at them, and books of both kinds."""

from __future__ import annotations

import socket
import sys
from pathlib import Path

import pytest

from edgewind.virtual import invented_text, serve_bench, write_folder

sys.path.insert(0, str(Path(__file__).parent))
from commanded import come_to_rest
from simulated import SimulatedBench

SPEED_UP = 600.0
STEADINESS = "\n" + (Path(__file__).parents[1] / "quick.toml").read_text(encoding="utf-8")


@pytest.fixture
def bench():
    """The invented bench on a simulated clock, without sockets."""
    return SimulatedBench()


@pytest.fixture
def make_folder(bench, tmp_path):
    """Write a folder whose bench.toml points at the simulated bench; `change` alters its text."""
    return lambda change=lambda text: text, name="rotor": bench.folder(tmp_path, change, name)


@pytest.fixture
def folder(make_folder):
    """Such a folder."""
    return make_folder()


@pytest.fixture(scope="session")
def served():
    """The invented bench behind sockets, in this process, 600 times faster than the clock."""
    with serve_bench(speed_up=SPEED_UP, seed=3) as running:
        yield running


@pytest.fixture
def make_served_folder(served, tmp_path):
    """Write a folder whose bench.toml points at the served bench; `change` alters its text."""

    def make(change=lambda text: text, name="rotor"):
        folder = tmp_path / name
        file = write_folder(folder, invented_text(), served.ports)
        file.write_text(change(file.read_text(encoding="utf-8") + STEADINESS), encoding="utf-8")
        return folder

    return make


@pytest.fixture
def served_folder(make_served_folder):
    """Such a folder."""
    return make_served_folder()


@pytest.fixture
def tell(served):
    """Set something at the served bench past the recorder: ``tell("valve", "OUTP ON", "VOLT 5")``."""

    def send(role, *commands):
        with socket.create_connection((served.host, served.ports[role]), timeout=30) as link:
            link.sendall("".join(f"{command}\n" for command in (*commands, "*OPC?")).encode())
            assert link.recv(10) == b"1\n"

    yield send
    send("valve", "VOLT 0", "OUTP OFF")
    send("lamp", "OUTP OFF")


@pytest.fixture
def at_rest(served, tell):
    """The served bench, valve closed and lamp off: one that another test killed leaves them as they were."""
    tell("valve", "VOLT 0", "OUTP OFF")
    tell("lamp", "OUTP OFF")
    come_to_rest(served)
    return served


@pytest.fixture(scope="session", autouse=True)
def patient_clients():
    """Give recorders in processes of their own time to answer, on a machine that the tests fill."""
    with pytest.MonkeyPatch.context() as patch:
        for limit in ("HELLO_S", "ANSWER_S"):
            patch.setattr(f"edgewind.live.client.{limit}", 60.0)
        yield


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request, tmp_path):
    """A place for one new book, of either kind."""
    if request.param == "postgresql":
        return request.getfixturevalue("server").fresh_url()
    return str(tmp_path / "lab.book")
