"""The template folder that a newcomer fills in."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

from edgewind.errors import InputError

TEMPLATE_FILES = ("bench.toml", "readings.csv")


def write_template(folder: str | Path) -> list[Path]:
    """Make a folder with a commented `bench.toml` and invented readings.

    Raises
    ------
    InputError
        The folder exists and is not empty, or cannot be made.
    """
    return write_experiment(folder, {name: template_text(name) for name in TEMPLATE_FILES})


def template_text(name: str = TEMPLATE_FILES[0]) -> str:
    """Return a file of the template."""
    return (files("edgewind.bench") / "template_files" / name).read_text(encoding="utf-8")


def check_new(folder: str | Path) -> Path:
    """Refuse a path that exists, unless it is an empty folder.

    Raises
    ------
    InputError
        The path is a file or a folder that is not empty.
    """
    folder = Path(folder)
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise InputError("this path already exists", file=folder, fix="name a folder that does not exist yet")
    return folder


def write_experiment(folder: str | Path, texts: Mapping[str, str]) -> list[Path]:
    """Make a folder of an experiment with these files and a place for traces; see :func:`write_template`."""
    folder = check_new(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "traces").mkdir()
        for name, text in texts.items():
            (folder / name).write_bytes(text.encode())
    except OSError as error:
        raise InputError(f"cannot be made: {error.strerror}", file=folder) from error
    return [folder / name for name in texts]
