"""Tests made on purpose, as rows of a table of the report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgewind.formatting import RPM_PER_RAD_S, format_number

if TYPE_CHECKING:
    from edgewind.evidence import Findings
    from edgewind.evidence.deliberate_results import DeliberateTest


@dataclass(frozen=True)
class TestRow:
    """One mechanism in one test; the first row also holds the test."""

    __test__ = False  # not a test of pytest

    test: str
    seen: str
    mechanism: str
    stated: str
    agrees: str
    weight: str


def test_rows(found: Findings) -> tuple[TestRow, ...]:
    """Return the rows of all tests, the mechanism that explains each best first."""
    return tuple(row for test in found.tests for row in _rows(test, _scale(found)))


def _scale(found: Findings) -> float:
    """Return the number of shown units of speed in one radian per second."""
    return RPM_PER_RAD_S / found.experiment.bench.shown.sizes.get("rpm", ("rpm", 1.0))[1]


def _rows(test: DeliberateTest, scale: float) -> Iterator[TestRow]:
    names = sorted(test.predicted, key=lambda name: -test.log_evidence[name])
    for number, name in enumerate(names):
        expected = test.predicted[name]
        low, high = (_minus(scale * end) for end in expected.interval_rad_s)
        first = number == 0
        yield TestRow(
            test=f"{test.kind}, reading {test.reading}: {test.condition}" if first else "",
            seen=_seen(test, scale) if first else "",
            mechanism=name,
            stated=f"{low} to {high}",
            agrees="yes" if expected.agrees else "no",
            weight=_minus(test.log_evidence[name], 2),
        )


def _seen(test: DeliberateTest, scale: float) -> str:
    speed = _minus(scale * test.seen.speed_rad_s)
    return speed if test.seen.signed else f"{speed}, direction not noted"


def _minus(value: float, digits: int = 3) -> str:
    return format_number(value, digits).replace("-", "\N{MINUS SIGN}")
