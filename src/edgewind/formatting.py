"""Numbers, durations and tables as text, with significant digits and uncertainties.

It imports neither NumPy nor Pint, so that commands that only print start fast.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Sequence

NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?"
"""Regular expression of a decimal number, without anchors and groups. Its value may still overflow to infinity."""

RPM_PER_RAD_S = 30.0 / math.pi
"""Revolutions per minute in one radian per second."""

_POWER = re.compile(
    r"(?<![\w.])(?P<mantissa>[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:\([0-9]+\))?)e(?P<power>[+-]?[0-9]+)(?!\w)"
)
_MINUS = re.compile(r"(?<![\w)\].-])-(?=\.?[0-9])")
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def format_measured(value: float, u: float, unit: str = "") -> str:
    """Write a value with its standard uncertainty in the short form of the GUM (JCGM 100:2008, 7.2.2, form 2).

    Two digits of uncertainty are kept when they begin with 1 or 2, one otherwise (common practice, no source).

    Examples
    --------
    >>> format_measured(12.3456, 0.0421, "mTorr")
    '12.35(4) mTorr'
    >>> format_measured(12.3456, 0.0, "mm")
    '12.35 mm'
    >>> format_measured(3521.0, 140.0)
    '3520(140)'
    """
    tail = f" {unit}" if unit else ""
    value += 0.0  # a negative zero is zero
    if not math.isfinite(value):
        return "none"
    if not math.isfinite(u) or u <= 0:
        return format_number(value) + tail
    if abs(value) >= 1e5 or max(abs(value), u) < 1e-3:
        exponent = math.floor(math.log10(max(abs(value), u)))
        return f"{format_measured(value / 10.0**exponent, u / 10.0**exponent)}e{exponent:d}{tail}"
    magnitude = math.floor(math.log10(u))
    digits = 2 if u / 10.0**magnitude < 2.95 else 1
    decimals = digits - 1 - magnitude
    if decimals <= 0:
        step = 10.0**-decimals
        return f"{round(value / step) * step:.0f}({round(u / step) * step:.0f}){tail}"
    return f"{value:.{decimals}f}({round(u * 10.0**decimals):d}){tail}"


def format_number(value: float, digits: int = 4, *, keep_zeros: bool = False) -> str:
    """Write a number with `digits` significant digits, without a needless exponent.

    Examples
    --------
    >>> format_number(0.000123456), format_number(1234.5678), format_number(7.0), format_number(120.0, 3)
    ('1.235e-4', '1235', '7', '120')
    >>> format_number(0.4, 2, keep_zeros=True)
    '0.40'
    """
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "none"
    mantissa, _, power = f"{value:.{digits - 1}e}".partition("e")
    exponent = int(power)
    if -3 <= exponent < 6:
        text, tail = f"{float(mantissa + 'e' + power):.{max(digits - 1 - exponent, 0)}f}", ""
    else:
        text, tail = mantissa, f"e{exponent:d}"
    return (text.rstrip("0").rstrip(".") if "." in text and not keep_zeros else text) + tail


def format_interval(low: float, high: float, unit: str = "", digits: int = 3) -> str:
    """Write an interval with both ends to the same number of significant digits.

    Examples
    --------
    >>> format_interval(0.8123, 1.2345, "Pa")
    '0.812 to 1.23 Pa'
    >>> format_interval(0.4, 0.49, digits=2)
    '0.40 to 0.49'
    """
    ends = (format_number(end, digits, keep_zeros=True) for end in (low, high))
    return " to ".join(ends) + (f" {unit}" if unit else "")


def duration(seconds: float) -> str:
    """Write a duration in practical units.

    Two significant digits below ten minutes, whole minutes below two days, whole hours above; ``never`` for an
    infinite one.

    Examples
    --------
    >>> duration(0.43), duration(42.0), duration(400.0), duration(1500.0), duration(7500.0)
    ('0.43 s', '42 s', '6.7 min', '25 min', '2 h 5 min')
    >>> duration(200_000.0), duration(float("inf"))
    ('2 d 8 h', 'never')
    """
    if not math.isfinite(seconds):
        return "never"
    if abs(seconds) < 99.5:
        return f"{format_number(seconds, 2)} s"
    if abs(seconds) < 597:
        return f"{format_number(seconds / 60, 2)} min"
    minutes = round(seconds / 60)
    hours, rest = divmod(minutes, 60)
    if hours >= 48:
        days, hours = divmod(round(seconds / 3600), 24)
        return f"{days} d {hours} h" if hours else f"{days} d"
    return f"{minutes} min" if not hours else f"{hours} h {rest} min" if rest else f"{hours} h"


def raised(power: int) -> str:
    """Write an exponent in raised digits.

    Examples
    --------
    >>> raised(-12)
    '⁻¹²'
    """
    return str(power).translate(_RAISED)


def raise_exponents(text: str, *, drop_one: bool = False) -> str:
    """Write the numbers in a text typographically: powers of ten and true minus signs.

    Parameters
    ----------
    text : str
        Prose or a single number. Dates, names and digests in it stay as they are.
    drop_one : bool
        Whether ``1 × 10⁻⁵`` is written ``10⁻⁵``, as on an axis.

    Examples
    --------
    >>> raise_exponents("1.23(4)e-5"), raise_exponents("-0.5"), raise_exponents("1e-12 to 7.2e-09 N m, evenly")
    ('1.23(4) × 10⁻⁵', '−0.5', '1 × 10⁻¹² to 7.2 × 10⁻⁹ N m, evenly')
    >>> raise_exponents("2026-11-28, file a-1e5b"), raise_exponents("1e6", drop_one=True)
    ('2026-11-28, file a-1e5b', '10⁶')
    """

    def power(found: re.Match[str]) -> str:
        ten = "10" + raised(int(found["power"]))
        return ten if drop_one and found["mantissa"] == "1" else f"{found['mantissa']} × {ten}"

    return _MINUS.sub("−", _POWER.sub(power, text))


def text_table(rows: Sequence[Sequence[str]], *, left: Collection[int] = ()) -> Iterator[str]:
    """Yield the lines of a table: columns justified to the right.

    Parameters
    ----------
    rows : sequence of sequences of str
        The cells, titles first; rows may be of unequal length.
    left : collection of int
        Columns justified to the left.

    Examples
    --------
    >>> for line in text_table([["gas", "Pa"], ["argon", "0.7"], ["neon", "12"]], left={0}):
    ...     print(line)
    gas     Pa
    argon  0.7
    neon    12
    """
    count = max((len(row) for row in rows), default=0)
    widths = [max(len(row[column]) for row in rows if column < len(row)) for column in range(count)]
    for row in rows:
        cells = (
            cell.ljust(widths[column]) if column in left else cell.rjust(widths[column])
            for column, cell in enumerate(row)
        )
        yield "  ".join(cells).rstrip()
