"""An apparatus with a clock moved by hand, and ways to talk to it: in this process, and through sockets alone."""

from __future__ import annotations

import socket

from edgewind.bench.virtual import VirtualSection
from edgewind.clock import SimulatedClock
from edgewind.virtual import INSTRUMENTS, Apparatus, invented_bench


def plain_bench(**virtual):
    """The invented bench as its bench.toml says it is, with keys of [virtual] changed."""
    return invented_bench().model_copy(update={"virtual": VirtualSection(**{"lamp_warms_envelope": "0 K"} | virtual)})


class Desk:
    """An apparatus and its instruments in this process; waiting moves the clock."""

    def __init__(self, bench, seed=1):
        self.clock = SimulatedClock()
        self.apparatus = Apparatus(bench, self.clock)
        self.instruments = {role: kind(self.apparatus, seed) for role, kind in INSTRUMENTS.items()}

    def ask(self, role, message):
        """Send a message and return the answer."""
        steps = self.instruments[role].process(message if isinstance(message, bytes) else message.encode())
        try:
            while True:
                self.clock.advance(max(next(steps) - self.clock.monotonic(), 0.0))
        except StopIteration as done:
            return done.value

    def tell(self, role, message):
        """Send a message, and see that it gives no answer and no error."""
        assert self.ask(role, message) == b""
        assert self.error(role) == '0,"No error"'

    def error(self, role):
        return self.ask(role, "SYST:ERR?").decode()

    def number(self, role, message):
        return float(self.ask(role, message))

    def errors(self, role):
        found = []
        while (error := self.error(role)) != '0,"No error"':
            found.append(int(error.split(",")[0]))
        return found


class Link:
    """A client that knows nothing but sockets."""

    def __init__(self, port, host="127.0.0.1", timeout=120.0):
        self.socket = socket.create_connection((host, port), timeout=timeout)
        self.stream = self.socket.makefile("rb")

    def send(self, message):
        self.socket.sendall((message if isinstance(message, bytes) else message.encode()) + b"\n")

    def ask(self, message):
        self.send(message)
        return self.stream.readline().removesuffix(b"\n").decode("latin-1")

    def block(self, message=None):
        """Read an IEEE 488.2 definite length block and the line feed after it."""
        if message is not None:
            self.send(message)
        sign, digits = self.stream.read(1), int(self.stream.read(1))
        assert sign == b"#"
        data = self.stream.read(int(self.stream.read(digits)))
        assert self.stream.read(1) == b"\n"
        return data

    def close(self):
        self.stream.close()
        self.socket.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()
