"""The command `edgewind design`."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, Cluster, Solve, app, indented, print_json
from edgewind.cli.described import BenchPath, UseReadings, bench_beside_readings, with_start
from edgewind.cli.solving import solve_outside

if TYPE_CHECKING:
    from edgewind.evidence.fitted_bench import FittedBench
    from edgewind.plan import ScalingStudy


@app.command()
def design(
    bench: BenchPath,
    widths: Annotated[str, typer.Option(help="Candidate widths of the vane: '8 mm,12 mm,20 mm'.")],
    gases: Annotated[str | None, typer.Option(help="Gases: 'N2,He'; default: that of the bench.")] = None,
    days: Annotated[float, typer.Option(help="Days available.")] = 2.0,
    hours: Annotated[float, typer.Option(help="Hours of work a day.")] = 8.0,
    changeover: Annotated[str, typer.Option(help="Time to vent, change the rotor and pump again.")] = "1 h",
    readings: Annotated[int, typer.Option(help="Readings in a sweep.")] = 14,
    noise: Annotated[float, typer.Option(help="Relative scatter of a speed.")] = 0.02,
    exponents: Annotated[
        str, typer.Option(help="Claims: n in pressure ~ width^n; the model's own is added.")
    ] = "-2,-1,-0.5,0",
    level: Annotated[float, typer.Option(help="Confidence at which a claim is rejected.")] = 0.95,
    trials: Annotated[
        int,
        typer.Option(help="Simulated sweeps of each rotor in each gas; more trials give more precise power estimates."),
    ] = 40,
    seed: Annotated[int, typer.Option(help="Seed of all draws; the same seed gives the same plan.")] = 1,
    processes: Annotated[int | None, typer.Option(help="Number of processes; default: number of cores.")] = None,
    fit: UseReadings = True,
    solve: Solve = False,
    out: Annotated[
        Path | None, typer.Option(help="Folder to create for the plan sheet, its figures, text and JSON.")
    ] = None,
    cluster: Cluster = None,
    as_json: AsJson = False,
) -> None:
    """Plan a study that tests how the best pressure depends on size."""
    from threadpoolctl import threadpool_limits

    from edgewind.errors import InputError
    from edgewind.plan import Settings, plan_scaling_study
    from edgewind.plan.scaling_text import study_lines
    from edgewind.plan.sized import resized
    from edgewind.units import parse_quantity

    if processes is not None and processes < 1:
        raise InputError(f"the number of processes cannot be {processes}", fix="give one or more")
    if out is not None and out.exists() and not (out.is_dir() and not any(out.iterdir())):
        raise InputError("this path already exists", file=out, fix="name a folder that does not exist yet")
    settings = Settings(
        days=days, hours_a_day=hours, changeover_h=parse_quantity(changeover, "time") / 3600, readings=readings,
        noise=noise, level=level, trials=trials, seed=seed,
    )  # fmt: skip
    fitted = bench_beside_readings(bench, fit=fit)
    sizes = [parse_quantity(part, "length") for part in widths.split(",")]
    notes = solve_outside([resized(fitted.bench, size) for size in sizes], solve=solve, cluster=cluster)
    with threadpool_limits(limits=1):
        plan = plan_scaling_study(
            fitted.bench,
            sizes,
            None if gases is None else [part.strip() for part in gases.split(",")],
            settings=settings,
            exponents=[_number(part) for part in exponents.split(",")],
            processes=processes,
        )
    if out is not None:
        from edgewind.report import write_plan_sheet

        options = {
            "--gases": (gases, None), "--days": (f"{days:g}", None), "--hours": (f"{hours:g}", "8"),
            "--changeover": (changeover, "1 h"), "--readings": (str(readings), "14"), "--noise": (f"{noise:g}", "0.02"),
            "--exponents": (exponents, "-2,-1,-0.5,0"), "--level": (f"{level:g}", "0.95"),
            "--trials": (str(trials), "40"), "--seed": (str(seed), None),
        }  # fmt: skip
        given = [f"{name} {shlex.quote(value)}" for name, (value, usual) in options.items() if value and value != usual]
        command = " ".join([f'edgewind design bench.toml --widths "{widths}"', *given, "--out plan"])
        sheet = write_plan_sheet(plan, out, command=command)
    if as_json:
        print_json(_result(plan, fitted, None if out is None else sheet))
        return
    if fitted.sentence_for_others:
        print(indented(fitted.bench.shown.text(fitted.sentence_for_others), 0))
    for line in study_lines(plan):
        print(line if line.startswith(" ") or len(line) < 100 else indented(line, 0))
    for note in notes:
        print(indented(note, 0))
    if out is not None:
        print(f"\nThe plan to print is {sheet}")


def _result(plan: ScalingStudy, fitted: FittedBench, sheet: Path | None) -> dict[str, Any]:
    """Return the JSON output: the plan, its starting values, and the path of its sheet.

    Returns
    -------
    sheet : str or None
        File of the plan to print; null without `--out`.
    """
    from edgewind.plan import scaling_result

    return with_start(scaling_result(plan), fitted, sheet=sheet)


def _number(text: str) -> float:
    from edgewind.errors import InputError

    try:
        return float(text)
    except ValueError:
        raise InputError(f"'{text}' is not an exponent", fix="give numbers, such as -1,-0.5,0") from None
