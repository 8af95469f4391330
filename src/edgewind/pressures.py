"""Parser of pressures: a range with a count, or a list."""

from __future__ import annotations

import math

from edgewind.errors import InputError
from edgewind.units import parse_quantity

_FIX = "write lowest:highest:count, such as 0.01Pa:10Pa:40, or a list, such as 0.1 Pa, 7 mTorr"


def parse_pressures(
    text: str, *, default_count: int | None = 40, allow_descending: bool = False, most: int = 100_000
) -> tuple[float, ...]:
    """Read ``"0.01Pa:10Pa:40"`` (evenly spaced in the logarithm) or ``"1 Pa, 7 mTorr"``.

    Parameters
    ----------
    text : str
        The text of the user.
    default_count : int or None
        Count of a range that states none; None if it must be stated.
    allow_descending : bool
        Whether a range may begin with its higher end and descend. A list keeps its order in any case.
    most : int
        Greatest count allowed.

    Returns
    -------
    tuple of float
        Pressures, Pa; those of a range rounded to six digits between its ends.

    Raises
    ------
    InputError
        It is neither, a pressure is not above zero, or the count is not between 2 and `most`.

    Examples
    --------
    >>> parse_pressures("0.01Pa:1Pa:3")
    (0.01, 0.1, 1.0)
    >>> parse_pressures("3 Pa, 1 Pa")
    (3.0, 1.0)
    >>> parse_pressures("10 Pa:0.1 Pa:3", allow_descending=True)
    (10.0, 1.0, 0.1)
    """
    parts = [part.strip() for part in text.split(":")]
    if len(parts) == 1:
        found = tuple(_pressure(part, text) for part in text.split(","))
        if len(found) > most:
            raise InputError(f"{len(found)} pressures are too many", fix=f"write at most {most}")
        return found
    if len(parts) > 3 or (len(parts) == 2 and default_count is None):
        raise InputError(f"'{text}' is not a range of pressures", fix=_FIX)
    first, last = (_pressure(part, text) for part in parts[:2])
    if len(parts) == 2:
        count = default_count or 0
    elif parts[2].isascii() and parts[2].isdecimal() and len(parts[2]) <= 9:
        count = int(parts[2])
    else:
        raise InputError(f"'{text}' is not a range of pressures: '{parts[2]}' is not a count", fix=_FIX)
    if not 2 <= count <= most:
        raise InputError(f"'{text}' has a count of {count}", fix=f"write a count between 2 and {most}")
    if first == last or (first > last and not allow_descending):
        raise InputError(f"'{text}' is not a range: its second pressure must be the higher one", fix=_FIX)
    step = math.log(last / first) / (count - 1)
    inner = (float(f"{first * math.exp(k * step):.6g}") for k in range(1, count - 1))
    return (first, *inner, last)


def parse_pressure_range(text: str) -> tuple[float, float]:
    """Read ``"0.02Pa:20Pa"`` as two pressures, Pa, the lower one first.

    Raises
    ------
    InputError
        It is not a range, or the first pressure is not the lower one.

    Examples
    --------
    >>> parse_pressure_range("20 mPa:20 Pa")
    (0.02, 20.0)
    """
    fix = "write the lower and the higher pressure, such as 0.02Pa:20Pa"
    parts = text.split(":")
    if len(parts) != 2:
        raise InputError(f"'{text}' is not a range of pressures", fix=fix)
    low, high = (_pressure(part, text) for part in parts)
    if not low < high:
        raise InputError(f"'{text}' is not a range: its second pressure must be the higher one", fix=fix)
    return low, high


def _pressure(part: str, text: str) -> float:
    try:
        value = parse_quantity(part.strip(), "pressure")
    except InputError as error:
        raise InputError(f"'{text}' cannot be read as pressures: {error.problem}", fix=error.fix or _FIX) from None
    if not value > 0:
        raise InputError(f"'{part.strip()}' in '{text}' must be above zero", fix=_FIX)
    return value
