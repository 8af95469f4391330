"""A trace without end, from the instrument to the disk: bounded memory, nothing left out, and proof of both.

A digitiser that streams sends numbered blocks: an IEEE 488.2 definite-length block each, holding the number of the
block, the time of its first sample and the samples. One thread reads them from the wire and sees that no number is
missing; another writes them to files of bounded size and sums their SHA-256. Between the two stands a queue of a few
blocks: where the disk is slower than the wire the reader waits, the wire fills, and the instrument has to keep what it
has; no block is ever thrown away. If one is missing, if its time does not follow from the one before, or if it is
damaged, the stream ends with an error, and what came before it is whole.
"""

from __future__ import annotations

import hashlib
import json
import os
import queue
import struct
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, Protocol

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.live.disk import write_whole
from edgewind.live.errors import GarbledError, InstrumentError
from edgewind.live.transport import Transport

QUEUE_BLOCKS = 64
FILE_BYTES = 1 << 28
_HEAD = struct.Struct(">Qd")
# The time of a block may stray from that of the block before and its length by this share of an interval.
_STRAY = 0.01


@dataclass(frozen=True)
class Block:
    """A piece of a stream: its number from zero, the time of its first sample in s, its samples as they were sent."""

    number: int
    time_s: float
    samples: bytes


class Source(Protocol):
    """Where blocks come from, one after the other; ends after :meth:`stop`, or where there are no more."""

    def __iter__(self) -> Iterator[Block]:
        """Give the blocks."""

    def stop(self) -> None:
        """Ask for an end; blocks that were sent before still come."""


class WireSource:
    """Blocks from an instrument: `start` is a question that is answered with blocks until `stop` is sent.

    Each block holds an unsigned whole number and a real of 64 bits, then samples of 16 bits, all big-endian; the last
    one is empty.
    """

    def __init__(self, transport: Transport, start: str, stop: str) -> None:
        self._transport, self._start, self._stop = transport, start, stop

    def __iter__(self) -> Iterator[Block]:
        for content in self._transport.blocks(self._start):
            if not content:
                return
            if len(content) < _HEAD.size + 2 or (len(content) - _HEAD.size) % 2:
                raise GarbledError(self._transport.address, f"a block of {len(content)} bytes is no piece of a stream")
            number, time_s = _HEAD.unpack_from(content)
            yield Block(number, time_s, content[_HEAD.size :])

    def stop(self) -> None:
        """Ask for an end."""
        self._transport.interrupt(self._stop)


@dataclass
class Streamed:
    """What was streamed.

    Attributes
    ----------
    samples, blocks : int
        How many there are.
    dropped : int
        Blocks that are missing; a stream with any ends there, so that this is 0 or 1.
    seconds : float
        How long it took, on the wall.
    interval_s : float
        Time between samples, s.
    files : list of dict
        Name, samples, bytes and SHA-256 of each file.
    most_waiting : int
        Most blocks that stood in the queue.
    problem : str
        Why it ended early; empty where it did not.
    """

    samples: int = 0
    blocks: int = 0
    dropped: int = 0
    seconds: float = 0.0
    interval_s: float = 0.0
    files: list[dict[str, str | int]] = field(default_factory=list)
    most_waiting: int = 0
    problem: str = ""

    @property
    def rate(self) -> float:
        """Samples per second on the wall."""
        return self.samples / self.seconds if self.seconds else 0.0


def record_stream(
    source: Source,
    folder: Path,
    *,
    interval_s: float,
    samples: int,
    file_bytes: int = FILE_BYTES,
    on_block: Callable[[Streamed], None] | None = None,
) -> Streamed:
    """Write a stream to files ``stream-0001.i2`` and so on, big-endian whole numbers of 16 bits, and ``stream.json``.

    Parameters
    ----------
    source : Source
        Where the blocks come from.
    folder : Path
        A folder, made where there is none.
    interval_s : float
        Time between samples, s.
    samples : int
        How many to take; the stream ends with the block that completes them.
    file_bytes : int
        Most bytes in one file.
    on_block : callable, optional
        Called by the reader after each block.

    Returns
    -------
    Streamed
        Also written to ``stream.json``; `problem` says whether it ended early, and what is in the files is whole.

    Raises
    ------
    InputError
        The files cannot be written.
    """
    done = Streamed(interval_s=interval_s)
    waiting: queue.Queue[Block | None] = queue.Queue(QUEUE_BLOCKS)
    failed: list[BaseException] = []

    def write() -> None:
        writer = _Writer(folder, file_bytes)
        try:
            while (block := waiting.get()) is not None:
                writer.add(block.samples)
            done.files = writer.close()
        except BaseException as error:
            failed.append(error)
            while waiting.get() is not None:  # let the reader go on to its end
                continue

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot be made ({error.strerror})", file=folder) from error
    thread = threading.Thread(target=write, name="edgewind stream")
    thread.start()
    began = time.monotonic()
    try:
        _pass_on(source, waiting, failed, done, samples, on_block)
    except InstrumentError as error:
        done.problem = str(error)
    finally:
        waiting.put(None)
        thread.join()
    done.seconds = time.monotonic() - began
    if failed:
        cause = failed[0]
        if isinstance(cause, OSError):
            raise InputError(
                f"cannot be written ({cause.strerror or cause})",
                file=folder,
                fix="free some space; the files that are complete are whole",
            ) from cause
        raise cause
    write_whole(folder / "stream.json", json.dumps(asdict(done), indent=1).encode() + b"\n")
    return done


def _pass_on(
    source: Source,
    waiting: queue.Queue[Block | None],
    failed: list[BaseException],
    done: Streamed,
    samples: int,
    on_block: Callable[[Streamed], None] | None,
) -> None:
    expected: float | None = None
    stopping = False
    for block in source:
        if failed:
            return
        if stopping:
            continue  # sent before the end was asked for
        if block.number != done.blocks:
            done.dropped = 1
            done.problem = f"block {done.blocks} is missing: block {block.number} came in its place"
            source.stop()
            return
        count = len(block.samples) // 2
        if expected is not None and abs(block.time_s - expected) > _STRAY * done.interval_s + 1e-9 * abs(expected):
            done.problem = f"block {block.number} begins at {block.time_s:.9g} s and not at {expected:.9g} s"
            source.stop()
            return
        expected = block.time_s + count * done.interval_s
        waiting.put(block)
        done.most_waiting = max(done.most_waiting, waiting.qsize())
        done.blocks += 1
        done.samples += count
        if on_block is not None:
            on_block(done)
        if done.samples >= samples:
            stopping = True
            source.stop()
    if done.samples < samples:
        done.problem = f"the stream ended after {done.samples} of {samples} samples"


class _Writer:
    def __init__(self, folder: Path, most: int) -> None:
        self._folder, self._most = folder, most
        self._file: IO[bytes] | None = None
        self._digest = hashlib.sha256()
        self._size = 0
        self._files: list[dict[str, str | int]] = []

    def add(self, samples: bytes) -> None:
        if self._file is not None and self._size + len(samples) > self._most:
            self._finish()
        if self._file is None:
            self._file = (self._folder / f"stream-{len(self._files) + 1:04d}.i2").open("wb")
            self._digest, self._size = hashlib.sha256(), 0
        self._file.write(samples)
        self._digest.update(samples)
        self._size += len(samples)

    def _finish(self) -> None:
        assert self._file is not None
        self._file.flush()
        os.fsync(self._file.fileno())
        self._file.close()
        self._files.append(
            {
                "name": Path(self._file.name).name,
                "samples": self._size // 2,
                "bytes": self._size,
                "sha256": self._digest.hexdigest(),
            }
        )
        self._file = None

    def close(self) -> list[dict[str, str | int]]:
        if self._file is not None:
            self._finish()
        return self._files


def read_stream(folder: Path) -> Iterator[NDArray[np.int16]]:
    """Give the samples of each file of a stream, seen to be those that were written.

    Raises
    ------
    InputError
        A file is missing or damaged.
    """
    try:
        about = json.loads((folder / "stream.json").read_bytes())
        files = about["files"]
    except (OSError, ValueError, KeyError) as error:
        raise InputError("there is no whole stream here", file=folder, fix="name the folder of a stream") from error
    for one in files:
        path = folder / str(one["name"])
        content = path.read_bytes() if path.is_file() else b""
        if hashlib.sha256(content).hexdigest() != one["sha256"]:
            raise InputError("this is not what was written", file=path, fix="keep a copy, and use the files before it")
        yield np.frombuffer(content, ">i2").astype(np.int16)
