"""The proxy of the tests causes its stated faults, and none otherwise."""

from __future__ import annotations

import socket
import threading

import pytest
from proxy import Faults, FaultyProxy


@pytest.fixture
def echo():
    """Port of a server that answers every line with itself."""
    door = socket.create_server(("127.0.0.1", 0))

    def serve(link):
        with link, link.makefile("rb") as lines:
            for line in lines:
                try:
                    link.sendall(line)
                except OSError:
                    return

    def welcome():
        while True:
            try:
                link, _ = door.accept()
            except OSError:
                return
            threading.Thread(target=serve, args=(link,), daemon=True).start()

    threading.Thread(target=welcome, daemon=True).start()
    yield door.getsockname()[1]
    door.shutdown(socket.SHUT_RDWR)
    door.close()


def talk(port, lines=1):
    with socket.create_connection(("127.0.0.1", port), timeout=30) as link:
        link.sendall(b"MEAS:VOLT?\n")
        with link.makefile("rb") as answers:
            return [answers.readline() for _ in range(lines)]


def test_without_faults_everything_passes_unchanged(echo):
    with FaultyProxy(echo) as proxy:
        assert talk(proxy.port) == [b"MEAS:VOLT?\n"]
        assert proxy.counts == {"pieces": 1}


@pytest.mark.parametrize("kind", ["garble", "duplicate", "split", "noise"])
def test_each_fault_that_alters_a_reply_has_its_effect(echo, kind):
    with FaultyProxy(echo, Faults(**{kind: 1.0}), seed=2) as proxy:
        got = talk(proxy.port, 2 if kind == "duplicate" else 1)
        assert proxy.counts[kind] == 1
    if kind == "split":
        assert got == [b"MEAS:VOLT?\n"]
    elif kind == "duplicate":
        assert got == [b"MEAS:VOLT?\n"] * 2
    elif kind == "garble":
        assert len(got[0]) == 11 and sum(a != b for a, b in zip(got[0], b"MEAS:VOLT?\n", strict=True)) == 1
    else:
        assert len(got[0]) > 0 and got[0] != b"MEAS:VOLT?\n"


def test_cut_and_half_end_the_connection(echo):
    with FaultyProxy(echo, Faults(cut=1.0)) as proxy, pytest.raises(OSError):
        if talk(proxy.port) == [b""]:
            raise ConnectionResetError
    with FaultyProxy(echo, Faults(half=1.0)) as proxy:
        assert talk(proxy.port) == [b"MEAS:"]


def test_drop_keeps_the_connection_and_questions_can_be_spoiled_too(echo):
    with (
        FaultyProxy(echo, Faults(drop=1.0), on="questions") as proxy,
        socket.create_connection(("127.0.0.1", proxy.port), timeout=0.3) as link,
    ):
        link.sendall(b"lost\n")
        with pytest.raises(TimeoutError):
            link.recv(10)
        proxy.faults = Faults()
        link.settimeout(30)
        link.sendall(b"heard\n")
        assert link.recv(10) == b"heard\n"


def test_connections_can_be_refused_and_cut_on_request(echo):
    with FaultyProxy(echo) as proxy:
        with socket.create_connection(("127.0.0.1", proxy.port), timeout=30) as link:
            link.sendall(b"a\n")
            assert link.recv(10) == b"a\n"
            proxy.cut_all()
            with pytest.raises(OSError):
                if link.recv(10) == b"":
                    raise ConnectionResetError
        proxy.refuse = True
        with pytest.raises(OSError):
            if talk(proxy.port) == [b""]:
                raise ConnectionResetError
