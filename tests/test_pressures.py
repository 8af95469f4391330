"""Pressures in common notations."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.pressures import parse_pressure_range, parse_pressures


def test_a_range_without_a_count_takes_the_default():
    assert len(parse_pressures("0.01Pa:10Pa")) == 40
    assert len(parse_pressures("0.01Pa:10Pa", default_count=7)) == 7
    with pytest.raises(InputError, match="count"):
        parse_pressures("0.01Pa:10Pa", default_count=None)


@given(st.floats(1e-4, 1e2), st.floats(1.1, 1e4), st.integers(2, 60))
def test_a_range_is_even_in_the_logarithm_and_keeps_its_ends(low, ratio, count):
    found = parse_pressures(f"{low!r} Pa:{low * ratio!r} Pa:{count}")
    assert found[0] == pytest.approx(low, rel=1e-14) and found[-1] == pytest.approx(low * ratio, rel=1e-14)
    np.testing.assert_allclose(found, np.geomspace(low, low * ratio, count), rtol=6e-6)


def test_a_range_goes_down_only_where_that_is_allowed():
    assert parse_pressures("10Pa:0.1Pa:3", allow_descending=True) == (10.0, 1.0, 0.1)
    with pytest.raises(InputError, match="second pressure must be the higher"):
        parse_pressures("10Pa:0.1Pa:3")
    assert parse_pressures("3 Pa, 10 mTorr") == pytest.approx((3.0, 1.333224), rel=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        "", "1", "1 Pa:", "1 Pa:2 Pa:x", "1 Pa:2 Pa:1", "1 Pa:2 Pa:-3", "1 Pa:2 Pa:3:4", "0 Pa", "-1 Pa:2 Pa:3",
        "1 Pa,", "1 mm", "1 Pa:1 Pa:3", "1 Pa:2 Pa:²", "1 Pa:2 Pa:9999999999",
    ],
)  # fmt: skip
def test_other_text_is_refused_with_what_to_write(text):
    with pytest.raises(InputError) as caught:
        parse_pressures(text)
    assert caught.value.fix


def test_the_number_of_pressures_is_limited():
    for text in ("1Pa:2Pa:9", "1 Pa, 2 Pa, 3 Pa, 4 Pa"):
        with pytest.raises(InputError, match=r"3"):
            parse_pressures(text, most=3)


@pytest.mark.parametrize("text", ["1 Pa", "2 Pa:1 Pa", "1 Pa:2 Pa:3", "0 Pa:1 Pa", "1 Pa:1 Pa"])
def test_a_pair_must_be_two_pressures_the_lower_first(text):
    with pytest.raises(InputError):
        parse_pressure_range(text)
