"""Conditions of each reading: differences from the usual ones, and the direction of rotation."""

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.signals import read_experiment
from edgewind.signals.columns import COLUMNS, TITLES

TITLE = "pressure [mTorr],speed [rpm],lamp,leading face,envelope temperature [degC],gas,lamp side,changed"
USUAL = "10,60,on,,22,,,"


@pytest.fixture
def read(tmp_path, bench_text):
    """Read an experiment of these rows: ``read(*rows, leading="bright")``."""

    def make(*rows, leading="bright"):
        bench = bench_text.replace('leading_face = "bright"', f'leading_face = "{leading}"')
        bench = bench.replace('kind = "', 'principle = "ionisation"\nkind = "', 1)
        (tmp_path / "bench.toml").write_text(bench)
        (tmp_path / "readings.csv").write_text("\n".join([TITLE, *rows]) + "\n")
        return read_experiment(tmp_path)

    return make


def test_every_column_is_declared_once_and_stands_in_the_table(read):
    names = [column.name for column in COLUMNS]
    assert len(set(names)) == len(names)
    assert list(read(USUAL).readings.columns) == names
    assert all(title == title.lower() for title in TITLES)


def test_a_reading_in_the_dark_under_a_chilled_envelope_is_usable_and_not_in_the_curve(read):
    found = read(USUAL, USUAL, "10,-12,off,,-20,,,")
    last = found.readings.iloc[-1]
    assert last["condition"] == "lamp off, envelope at -20 °C"
    assert last["why_not"] == "another condition: lamp off, envelope at -20 °C"
    assert (last["usable"], last["used"], last["leading_face"]) == (True, False, "dark")
    assert last["speed_rad_s"] == pytest.approx(-12 * 2 * np.pi / 60)
    assert len(found.used) == 2
    assert len(found.usable) == 3


@pytest.mark.parametrize(
    ("row", "condition"),
    [
        (USUAL, ""),
        ("10,60,off,,,,,", "lamp off"),
        ("10,60,50%,,,,,", "lamp at 50 %"),
        ("10,60,on,,-12,,,", "envelope at -12 °C"),
        ("10,60,on,,24,,,", ""),
        ("10,60,on,,,Ar,,", "gas Ar"),
        ("10,60,on,,,,opposite beam,", "light from the opposite side"),
        ("10,60,on,,,,,vane blackened", "vane blackened"),
    ],
)
def test_a_condition_names_the_difference_from_the_usual(read, row, condition):
    found = read(USUAL, USUAL, USUAL, row)
    assert found.readings["condition"].iloc[-1] == condition
    assert found.readings["used"].iloc[-1] == (not condition)


def test_lit_rows_without_a_leading_face_take_that_of_the_bench(read):
    found = read(USUAL, "10,60,on,bright,22,,,", "10,9,off,,22,,,", leading="dark")
    assert list(np.sign(found.readings["speed_rad_s"])) == [-1, 1, 1]
    assert list(found.readings["leading_face"]) == ["dark", "bright", "not observed"]


def test_an_envelope_temperature_noted_in_every_reading_is_the_usual_one(read):
    rows = ["10,60,on,,31,,,"] * 4
    assert list(read(*rows).readings["condition"]) == [""] * 4


def test_an_ionisation_gauge_is_corrected_for_the_gas_of_each_reading(read):
    pressure = read(USUAL, "10,60,,,,Ar,,", USUAL).readings["pressure_pa"].to_numpy()
    assert pressure[1] / pressure[0] == pytest.approx(1 / 1.4)  # CRC Handbook: argon 1.4 times nitrogen
    assert pressure[2] == pressure[0]


def test_a_gas_without_a_known_gauge_factor_is_refused_with_its_line(tmp_path, bench_text):
    (tmp_path / "bench.toml").write_text(bench_text)
    (tmp_path / "readings.csv").write_text("pressure [Pa],speed [rpm],gas\n1,60,\n1,60,Ar\n")
    with pytest.raises(InputError, match=r"line 3, column 'gas'.*reads differently in Ar"):
        read_experiment(tmp_path)
