"""The shipped tables of ratios come from their tool."""

from __future__ import annotations

import importlib.util
from importlib import resources
from pathlib import Path

import pytest

from edgewind.kinetics import respond

TOOL = Path(__file__).parents[2] / "tools" / "make_ratios.py"


@pytest.fixture
def tool():
    spec = importlib.util.spec_from_file_location("make_ratios", TOOL)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def solved(tmp_path):
    """Replace the parallel solution of the tool by one in this process."""
    return lambda questions: [dict(respond(**one, cache=tmp_path).values) for one in questions]


def shipped(name):
    return (resources.files("edgewind.kinetics") / f"{name}.csv").read_text().splitlines()


@pytest.mark.parametrize("name", ["thickness", "chamber", "accommodation"])
def test_shipped_table_names_the_tool_that_makes_it(name):
    assert shipped(name)[0] == f"# made by: python tools/make_ratios.py {name}"


def test_tool_makes_lines_of_the_shipped_thickness_table(tool, solved, monkeypatch):
    for name, few in (("KNUDSEN", (0.3,)), ("THICKNESSES", (0.1,)), ("OF_THICK", (1.0,))):
        monkeypatch.setattr(tool, name, few)
    held, made = numbers_of(shipped("thickness")), numbers_of(tool.thickness(solved))
    assert made.keys() == {(1.0, 0.1, 0.3)}
    for place, values in made.items():
        assert values == pytest.approx(held[place], abs=2e-5)


def numbers_of(lines):
    rows = [[float(cell) for cell in line.split(",")] for line in lines if line[0].isdigit()]
    return {tuple(row[:3]): row[3:] for row in rows}
