"""The command line, a file a command: parse, call, print."""

from edgewind.cli import (
    bench,
    books,
    compare,
    design,
    dwell,
    film,
    gas,
    new,
    next,
    predict,
    record,
    respond,
    rotor,
    study,
    trace,
)
from edgewind.cli.base import app, main

__all__ = [
    "app",
    "bench",
    "books",
    "compare",
    "design",
    "dwell",
    "film",
    "gas",
    "main",
    "new",
    "next",
    "predict",
    "record",
    "respond",
    "rotor",
    "study",
    "trace",
]
