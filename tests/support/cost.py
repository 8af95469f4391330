"""What each test costs: seconds of processor, with the programs that it started and that have ended.

``EDGEWIND_TEST_COST=cost.csv pytest tests/plan`` adds a line for each part of each test: seconds, part, test. What a
test starts and another one ends, such as a browser, counts for the other one.
"""

from __future__ import annotations

import resource
from collections.abc import Iterator
from pathlib import Path

import pytest


def _used() -> float:
    """Return the seconds of processor of this process and of all that it started and waited for."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in both)


class Cost:
    """Notes the cost of each test in a file."""

    def __init__(self, file: Path) -> None:
        self._file = file

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> Iterator[None]:
        return (yield from self._noted(item, "setup"))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        return (yield from self._noted(item, "call"))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_teardown(self, item: pytest.Item) -> Iterator[None]:
        return (yield from self._noted(item, "teardown"))

    def _noted(self, item: pytest.Item, part: str) -> Iterator[None]:
        before = _used()
        try:
            return (yield)
        finally:
            with self._file.open("a", encoding="utf-8") as file:
                file.write(f"{_used() - before:.3f},{part},{item.nodeid}\n")
