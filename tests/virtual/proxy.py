"""A TCP proxy that spoils what passes through it, from a seed: for tests of whatever talks to instruments.

with FaultyProxy(bench.ports["gauge"], Faults(garble=0.05, cut=0.02), seed=3) as proxy:
...  # connect to proxy.port instead
proxy.faults = Faults()  # from now on all is well
print(proxy.counts)
"""

from __future__ import annotations

import contextlib
import random
import socket
import struct
import threading
import time
from collections import Counter
from dataclasses import dataclass, fields


@dataclass(frozen=True)
class Faults:
    """Chance, for each piece of data as it arrives, of one fault; and a delay for every piece.

    Attributes
    ----------
    delay_s : float
        Greatest delay before a piece is passed on; each is drawn evenly from zero up.
    cut : float
        The connection is reset, and the piece is lost.
    half : float
        The first half is passed on, then the connection is closed.
    split : float
        The two halves are passed on 50 ms apart.
    garble : float
        One byte of the piece, not a line feed, is changed to another.
    flip : float
        One bit of a byte is turned over; the byte may become a line feed.
    duplicate : float
        The piece is passed on twice.
    drop : float
        The piece is lost, and the connection stays.
    noise : float
        Random bytes are put before the piece.
    """

    delay_s: float = 0.0
    cut: float = 0.0
    half: float = 0.0
    split: float = 0.0
    garble: float = 0.0
    flip: float = 0.0
    duplicate: float = 0.0
    drop: float = 0.0
    noise: float = 0.0

    def drawn(self, place: float) -> str:
        """Return the fault at a place drawn evenly from 0 to 1, or an empty text for none."""
        for kind in KINDS:
            place -= getattr(self, kind)
            if place < 0:
                return kind
        return ""


KINDS = tuple(field.name for field in fields(Faults) if field.name != "delay_s")


def spoiled(piece: bytes, kind: str, draw: random.Random) -> list[bytes | None]:
    """Return what comes through of a piece: parts, a pause between them; None where the connection is then closed."""
    middle = max(1, len(piece) // 2)
    if kind == "half":
        return [piece[:middle], None]
    if kind == "split":
        return [piece[:middle], piece[middle:]]
    if kind in ("garble", "flip"):
        return [_garbled(piece, draw) if kind == "garble" else _flipped(piece, draw)]
    if kind == "duplicate":
        return [piece + piece]
    if kind == "noise":
        return [draw.randbytes(draw.randint(1, 20)) + piece]
    return [] if kind == "drop" else [piece]


class FaultyProxy:
    """Listens on a free port of 127.0.0.1 and passes on to another.

    Parameters
    ----------
    target_port : int
        Where the instrument is.
    faults : Faults
        What goes wrong; may be replaced at any time.
    on : str
        ``"answers"`` (to the client), ``"questions"`` (from it) or ``"both"``.
    seed : int
        The same seed makes the same draws, piece by piece; how data falls into pieces is up to the network.
    target_host : str
        Its address.

    Attributes
    ----------
    port : int
        Where to connect.
    counts : Counter
        How many faults of each kind there were, and ``pieces``.
    refuse : bool
        Whether new connections are closed at once, as where the cable is out.
    """

    def __init__(
        self,
        target_port: int,
        faults: Faults | None = None,
        *,
        on: str = "answers",
        seed: int = 0,
        target_host: str = "127.0.0.1",
    ) -> None:
        assert on in ("answers", "questions", "both")
        self.faults, self.on, self.refuse = faults or Faults(), on, False
        self.counts: Counter[str] = Counter()
        self._target = (target_host, target_port)
        self._random, self._lock = random.Random(seed), threading.Lock()
        self._links: set[socket.socket] = set()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        threading.Thread(target=self._welcome, daemon=True).start()

    def address(self) -> str:
        """Return the VISA resource to open instead of the instrument's."""
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    def cut_all(self) -> None:
        """Reset every connection there is now."""
        with self._lock:
            links = list(self._links)
        for link in links:
            _reset(link)

    def close(self) -> None:
        """Stop listening and end every connection."""
        with contextlib.suppress(OSError):
            self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()
        self.cut_all()

    def __enter__(self) -> FaultyProxy:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _welcome(self) -> None:
        while True:
            try:
                client, _ = self._door.accept()
            except OSError:
                return
            if self.refuse:
                _reset(client)
                continue
            try:
                instrument = socket.create_connection(self._target, timeout=30)
                instrument.settimeout(None)
            except OSError:
                _reset(client)
                continue
            for link in (client, instrument):
                link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._links |= {client, instrument}
            for source, sink, name in ((client, instrument, "questions"), (instrument, client, "answers")):
                threading.Thread(target=self._pass_on, args=(source, sink, name), daemon=True).start()

    def _pass_on(self, source: socket.socket, sink: socket.socket, name: str) -> None:
        try:
            while piece := source.recv(65_536):
                self._spoil(piece, source, sink) if self.on in (name, "both") else sink.sendall(piece)
            sink.shutdown(socket.SHUT_WR)
        except OSError:
            _reset(source)
            _reset(sink)
        if name == "answers":
            with self._lock:
                self._links -= {source, sink}

    def _draw(self) -> tuple[str, float, random.Random]:
        with self._lock:
            faults = self.faults
            wait = faults.delay_s * self._random.random()
            kind = faults.drawn(self._random.random())
            self.counts["pieces"] += 1
            if kind:
                self.counts[kind] += 1
            return kind, wait, random.Random(self._random.random())

    def _spoil(self, piece: bytes, source: socket.socket, sink: socket.socket) -> None:
        kind, wait, draw = self._draw()
        if wait:
            time.sleep(wait)
        if kind == "cut":
            _reset(source)
            _reset(sink)
            return
        for number, part in enumerate(spoiled(piece, kind, draw)):
            if part is None:
                sink.shutdown(socket.SHUT_RDWR)
                _reset(source)
                return
            if number:
                time.sleep(0.05)
            sink.sendall(part)


def _garbled(piece: bytes, draw: random.Random) -> bytes:
    places = [place for place, byte in enumerate(piece) if byte != 0x0A]
    if not places:
        return piece
    place = draw.choice(places)
    other = draw.choice([byte for byte in range(256) if byte not in (0x0A, piece[place])])
    return piece[:place] + bytes([other]) + piece[place + 1 :]


def _flipped(piece: bytes, draw: random.Random) -> bytes:
    place = draw.randrange(len(piece))
    return piece[:place] + bytes([piece[place] ^ (1 << draw.randrange(8))]) + piece[place + 1 :]


def _reset(link: socket.socket) -> None:
    """Close so that the other side sees a reset, as from a machine that was switched off."""
    with contextlib.suppress(OSError):
        link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    with contextlib.suppress(OSError):
        link.shutdown(socket.SHUT_RDWR)
    link.close()
