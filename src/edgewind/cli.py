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
            path, out, replace=replace,
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
    aside = experiment.readings[~experiment.readings["used"]]
    for _, row in aside.iterrows():
        print(f"  set aside: line {row['line']}, {row['why_not']}")


def _indented(text: str, by: int = 2) -> str:
    import textwrap

    return textwrap.fill(text, width=100, initial_indent=" " * by, subsequent_indent=" " * by)


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
