"""The command `edgewind bench`."""

from __future__ import annotations

import asyncio
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, indented, print_json

if TYPE_CHECKING:
    from edgewind.bench import Bench
    from edgewind.virtual import Apparatus, BenchServer


@app.command()
def bench(
    path: Annotated[
        Path | None, typer.Argument(help="The bench.toml to simulate, or its folder; default: an invented bench.")
    ] = None,
    port: Annotated[
        int,
        typer.Option(min=0, max=65535, help="First TCP port; each instrument takes the next one. 0 takes free ports."),
    ] = 0,
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    open_to_network: Annotated[
        bool,
        typer.Option("--open-to-network", help="Allow anyone on the network of --host to operate the simulated bench."),
    ] = False,
    speed_up: Annotated[float, typer.Option(help="Speed-up factor: simulated time over real time.")] = 100.0,
    seed: Annotated[int | None, typer.Option(help="Random seed of all noise; the default is [virtual].seed.")] = None,
    write: Annotated[
        Path | None, typer.Option(help="Also write a folder whose bench.toml points at these instruments.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Run a simulated bench that speaks SCPI over TCP; every reading is invented."""
    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.virtual import Apparatus, check_host, clock_for, invented_bench, invented_text, write_folder

    address = check_host(host, open_to_network=open_to_network)
    file = None if path is None else path / BENCH_FILE if path.is_dir() else path
    described = invented_bench() if file is None else read_bench(file)
    text = invented_text() if file is None else file.read_text(encoding="utf-8-sig")
    clock = clock_for(described, speed_up)
    if clock.speed_up < speed_up:
        print(
            f"edgewind: a speed-up of {speed_up:g} is too high for this machine now; it is {clock.speed_up:g}",
            file=sys.stderr,
        )
    speed_up = clock.speed_up
    if open_to_network:
        print(f"edgewind: warning: open to the network of {address}, without a password", file=sys.stderr)

    def opened(server: BenchServer) -> None:
        if write is not None:
            write_folder(write, text, server.ports, address, speed_up=speed_up)
        if as_json:
            print_json(_result(server, address, speed_up), line=True)
        else:
            _say(described, server, address, speed_up, write)

    asyncio.run(_serve(Apparatus(described, clock), address, port, seed, opened))


def _result(server: BenchServer, host: str, speed_up: float) -> dict[str, Any]:
    """Return the JSON output.

    Returns
    -------
    simulated : bool
        Always true: nothing real moves.
    host : str
        Address at which the instruments listen.
    ports : dict of str to int
        TCP port of each instrument, by its name.
    speed_up : float
        Simulated time over real time.
    seed : int
        Seed of all noise.
    """
    return {"simulated": True, "host": host, "ports": server.ports, "speed_up": speed_up, "seed": server.seed}


def _say(described: Bench, server: BenchServer, host: str, speed_up: float, write: Path | None) -> None:
    """Print the instruments in words."""
    print("SIMULATED BENCH: nothing real moves, every reading is invented.")
    print(f"{described.experiment.title}; bench time runs {speed_up:g} times as fast as the clock, seed {server.seed}")
    for role, port in server.ports.items():
        print(f"  {role:<12} TCPIP::{host}::{port}::SOCKET")
    if write is not None:
        print(f"wrote {write}; record with: edgewind record {write} lab.book --pressures 0.05Pa:10Pa:12")
    print(indented("Each port takes SCPI lines; SYSTem:HELP:HEADers? lists its commands. Stop with Ctrl-C.", 0))
    sys.stdout.flush()


async def _serve(
    apparatus: Apparatus, host: str, port: int, seed: int | None, opened: Callable[[BenchServer], None]
) -> None:
    """Serve until stopped."""
    from edgewind.virtual import BenchServer

    server = BenchServer(apparatus, seed)
    await server.open(host, port)
    stopping = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(number, stopping.set)
        except NotImplementedError:  # Windows
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(stopping.set))
    opened(server)
    running = asyncio.create_task(server.run())
    stop = asyncio.create_task(stopping.wait())
    await asyncio.wait({running, stop}, return_when=asyncio.FIRST_COMPLETED)
    running.cancel()
    await server.close()
    print("edgewind: the simulated bench has stopped", file=sys.stderr)
