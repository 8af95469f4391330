"""The logger: the tachometer as one endless stream of numbered blocks, none of which is ever left out."""

from __future__ import annotations

import struct

from edgewind.virtual.apparatus import MOST_HELD_S
from edgewind.virtual.instruments.digitiser import BYTE_ORDER, OFFSET, RANGE, STEPS, Digitiser
from edgewind.virtual.scpi import (
    Command,
    Interrupted,
    Number,
    ScpiError,
    Send,
    Steps,
    Wait,
    block,
    real,
    setting,
)

RATE = Number("Hz", 1.0, 1e6, 100_000.0)
BLOCK = Number("", 16, 1_000_000, 10_000, whole=True)
END = block(b"") + b"\n"


class Stream(Digitiser):
    """Streams the tachometer from STReam:DATA? on, until the client sends anything.

    Each block is an IEEE 488.2 definite length block and a line feed. It holds the number of the block, counted from
    zero, and the bench time of its first sample in seconds (an unsigned whole number and a real of 64 bits), then the
    samples as whole numbers of 16 bits; volts are ``YOFFset + YINCrement * number``. A client that reads slowly makes
    the stream fall behind; nothing is dropped. The last block is empty.
    """

    NAME = "stream"
    rate_hz: float
    samples: float
    range_v: float
    offset_v: float

    def reset(self) -> None:
        """Go to 100 kSa/s in blocks of 10 000 samples."""
        super().reset()
        self.rate_hz, self.samples = RATE.default, BLOCK.default
        self.range_v, self.offset_v = RANGE.default, OFFSET.default

    @property
    def step_v(self) -> float:
        """Volts of a step of the converter."""
        return self.range_v / STEPS

    def stream(self) -> Steps:
        """Send block after block."""
        interval, count, step, offset = 1 / self.rate_hz, int(self.samples), self.step_v, self.offset_v
        order = "<" if self.swapped else ">"
        hold = self.apparatus.hold()
        start, number = hold.since_s, 0
        try:
            while True:
                end = start + (number + 1) * count * interval
                while end > self.now():
                    yield Wait(end)
                if self.now() - hold.since_s > MOST_HELD_S:
                    raise ScpiError(-310, f"the client is {MOST_HELD_S:g} s of bench time behind: the stream ended")
                volts = self.sampled(start, interval, number * count, count, self.random)
                samples = self.converted(volts, step, offset).astype(order + "i2", copy=False).tobytes()
                head = struct.pack(order + "Qd", number, start + number * count * interval)
                number += 1
                hold.since_s = end
                yield Send(block(head + samples) + b"\n")
        except Interrupted:
            yield Send(END)
            return None
        except ScpiError:
            yield Send(END)
            raise
        finally:
            self.apparatus.release(hold)

    COMMANDS = (
        *setting("STReam:SRATe", "rate_hz", RATE),
        *setting("STReam:BLOCk", "samples", BLOCK),
        *setting("STReam:RANGe", "range_v", RANGE),
        *setting("STReam:OFFSet", "offset_v", OFFSET),
        *setting("FORMat:BORDer", "order", BYTE_ORDER),
        Command("STReam:YINCrement?", lambda logger: real(logger.step_v)),
        Command("STReam:YOFFset?", lambda logger: real(logger.offset_v)),
        Command("STReam:XINCrement?", lambda logger: real(1 / logger.rate_hz)),
        Command("STReam:DATA?", stream),
        Command("STReam:STOP", lambda logger: None),
    )
