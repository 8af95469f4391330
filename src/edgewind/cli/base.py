"""The command line: parse, call, print. Exit status 0 is done, 2 is input that cannot be used."""

from __future__ import annotations

import json
import os
import sys
import textwrap
from importlib import import_module
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from edgewind.errors import EdgewindError
from edgewind.memory import collect_seldom, keep_freed_memory

if TYPE_CHECKING:
    from rich.progress import Progress

COMMANDS = {
    "demo": (
        "demo",
        "Show a whole study: a simulated bench, a sweep recorded from it, a report; everything is invented.",
    ),
    "new": ("new", "Make a commented template folder to fill in; `edgewind study` accepts it as it is."),
    "study": ("study", "Analyse a folder or lab book: response curve, optimum, mechanisms, report."),
    "next": ("next", "Choose the next pressures to measure, and say when to stop."),
    "dwell": ("dwell", "Plan the time on the bench: chamber, heat, spin-up, and the quickest order."),
    "design": ("design", "Plan a study that tests how the best pressure depends on size."),
    "rotor": ("rotor", "Search for the next rotor within what you can build."),
    "gas": ("gas", "Print mean free path, Knudsen number, regime, viscosity and more of a gas."),
    "trace": ("trace", "Measure the speed in one oscilloscope trace, with uncertainty and flags."),
    "respond": ("respond", "Compute force, drag and heat of a vane in the gas, or torque, drag and heat of a rotor."),
    "predict": ("predict", "Predict the speed curve of this rotor from first principles."),
    "compare": ("compare", "Compare a gauge with a reference gauge and give its correction."),
    "record": ("record", "Record a sweep: set each pressure, wait until steady, take the trace, store it."),
    "bench": ("bench", "Run a simulated bench that speaks SCPI over TCP; every reading is invented."),
    "serve": ("serve", "Serve the pages: watch and steer a sweep, type readings, ask what if."),
    "film": (
        "film",
        "Draw the gas round a vane, or about a rotor from above, as a still or a film over the Knudsen number.",
    ),
    "import": ("books", "Import experiment folders into a lab book, with every file in them."),
    "export": ("books", "Write the experiments of a lab book as folders."),
    "check": ("books", "Verify a lab book, every row and every byte of every trace."),
}
"""Every command in the order of ``edgewind --help``: its file here, and the first sentence of its help."""


class _Commands(TyperGroup):
    """The commands, each imported when it is run; their list imports none."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        import_module(f"edgewind.cli.{COMMANDS[cmd_name][0]}")
        alone = typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None)
        alone.registered_commands = [info for info in app.registered_commands if _name_of(info) == cmd_name]
        command = typer.main.get_command(alone)
        command.name = cmd_name
        return command

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])


def _name_of(info: Any) -> str:
    return str(info.name or info.callback.__name__)


app = typer.Typer(
    cls=_Commands,
    help="From raw bench signals of a thin-gas experiment to an explanation, and to the next experiment.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _use_cluster(address: str | None) -> str | None:
    """Send the long work of this command to a Dask cluster, after checking that it answers."""
    if address:
        from edgewind.runner import CLUSTER_VARIABLE, open_runner

        with open_runner(address):
            os.environ[CLUSTER_VARIABLE] = address
    return address


Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        callback=_use_cluster,
        envvar="EDGEWIND_CLUSTER",
        help="Dask scheduler for long work, tcp://host:8786; default: this machine.",
    ),
]
Solve = Annotated[
    bool,
    typer.Option(
        "--solve",
        help="Solve a rotor that is outside the tables of whole rotors, which takes minutes, and store the solution.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON: SI, the unit in each key.")]


def main(arguments: list[str] | None = None) -> None:
    """Run the command line with `arguments`, by default those of the program.

    Linear algebra has one thread unless the environment states otherwise: its matrices are small, and several threads
    take twice the time.
    """
    for library in ("OPENBLAS", "MKL"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")  # read at the import of NumPy, which no line above imports
    keep_freed_memory()
    collect_seldom()
    try:
        app(args=arguments)
    except EdgewindError as error:
        print(f"edgewind: {error}", file=sys.stderr)
        raise SystemExit(2) from None
    except KeyboardInterrupt:
        print("edgewind: stopped", file=sys.stderr)
        raise SystemExit(130) from None
    except BrokenPipeError:
        sys.stderr.close()
        raise SystemExit(0) from None
    except OSError as error:
        print(f"edgewind: {error.filename or 'a file'}: {error.strerror or error}", file=sys.stderr)
        raise SystemExit(2) from None


def progress_bar(*, counted: bool = False) -> Progress:
    """Return a progress bar on standard error, cleared at its end, and shown only on a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    count = [TextColumn("{task.completed}/{task.total}")] if counted else []
    columns = (TextColumn("{task.description}"), BarColumn(), *count, TimeRemainingColumn())
    return Progress(*columns, console=console, transient=True, disable=not console.is_terminal)


def print_json(result: Any, *, line: bool = False) -> None:
    """Print a result as JSON; as one line, immediately, if a program waits for it."""
    from edgewind.serialize import to_plain

    text = json.dumps(to_plain(result), indent=None if line else 1, ensure_ascii=False, allow_nan=False)
    print(text, flush=line)


def print_pairs(rows: list[tuple[str, str]]) -> None:
    """Print rows of a name and a text, the texts in one column."""
    width = max(len(name) for name, _ in rows)
    for name, text in rows:
        print(f"{name:<{width}}  {text}")


@app.callback(invoke_without_command=True)
def _top(
    context: typer.Context,
    show_version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if show_version:
        from edgewind import __version__

        print(f"edgewind {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        raise typer.BadParameter("name a command; `edgewind --help` lists them")


def indented(text: str, by: int = 2) -> str:
    """Fill a paragraph, each line indented."""
    return textwrap.fill(text, width=100, initial_indent=" " * by, subsequent_indent=" " * by)
