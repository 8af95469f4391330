"""Edgewind: from raw bench signals of a thin-gas experiment to an explanation, and to the next experiment."""

from importlib.metadata import version

__version__ = version("edgewind")

__all__ = ["__version__"]
