"""Commands of the lab book: `edgewind import`, `export` and `check`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, print_json
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.book import Health, Imported


@app.command(name="import")
def import_(
    folder: Annotated[Path, typer.Argument(help="Experiment folder, or a folder that holds several.")],
    book: Annotated[str, typer.Argument(help="Lab book: a file, made if it does not exist, or postgresql://…")],
    name: Annotated[str | None, typer.Option(help="Name of the experiment; default: name of its folder.")] = None,
    as_json: AsJson = False,
) -> None:
    """Import experiment folders into a lab book, with every file in them."""
    from edgewind.book import import_folder, open_book
    from edgewind.study import find_experiments

    folders = find_experiments(folder)
    if name is not None and len(folders) > 1:
        raise InputError(f"--name cannot name {len(folders)} experiments", fix="import them one at a time")
    with open_book(book, make=True) as opened:
        done = [import_folder(opened, place, name) for place in folders]
    if as_json:
        print_json([_imported(one) for one in done])
        return
    for one in done:
        print(f"{one.experiment}: {one.readings} readings and {one.files} files are in {book}")
        for path, why in one.left_out:
            print(f"  left out: {path} ({why})")


@app.command()
def export(
    book: Annotated[str, typer.Argument(help="Lab book: a file, or postgresql://…")],
    out: Annotated[Path, typer.Argument(help="Folder to create; each experiment becomes a folder in it.")],
    name: Annotated[str | None, typer.Option(help="One experiment only; OUT is then its folder.")] = None,
    as_json: AsJson = False,
) -> None:
    """Write the experiments of a lab book as folders."""
    from edgewind.book import export_book, export_folder, open_book

    with open_book(book) as opened:
        made = export_book(opened, out) if name is None else [export_folder(opened, name, out)]
    if as_json:
        print_json(_exported(made))
        return
    for path in made:
        print(f"made {path}")


@app.command()
def check(
    book: Annotated[str, typer.Argument(help="Lab book: a file, or postgresql://…")],
    upgrade: Annotated[bool, typer.Option("--upgrade", help="First bring an older book to this version.")] = False,
    as_json: AsJson = False,
) -> None:
    """Verify a lab book, every row and every byte of every trace."""
    from edgewind.book import check_book, open_book

    if upgrade:
        open_book(book, write=True).close()
    health = check_book(book)
    if as_json:
        print_json(_health(health))
    else:
        print(
            f"checked: {health.experiments} experiments, {health.readings} readings, {health.files} files, "
            f"{health.bytes} bytes (schema {health.version})"
        )
        for found in health.damage:
            print(f"  damaged: {found.where}: {found.what}")
    if not health.whole:
        places = "1 place" if len(health.damage) == 1 else f"{len(health.damage)} places"
        raise InputError(f"damaged in {places}", file=book, fix="keep a copy, and recover the undamaged part from it")
    if not as_json:
        print("no damage found")


def _imported(one: Imported) -> dict[str, Any]:
    """Return the JSON output.

    Returns
    -------
    experiment, readings, files : as in edgewind.book.Imported
    left_out : list of dict
        Files that were left out.
    left_out[].path : str
        Path of the file, relative to the experiment folder.
    left_out[].why : str
        Why it was left out.
    """
    return {
        "experiment": one.experiment,
        "readings": one.readings,
        "files": one.files,
        "left_out": [{"path": path, "why": why} for path, why in one.left_out],
    }


def _exported(made: list[Path]) -> list[str]:
    """Return the JSON output.

    Returns
    -------
    [] : str
        Folder of an experiment that was written.
    """
    return [str(path) for path in made]


def _health(health: Health) -> dict[str, Any]:
    """Return the JSON output.

    Returns
    -------
    whole, version, experiments, readings, files, bytes, damage : as in edgewind.book.Health
    """
    keys = ("whole", "version", "experiments", "readings", "files", "bytes")
    return {key: getattr(health, key) for key in keys} | {"damage": [vars(found) for found in health.damage]}
