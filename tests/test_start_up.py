"""Imports of commands: only libraries that they use. benchmarks/bench_start_up.py measures the time."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from edgewind.cli import COMMANDS
from edgewind.errors import EdgewindError
from edgewind.extras import MissingExtraError, need
from edgewind.signals.synthetic import PulseTrain, synthesise

HEAVY = ("numpy", "pint", "scipy", "pandas", "xarray", "numba", "sqlalchemy", "alembic", "matplotlib", "starlette")
EXTRAS = (
    "pyvisa",
    "serial",
    "optuna",
    "imageio_ffmpeg",
    "dask",
    "distributed",
    "psycopg",
    "soundfile",
    "sounddevice",
    "h5py",
    "CoolProp",
    "chemicals",
)
ORDERS = """
import json, os, sys
from edgewind.cli import main

def loaded(*arguments):
    kept, sys.stdout = sys.stdout, open(os.devnull, "w")
    try:
        main(list(arguments))
    except SystemExit as ended:
        assert ended.code in (0, None), arguments
    finally:
        sys.stdout = kept
    return sorted(name for name in sys.modules if "." not in name)

print(json.dumps([loaded("--help"), loaded("--version"), loaded("new", sys.argv[1] + "/new"),
                  loaded("trace", sys.argv[1] + "/trace.csv", "--marks", "4"),
                  loaded("gas", "air", "7 mTorr", "--size", "10 mm")]))
"""


def test_commands_import_nothing_heavy_that_they_do_not_use(tmp_path):
    """In one process, one after another, so that what an earlier one loads would show in the later ones as well."""
    seen = synthesise(PulseTrain(5.0, noise_v=0.02), samples=4000, interval_s=1e-3, seed=1)
    np.savetxt(tmp_path / "trace.csv", np.column_stack([seen.time_s, seen.voltage_v]), delimiter=",")
    ran = subprocess.run([sys.executable, "-c", ORDERS, str(tmp_path)], capture_output=True, text=True, check=True)
    top, version, new, trace, gas = (set(names) for names in json.loads(ran.stdout))
    for names in (top, version, new):
        assert not names & {*HEAVY, *EXTRAS}
    assert trace & {*HEAVY, *EXTRAS} == {"numpy"}
    assert gas & {*HEAVY, *EXTRAS} == {"numpy", "pint"}


SERVED = """
import json, sys, tempfile
import edgewind.cli.serve
from edgewind.web import make_app

make_app(tempfile.mkdtemp())
print(json.dumps(sorted(name for name in sys.modules if name in sys.argv[1].split(","))))
"""


def test_pages_are_ready_before_physics_and_drawing_are_loaded(tmp_path):
    """What a page computes or draws with is loaded meanwhile, in a thread of its own."""
    late = ("matplotlib", "scipy.interpolate", "scipy.optimize", "numba", "edgewind.rotor.speed_kernel", *EXTRAS)
    words = [sys.executable, "-c", SERVED, ",".join((*late, "starlette"))]
    ran = subprocess.run(words, capture_output=True, text=True, check=True, cwd=tmp_path)
    assert json.loads(ran.stdout) == ["starlette"]


def test_a_study_is_imported_without_drawing():
    code = "import sys, edgewind.study; print('pandas' in sys.modules, 'matplotlib' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["True", "False"]


def test_every_command_is_listed_with_the_first_sentence_of_its_help():
    """The list of commands is written beside them, so that `--help` need not import them; it must say the same."""
    for name, (file, summary) in COMMANDS.items():
        tree = ast.parse(Path(sys.modules["edgewind.cli"].__file__).with_name(f"{file}.py").read_text(encoding="utf-8"))
        sentences = {
            " ".join((ast.get_docstring(node) or "").split("\n\n")[0].split())
            for node in tree.body
            if isinstance(node, ast.FunctionDef) and any("command" in ast.unparse(one) for one in node.decorator_list)
        }
        assert summary in sentences, f"{name}: {sentences}"


def test_every_file_of_a_command_is_listed():
    folder = Path(sys.modules["edgewind.cli"].__file__).parent
    files = {path.stem for path in folder.glob("*.py") if "@app.command" in path.read_text(encoding="utf-8")}
    assert files == {file for file, _ in COMMANDS.values()}


def test_a_missing_extra_says_how_to_install_it():
    with pytest.raises(MissingExtraError, match=r'pip install "edgewind\[film\]"') as caught:
        need("edgewind_no_such.inner", extra="film", purpose="to write a film")
    assert isinstance(caught.value, EdgewindError)


def test_a_broken_extra_is_not_reported_as_missing(tmp_path, monkeypatch):
    (tmp_path / "edgewind_broken.py").write_text("import edgewind_no_such_dependency")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(ModuleNotFoundError, match="edgewind_no_such_dependency"):
        need("edgewind_broken", extra="film", purpose="to write a film")
    assert need("json", extra="film", purpose="to write a film") is json
