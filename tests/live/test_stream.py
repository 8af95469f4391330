"""A trace without end: nothing is left out, memory stays bounded, and what is amiss is told and never bridged."""

import json
import resource
import struct
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.live import stream
from edgewind.live.stream import Block, WireSource, read_stream, record_stream
from edgewind.live.transport_visa import VisaTransport

sys.path.insert(0, str(Path(__file__).parent))
from fake import FakeInstrument

COUNT, INTERVAL = 1000, 1e-5


def samples_of(number, count=COUNT):
    return (np.arange(count) + 7 * number).astype(">i2").tobytes()


class Numbered:
    """A source that gives blocks until it is asked to stop."""

    def __init__(self, change=lambda number: None, most=10**9):
        self.change, self.most = change, most
        self.stopped = threading.Event()
        self.given = 0

    def __iter__(self):
        for number in range(self.most):
            if self.stopped.is_set():
                return
            block = Block(number, number * COUNT * INTERVAL, samples_of(number))
            block = self.change(number) or block
            self.given = number + 1
            yield block

    def stop(self):
        self.stopped.set()


def test_everything_that_was_sent_is_in_the_files_in_order(tmp_path):
    done = record_stream(Numbered(), tmp_path, interval_s=INTERVAL, samples=100 * COUNT, file_bytes=30 * COUNT * 2)
    assert (done.samples, done.blocks, done.dropped, done.problem) == (100 * COUNT, 100, 0, "")
    assert [one["samples"] for one in done.files] == [30 * COUNT] * 3 + [10 * COUNT]
    found = np.concatenate(list(read_stream(tmp_path)))
    wanted = np.concatenate([np.frombuffer(samples_of(number), ">i2") for number in range(100)])
    np.testing.assert_array_equal(found, wanted)
    assert json.loads((tmp_path / "stream.json").read_text())["samples"] == 100 * COUNT


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda n: Block(n + 1, n * COUNT * INTERVAL, samples_of(n)) if n >= 5 else None, "block 5 is missing"),
        (lambda n: Block(n, n * COUNT * INTERVAL + INTERVAL, samples_of(n)) if n >= 5 else None, "block 5 begins at"),
    ],
)
def test_what_is_missing_ends_the_stream_and_what_came_before_is_whole(tmp_path, change, said):
    source = Numbered(change)
    done = record_stream(source, tmp_path, interval_s=INTERVAL, samples=100 * COUNT)
    assert done.problem.startswith(said) and source.stopped.is_set()
    assert done.samples == 5 * COUNT
    assert sum(part.size for part in read_stream(tmp_path)) == 5 * COUNT


def test_a_source_that_ends_early_is_told(tmp_path):
    done = record_stream(Numbered(most=3), tmp_path, interval_s=INTERVAL, samples=100 * COUNT)
    assert done.problem == f"the stream ended after {3 * COUNT} of {100 * COUNT} samples"


def test_a_disk_that_is_slow_holds_the_source_back_and_loses_nothing(tmp_path, monkeypatch):
    add = stream._Writer.add
    monkeypatch.setattr(stream._Writer, "add", lambda self, data: (time.sleep(0.002), add(self, data)))
    source, ahead = Numbered(), []
    done = record_stream(
        source, tmp_path, interval_s=INTERVAL, samples=200 * COUNT, on_block=lambda now: ahead.append(now.blocks)
    )
    assert done.problem == "" and done.samples == 200 * COUNT
    assert done.most_waiting <= stream.QUEUE_BLOCKS  # bounded, and it was reached: the source had to wait
    assert done.most_waiting >= stream.QUEUE_BLOCKS - 1
    assert sum(part.size for part in read_stream(tmp_path)) == 200 * COUNT


def test_a_disk_that_is_full_is_told_and_earlier_files_are_whole(tmp_path, monkeypatch):
    add = stream._Writer.add

    def full(self, data):
        if len(self._files) == 2:
            raise OSError(28, "No space left on device")
        add(self, data)

    monkeypatch.setattr(stream._Writer, "add", full)
    with pytest.raises(InputError, match="No space left on device") as raised:
        record_stream(Numbered(), tmp_path, interval_s=INTERVAL, samples=10**9, file_bytes=10 * COUNT * 2)
    assert "free some space" in str(raised.value)
    assert sorted(path.name for path in tmp_path.glob("*.i2"))[:2] == ["stream-0001.i2", "stream-0002.i2"]
    assert (tmp_path / "stream-0001.i2").stat().st_size == 10 * COUNT * 2


def test_a_file_that_was_changed_is_found(tmp_path):
    record_stream(Numbered(), tmp_path, interval_s=INTERVAL, samples=10 * COUNT)
    file = tmp_path / "stream-0001.i2"
    data = bytearray(file.read_bytes())
    data[777] ^= 1
    file.write_bytes(data)
    with pytest.raises(InputError, match="this is not what was written"):
        list(read_stream(tmp_path))
    with pytest.raises(InputError, match="no whole stream here"):
        list(read_stream(tmp_path / "none"))


def framed(number, count=50, damage=b""):
    content = struct.pack(">Qd", number, number * count * INTERVAL) + samples_of(number, count) + damage
    return b"#3%03d" % len(content) + content + b"\n"


@pytest.mark.parametrize("damage", [b"#1", b"\n\n", b"#0", b"#3005ab\n"])
def test_a_block_that_is_damaged_on_its_way_ends_the_stream(tmp_path, damage):
    blocks = b"".join(framed(number) for number in range(4)) + damage
    with FakeInstrument({"STR?": blocks}) as instrument:
        link = VisaTransport(instrument.address, timeout_s=0.3, check="*IDN?")
        done = record_stream(WireSource(link, "STR?", "STOP"), tmp_path, interval_s=INTERVAL, samples=10**6)
        link.close()
    assert done.samples == 200 and done.problem.startswith(instrument.address)


def test_the_stream_of_the_virtual_bench_comes_whole_in_bounded_memory(virtual, tmp_path):
    """Two million samples, 20 s at 100 kSa/s; `benchmarks/bench_live.py` takes an hour of them."""
    link = VisaTransport(virtual.address("stream"), timeout_s=20.0, check="*IDN?")
    link.write("STR:BLOC 50000")
    interval = link.query("STR:XINC?", float)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    done = record_stream(
        WireSource(link, "STR:DATA?", "STR:STOP"),
        tmp_path,
        interval_s=interval,
        samples=2_000_000,
        file_bytes=1 << 20,
    )
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    assert (done.samples, done.dropped, done.problem) == (2_000_000, 0, "")
    assert sum(part.size for part in read_stream(tmp_path)) == 2_000_000
    assert link.query("*IDN?", str).startswith("Edgewind")  # questions and answers go together afterwards
    link.close()
    # 64 blocks of 0.1 MB may wait, and the bench in this process has some of its own
    assert grown < 150
