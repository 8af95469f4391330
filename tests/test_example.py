"""The invented example is made by its script, and small enough to ship with the code."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest

from edgewind.signals import read_trace
from edgewind.signals.runs import read_run

FOLDER = Path(__file__).parents[1] / "examples"
EXAMPLE = FOLDER / "two-rotors"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    script = runpy.run_path(str(FOLDER / "make_two_rotors.py"))
    root = tmp_path_factory.mktemp("example")
    script["make"](root)
    return root


def test_the_script_makes_the_same_files(made):
    names = sorted(file.relative_to(made) for file in made.rglob("*") if file.is_file())
    assert names == sorted(file.relative_to(EXAMPLE) for file in EXAMPLE.rglob("*") if file.is_file())
    for name in names:
        if name.suffix == ".toml" or name.name == "readings.csv":
            assert (made / name).read_bytes() == (EXAMPLE / name).read_bytes()


def test_the_script_makes_the_same_signals(made):
    for name in ("vane-12mm/traces/012.csv.gz", "vane-20mm/traces/001.csv"):
        again, kept = read_trace(made / name), read_trace(EXAMPLE / name)
        assert again.interval_s == kept.interval_s
        np.testing.assert_allclose(again.voltage_v, kept.voltage_v, atol=2e-5)


def test_every_file_states_that_it_is_invented_and_all_are_small():
    files = [file for file in EXAMPLE.rglob("*") if file.is_file()]
    for file in files:
        if file.suffix in (".csv", ".toml"):
            assert "INVENTED DATA" in file.read_text(encoding="utf-8")[:200], file
    assert sum(file.stat().st_size for file in files) < 12e6


def test_the_reversal_is_made_by_its_script_and_reverses_in_the_cold(tmp_path):
    """Made by closed forms that are not those of the program; small differences of libraries aside, the same text."""
    script = runpy.run_path(str(FOLDER / "make_reversal.py"))
    script["make"](tmp_path / "reversal")
    for name in ("bench.toml", "readings.csv"):
        assert (tmp_path / "reversal" / name).read_text() == (FOLDER / "reversal" / name).read_text()
        assert (FOLDER / "reversal" / name).read_text().startswith("# INVENTED DATA")
    again, kept = (read_run(place / "reversal" / "runs" / "001.csv") for place in (tmp_path, FOLDER))
    np.testing.assert_allclose(again.speed_rad_s, kept.speed_rad_s, atol=2e-3)
    assert kept.signed and set(kept.changes) == {"lamp", "envelope"}
    assert kept.speed_rad_s[0] > 5.0 and kept.speed_rad_s.min() < -1.0
