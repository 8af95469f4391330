"""The report: one page, figures, tables and a data package that an archive can read."""

from edgewind.report.figures.prediction import plot_prediction
from edgewind.report.figures.response import plot_responses
from edgewind.report.figures.scaling import plot_scaling
from edgewind.report.figures.what_if import plot_what_if
from edgewind.report.plot_trace import plot_trace
from edgewind.report.write import write_report

__all__ = ["plot_prediction", "plot_responses", "plot_scaling", "plot_trace", "plot_what_if", "write_report"]
