"""The invented bench that is simulated where none is named."""

from __future__ import annotations

from importlib.resources import files

from edgewind.bench import Bench, parse_bench

FILE = "invented_bench.toml"


def invented_text() -> str:
    """Return its `bench.toml`."""
    return (files("edgewind.virtual") / "files" / FILE).read_text(encoding="utf-8")


def invented_bench() -> Bench:
    """Return it."""
    return parse_bench(invented_text(), file=FILE)
