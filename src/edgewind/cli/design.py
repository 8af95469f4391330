"""The command `edgewind design`."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, indented, print_json

if TYPE_CHECKING:
    from edgewind.plan import ScalingStudy


@app.command()
def design(
    bench: Annotated[Path, typer.Argument(help="The bench.toml, or the folder that holds it.")],
    widths: Annotated[str, typer.Option(help="Candidate widths of the vane: '8 mm,12 mm,20 mm'.")],
    gases: Annotated[str | None, typer.Option(help="Gases: 'N2,He'; that of the bench where left out.")] = None,
    days: Annotated[float, typer.Option(help="Days at hand.")] = 2.0,
    hours: Annotated[float, typer.Option(help="Hours of work a day.")] = 8.0,
    changeover: Annotated[str, typer.Option(help="Time to vent, change the rotor and pump again.")] = "1 h",
    readings: Annotated[int, typer.Option(help="Readings in a sweep.")] = 14,
    noise: Annotated[float, typer.Option(help="Relative scatter of a speed.")] = 0.02,
    exponents: Annotated[
        str, typer.Option(help="Claims: n in pressure ~ width^n; the model's own is added.")
    ] = "-2,-1,-0.5,0",
    level: Annotated[float, typer.Option(help="Confidence with which a claim is given up.")] = 0.95,
    trials: Annotated[
        int, typer.Option(help="Simulated sweeps of each rotor in each gas; more of them know the chances better.")
    ] = 40,
    seed: Annotated[int, typer.Option(help="Seed of all draws; the same seed gives the same plan.")] = 1,
    processes: Annotated[int | None, typer.Option(help="Processes; as many as cores where left out.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder to make for the plan sheet, its figures, text and JSON.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Plan a study of how the best pressure depends on size, and what it would settle."""
    from threadpoolctl import threadpool_limits

    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.errors import InputError
    from edgewind.plan import Settings, plan_scaling_study
    from edgewind.plan.scaling_words import study_lines
    from edgewind.units import parse_quantity

    described = read_bench(bench / BENCH_FILE if bench.is_dir() else bench)
    if processes is not None and processes < 1:
        raise InputError(f"{processes} processes", fix="give one or more")
    if out is not None and out.exists() and not (out.is_dir() and not any(out.iterdir())):
        raise InputError("something is there already", file=out, fix="name a folder that does not exist yet")
    settings = Settings(
        days=days, hours_a_day=hours, changeover_h=parse_quantity(changeover, "time") / 3600, readings=readings,
        noise=noise, level=level, trials=trials, seed=seed,
    )  # fmt: skip
    with threadpool_limits(limits=1):
        plan = plan_scaling_study(
            described,
            [parse_quantity(part, "length") for part in widths.split(",")],
            None if gases is None else [part.strip() for part in gases.split(",")],
            settings=settings,
            exponents=[_number(part) for part in exponents.split(",")],
            processes=processes,
        )
    if out is not None:
        from edgewind.report import write_plan_sheet

        told = {
            "--gases": (gases, None), "--days": (f"{days:g}", None), "--hours": (f"{hours:g}", "8"),
            "--changeover": (changeover, "1 h"), "--readings": (str(readings), "14"), "--noise": (f"{noise:g}", "0.02"),
            "--exponents": (exponents, "-2,-1,-0.5,0"), "--level": (f"{level:g}", "0.95"),
            "--trials": (str(trials), "40"), "--seed": (str(seed), None),
        }  # fmt: skip
        given = [f"{name} {shlex.quote(value)}" for name, (value, usual) in told.items() if value and value != usual]
        command = " ".join([f'edgewind design bench.toml --widths "{widths}"', *given, "--out plan"])
        sheet = write_plan_sheet(plan, out, command=command)
    if as_json:
        print_json(_plain(plan, None if out is None else sheet))
        return
    for line in study_lines(plan):
        print(line if line.startswith(" ") or len(line) < 100 else indented(line, 0))
    if out is not None:
        print(f"\nThe plan to print is {sheet}")


def _plain(plan: ScalingStudy, sheet: Path | None) -> dict[str, Any]:
    """Plain types for JSON, SI: those of the plan, and where its sheet is.

    Returns
    -------
    sheet : str or None
        File of the plan to print; null without `--out`.
    """
    return plan.as_plain() | {"sheet": None if sheet is None else str(sheet)}


def _number(text: str) -> float:
    from edgewind.errors import InputError

    try:
        return float(text)
    except ValueError:
        raise InputError(f"'{text}' is not an exponent", fix="give numbers, such as -1,-0.5,0") from None
