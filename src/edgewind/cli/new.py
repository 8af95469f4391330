"""The command `edgewind new`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edgewind.cli.base import app


@app.command()
def new(folder: Annotated[Path, typer.Argument(help="Folder to make.")]) -> None:
    """Make a commented template folder to fill in; `edgewind study` accepts it as it is."""
    from edgewind.template import write_template

    for path in write_template(folder):
        print(f"made {path}")
    print(
        "Describe your bench in bench.toml, put your readings in readings.csv, then run: edgewind study " + str(folder)
    )
