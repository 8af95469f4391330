"""The command line, a file a command: parse, call, print."""

from edgewind.cli import bench, books, compare, film, gas, new, next, predict, record, respond, serve, study, trace
from edgewind.cli.base import app, main

__all__ = [
    "app",
    "bench",
    "books",
    "compare",
    "film",
    "gas",
    "main",
    "new",
    "next",
    "predict",
    "record",
    "respond",
    "serve",
    "study",
    "trace",
]
