"""The command `edgewind compare`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edgewind.cli.base import AsJson, app, print_json, print_pairs
from edgewind.errors import InputError


@app.command()
def compare(
    pairs: Annotated[
        Path, typer.Argument(help="Table of pairs: 'indicated [Pa]' or 'gauge [V]', and 'reference [Pa]'.")
    ],
    bench: Annotated[Path | None, typer.Option(help="The bench.toml that describes the gauge.")] = None,
    reference_uncertainty: Annotated[
        str, typer.Option(help="Standard uncertainty of the reference that all pairs share: '2 %'.")
    ] = "0 %",
    write: Annotated[
        bool, typer.Option("--write", help="Write the correction to bench.toml, keeping all comments.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Compare a gauge with a reference gauge and give its correction."""
    from edgewind import units
    from edgewind.bench import read_bench, write_to_bench
    from edgewind.formatting import format_measured, format_number
    from edgewind.signals import compare_pairs

    if write and bench is None:
        raise InputError("--write needs a file to write to", fix="name the file with --bench bench.toml")
    common = units.parse_quantity(reference_uncertainty, "number")
    found = compare_pairs(pairs, None if bench is None else read_bench(bench), common)
    if write and bench is not None:
        write_to_bench(bench, "gauge.correction", found.as_settings(pairs.name))
    if as_json:
        print_json(found)
        return
    print_pairs(
        [
            ("factor", f"{format_measured(found.factor, found.factor_u)} (true over indicated)"),
            (
                "slope",
                format_measured(found.slope, found.slope_u) if found.slope_u else "none evident",
            ),
            ("about", f"{format_number(found.pivot_pa)} Pa, from {found.pairs} pairs"),
            (
                "scatter",
                f"{100 * found.scatter:.2g} % beyond the stated uncertainties (p = {found.p_value:.2g})",
            ),
        ]
    )
    if write:
        print(f"written to {bench} as [gauge.correction]")
