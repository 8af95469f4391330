"""The wheel holds everything that the program reads, and works where there is no source."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    built = WheelBuilder(str(ROOT)).build(directory=str(tmp_path_factory.mktemp("wheel")), versions=["standard"])
    return Path(next(iter(built)))


def test_every_file_of_the_package_is_in_the_wheel(wheel):
    source = {
        file.relative_to(ROOT / "src").as_posix()
        for file in (ROOT / "src" / "edgewind").rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }
    held = {name for name in zipfile.ZipFile(wheel).namelist() if not name.startswith("edgewind-")}
    assert held == source
    assert {Path(name).suffix for name in held} >= {".py", ".toml", ".csv", ".html", ".css", ".js", ".fields"}


def test_an_experiment_folder_is_made_from_the_wheel_alone(wheel, tmp_path):
    zipfile.ZipFile(wheel).extractall(tmp_path / "site")
    (tmp_path / "work").mkdir()
    code = "import edgewind, edgewind.cli as c; print(edgewind.__file__); c.main(['new', 'my-bench'])"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path / "work", capture_output=True, text=True, check=True,
        env=os.environ | {"PYTHONPATH": str(tmp_path / "site")},
    )  # fmt: skip
    assert done.stdout.splitlines()[0].startswith(str(tmp_path / "site"))
    assert (tmp_path / "work" / "my-bench" / "readings.csv").is_file()
