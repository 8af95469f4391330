"""The report: one page, figures, tables and a data package that an archive can read."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.report.figures.dwell import plot_dwell
    from edgewind.report.figures.file import figure_kind
    from edgewind.report.figures.front import plot_front
    from edgewind.report.figures.plan import plot_plan
    from edgewind.report.figures.prediction import plot_prediction
    from edgewind.report.figures.response import plot_responses
    from edgewind.report.figures.scaling import plot_scaling
    from edgewind.report.figures.what_if import plot_what_if
    from edgewind.report.plan_sheet import write_plan_sheet
    from edgewind.report.plot_clip import plot_clip
    from edgewind.report.plot_trace import plot_trace
    from edgewind.report.write import write_report
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "figure_kind",
    "plot_clip",
    "plot_dwell",
    "plot_front",
    "plot_plan",
    "plot_prediction",
    "plot_responses",
    "plot_scaling",
    "plot_trace",
    "plot_what_if",
    "write_plan_sheet",
    "write_report",
]
