"""Boards on a serial port, simulated by a pseudo-terminal: some print lines unasked, others reply to queries."""

import contextlib
import os
import pty
import select
import threading
import time
import tty

import pytest

from edgewind.bench import parse_bench
from edgewind.errors import InputError
from edgewind.live import DisconnectedError, GarbledError, InstrumentError, NoAnswerError, connect

LINES = r"^P=(?P<gauge>\S+) T=(?P<thermometer>\S+)$"


class Board:
    """The far end of a pseudo-terminal."""

    def __init__(self):
        self.near, far = pty.openpty()
        tty.setraw(far)
        tty.setraw(self.near)
        self.port = os.ttyname(far)
        self._far = far  # kept open, so that the near end lives while nobody is connected
        self.heard = b""
        self._stop = threading.Event()
        self._threads = []

    def prints(self, lines, every=0.01):
        """Print lines over and over."""

        def loop():
            while not self._stop.is_set():
                for line in lines:
                    with contextlib.suppress(OSError):
                        os.write(self.near, line)
                    time.sleep(every)

        return self._begin(loop)

    def answers(self, replies):
        """Answer lines; a list is answered one after the other."""

        def loop():
            buffer = b""
            while not self._stop.is_set():
                if not select.select([self.near], [], [], 0.05)[0]:
                    continue
                buffer += os.read(self.near, 100)
                while b"\n" in buffer:
                    line, _, buffer = buffer.partition(b"\n")
                    self.heard += line + b"\n"
                    reply = replies.get(line)
                    if isinstance(reply, list):
                        reply = reply.pop(0) if len(reply) > 1 else reply[0]
                    if reply:
                        os.write(self.near, reply)

        return self._begin(loop)

    def _begin(self, loop):
        self._threads.append(threading.Thread(target=loop, daemon=True))
        self._threads[-1].start()
        return self

    def close(self):
        self._stop.set()
        for thread in self._threads:  # before its descriptor is closed and given to someone else
            thread.join()
        for end in (self.near, self._far):
            with contextlib.suppress(OSError):
                os.close(end)


@pytest.fixture
def board():
    made = Board()
    yield made
    made.close()


@pytest.fixture
def bench_with(make_bench_text, board):
    """A bench whose instruments are on the board."""

    def make(**instruments):
        for section in instruments.values():
            section.setdefault("timeout", "60 s")  # what comes has time to, on a loaded machine
            section.setdefault("port", board.port)
        limits = {"pressure_above": "50 Pa"}
        return parse_bench(make_bench_text(instruments=instruments, limits=limits))

    return make


def test_numbers_are_taken_from_whole_lines_only(board, bench_with):
    """A line may be joined in the middle, end early, hold rubbish or be something else: none of it becomes a number."""
    board.prints([b"P=3.269 T=22.5\n", b"P=3.2", b"69 T=22.5\n", b"hello\n", b"P=3.x T=22.5\n", b"P=3.269 T=22.5\n"])
    bench = bench_with(gauge={"lines": LINES}, thermometer={"unit": "degC"})
    with connect(bench) as instruments:
        assert len(instruments.transports) == 1  # one port, one connection
        values, warm = [], []
        for _ in range(12):
            with contextlib.suppress(InstrumentError):
                values.append(instruments.gauge.read().text)
                warm.append(instruments.thermometer.read().text)
    assert set(values) == {"3.269"} and set(warm) == {"22.5"}


def test_a_silent_board_times_out_and_invalid_lines_are_garbled(board, bench_with):
    with connect(bench_with(gauge={"lines": LINES, "retries": 1, "timeout": "0.4 s"})) as instruments:
        with pytest.raises(NoAnswerError, match=r"gauge: no complete answer within 0\.4 s"):
            instruments.gauge.read()
        board.prints([b"ready\n"])
        with pytest.raises(GarbledError, match="'ready' does not match the pattern"):
            instruments.gauge.read()


def test_an_unplugged_board_is_reported(board, bench_with):
    board.prints([b"P=3.269 T=22.5\n"])
    bench = bench_with(gauge={"lines": LINES, "retries": 1, "timeout": "2 s"})
    with connect(bench) as instruments:
        assert instruments.gauge.read().number == 3.269
        board.close()
        with pytest.raises((DisconnectedError, NoAnswerError), match="gauge: "):
            instruments.gauge.read()


def test_a_board_that_replies_is_queried(board, bench_with):
    board.answers({b"P?": [b"rubbish\n", b"3.269\n"], b"T?": b"22.5\n", b"L1": b"", b"L?": b"1\n"})
    bench = bench_with(
        gauge={"read": "P?"}, thermometer={"read": "T?"}, lamp={"on": "L1", "off": "L0", "read": "L?"}
    )  # fmt: skip
    with connect(bench) as instruments:
        assert instruments.gauge.read().text == "3.269"
        assert instruments.thermometer.read().number == 22.5
        instruments.lamp.switch(True)
        assert b"L1\n" in board.heard
        with pytest.raises(GarbledError, match="it was sent 'L0' and says that it is on"):
            instruments.lamp.switch(False)


def test_a_serial_line_over_visa_is_read(board, make_bench_text):
    """The same board as a VISA resource, ASRL."""
    board.answers({b"MEAS?": b"3.269\n", b"*IDN?": b"Board,1,2,3\n"})
    instruments = {"gauge": {"resource": f"ASRL{board.port}::INSTR", "read": "MEAS?", "timeout": "60 s"}}
    with connect(parse_bench(make_bench_text(instruments=instruments))) as opened:
        assert opened.gauge.read().number == 3.269


@pytest.mark.parametrize(
    ("section", "said"),
    [
        ({"lines": "P=(?P<gauge>"}, "is not a pattern"),
        ({"lines": "P=(?P<pressure>.*)"}, "no group of the pattern is named 'gauge'"),
        ({"resource": "ASRL1::INSTR"}, "two connections are stated"),
        ({"unit": "kg", "lines": LINES}, "is not a unit that fits"),
        ({}, "no group of the pattern"),
    ],
)
def test_a_wrong_description_of_a_board_is_refused_with_a_correction(bench_with, section, said):
    with pytest.raises(InputError, match=said) as raised:
        bench_with(gauge=section)
    assert "instruments.gauge" in str(raised.value)
