"""The virtual bench without sockets, on a simulated clock: hours of sweep pass as fast as they are computed."""

from __future__ import annotations

import random
import sys
import threading
import time
from collections import Counter, deque
from pathlib import Path

from edgewind.clock import SimulatedClock
from edgewind.live import connect, prepare
from edgewind.live.transport import Transport, no_answer
from edgewind.virtual import INSTRUMENTS, Apparatus, invented_bench, invented_text, write_folder

sys.path.insert(0, str(Path(__file__).parents[1] / "virtual"))
from proxy import spoiled

STEADINESS = """
[steadiness]
dwell = "20 s"
at_least = "40 s"
at_most = "3000 s"
every = "4 s"
trace = "10 s"
pressure_drift = "4 %"
speed_drift = "4 %"
look = "6 s"
coast_down = "60 s"
"""


class PacedClock(SimulatedClock):
    """A simulated clock that lets other threads and programs have their turn with every wait."""

    def wait(self, event, seconds=None):
        time.sleep(0.001)
        return super().wait(event, seconds)


class SimulatedBench:
    """An apparatus, its instruments and a clock that moves only where something waits."""

    def __init__(self, bench=None, seed=3, clock=None):
        self.clock = clock or SimulatedClock()
        self.apparatus = Apparatus(invented_bench() if bench is None else bench, self.clock)
        self.instruments = {role: kind(self.apparatus, seed) for role, kind in INSTRUMENTS.items()}
        self.ports = {role: 10_000 + number for number, role in enumerate(INSTRUMENTS)}
        self.faults = {}  # by role: called with every message, may raise or return another
        self.connections = {}  # by role: a BadConnection, or nothing for one that is good

    def address(self, role):
        return f"TCPIP::127.0.0.1::{self.ports[role]}::SOCKET"

    def folder(self, place, change=lambda text: text, name="rotor"):
        """Write a folder whose bench.toml names these instruments; `change` alters its text."""
        folder = place / name
        file = write_folder(folder, invented_text(), self.ports)
        file.write_text(change(file.read_text(encoding="utf-8") + STEADINESS), encoding="utf-8")
        return folder

    def connect(self, bench):
        """Make the instruments of a bench.toml, those of this bench behind them."""
        return connect(bench, self.clock, {"resource": self._transport})

    def _transport(self, address, **settings):
        settings.pop("baud")
        role = next(role for role in self.ports if self.address(role) == address)
        return SimulatedTransport(address, self, role, **settings)

    def prepare(self, folder, target, request, **options):
        return prepare(folder, target, request, instruments=self.connect, clock=self.clock, **options)

    def run(self, folder, target, request, during=None, **options):
        """Run a sweep to its end; `during` is called with the sweep and every event, in the sweep's thread."""
        sweep = self.prepare(folder, target, request, **options)
        try:
            if during is not None:
                sweep.subscribe(lambda event: during(sweep, event))
            sweep.start()
            assert sweep.join(200), sweep.status()
            return sweep
        finally:
            sweep.close()

    def tell(self, role, *commands):
        """Send commands past the recorder, as another program would: ``tell("valve", "OUTP ON", "VOLT 5")``."""
        for command in commands:
            for _ in self.instruments[role].process(command.encode()):
                pass

    def state(self):
        return self.apparatus.state()

    def is_safe(self, within_s=60.0):
        """Whether valve and lamp are off once they have had time to follow."""
        self.clock.sleep(within_s)
        state = self.state()
        return state["valve"] < 0.05 and state["lamp"] < 0.05


class BadConnection:
    """Spoils what passes to and from an instrument, from a seed, as `proxy.FaultyProxy` does on sockets.

    ``bench.connections["gauge"] = BadConnection(bench.clock, Faults(garble=0.05, cut=0.02), seed=3)``; `counts` says
    how many faults of each kind there were. The same seed makes the same draws.
    """

    def __init__(self, clock, faults, seed):
        self.clock, self.faults, self.counts = clock, faults, Counter()
        self._random = random.Random(seed)

    def __call__(self, piece):
        """Return the pieces that come through; ConnectionResetError cuts, a piece of None closes."""
        self.clock.sleep(self.faults.delay_s * self._random.random())
        kind = self.faults.drawn(self._random.random())
        self.counts[kind or "pieces"] += 1
        if kind == "cut":
            raise ConnectionResetError("the connection was reset")
        return spoiled(piece, kind, self._random)


class SimulatedTransport(Transport):
    """Messages to an instrument in this process; an answer that takes bench time takes it from the clock."""

    def __init__(self, address, bench, role, **settings):
        super().__init__(address, **settings)
        self._bench, self._role = bench, role
        self._shut()

    def _open(self):
        self._fault(b"")

    def _shut(self):
        self._question, self._lines, self._answers, self._running = b"", deque(), b"", None

    def _fault(self, message):
        return self._bench.faults.get(self._role, lambda message: message)(message)

    def _through(self, piece):
        """Let a piece pass the connection; what closes it closes it for both sides."""
        connection = self._bench.connections.get(self._role)
        return [piece] if connection is None else connection(piece)

    def _send(self, data):
        for piece in self._through(self._fault(data)):
            if piece is None:
                raise ConnectionResetError("the connection was closed")
            *lines, self._question = (self._question + piece).split(b"\n")
            self._lines.extend(lines)
            self._go_on()

    def _answer(self, data):
        for piece in self._through(data):
            if piece is None:
                self._running = None
                self._lines.clear()
                return
            self._answers += piece

    def _go_on(self):
        """Work until every question is answered or bench time has to pass; return until when."""
        while self._running is not None or self._lines:
            if self._running is None:
                self._running = self._bench.instruments[self._role].process(self._lines.popleft())
            try:
                while self._running is not None:
                    until_s = next(self._running)
                    if until_s > self.clock.monotonic():
                        return until_s
            except StopIteration as done:
                self._running = None
                if done.value:
                    self._answer(done.value + b"\n")
        return 0.0

    def _have(self, enough, timeout_s):
        end = self.clock.monotonic() + timeout_s
        while not enough():
            until = self._go_on()
            if enough():
                return
            if not until or until > end:
                raise no_answer(self.address, timeout_s, self._answers)
            self.clock.sleep(until - self.clock.monotonic())

    def _read_line(self, timeout_s):
        self._have(lambda: self.termination in self._answers, timeout_s)
        line, _, self._answers = self._answers.partition(self.termination)
        return line

    def _read_exactly(self, count, timeout_s):
        self._have(lambda: len(self._answers) >= count, timeout_s)
        taken, self._answers = self._answers[:count], self._answers[count:]
        return taken

    def _pending(self):
        return bool(self._answers)

    def _drain(self):
        self._answers = b""

    def query_while(self, question, attend, *, timeout_s):
        """As of any transport, in one thread: what is attended to moves the clock."""
        self._attempt(lambda: self._send_question(question), 0)
        while (until := self._go_on()) and b"\n" not in self._answers:
            due = threading.Event()
            self.clock.at(until, due.set)
            try:
                while not due.is_set():
                    attend(due, until - self.clock.monotonic())
            except BaseException:
                self.close()
                raise
        return self._attempt(lambda: self._read_line(timeout_s), 0).decode()
