"""Conversion of results to JSON types."""

from __future__ import annotations

import math
from collections.abc import Mapping, Set
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from pathlib import PurePath
from typing import Any


def to_plain(value: Any) -> Any:
    """Return `value` in the types of JSON: dict, list, str, int, float, bool, None.

    NaN, infinity and a missing value become None; NumPy scalars and arrays become
    numbers and lists; a data frame becomes a list of rows; dataclasses and pydantic models become dicts,
    without the fields that a model excludes; a time
    becomes its ISO 8601 text.

    Raises
    ------
    TypeError
        The value is of a type that has no such form.

    Examples
    --------
    >>> to_plain({"pressure_pa": float("nan"), "steps": (1, 2)})
    {'pressure_pa': None, 'steps': [1, 2]}
    """
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Enum):
        return to_plain(value.value)
    if isinstance(value, str):
        return str(value)
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): to_plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(one) for one in value]
    if isinstance(value, Set):
        return [to_plain(one) for one in sorted(value)]
    if type(value).__name__ in ("NAType", "NaTType"):
        return None
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, PurePath):
        return value.as_posix()
    return _of_library(value)


def _of_library(value: Any) -> Any:
    """Return models, records, frames and arrays in plain types, without importing the libraries that made them."""
    if isinstance(value, type):
        raise TypeError(f"{value!r} has no form in JSON")
    model_fields = getattr(type(value), "model_fields", None)
    if model_fields is not None:
        return {name: to_plain(getattr(value, name)) for name, field in model_fields.items() if not field.exclude}
    if is_dataclass(value):
        return {field.name: to_plain(getattr(value, field.name)) for field in fields(value)}
    if hasattr(value, "columns") and hasattr(value, "to_dict"):
        return [to_plain(row) for row in value.to_dict("records")]
    if hasattr(value, "tolist"):
        return to_plain(value.tolist())
    raise TypeError(f"a {type(value).__name__} has no form in JSON")
