"""The virtual bench on the network: a TCP port for each instrument, with program and response messages."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import math
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Generator, Mapping
from threading import Event, Thread

from edgewind.bench import Bench
from edgewind.clock import Clock, ScaledClock, SimulatedClock
from edgewind.errors import InputError
from edgewind.virtual.apparatus import Apparatus
from edgewind.virtual.instruments import INSTRUMENTS, BenchInstrument
from edgewind.virtual.invented import invented_bench
from edgewind.virtual.scpi import Interrupted, ScpiError

LONGEST_MESSAGE = 65_536
MOST_CLIENTS = 64  # at each port
_WAITING_MESSAGES = 1000
_LONGEST_NAP_S, _SHORTEST_NAP_S, _TICK_S, _LONGEST_GOODBYE_S = 0.05, 0.002, 0.1, 0.5
_Welcome = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]
_OVERRUN = b"\0overrun"
_LONGEST_GAP_S = 0.5
_MOST_SHARE, _MEASURED_S = 0.2, 20.0  # of one processor for the simulation; bench time of the measurement


def clock_for(bench: Bench, speed_up: float) -> ScaledClock:
    """Return a clock for a virtual bench, slower than wanted if this machine cannot simulate as fast.

    Without Numba the simulation may take more than a processor has; if it fell behind its clock, every instrument would
    answer late. On a busy machine the clock also stands still in pauses of the process.

    Parameters
    ----------
    bench : Bench
        The apparatus.
    speed_up : float
        Wanted simulated time over real time.

    Raises
    ------
    InputError
        The speed-up is out of range.
    """
    wanted = ScaledClock(speed_up, _LONGEST_GAP_S)
    trial = SimulatedClock()
    apparatus = Apparatus(bench, trial)
    apparatus.state()  # compiles
    trial.advance(_MEASURED_S)
    began = time.thread_time()
    apparatus.catch_up()
    possible = _MOST_SHARE * _MEASURED_S / max(time.thread_time() - began, 1e-6)
    return wanted if possible >= speed_up else ScaledClock(max(math.floor(possible), 1), _LONGEST_GAP_S)


def check_host(host: str, *, open_to_network: bool = False) -> str:
    """Return the address to listen on; only that of this machine, unless the network is explicitly allowed.

    Raises
    ------
    InputError
        An address that others can reach, without `open_to_network`; or none at all.
    """
    try:
        address = ipaddress.ip_address("127.0.0.1" if host == "localhost" else host)
    except ValueError:
        raise InputError(f"'{host}' is not an address", fix="give an IP address, such as 127.0.0.1") from None
    if not address.is_loopback and not open_to_network:
        raise InputError(
            f"anyone on the network of {host} could operate this bench, which has no password",
            fix="leave --host out, or add --open-to-network if this is intended",
        )
    return str(address)


class BenchServer:
    """Server of an apparatus, inside a running event loop.

    Parameters
    ----------
    apparatus : Apparatus
        The apparatus behind the instruments.
    seed : int, optional
        Seed of the instruments' noise; default: that of `[virtual]`.

    Attributes
    ----------
    instruments : dict of str to BenchInstrument
        By role.
    ports : dict of str to int
        By role, once open.
    """

    def __init__(self, apparatus: Apparatus, seed: int | None = None) -> None:
        self.apparatus = apparatus
        self.seed = apparatus.virtual.seed if seed is None else seed
        self.instruments: dict[str, BenchInstrument] = {
            role: kind(apparatus, self.seed) for role, kind in INSTRUMENTS.items()
        }
        self.ports: dict[str, int] = {}
        self._servers: list[asyncio.Server] = []
        self._sessions: set[asyncio.Task[None]] = set()

    async def open(self, host: str, port: int = 0) -> None:
        """Listen at `port` and those after it, one for each role, or at free ones if it is zero."""
        self.apparatus.state()  # compilation at the first query may take longer than the timeout of a client
        for number, (role, instrument) in enumerate(self.instruments.items()):
            wanted = port + number if port else 0
            try:
                server = await asyncio.start_server(self._welcome(instrument), host, wanted, limit=LONGEST_MESSAGE)
            except (OSError, OverflowError) as error:
                await self.close()
                reason = getattr(error, "strerror", None) or error
                raise InputError(
                    f"cannot listen on {host}, port {wanted}, for the {role}: {reason}",
                    fix="give another --port, or 0 for free ones",
                ) from None
            self._servers.append(server)
            self.ports[role] = server.sockets[0].getsockname()[1]

    async def run(self) -> None:
        """Integrate the apparatus along with the clock until cancelled."""
        while True:
            for instrument in self.instruments.values():
                instrument.tend()
            self.apparatus.catch_up()
            await asyncio.sleep(_TICK_S)

    async def close(self) -> None:
        """Stop listening and end every session."""
        for server in self._servers:
            server.close()
        for session in self._sessions:
            session.cancel()
        await asyncio.gather(*self._sessions, return_exceptions=True)
        self._servers.clear()

    def _welcome(self, instrument: BenchInstrument) -> _Welcome:
        clients = 0

        async def welcome(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            nonlocal clients
            task = asyncio.current_task()
            assert task is not None
            self._sessions.add(task)
            clients += 1
            try:
                if clients <= MOST_CLIENTS:
                    await _serve(instrument, self.apparatus.clock, reader, writer)
            except (ConnectionError, asyncio.CancelledError):
                pass  # the client has disconnected, or the bench is closing
            finally:
                clients -= 1
                self._sessions.discard(task)
                await _hang_up(writer)

        return welcome


async def _hang_up(writer: asyncio.StreamWriter) -> None:
    """Close a connection; unsent data are dropped."""
    writer.close()
    with contextlib.suppress(OSError, TimeoutError, asyncio.CancelledError):
        await asyncio.wait_for(writer.wait_closed(), _LONGEST_GOODBYE_S)
    writer.transport.abort()


async def _messages(reader: asyncio.StreamReader) -> AsyncIterator[bytes]:
    """Yield complete messages without their line feed; an incomplete one at the end of a connection is dropped."""
    kept, too_long = b"", False
    while data := await reader.read(LONGEST_MESSAGE):
        *lines, kept = (kept + data).split(b"\n")
        for line in lines:
            yield _OVERRUN if too_long or len(line) > LONGEST_MESSAGE else line
            too_long = False
        if len(kept) > LONGEST_MESSAGE:
            kept, too_long = b"", True


class _Inbox:
    """Waiting messages of one client."""

    def __init__(self) -> None:
        self._messages: asyncio.Queue[bytes | None] = asyncio.Queue(_WAITING_MESSAGES)
        self._ended = False

    async def listen(self, reader: asyncio.StreamReader) -> None:
        """Receive messages until the client disconnects."""
        with contextlib.suppress(ConnectionError):
            async for message in _messages(reader):
                await self._messages.put(message)
        self._ended = True
        await self._messages.put(None)

    async def take(self) -> bytes | None:
        """Return the next message, or None at the end."""
        return await self._messages.get()

    @property
    def next_is_here(self) -> bool:
        """Whether another message is waiting."""
        return self._messages.qsize() > self._ended


async def _serve(
    instrument: BenchInstrument, clock: Clock, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
) -> None:
    """Serve one client until it disconnects."""
    inbox = _Inbox()
    listening = asyncio.create_task(inbox.listen(reader))
    try:
        while (message := await inbox.take()) is not None:
            if message is _OVERRUN:
                instrument.errors.put(ScpiError(-363))
                continue
            answer = await _work(instrument.process(message), b"?" in message, inbox, clock)
            if answer:
                writer.write(answer + b"\n")
                await writer.drain()
    finally:
        listening.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await listening


async def _work(steps: Generator[float, None, bytes], asked: bool, inbox: _Inbox, clock: Clock) -> bytes:
    """Process a message up to its answer. A client that sends its next message before the answer to a query interrupts
    the query: IEEE 488.2-1992, 6.3.2.3. A message without a query is completed first.
    """
    try:
        while True:
            until_s = next(steps)
            if asked and inbox.next_is_here:
                steps.throw(Interrupted())  # ends the steps
            await asyncio.sleep(_nap(clock, until_s))
    except StopIteration as done:
        answer: bytes = done.value
        return answer
    finally:
        steps.close()


def _nap(clock: Clock, until_s: float) -> float:
    """Return the real time until the next integration of the bench, s."""
    left = until_s - clock.monotonic()
    if left <= 0:
        return 0.0
    return min(left / clock.speed_up, _LONGEST_NAP_S) if isinstance(clock, ScaledClock) else _SHORTEST_NAP_S


class ServedBench:
    """A virtual bench served by a thread of this process, until closed; see :func:`serve_bench`.

    Attributes
    ----------
    host : str
        Address.
    ports : mapping of str to int
        Port of each role.
    apparatus : Apparatus
        The apparatus, for its true state.
    """

    def __init__(self, apparatus: Apparatus, host: str, port: int, seed: int | None) -> None:
        self.apparatus, self.host = apparatus, host
        self.ports: Mapping[str, int] = {}
        self._opened = Event()
        self._problem: BaseException | None = None
        self._stop: asyncio.Event | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = Thread(target=lambda: asyncio.run(self._main(port, seed)), name="virtual bench", daemon=True)
        self._thread.start()
        self._opened.wait()
        if self._problem is not None:
            raise self._problem

    async def _main(self, port: int, seed: int | None) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        try:
            server = BenchServer(self.apparatus, seed)
            await server.open(self.host, port)
        except BaseException as problem:
            self._problem = problem
            return
        finally:
            self._opened.set()
        self.ports = server.ports
        running = asyncio.create_task(server.run())
        await self._stop.wait()
        running.cancel()
        await server.close()

    def address(self, role: str) -> str:
        """Return the VISA resource of a role: ``TCPIP::127.0.0.1::PORT::SOCKET``."""
        return f"TCPIP::{self.host}::{self.ports[role]}::SOCKET"

    def close(self) -> None:
        """Stop."""
        if self._loop is not None and self._stop is not None and self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._stop.set)
            self._thread.join()

    def __enter__(self) -> ServedBench:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def serve_bench(
    bench: Bench | None = None,
    *,
    speed_up: float = 100.0,
    seed: int | None = None,
    host: str = "127.0.0.1",
    port: int = 0,
    clock: Clock | None = None,
) -> ServedBench:
    r"""Serve a virtual bench from a thread of this process; `edgewind bench` does the same in a process of its own.

    Parameters
    ----------
    bench : Bench, optional
        The apparatus; default: an invented one.
    speed_up : float
        Simulated time over real time.
    seed : int, optional
        Seed of all noise; default: that of `[virtual]`.
    host, port
        Address and first port, one port for each role; free ports if it is zero.
    clock : Clock, optional
        Another clock, such as :class:`edgewind.clock.SimulatedClock`; `speed_up` is then ignored.

    Returns
    -------
    ServedBench
        Use it in a ``with`` block, or close it.

    Examples
    --------
    >>> import socket
    >>> with serve_bench(speed_up=100) as served:
    ...     with socket.create_connection((served.host, served.ports["valve"])) as link:
    ...         link.sendall(b"VOLT 2500 mV;:VOLT?\n")
    ...         print(link.recv(100))
    b'+2.500000000E+00\n'
    """
    of = invented_bench() if bench is None else bench
    apparatus = Apparatus(of, ScaledClock(speed_up, _LONGEST_GAP_S) if clock is None else clock)
    return ServedBench(apparatus, check_host(host), port, seed)
