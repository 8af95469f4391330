"""The report: one page, figures, tables and a data package that an archive can read."""

from edgewind.report.plot_trace import plot_trace
from edgewind.report.write import write_report

__all__ = ["plot_trace", "write_report"]
