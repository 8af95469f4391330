"""The command `edgewind new`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edgewind.cli.base import app
from edgewind.errors import InputError


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to create.")],
    ask: Annotated[
        bool,
        typer.Option("--ask", help="Ask about the bench, question by question, instead of writing invented values."),
    ] = False,
) -> None:
    """Make a commented template folder to fill in; `edgewind study` accepts it as it is."""
    from edgewind.template import write_template

    made = _asked(folder) if ask else write_template(folder)
    for path in made:
        print(f"made {path}")
    print(
        "Describe your bench in bench.toml, put your readings in readings.csv, then run: edgewind study " + str(folder)
        if not ask
        else f"Put your readings in readings.csv, then run: edgewind study {folder}"
    )


def _asked(folder: Path) -> list[Path]:
    """Ask for the bench, and create its folder after the last answer."""
    from edgewind.bench import parse_bench
    from edgewind.bench.form import reading_titles, write_units
    from edgewind.bench.questions import describe_bench
    from edgewind.template import TEMPLATE_FILES, check_new, template_text, write_experiment
    from edgewind.units import parse_unit

    check_new(folder)

    def put(question: str) -> str:
        try:
            return input(question)
        except EOFError:
            raise InputError("the questions were not answered to the end; nothing is written") from None

    def unit(question: str, kind: str, offered: str) -> str:
        while True:
            answer = put(f"{question} [{offered}]: ").strip() or offered
            try:
                parse_unit(answer, kind)
            except InputError as error:
                print(f"  {error.problem}" + (f"; {error.fix}" if error.fix else ""))
            else:
                return answer

    text = describe_bench(template_text(), put, print)
    _say_what_decides(text)
    print("\nThe readings")
    pressure = unit("Unit of pressures, typed and shown", "pressure", "mTorr")
    speed = unit("Unit of speeds, typed and shown", "angular speed", "rpm")
    titles = reading_titles(parse_bench(text).gauge.kind == "display", pressure, speed)
    text = write_units(text, pressure, speed)
    made = write_experiment(folder, dict(zip(TEMPLATE_FILES, (text, ",".join(titles) + "\n"), strict=True)))
    print()
    return made


def _say_what_decides(text: str) -> None:
    """Print the unknown and uncertain values that change the predicted answer most."""
    from edgewind.plan.deciding import deciding

    found = deciding(text)
    print("\nWhat decides the answer")
    for one in found:
        print(f"  {one.sentence}")
    print(
        "  Measuring these better narrows the prediction most; they are lines of bench.toml."
        if found
        else "  No stated or unknown value changes the prediction by more than 2 %."
    )
