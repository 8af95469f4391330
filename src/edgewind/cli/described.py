"""The bench from which a planning command starts: as described, or at the most probable values of its readings."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from edgewind.evidence.fitted_bench import FittedBench
    from edgewind.shown_units import ShownUnits

BenchPath = Annotated[Path, typer.Argument(help="The bench.toml, or the folder that holds it.")]
UseReadings = Annotated[
    bool,
    typer.Option(
        "--fit/--no-fit",
        help="Start from the values that the readings beside bench.toml make most probable, or from bench.toml alone.",
    ),
]


def units_beside(file: Path) -> ShownUnits | None:
    """Return the units chosen in the `bench.toml` of the experiment of a file; None if none are chosen.

    The file is in the folder of the experiment, or in one inside it, such as `traces/001.csv`.
    """
    for folder in file.resolve().parents[:2]:
        try:
            chosen = tomllib.loads((folder / "bench.toml").read_text(encoding="utf-8")).get("units")
        except (OSError, ValueError):  # commands that need the bench report its errors
            continue
        if not isinstance(chosen, dict) or not chosen.keys() & {"pressure", "speed"}:
            return None
        from edgewind.shown_units import ShownUnits  # with Pint, which takes longer than a trace

        return ShownUnits(**{kind: str(unit) for kind, unit in chosen.items() if kind in ("pressure", "speed")})
    return None


def has_readings(path: Path) -> bool:
    """Return whether there are readings beside a bench.toml, given as the file or its folder."""
    from edgewind.bench import BENCH_FILE
    from edgewind.signals import READINGS_FILE

    file = path / BENCH_FILE if path.is_dir() else path
    return file.name == BENCH_FILE and file.with_name(READINGS_FILE).is_file()


def bench_beside_readings(path: Path, *, fit: bool) -> FittedBench:
    """Return the bench of a folder, its unknowns at the most probable values by its readings.

    Parameters
    ----------
    path : Path
        The bench.toml, or its folder.
    fit : bool
        Whether readings beside it, if any, are used.
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
    """Return the JSON of a result, with the bench from which it starts and further keys.

    Returns
    -------
    fitted : dict of str to float
        Keys of `bench.toml` at the values that the readings beside it make most probable, SI; empty without them.
    constant_torque_n_m : float or None
        Most probable constant torque from outside, N m, positive with the bright face leading; taken into account for
        this rotor, left out for others, null without readings.
    misses_readings : str
        By how much these values miss the readings, in words; empty where they describe them, and without readings.
    """
    from edgewind.serialize import to_plain

    own = {"fitted": start.changed, "constant_torque_n_m": start.constant_torque_n_m, "misses_readings": start.misses}
    return dict(to_plain(result)) | own | beside
