"""The invented bench with a whole rotor and a vacuum."""

from pathlib import Path

import pytest
import tomlkit

from edgewind.bench import parse_bench

WHOLE = tomlkit.parse((Path(__file__).parents[1] / "whole.toml").read_text(encoding="utf-8")).unwrap()


@pytest.fixture(scope="session")
def vacuum_text(make_bench_text):
    """The text of a `bench.toml` with a whole rotor and a vacuum."""
    return make_bench_text(**WHOLE)


@pytest.fixture(scope="session")
def vacuum_bench(vacuum_text):
    """The bench itself."""
    return parse_bench(vacuum_text)
