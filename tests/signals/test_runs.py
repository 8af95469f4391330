"""Runs through a change, read from a table of speed against time."""

import math

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.signals import read_experiment
from edgewind.signals.runs import is_run, read_run, words_of

RPM = 2 * math.pi / 60
REVERSAL = """\
# invented
time [min],speed [rpm],envelope temperature [degC],lamp
0,+30,20,off
1,+6,,
2,0,-20,
3,-9.5,-20,
5,,-20,
6,-2,-18,
"""


@pytest.fixture
def write(tmp_path):
    def make(text, name="run.csv"):
        (tmp_path / name).write_text(text)
        return tmp_path / name

    return make


def test_a_run_through_standstill_is_read_with_its_envelope_temperature(write):
    path = write(REVERSAL)
    assert is_run(path)
    run = read_run(path)
    assert run.signed
    assert run.changes == ("envelope",)
    assert run.time_s.tolist() == [0, 60, 120, 180, 300, 360]
    assert run.speed_rad_s == pytest.approx(np.array([30, 6, 0, -9.5, np.nan, -2]) * RPM, nan_ok=True)
    assert run.envelope_k == pytest.approx([293.15, 273.15, 253.15, 253.15, 253.15, 255.15])
    assert run.lamp_share.tolist() == [0] * 6
    assert words_of(run) == "envelope 20 to -18 °C"


def test_a_raw_trace_is_not_a_run(write):
    assert not is_run(write("time [s],signal [V]\n0,1\n", "a.csv"))
    assert not is_run(write("0,1\n1,2\n", "b.csv"))
    assert not is_run(write("speed [rpm]\n1\n", "c.csv"))


@pytest.mark.parametrize(
    ("text", "line", "column", "problem"),
    [
        (
            REVERSAL.replace("3,-9.5", "1.5,-9.5"),
            6,
            "time",
            "the time '1.5' does not come after that",
        ),
        (REVERSAL.replace("3,-9.5", ",-9.5"), 6, "time", "the row has no time"),
        (REVERSAL.replace("-18", "-280"), 8, "envelope temperature", "absolute zero"),
        (REVERSAL.replace(",-20,\n5", ",2000,\n5"), 6, "envelope temperature", "above 1500 K"),
        (REVERSAL.replace("off", "3"), 3, "lamp", "is not a share of the lamp"),
        ("time [s],speed [rpm]\n0,1\n1,2\n", 3, None, "the run has 2 rows"),
        ("time [s],speed [rpm]\n0,1\n1,\n2,\n", None, "speed", "fewer than 3 speeds"),
        ("time [s],speed [rpm],gauge [V]\n0,1,2\n", 1, 3, "unknown title 'gauge'"),
    ],
)
def test_invalid_cells_of_a_run_are_refused_with_their_place(write, text, line, column, problem):
    with pytest.raises(InputError) as raised:
        read_run(write(text))
    assert (raised.value.line, raised.value.column) == (line, column)
    assert problem in str(raised.value)
    assert "run.csv" in str(raised.value)


def test_runs_of_an_experiment_are_kept_apart_from_the_curve(tmp_path, write, bench_text):
    (tmp_path / "runs").mkdir()
    write(REVERSAL.replace("off", ""), "runs/001.csv")
    write("time [s],speed [rpm]\n0,3\n1,2\n2,1\n", "runs/002.csv")
    (tmp_path / "bench.toml").write_text(bench_text)
    (tmp_path / "readings.csv").write_text(
        "pressure [mTorr],trace,speed [rpm],lamp\n10,runs/001.csv,,off\n10,runs/002.csv,,off\n10,,60,on\n"
    )
    found = read_experiment(tmp_path)
    assert list(found.runs) == [0, 1]
    assert found.runs[0].lamp_share.tolist() == [0] * 6
    assert np.isfinite(found.runs[1].envelope_k).all()
    chilled, same, usual = found.readings["why_not"]
    assert (chilled, usual) == ("run: envelope 20 to -18 °C", "")
    assert same.startswith("run: nothing changed; note what was in") and "under 'lamp', 'envelope" in same
    assert not found.runs[1].signed
