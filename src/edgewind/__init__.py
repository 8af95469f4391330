"""Edgewind: from raw bench signals of a thin-gas experiment to an explanation, and to the next experiment.

In a notebook, ``import edgewind`` gives the verbs ``new``, ``study``, ``predict``, ``respond``, ``trace`` and ``next``.
Modules are loaded at the first use.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from edgewind.notebook import new, next, predict, respond, trace
    from edgewind.study import run_study as study

    __version__: str

__all__ = ["__version__", "new", "next", "predict", "respond", "study", "trace"]


def __getattr__(name: str) -> Any:
    """Look up a name at its first use: reading the metadata of packages alone takes longer than `--help`."""
    if name == "__version__":
        from importlib.metadata import version

        return version("edgewind")
    if name == "study":
        return import_module("edgewind.study")  # a module that can be called
    if name in __all__:
        return getattr(import_module("edgewind.notebook"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
