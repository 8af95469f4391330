"""The command line, a file a command: parse, call, print."""

from edgewind.cli import books, compare, gas, new, next, predict, respond, study, trace
from edgewind.cli.base import app, main

__all__ = ["app", "books", "compare", "gas", "main", "new", "next", "predict", "respond", "study", "trace"]
