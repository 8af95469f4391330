"""The manual: its examples run, its pages are linked and name what there is."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
EXAMPLES = sorted((DOCS / "examples").glob("[0-9]*.py"))
PAGES = sorted(path for path in DOCS.rglob("*.md") if "generated" not in path.parts)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_worked_example_runs_draws_and_ends_in_a_sentence_with_a_number(path, tmp_path):
    program = tmp_path / path.name
    text = path.read_text(encoding="utf-8").replace("plt.show()", f"plt.savefig(r'{tmp_path}/figure.png')")
    program.write_text(text.replace("Path(__file__)", f"Path(r'{path}')"), encoding="utf-8")
    ran = subprocess.run(
        [sys.executable, program], capture_output=True, text=True, cwd=tmp_path, env=os.environ | {"MPLBACKEND": "agg"}
    )
    assert ran.returncode == 0, ran.stderr
    assert (tmp_path / "figure.png").stat().st_size > 10_000
    assert re.search(r"\d", ran.stdout.splitlines()[-1])


def test_the_manual_has_four_worked_examples_each_with_a_sentence_that_could_be_wrong():
    assert len(EXAMPLES) == 4
    for path in EXAMPLES:
        assert "The sentence that could be wrong" in path.read_text(encoding="utf-8")


def test_the_manual_builds_without_a_warning(tmp_path):
    """Without the figures of the examples and the list of checks, which `make docs` makes."""
    built = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", "-b", "html", "-D", "plot_gallery=0",
         "-d", tmp_path / "trees", DOCS, tmp_path / "manual"],
        capture_output=True, text=True, env=os.environ | {"EDGEWIND_MANUAL_WITHOUT_CHECKS": "1"},
    )  # fmt: skip
    assert built.returncode == 0, built.stderr
    page = (tmp_path / "manual" / "generated" / "commands.html").read_text(encoding="utf-8")
    assert "edgewind study" in page


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_commands_named_in_the_manual_exist(path):
    import click
    import typer

    from edgewind.cli import app

    group = typer.main.get_command(app)
    known = set(group.list_commands(click.Context(group)))
    named = set(re.findall(r"^ {4}edgewind ([a-z]+)\b", path.read_text(encoding="utf-8"), re.M))
    named |= set(re.findall(r"`edgewind ([a-z]+)\b", path.read_text(encoding="utf-8")))
    assert named <= known
