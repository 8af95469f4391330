"""The template folder that a newcomer fills in."""

from __future__ import annotations

from pathlib import Path

from edgewind.errors import InputError

TEMPLATE_FILES = ("bench.toml", "readings.csv")


def write_template(folder: str | Path) -> list[Path]:
    """Make a folder with a commented `bench.toml` and invented readings.

    Raises
    ------
    InputError
        The folder is there already and not empty, or cannot be made.
    """
    folder = Path(folder)
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise InputError("something is there already", file=folder, fix="name a folder that does not exist yet")
    source = Path(__file__).parent / "bench" / "template_files"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "traces").mkdir()
        for name in TEMPLATE_FILES:
            (folder / name).write_bytes((source / name).read_bytes())
    except OSError as error:
        raise InputError(f"cannot be made: {error.strerror}", file=folder) from error
    return [folder / name for name in TEMPLATE_FILES]
