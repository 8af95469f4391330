"""Every example in a docstring runs and gives what it says."""

import doctest
import importlib
from pathlib import Path

import pytest

import edgewind

SOURCE = Path(edgewind.__file__).parent


def dotted(path):
    parts = path.relative_to(SOURCE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


WITH_EXAMPLES = [dotted(path) for path in sorted(SOURCE.rglob("*.py")) if ">>> " in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_give_their_stated_results(name):
    failed, attempted = doctest.testmod(importlib.import_module(name))
    assert attempted > 0
    assert failed == 0
