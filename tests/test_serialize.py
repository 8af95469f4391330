"""The one conversion to JSON."""

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, Field

from edgewind.serialize import to_plain


class Way(StrEnum):
    UP = "up"


@dataclass(frozen=True)
class Place:
    pressure_pa: float
    way: Way = Way.UP


class Found(BaseModel):
    place: Place
    interval_pa: tuple[float, float] | None = Field(None, description="Interval.")


def test_every_kind_of_result_is_converted():
    frame = pd.DataFrame({"pressure_pa": [1.0, np.nan], "line": [1, 2], "at": [pd.NaT, pd.Timestamp("2026-01-02")]})
    value = {
        "model": Found(place=Place(np.float64(2.0)), interval_pa=(1.0, float("inf"))), "frame": frame,
        "array": np.array([[1, 2]]), "bool": np.bool_(True), "one": np.array(3.0), "missing": pd.NA, "set": {3, 1},
        "path": Path("a") / "b", "when": datetime(2026, 1, 2, tzinfo=UTC), 5: "key", "series": pd.Series([1.5]),
    }  # fmt: skip
    assert to_plain(value) == {
        "model": {"place": {"pressure_pa": 2.0, "way": "up"}, "interval_pa": [1.0, None]},
        "frame": [
            {"pressure_pa": 1.0, "line": 1, "at": None},
            {"pressure_pa": None, "line": 2, "at": "2026-01-02T00:00:00"},
        ],
        "array": [[1, 2]], "bool": True, "one": 3.0, "missing": None, "set": [1, 3], "path": "a/b",
        "when": "2026-01-02T00:00:00+00:00", "5": "key", "series": [1.5],
    }  # fmt: skip
    json.dumps(to_plain(value), allow_nan=False)


def test_values_without_a_json_form_are_refused():
    for value in (object(), 1j, Place, b"bytes"):
        with pytest.raises(TypeError):
            to_plain(value)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
def test_plain_values_are_unchanged(value):
    assert to_plain(value) == value
