"""The command line: parse, call, print. Exit status 0 is done, 2 is input that cannot be used."""

from __future__ import annotations

import json
import sys
import textwrap
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from edgewind.errors import EdgewindError

ORDER = (
    *("new", "study", "next", "dwell", "design", "rotor", "gas", "trace", "respond", "predict", "compare"),
    *("record", "bench", "serve", "film", "import", "export", "check"),
)  # the order of `edgewind --help`; a command that is not named here comes last


class _InOrder(TyperGroup):
    def list_commands(self, ctx: Any) -> list[str]:
        names = super().list_commands(ctx)
        return sorted(names, key=lambda name: ORDER.index(name) if name in ORDER else len(ORDER))


app = typer.Typer(
    cls=_InOrder,
    help="From raw bench signals of a thin-gas experiment to an explanation, and to the next experiment.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON: SI, the unit in each key.")]


def main() -> None:
    """Run the command line."""
    try:
        app()
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


def print_json(data: Any) -> None:
    """Print what JSON can hold; NaN is an error of ours."""
    print(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))


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
