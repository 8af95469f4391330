"""Output of the report: the page, its figures, the tables and the data package."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from edgewind.plan import Plan, propose_if_possible
from edgewind.report.columns import CURVE as CURVE_COLUMNS
from edgewind.report.columns import READINGS as READINGS_COLUMNS
from edgewind.report.datapackage import Resource, write_data_package
from edgewind.report.figures import JOINT_FIGURES, PLAN_FIGURES, ROTOR_FIGURES
from edgewind.report.figures.dwell import DWELL
from edgewind.report.illustrate import Illustration, illustrate
from edgewind.report.names import file_stems
from edgewind.report.page import render_page
from edgewind.report.planned_time import time_of, view_time
from edgewind.report.rotor import view_rotor
from edgewind.report.tables import curve_table, readings_table, to_csv
from edgewind.shown_units import ShownUnits

if TYPE_CHECKING:
    from edgewind.evidence import Findings, SizeComparison

REPORT_FILE = "report.html"


def write_report(
    findings: Sequence[Findings],
    comparison: SizeComparison | None,
    out: Path,
    *,
    command: str,
    versions: Mapping[str, str],
    input_root: str,
    plans: Sequence[Plan | None] | None = None,
) -> None:
    """Write all output of a study; the same arguments give the same bytes.

    Parameters
    ----------
    findings : sequence of Findings
        One for each rotor, in the order of the report; at least one.
    comparison : SizeComparison or None
        Two rotors compared.
    out : Path
        An existing, empty folder. It receives ``report.html``, ``figures/``, ``data/`` and ``datapackage.json``.
    command : str
        Command that makes this report again.
    versions : mapping of str to str
        Versions of the program and of its libraries.
    input_root : str
        Path of the inputs, as the user wrote it.
    plans : sequence of Plan or None, optional
        Plans of the next measurements, one for each of the findings; default: made from them.
    """
    planned = [propose_if_possible(found) for found in findings] if plans is None else plans
    stems = file_stems([found.experiment.name for found in findings])
    resources: list[Resource] = []
    rotors = []
    units = shown_units(findings)
    for number, (found, stem, plan) in enumerate(zip(findings, stems, planned, strict=True), start=1):
        resources += _write_tables(found, stem, out)
        drawn = {drawing.stem: illustrate(drawing, found, stem, out, units) for drawing in ROTOR_FIGURES}
        resources += _figure_resources(list(drawn.values()), found.experiment.name)
        ahead = {
            drawing.stem: illustrate(drawing, plan, stem, out, units) for drawing in PLAN_FIGURES if plan is not None
        }
        resources += _figure_resources(list(ahead.values()), found.experiment.name)
        hours = time_of(found)
        drawn_hours = None if hours is None else illustrate(DWELL, hours, stem, out, units)
        resources += _figure_resources([drawn_hours], found.experiment.name)
        rotors.append(
            view_rotor(
                found, f"rotor-{number}", drawn["curve"], drawn["budget"], drawn["why"], drawn["scaling"],
                drawn["misfit"], drawn["reversal"], plan=plan, plan_figure=ahead.get("plan"),
                time=view_time(hours, drawn_hours, units),
            )
        )  # fmt: skip
    together = [illustrate(drawing, findings, "", out, units) for drawing in JOINT_FIGURES]
    resources += _figure_resources(together, "all rotors")
    page = render_page(
        rotors,
        [figure for figure in together if figure is not None],
        comparison,
        command=command,
        versions=versions,
        input_root=input_root,
        exports=[resource.path for resource in resources],
        units=units,
    )
    (out / REPORT_FILE).write_bytes(page.encode())
    resources.insert(0, Resource(REPORT_FILE, "Report", "The whole study on one page."))
    write_data_package(out, resources, findings, versions, command)


def shown_units(findings: Sequence[Findings]) -> ShownUnits:
    """Return the units of a report: those of the first rotor that chose any."""
    chosen = (found.experiment.bench.shown for found in findings)
    return next((units for units in chosen if units.changed), ShownUnits())


def _write_tables(found: Findings, stem: str, out: Path) -> list[Resource]:
    (out / "data").mkdir(exist_ok=True)
    name = found.experiment.name
    readings = Resource(
        f"data/readings-{stem}.csv", f"Readings of {name}", "One row for each reading, used or not.", READINGS_COLUMNS
    )
    (out / readings.path).write_bytes(to_csv(readings_table(found), READINGS_COLUMNS))
    table = curve_table(found)
    if table is None:
        return [readings]
    level = f"{100 * found.optimum.level:g} %"
    meaning = (
        f"A smooth curve through the readings (Gaussian process in ln pressure); the band holds {level} of the "
        "curves that fit."
    )
    curve = Resource(f"data/curve-{stem}.csv", f"Response curve of {name}", meaning, CURVE_COLUMNS)
    (out / curve.path).write_bytes(to_csv(table, CURVE_COLUMNS))
    return [readings, curve]


def _figure_resources(figures: Sequence[Illustration | None], of: str) -> list[Resource]:
    return [
        Resource(path, f"Figure of {of}", figure.caption)
        for figure in figures
        if figure is not None
        for path in figure.files
    ]
