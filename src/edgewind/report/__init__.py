"""The report: one page, figures, tables and a data package that an archive can read."""

from edgewind.report.write import write_report

__all__ = ["write_report"]
