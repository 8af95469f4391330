"""The invented bench, simulated by default."""

from __future__ import annotations

from importlib.resources import files

from edgewind.bench import Bench, parse_bench

FILE = "invented_bench.toml"


def invented_text() -> str:
    """Return the text of its `bench.toml`."""
    return (files("edgewind.virtual") / "files" / FILE).read_text(encoding="utf-8")


def invented_bench() -> Bench:
    """Return the invented bench."""
    return parse_bench(invented_text(), file=FILE)
