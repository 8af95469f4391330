"""Rooms whose public names are imported at first use, so that a command loads only the modules that it uses."""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any


class _Room(ModuleType):
    """A room: a public name is not overwritten by the import of a module with the same name."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (isinstance(value, ModuleType) and name in self.__all__):
            super().__setattr__(name, value)


def names_on_demand(room: str, file: str) -> Callable[[str], Any]:
    """Return a module's ``__getattr__`` that imports a public name at its first use.

    The names are those that the room's ``__init__.py`` imports under ``if TYPE_CHECKING:``, where type checkers and
    readers find them.

    Parameters
    ----------
    room, file : str
        ``__name__`` and ``__file__`` of the room.
    """
    sys.modules[room].__class__ = _Room

    @cache
    def places() -> dict[str, tuple[str, str]]:
        found = {}
        for block in ast.parse(Path(file).read_text(encoding="utf-8")).body:
            if isinstance(block, ast.If) and isinstance(block.test, ast.Name) and block.test.id == "TYPE_CHECKING":
                for node in block.body:
                    if isinstance(node, ast.ImportFrom) and node.module is not None:
                        found.update({alias.asname or alias.name: (node.module, alias.name) for alias in node.names})
        return found

    def look_up(name: str) -> Any:
        if name not in places():
            raise AttributeError(f"module {room!r} has no attribute {name!r}")
        module, attribute = places()[name]
        value = getattr(import_module(module), attribute)
        setattr(sys.modules[room], name, value)
        return value

    return look_up
