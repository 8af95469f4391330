"""The manual: its examples run, its pages are linked and name existing commands and keys."""

import os
import re
import runpy
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from edgewind.bench import GAUGES, Bench

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
sys.path.insert(0, str(DOCS))
from growth import growth_section  # noqa: E402
from make_reference import _model_of, bench_sentences  # noqa: E402

EXAMPLES = sorted((DOCS / "examples").glob("[0-9]*.py"))
PAGES = sorted(path for path in DOCS.rglob("*.md") if "generated" not in path.parts)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_worked_example_runs_draws_and_ends_in_a_sentence_with_a_number(path, tmp_path, monkeypatch, capsys):
    import matplotlib.pyplot as plt

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(plt, "show", lambda: plt.savefig(tmp_path / "figure.png"))
    plt.switch_backend("agg")
    runpy.run_path(str(path), run_name="__main__")
    plt.close("all")
    assert (tmp_path / "figure.png").stat().st_size > 10_000
    assert re.search(r"\d", capsys.readouterr().out.splitlines()[-1])


def test_the_manual_has_four_worked_examples_each_with_a_sentence_that_could_be_wrong():
    assert len(EXAMPLES) == 4
    for path in EXAMPLES:
        assert "The sentence that could be wrong" in path.read_text(encoding="utf-8")


def test_the_manual_builds_without_a_warning(tmp_path, kept_runs):
    """Without the figures of the examples and the list of checks, which `make docs` makes."""
    built = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", "-b", "html", "-D", "plot_gallery=0",
         "-d", tmp_path / "trees", DOCS, tmp_path / "manual"],
        capture_output=True, text=True, env=os.environ | {"EDGEWIND_MANUAL_WITHOUT_CHECKS": "1"},
    )  # fmt: skip
    assert built.returncode == 0, built.stderr
    pages = {name: (tmp_path / "manual" / "generated" / f"{name}.html").read_text(encoding="utf-8")
             for name in ("commands", "json", "performance")}  # fmt: skip
    assert "edgewind study" in pages["commands"]
    assert "Coverage probability of the interval" in pages["json"]
    assert pages["performance"].count('class="drawing"') == 4


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


def test_commands_of_the_page_on_the_reversal_print_what_it_shows(tmp_path, edgewind):
    """On the invented run of the examples: the rotor reverses, with the verdicts of the first row of the table."""
    shutil.copytree(ROOT / "examples" / "reversal", tmp_path / "my-bench")
    page = (DOCS / "howto" / "reversal.md").read_text(encoding="utf-8")
    commands = [shlex.split(line) for line in re.findall(r"^ {4}edgewind (.*)$", page, re.M)]
    said = {}
    for arguments in commands:
        done = edgewind(*arguments, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        said[arguments[0]] = " ".join(done.stdout.split())
    assert set(said) == {"predict", "record", "study"}
    assert "the dark face leads first" in said["predict"]
    assert "run at 2 Pa: lamp off, then envelope to -20 degC" in said["record"] and "frost" in said["record"]
    for name in ("unequal accommodation", "constant torque from outside", "pivot or vibration"):
        assert f"{name}, ruled out." in said["study"]
    assert "thermal force of the gas, compatible." in said["study"]


def sections(model):
    """The sections of `bench.toml`, those inside others too."""
    for field in model.model_fields.values():
        inner = _model_of(field.annotation)
        if inner is not None:
            yield inner
            yield from sections(inner)


def test_every_key_of_bench_toml_has_a_sentence_and_every_sentence_a_key():
    for model in {*sections(Bench), *GAUGES.values()}:
        said = bench_sentences(model)
        leaves = {key for key, field in model.model_fields.items() if _model_of(field.annotation) is None}
        assert leaves <= said.keys() <= model.model_fields.keys(), model.__name__
        for key, sentence in said.items():
            assert re.fullmatch(r"[A-Z].*[^.]\.", sentence), f"{model.__name__}: {key}"


def test_growth_is_drawn_with_its_power_in_both_themes_and_in_words():
    at = np.geomspace(10, 1000, 6)
    row = {
        "name": "time of something as a power of things", "value": 2.0, "along": "things", "fitted": 3,
        "points": np.stack([at, 0.01 + 1e-5 * at**2], axis=1).tolist(),
    }  # fmt: skip
    told = growth_section([row, {"name": "a row without points", "value": 1.0}])
    assert told.count("<svg") == 1 and "power 2.00" in told and "<figcaption>Time of something against things" in told
    assert 'aria-label="Time of something against things, both in logarithms: 6 points' in told
    assert "var(--blue)" in told and "var(--rust)" in told and told.count("--blue:") == 3
    assert growth_section([{"name": "a row without points", "value": 1.0}]) == ""
