"""The bench that a planning command starts from: as described, or as the readings beside it make it most probable."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from edgewind.evidence.fitted_bench import FittedBench

BenchPath = Annotated[Path, typer.Argument(help="The bench.toml, or the folder that holds it.")]
UseReadings = Annotated[
    bool,
    typer.Option(
        "--fit/--no-fit",
        help="Start from the values that the readings beside bench.toml make most probable, or from bench.toml alone.",
    ),
]


def has_readings(path: Path) -> bool:
    """Whether there are readings beside a bench.toml, given as the file or its folder."""
    from edgewind.bench import BENCH_FILE
    from edgewind.signals import READINGS_FILE

    file = path / BENCH_FILE if path.is_dir() else path
    return file.name == BENCH_FILE and file.with_name(READINGS_FILE).is_file()


def bench_beside_readings(path: Path, *, fit: bool) -> FittedBench:
    """Return the bench of a folder, its unknowns as its readings make them most probable.

    Parameters
    ----------
    path : Path
        The bench.toml, or its folder.
    fit : bool
        Whether readings beside it are used, where there are any.
    """
    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.errors import InputError
    from edgewind.evidence.fitted_bench import FittedBench, fitted_bench
    from edgewind.signals import read_experiment

    file = path / BENCH_FILE if path.is_dir() else path
    bench = read_bench(file)
    if not (fit and has_readings(path)):
        return FittedBench(bench, {})
    try:
        return fitted_bench(read_experiment(file.parent))
    except InputError as error:
        fix = f"{error.fix}, or leave the readings out with --no-fit" if error.fix else "leave them out with --no-fit"
        raise InputError(
            error.problem, file=error.file, line=error.line, column=error.column, key=error.key, fix=fix
        ) from error


def with_start(result: Any, start: FittedBench, **beside: Any) -> dict[str, Any]:
    """Return what is printed of a result as JSON, the bench that it starts from, and what stands beside.

    Returns
    -------
    fitted : dict of str to float
        Keys of `bench.toml` at the values that the readings beside it make most probable, SI; empty without them.
    """
    from edgewind.serialize import to_plain

    return dict(to_plain(result)) | {"fitted": start.changed} | beside
