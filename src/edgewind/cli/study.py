"""The command `edgewind study`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from edgewind.cli.base import AsJson, Cluster, Solve, app, indented, print_json, progress_bar
from edgewind.cli.solving import solve_outside


@app.command()
def study(
    path: Annotated[
        str, typer.Argument(help="Experiment folder, a folder that holds several, or a lab book (file or URL).")
    ],
    out: Annotated[Path | None, typer.Option(help="Folder to create for report, figures and data.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Overwrite an earlier study at --out.")] = False,
    quick: Annotated[
        bool,
        typer.Option(
            "--quick", help="Leave out the fit of the unknowns, which takes ten seconds or more for each rotor."
        ),
    ] = False,
    solve: Solve = False,
    cluster: Cluster = None,
    as_json: AsJson = False,
) -> None:
    """Analyse a folder or lab book: response curve, optimum, mechanisms, report."""
    from edgewind.study import benches_at, run_study

    if solve:
        solve_outside(benches_at(path), solve=True, cluster=cluster)
    with progress_bar() as bar:
        task = bar.add_task("starting", total=None)
        result = run_study(
            path, out, replace=replace, fit=not quick,
            progress=lambda what, done, total: bar.update(task, description=what, completed=done, total=total),
        )  # fmt: skip
    if as_json:
        print_json(result.summary)
        return
    for found in result.findings:
        _print_findings(found)
    for note in solve_outside([found.experiment.bench for found in result.findings], solve=False, cluster=cluster):
        print(f"\n{indented(note, 0)}")
    if result.comparison is not None:
        from edgewind.report.write import shown_units

        print(f"\nThe two rotors\n{indented(shown_units(result.findings).text(result.comparison.sentence))}")
    if result.report is not None:
        print(f"\nReport, figures and data are in {result.report.parent}; open {result.report}")


def _print_findings(found: Any) -> None:
    experiment = found.experiment
    units = experiment.bench.shown

    def say(sentence: str, by: int = 2) -> None:
        print(indented(units.text(sentence), by))

    print(f"\n{experiment.name}: {experiment.bench.experiment.title}")
    for sentence in found.answer:
        say(sentence)
    for tension in found.tensions:
        say(f"Tension, {tension.about}: {tension.why} {tension.resolve}")
    if found.sentences is not None:
        for sentence in found.sentences.model_dump().values():
            say(sentence)
    for warning in found.optimum.warnings:
        say(f"Warning: {warning}")
    if found.optimum.sweeps is not None:
        say(found.optimum.sweeps.sentence)
    for claim in found.mechanisms:
        print(f"  - {claim.name}, {claim.verdict}.")
        say(claim.why, 4)
    if found.explanation is not None:
        from edgewind.evidence.words import explanation_lines

        for line in explanation_lines(found.explanation):
            say(line)
    aside = experiment.readings[~experiment.readings["used"]]
    for place, row in aside.iterrows():
        other, number = found.other_use(int(row["line"])), int(place) + 1
        print(f"  reading {number}: {other}" if other else f"  set aside: reading {number}, {row['why_not']}")
