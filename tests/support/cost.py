"""Cost of each test: processor time, with the programs that it started, whether they have ended or still run.

``EDGEWIND_TEST_COST=cost.csv pytest tests/plan`` adds a line for each part of each test: seconds, part, test. A browser
or a server that stays for later tests counts for each by its work in the meantime; a process that ends without a
waiting parent, such as a part of a browser, is not subtracted.
"""

from __future__ import annotations

import os
import resource
from collections import defaultdict
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

PROCESSES = Path("/proc")


def _used() -> float:
    """Return the seconds of processor of this process, of all that it started, and of what those started."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in both) + _running()


def _running() -> float:
    """Return those of the programs that have not ended; 0 where processes are not listed as on Linux."""
    children: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for folder in PROCESSES.glob("[0-9]*"):
        with suppress(OSError):  # it ended just now
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
            ticks = sum(map(int, fields[11:15]))  # its own, and those of its children that have ended
            children[int(fields[1])].append((int(folder.name), ticks / os.sysconf("SC_CLK_TCK")))
    used, parents = 0.0, [os.getpid()]
    while parents:
        for child, seconds in children[parents.pop()]:
            used += seconds
            parents.append(child)
    return used


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
                file.write(f"{max(_used() - before, 0.0):.3f},{part},{item.nodeid}\n")
