"""The command line: parse, call, print. Exit status 0 is done, 2 is input that cannot be used."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from edgewind.errors import EdgewindError, InputError

app = typer.Typer(
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


def _print_json(data: Any) -> None:
    print(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))


def _print_pairs(rows: list[tuple[str, str]]) -> None:
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


@app.command()
def gas(
    what: Annotated[str, typer.Argument(metavar="GAS", help="air, N2, argon, '0.9 He + 0.1 Ne' …")],
    pressure: Annotated[str, typer.Argument(help="With its unit: '7 mTorr'.")],
    temperature: Annotated[str, typer.Option(help="With its unit.")] = "20 degC",
    size: Annotated[
        str | None, typer.Option(help="Length for the Knudsen number, such as the width of a vane: '10 mm'.")
    ] = None,
    definition: Annotated[
        str, typer.Option(help="Mean free path: viscosity, fixed-diameter or variable-hard-sphere.")
    ] = "viscosity",
    diameter: Annotated[str | None, typer.Option(help="Molecular diameter for fixed-diameter: '0.365 nm'.")] = None,
    as_json: AsJson = False,
) -> None:
    """Mean free path, Knudsen number, regime, viscosity, number density and speed of molecules."""
    from edgewind import units
    from edgewind.gas import GasState, find_gas, rarefaction, regime

    state = GasState(
        find_gas(what),
        units.parse_quantity(pressure, "pressure"),
        units.parse_quantity(temperature, "temperature"),
    )
    path = state.mean_free_path_m(definition, None if diameter is None else units.parse_quantity(diameter, "length"))
    length = None if size is None else units.parse_quantity(size, "length")
    if length is not None and length <= 0:
        raise InputError(f"a size of '{size}'", fix="give a length above zero, such as '10 mm'")
    knudsen = None if length is None else path / length
    if as_json:
        _print_json(
            {
                "gas": state.gas.name,
                "pressure_pa": state.pressure_pa,
                "temperature_k": state.temperature_k,
                "mean_free_path_m": path,
                "mean_free_path_definition": definition,
                "knudsen": knudsen,
                "rarefaction": None if knudsen is None else float(rarefaction(knudsen)),
                "regime": None if knudsen is None else regime(knudsen),
                "viscosity_pa_s": state.viscosity_pa_s,
                "conductivity_w_m_k": state.conductivity_w_m_k,
                "number_density_m3": state.number_density_m3,
                "most_probable_speed_m_s": state.most_probable_speed_m_s,
                "sources": list(state.gas.sources),
            }
        )
        return
    number = units.format_number
    rows = [
        ("gas", f"{state.gas.name} at {number(state.pressure_pa)} Pa and {number(state.temperature_k)} K"),
        ("mean free path", f"{number(1e3 * path)} mm ({definition} definition)"),
    ]
    if knudsen is not None and length is not None:
        rows += [
            ("Knudsen number", f"{number(knudsen)} on {number(1e3 * length)} mm ({regime(knudsen)})"),
            ("rarefaction", number(float(rarefaction(knudsen)))),
        ]
    rows += [
        ("viscosity", f"{number(1e6 * state.viscosity_pa_s)} µPa s"),
        ("conductivity", f"{number(1e3 * state.conductivity_w_m_k)} mW/(m K)"),
        ("number density", f"{number(state.number_density_m3)} 1/m^3"),
        ("most probable speed", f"{number(state.most_probable_speed_m_s)} m/s"),
        *(("source", source) for source in state.gas.sources),
    ]
    _print_pairs(rows)


@app.command()
def trace(
    file: Annotated[Path, typer.Argument(help="Trace: .csv .txt .dat (also .gz), .npz or .wav.")],
    marks: Annotated[int, typer.Option(help="Pulses a turn.")],
    channel: Annotated[str | None, typer.Option(help="Name or number of the channel.")] = None,
    interval: Annotated[str | None, typer.Option(help="Sample interval where the file has none: '0.1 ms'.")] = None,
    mains: Annotated[
        str | None, typer.Option(help="Mains frequency: '50 Hz'; both 50 and 60 are looked for otherwise.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Speed of one oscilloscope trace, with uncertainty and flags."""
    from edgewind import units
    from edgewind.signals import estimate_speed, read_trace

    interval_s = None if interval is None else units.parse_quantity(interval, "time")
    mains_hz = "auto" if mains is None else units.parse_quantity(mains, "frequency")
    wanted = int(channel) if channel is not None and channel.isdecimal() else channel
    read = read_trace(file, channel=wanted, interval_s=interval_s)
    found = estimate_speed(read, marks, mains_hz=mains_hz)
    if plot is not None:
        from edgewind.report import plot_trace

        plot_trace(read, found, plot)
    if as_json:
        _print_json(_trace_summary(found))
        return
    if found.method == "none":
        rows = [("speed", "none: no signal of a turning rotor in this trace")]
    else:
        rpm = units.from_si([found.speed_rad_s, found.speed_u_rad_s], "rpm", "angular speed")
        rows = [
            ("speed", units.format_measured(found.speed_rad_s, found.speed_u_rad_s, "rad/s")),
            ("", units.format_measured(float(rpm[0]), float(rpm[1]), "rpm")),
            ("method", found.method),
            ("turns", units.format_number(found.turns, 3)),
            (
                "acceleration",
                units.format_measured(found.acceleration_rad_s2, found.acceleration_u_rad_s2, "rad/s^2"),
            ),
        ]
    rows.append(("flags", ", ".join(found.flags) or "none"))
    rows += [("note", note) for note in read.notes]
    _print_pairs(rows)


def _trace_summary(found: Any) -> dict[str, Any]:
    from math import isfinite

    def number(value: float) -> float | None:
        return float(value) if isfinite(value) else None

    names = ("speed_rad_s", "speed_u_rad_s", "turns", "acceleration_rad_s2", "acceleration_u_rad_s2")
    return {name: number(getattr(found, name)) for name in names} | {
        "flags": list(found.flags),
        "method": found.method,
    }


@app.command()
def study(
    path: Annotated[
        str, typer.Argument(help="Experiment folder, a folder that holds several, or a lab book (file or URL).")
    ],
    out: Annotated[Path | None, typer.Option(help="Folder to make for report, figures and data.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Let an earlier study at --out give way.")] = False,
    quick: Annotated[
        bool, typer.Option("--quick", help="Leave out the fit of the unknowns, some twenty seconds a rotor.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """The main job: folder or lab book in; curve, optimum, mechanisms and report out."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from edgewind.study import run_study

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("starting", total=None)
        result = run_study(
            path, out, replace=replace, fit=not quick,
            progress=lambda what, done, total: bar.update(task, description=what, completed=done, total=total),
        )  # fmt: skip
    if as_json:
        _print_json(result.summary)
        return
    for found in result.findings:
        _print_findings(found)
    if result.comparison is not None:
        print(f"\nThe two rotors\n{_indented(result.comparison.sentence)}")
    if result.report is not None:
        print(f"\nReport, figures and data are in {result.report.parent}; open {result.report}")


def _print_findings(found: Any) -> None:
    experiment = found.experiment
    print(f"\n{experiment.name}: {experiment.bench.experiment.title}")
    for sentence in found.answer:
        print(_indented(sentence))
    for warning in found.optimum.warnings:
        print(_indented(f"Warning: {warning}"))
    if found.optimum.sweeps is not None:
        print(_indented(found.optimum.sweeps.sentence))
    for claim in found.mechanisms:
        print(f"  - {claim.name}, {claim.verdict}.")
        print(_indented(claim.why, 4))
    if found.explanation is not None:
        from edgewind.evidence.words import explanation_lines

        for line in explanation_lines(found.explanation):
            print(_indented(line))
    aside = experiment.readings[~experiment.readings["used"]]
    for _, row in aside.iterrows():
        print(f"  set aside: line {row['line']}, {row['why_not']}")


def _indented(text: str, by: int = 2) -> str:
    import textwrap

    return textwrap.fill(text, width=100, initial_indent=" " * by, subsequent_indent=" " * by)


@app.command()
def respond(
    shape: Annotated[str, typer.Option(help="strip, square, rectangle, diamond or disc.")] = "strip",
    knudsen: Annotated[
        str, typer.Option(help="A list, '10,1,0.1', or low, high and how many: '0.01:100:25'.")
    ] = "10,1,0.1",
    room: Annotated[float, typer.Option(help="Side of the closed room over the width of the vane.")] = 4.0,
    aspect: Annotated[float, typer.Option(help="Height over width of a rectangle.")] = 1.0,
    position: Annotated[float, typer.Option(help="Place of the vane on the axis of the room, 0 to 1.")] = 0.5,
    accommodation: Annotated[float, typer.Option(help="Diffuse share of all walls, 0 to 1.")] = 1.0,
    tolerance: Annotated[float, typer.Option(help="Relative error to reach.")] = 1e-3,
    fields: Annotated[
        Path | None, typer.Option(help="Write the fields of the gas at one Knudsen number: FILE.nc.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    as_json: AsJson = False,
) -> None:
    """The kinetic solver: thermal force, drag and heat coefficients of a vane, with error bars."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from edgewind.kinetics import parse_knudsen, respond_curve

    numbers = parse_knudsen(knudsen)
    if fields is not None and len(numbers) != 1:
        raise InputError(f"fields at {len(numbers)} Knudsen numbers", fix="give one Knudsen number with --fields")
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("solving", total=len(numbers))
        answers = respond_curve(
            shape, numbers, aspect=aspect, room=room, position=position, accommodation=accommodation,
            tolerance=tolerance, fields=fields is not None,
            progress=lambda done, total, answer: bar.update(task, completed=done),
        )  # fmt: skip
    if fields is not None:
        answers[0].to_dataset().to_netcdf(fields)
    if plot is not None:
        from edgewind.report import plot_responses

        plot_responses(answers, plot)
    if as_json:
        _print_json([answer.row() | {"errors": dict(answer.errors), "reached": answer.reached} for answer in answers])
        return
    titles = ("thermal force", "drag", "heat hot", "heat cold")
    print(f"{'Kn':>8}" + "".join(f"{title:>16}" for title in titles) + f"{'sweeps':>8}{'seconds':>9}")
    for answer in answers:
        cells = [_with_error(answer, name) for name in ("thermal_force", "drag", "heat_hot", "heat_cold")]
        short = "" if answer.reached else "  tolerance not reached"
        work = f"{max(answer.sweeps.values()):>8}{answer.seconds:>9.1f}"
        print(f"{answer.knudsen:>8.4g}" + "".join(f"{cell:>16}" for cell in cells) + work + short)


def _with_error(answer: Any, name: str) -> str:
    from edgewind.units import format_measured

    return format_measured(answer.values[name], answer.errors[name])


@app.command()
def predict(
    bench: Annotated[Path, typer.Argument(help="The bench.toml, or the folder that holds it.")],
    pressures: Annotated[
        str, typer.Option(help="Low, high and how many, or a list: '1 Pa, 7 mTorr'.")
    ] = "0.02Pa:20Pa:40",
    changes: Annotated[
        list[str] | None, typer.Option("--set", help="What if: 'rotor.vane_width=30 mm', 'gas.species=He'; repeatable.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    scaling: Annotated[
        Path | None, typer.Option(help="Write a figure of both optima against the width of the vane: .png or .svg.")
    ] = None,
    fit: Annotated[
        bool, typer.Option("--fit", help="Fit the unknowns to the readings of the folder first, for --scaling.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Speed curve of this rotor from first principles: drive and drag apart, each mechanism on its own."""
    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.rotor import parse_changes, parse_pressures, predict_whole
    from edgewind.rotor.words import prediction_lines

    described = read_bench(bench / BENCH_FILE if bench.is_dir() else bench)
    found = predict_whole(described, parse_pressures(pressures), changes=parse_changes(changes or []))
    if plot is not None:
        from edgewind.report import plot_prediction

        plot_prediction(found, plot)
    laws = [] if scaling is None else _scaling(bench, found.bench, scaling, fit)
    if as_json:
        _print_json(found.as_plain() | {"scaling": [law.as_plain() for law in laws]})
        return
    for line in prediction_lines(found):
        print(line)
    for law in laws:
        print(_indented(law.sentence, 0))


def _scaling(path: Path, bench: Any, figure: Path, fit: bool) -> list[Any]:
    """Follow both optima over the width of the vane, by the bench as described or by a fit to its readings."""
    from edgewind.evidence import explain, scaling_of
    from edgewind.report import plot_scaling
    from edgewind.signals import read_experiment

    fitted = None
    if fit:
        explanation = explain(read_experiment(path if path.is_dir() else path.parent))
        if explanation.fit is None:
            raise InputError(f"no fit could be made: {explanation.no_fit}", file=path, fix="leave out --fit")
        fitted = explanation.fit
    laws = [scaling_of(bench, fitted=fitted, quantity="speed")]
    try:
        laws.append(scaling_of(bench, fitted=fitted, quantity="torque"))
    except InputError as error:
        print(f"edgewind: {error}; the greatest speed alone is drawn", file=sys.stderr)
    plot_scaling(laws, figure)
    return laws


@app.command()
def compare(
    pairs: Annotated[
        Path, typer.Argument(help="Table of pairs: 'indicated [Pa]' or 'gauge [V]', and 'reference [Pa]'.")
    ],
    bench: Annotated[Path | None, typer.Option(help="The bench.toml that describes the gauge.")] = None,
    reference_uncertainty: Annotated[
        str, typer.Option(help="Standard uncertainty of the reference that all pairs share: '2 %'.")
    ] = "0 %",
    write: Annotated[bool, typer.Option("--write", help="Write the correction to bench.toml, comments kept.")] = False,
    as_json: AsJson = False,
) -> None:
    """Compare a gauge with a reference gauge and give its correction."""
    from edgewind import units
    from edgewind.bench import read_bench, write_to_bench
    from edgewind.signals import compare_pairs

    if write and bench is None:
        raise InputError("--write needs to know where to", fix="name the file with --bench bench.toml")
    common = units.parse_quantity(reference_uncertainty, "number")
    found = compare_pairs(pairs, None if bench is None else read_bench(bench), common)
    if write and bench is not None:
        write_to_bench(bench, "gauge.correction", found.as_settings(pairs.name))
    if as_json:
        _print_json(found.as_plain())
        return
    _print_pairs(
        [
            ("factor", f"{units.format_measured(found.factor.value, found.factor.u)} (true over indicated)"),
            (
                "slope",
                units.format_measured(found.slope.value, found.slope.u) if found.slope.u else "none evident",
            ),
            ("about", f"{units.format_number(found.pivot_pa)} Pa, from {found.pairs} pairs"),
            (
                "scatter",
                f"{100 * found.scatter:.2g} % beyond the stated uncertainties (p = {found.p_value:.2g})",
            ),
        ]
    )
    if write:
        print(f"written to {bench} as [gauge.correction]")


@app.command()
def new(folder: Annotated[Path, typer.Argument(help="Folder to make.")]) -> None:
    """Make a commented template folder to fill in; `edgewind study` accepts it as it stands."""
    from edgewind.bench import write_template

    for path in write_template(folder):
        print(f"made {path}")
    print(
        "Describe your bench in bench.toml, put your readings in readings.csv, then run: edgewind study " + str(folder)
    )


@app.command(name="import")
def import_(
    folder: Annotated[Path, typer.Argument(help="Experiment folder, or a folder that holds several.")],
    book: Annotated[str, typer.Argument(help="Lab book: a file, made where there is none, or postgresql://…")],
    name: Annotated[str | None, typer.Option(help="Name of the experiment; that of its folder otherwise.")] = None,
    as_json: AsJson = False,
) -> None:
    """Take experiment folders into a lab book, with every file in them."""
    from edgewind.book import import_folder, open_book
    from edgewind.study import find_experiments

    folders = find_experiments(folder)
    if name is not None and len(folders) > 1:
        raise InputError(f"--name with {len(folders)} experiments", fix="import them one at a time")
    with open_book(book, make=True) as opened:
        done = [import_folder(opened, place, name) for place in folders]
    if as_json:
        _print_json(
            [
                {
                    "experiment": one.experiment,
                    "readings": one.readings,
                    "files": one.files,
                    "left_out": [{"path": path, "why": why} for path, why in one.left_out],
                }
                for one in done
            ]
        )
        return
    for one in done:
        print(f"{one.experiment}: {one.readings} readings and {one.files} files are in {book}")
        for path, why in one.left_out:
            print(f"  left out: {path} ({why})")


@app.command()
def export(
    book: Annotated[str, typer.Argument(help="Lab book: a file, or postgresql://…")],
    out: Annotated[Path, typer.Argument(help="Folder to make; each experiment becomes a folder in it.")],
    name: Annotated[str | None, typer.Option(help="One experiment only; OUT is then its folder.")] = None,
    as_json: AsJson = False,
) -> None:
    """Write the experiments of a lab book as folders."""
    from edgewind.book import export_book, export_folder, open_book

    with open_book(book) as opened:
        made = export_book(opened, out) if name is None else [export_folder(opened, name, out)]
    if as_json:
        _print_json([str(path) for path in made])
        return
    for path in made:
        print(f"made {path}")


@app.command()
def check(
    book: Annotated[str, typer.Argument(help="Lab book: a file, or postgresql://…")],
    upgrade: Annotated[bool, typer.Option("--upgrade", help="First bring an older book to this version.")] = False,
    as_json: AsJson = False,
) -> None:
    """Verify a lab book, every row and every byte of every trace, and say what is damaged."""
    from edgewind.book import check_book, open_book

    if upgrade:
        open_book(book, write=True).close()
    health = check_book(book)
    if as_json:
        _print_json(
            {
                "whole": health.whole,
                "version": health.version,
                "experiments": health.experiments,
                "readings": health.readings,
                "files": health.files,
                "bytes": health.bytes,
                "damage": [{"where": found.where, "what": found.what} for found in health.damage],
            }
        )
    else:
        print(
            f"looked over: {health.experiments} experiments, {health.readings} readings, {health.files} files, "
            f"{health.bytes} bytes (schema {health.version})"
        )
        for found in health.damage:
            print(f"  damaged: {found.where}: {found.what}")
    if not health.whole:
        places = "1 place" if len(health.damage) == 1 else f"{len(health.damage)} places"
        raise InputError(f"damaged in {places}", file=book, fix="keep a copy, and take what is whole from it")
    if not as_json:
        print("whole")


if __name__ == "__main__":
    main()
