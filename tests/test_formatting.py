"""Text output: numbers, durations, tables."""

import re
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.formatting import NUMBER, duration, format_number, raise_exponents, text_table


def test_formatting_loads_neither_numpy_nor_pint():
    code = "import edgewind.formatting, sys; sys.exit(any(name in sys.modules for name in ('numpy', 'pint')))"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_that_python_or_we_write_is_a_number(value):
    for text in (repr(value), f"{value:.3e}", f"{value:.0f}", format_number(value)):
        assert re.fullmatch(NUMBER, text), text


@pytest.mark.parametrize("text", ["", ".", "e5", "1,5", "1e", "--1", "0x10", "nan", "inf", "1_000", "١٢", "1e12345"])
def test_what_is_not_a_decimal_number_does_not_match(text):
    assert not re.fullmatch(NUMBER, text)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0 s"), (99.4, "99 s"), (99.6, "1.7 min"), (596.0, "9.9 min"), (600.0, "10 min"), (3500.0, "58 min"),
        (3599.0, "1 h"), (7500.0, "2 h 5 min"), (172_799.0, "2 d"), (float("nan"), "never"),
    ],
)  # fmt: skip
def test_durations_near_the_changes_of_unit(seconds, text):
    assert duration(seconds) == text


@given(st.floats(1e-3, 1e7))
def test_a_duration_is_within_six_percent_of_what_it_says(seconds):
    scale = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
    words = duration(seconds).split()
    said = sum(float(number) * scale[unit] for number, unit in zip(words[::2], words[1::2], strict=True))
    assert said == pytest.approx(seconds, rel=0.06)


@pytest.mark.parametrize(
    ("text", "print_form"),
    [
        ("4.7e-4", "4.7 × 10⁻⁴"), ("(-3.2e5 to -1)", "(−3.2 × 10⁵ to −1)"), ("6-7 mm", "6-7 mm"),
        ("2026-11-28", "2026-11-28"), ("vane-12mm", "vane-12mm"), ("ab3e5cd", "ab3e5cd"), ("K2e7x", "K2e7x"),
    ],
)  # fmt: skip
def test_exponents_are_raised_and_names_left_unchanged(text, print_form):
    assert raise_exponents(text) == print_form


def test_a_text_table_may_be_ragged_or_empty():
    assert list(text_table([])) == []
    assert list(text_table([["a", "bb"], ["ccc"]])) == ["  a  bb", "ccc"]
