"""Edgewind: from raw bench signals of a thin-gas experiment to an explanation, and to the next experiment."""

from typing import Any

__all__ = ["__version__"]


def __getattr__(name: str) -> Any:
    """Look the version up when it is asked for: reading the metadata of packages takes longer than `--help`."""
    if name == "__version__":
        from importlib.metadata import version

        return version("edgewind")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
