"""Findings of this process, kept for the next time that the same is asked.

A recording that chooses its pressures, a page and a notebook read an experiment again after each reading: what was
found in a trace before need not be found again.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Generic, TypeVar

T = TypeVar("T")


class Recent(Generic[T]):
    """The latest values by what they follow from, up to a size of all together.

    Parameters
    ----------
    most : int
        Greatest sum of their sizes; the values that were used longest ago go first.

    Examples
    --------
    >>> kept = Recent[str](most=2)
    >>> kept.put("a", "first", 1), kept.put("b", "second", 1), kept.get("a"), kept.put("c", "third", 1)
    (None, None, 'first', None)
    >>> kept.get("a"), kept.get("b"), kept.get("c")
    ('first', None, 'third')
    """

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, Lock()
        self._values: OrderedDict[Hashable, tuple[T, int]] = OrderedDict()

    def get(self, key: Hashable) -> T | None:
        """Return the value of a key; None where none is kept."""
        with self._lock:
            if key not in self._values:
                return None
            self._values.move_to_end(key)
            return self._values[key][0]

    def put(self, key: Hashable, value: T, size: int) -> None:
        """Keep a value, and drop the oldest where all together are too large."""
        with self._lock:
            self._values[key] = value, size
            while sum(each for _, each in self._values.values()) > self._most:
                self._values.popitem(last=False)
