"""Errors name place, problem and correction."""

import pytest

from edgewind.errors import EdgewindError, InputError, OutOfRangeError


def test_message_names_file_line_column_problem_and_fix():
    error = InputError("'abc' is not a number", file="readings.csv", line=7, column="speed", fix="write a number")
    assert str(error) == "readings.csv, line 7, column 'speed': 'abc' is not a number; write a number"


def test_column_by_number_is_not_quoted():
    assert str(InputError("no unit", line=1, column=3)) == "line 1, column 3: no unit"


def test_message_without_a_place_is_the_problem_alone():
    assert str(InputError("nothing to do")) == "nothing to do"


def test_at_fills_in_only_missing_places():
    error = InputError("no unit", line=3).at(file="bench.toml", line=9, key="rotor.arm")
    assert (error.file, error.line, error.key) == ("bench.toml", 3, "rotor.arm")
    assert str(error) == "bench.toml, line 3, key rotor.arm: no unit"


def test_at_keeps_problem_fix_and_kind_of_error():
    error = OutOfRangeError("too cold", fix="warm it").at(file="bench.toml")
    assert (error.problem, error.fix) == ("too cold", "warm it")
    assert isinstance(error, OutOfRangeError)


@pytest.mark.parametrize("error", [InputError, OutOfRangeError])
def test_every_deliberate_error_is_an_edgewind_error(error):
    assert issubclass(error, EdgewindError)
