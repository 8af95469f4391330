"""Commands without the heavy extras, and the message of those that need one."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from importlib.metadata import distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from edgewind.bench import write_template

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"]
WITHOUT = """
import json, sys
for name in ("numba", "llvmlite", "xarray", "openpyxl", "alembic"):
    sys.modules[name] = None
from typer.testing import CliRunner
from edgewind.cli import app
from edgewind.errors import EdgewindError
for words in json.loads(sys.argv[1]):
    ran = CliRunner().invoke(app, words)
    assert ran.exception is None or isinstance(ran.exception, EdgewindError | SystemExit), repr(ran.exception)
    print(json.dumps([ran.exit_code, str(ran.exception or ""), " ".join(ran.output.split())]))
"""


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """Commands in a program that has neither Numba nor xarray, by their first word: status, error and output."""
    folder = tmp_path_factory.mktemp("base")
    write_template(folder / "bench")
    orders = [
        ["gas", "air", "7mTorr"],
        ["predict", "bench", "--set", "rotor.vane_width=16 mm", "--pressures", "1 Pa"],
        ["dwell", "bench", "--pressures", "1 Pa"],
        ["study", "bench"],
        ["respond", "--shape", "square", "--knudsen", "10", "--tolerance", "0.1"],
    ]
    words = [sys.executable, "-c", WITHOUT, json.dumps(orders)]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    return {order[0]: answer for order, answer in zip(orders, answers, strict=True)}


def test_everyday_commands_need_neither_numba_nor_xarray(ran):
    for name in ("gas", "predict", "dwell", "study"):
        assert ran[name][0] == 0, ran[name]
    assert "fastest at" in ran["study"][2]


def test_a_command_that_needs_numba_says_how_to_install_it(ran):
    said = 'numba is needed to fit the unknowns of a rotor; install it: pip install "edgewind[solve]"'
    assert all(said in ran[name][2] for name in ("dwell", "predict", "study"))
    status, error, _ = ran["respond"]
    assert status != 0 and 'pip install "edgewind[solve]"' in error


def base_packages():
    """Every package that an install without extras brings, by what the installed ones ask for."""
    found, waiting = {}, list(PROJECT["dependencies"])
    while waiting:
        needed = Requirement(waiting.pop())
        if needed.name not in found and (needed.marker is None or needed.marker.evaluate({"extra": ""})):
            found[needed.name] = package = distribution(needed.name)
            waiting += package.requires or []
    return found


def test_the_base_install_holds_nothing_heavy_that_is_an_extra_and_stays_below_500_mb():
    packages = base_packages()
    extra = {Requirement(one).name for name, ones in EXTRAS.items() if name not in ("dev", "docs") for one in ones}
    assert not packages.keys() & (extra | {"llvmlite", "alembic"})
    assert {"numpy", "scipy", "pandas"} < packages.keys() and len(packages) < 55
    files = [package.locate_file(file) for package in packages.values() for file in package.files or ()]
    size = sum(path.stat().st_size for path in map(Path, map(str, files)) if path.is_file())
    assert 200e6 < size + sum(path.stat().st_size for path in (ROOT / "src").rglob("*") if path.is_file()) < 500e6


def test_the_container_installs_extras_that_exist_and_starts_a_command_that_does():
    lines = (ROOT / "Containerfile").read_text(encoding="utf-8").splitlines()
    (extras,) = (line.partition("=")[2].strip('"[]') for line in lines if line.startswith("ARG EXTRAS="))
    assert set(extras.split(",")) <= EXTRAS.keys()
    entry, command = (
        json.loads(next(line for line in lines if line.startswith(word)).removeprefix(word))
        for word in ("ENTRYPOINT ", "CMD ")
    )
    help_of = subprocess.run(
        [sys.executable, "-m", *entry, command[0], "--help"], capture_output=True, text=True, check=True
    )
    assert all(option in help_of.stdout for option in command if option.startswith("--"))


def test_every_extra_that_the_program_names_exists():
    named = {
        line.split('extra="')[1].split('"')[0]
        for path in (ROOT / "src").rglob("*.py")
        for line in path.read_text(encoding="utf-8").splitlines()
        if "need(" in line and 'extra="' in line
    }
    assert len(named) > 5 and named <= EXTRAS.keys()
