"""The units in which pressures and speeds are shown, chosen in `[units]` of `bench.toml`. Sentences and figures are
made in Pa and rpm and converted to the chosen units on output, with the same number of digits; files for programs stay
in SI.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property, partial

from edgewind.formatting import format_measured, format_number, raise_exponents
from edgewind.units import to_si

_RAISED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")
_NUMBER = r"[-−+]?\d+(?:\.\d+)?(?:\(\d+\))?(?:e[-+]?\d+|\s?×\s?10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?"
_MADE_IN = {"pressure": "Pa", "angular speed": "rpm"}


@dataclass(frozen=True)
class ShownUnits:
    """Units of shown pressures and speeds.

    Attributes
    ----------
    pressure, speed : str
        As `edgewind.units` reads them.

    Examples
    --------
    >>> shown = ShownUnits(pressure="mTorr")
    >>> shown.text("fastest at 3.38 Pa (25.3 mTorr), with an interval of 2.77 to 4.11 Pa (20.8 to 30.8 mTorr)")
    'fastest at 25.3 mTorr, with an interval of 20.8 to 30.8 mTorr'
    >>> shown.text("3.38 Pa (2.77 to 4.11)")
    '25.4 mTorr (20.8 to 30.8)'
    >>> shown.table([["pressure", "speed"], ["Pa", "rpm"], ["0.100", "12.0"]])[2]
    ['0.750', '12.0']
    >>> shown.text("a pressure of 0.5 Pa m³/s stays"), ShownUnits(speed="rad/s").text("at 60.0 rpm")
    ('a pressure of 0.5 Pa m³/s stays', 'at 6.28 rad/s')
    """

    pressure: str = "Pa"
    speed: str = "rpm"

    @property
    def changed(self) -> bool:
        """Whether any unit differs from Pa and rpm."""
        return self.pressure != "Pa" or self.speed != "rpm"

    @cached_property
    def sizes(self) -> dict[str, tuple[str, float]]:
        """By original unit: the shown unit, and its size in the original one."""
        chosen = {"pressure": self.pressure, "angular speed": self.speed}
        return {
            made: (chosen[kind], float(to_si(1.0, chosen[kind], kind)) / float(to_si(1.0, made, kind)))
            for kind, made in _MADE_IN.items()
            if chosen[kind] != made
        }

    def text(self, sentence: str) -> str:
        """Return a sentence with its pressures and speeds in the chosen units."""
        for made, (unit, size) in self.sizes.items():
            sentence = _pattern(made).sub(partial(_in_unit, unit=unit, size=size), sentence)
        return sentence

    def table(self, rows: Sequence[Sequence[str]]) -> list[list[str]]:
        """Return the rows of a table, units in the second, with its pressures and speeds in the chosen units."""
        found = [list(row) for row in rows]
        for column, made in enumerate(rows[1]):
            if made in self.sizes:
                found[1][column], size = self.sizes[made]
                for row in found[2:]:
                    row[column] = _one(row[column], size) if re.fullmatch(_NUMBER, row[column]) else row[column]
        return found

    def label(self, name: str) -> str:
        """Return the name of an axis or a column, ``pressure (Pa)`` or ``speed / rpm``, with the chosen unit."""
        for made, (unit, _) in self.sizes.items():
            name = re.sub(rf"(\(|/ |, )({made})(\)|$)", rf"\g<1>{unit}\g<3>", name)
        return name


@cache
def _pattern(made: str) -> re.Pattern[str]:
    """Return the pattern of numbers before a unit, and the same in mTorr in brackets after a pressure."""
    beside = rf"(?: \((?P<beside>{_NUMBER}(?: to {_NUMBER})?) mTorr\))?" if made == "Pa" else ""
    beside += rf"(?: \((?P<low>{_NUMBER}) to (?P<high>{_NUMBER})(?=\)))?"  # an interval with its unit before it
    return re.compile(
        rf"(?<![\w.])(?P<first>{_NUMBER})(?:(?P<between> to | and |, | ± )(?P<second>{_NUMBER}))?[ \u00a0]{made}"
        rf"(?![\w·²]|/{'(?!s)' if made == 'Pa' else ''}| m(?!\w)| m[³²^]| s\b){beside}"
    )


def _in_unit(found: re.Match[str], unit: str, size: float) -> str:
    groups = found.groupdict()
    if groups.get("beside") and unit == "mTorr":
        return f"{groups['beside']} mTorr"
    interval = f" ({_one(found['low'], size)} to {_one(found['high'], size)}" if found["low"] else ""
    second = "" if found["second"] is None else found["between"] + _one(found["second"], size)
    return f"{_one(found['first'], size)}{second} {unit}{interval}"


def _one(number: str, size: float) -> str:
    mantissa, _, exponent = re.sub(r"\s?×\s?10", "e", number).partition("e")
    if "(" in mantissa:
        return _measured(mantissa, int(exponent.translate(_RAISED) or 0), size)
    digits = len(mantissa.lstrip("-−+").replace(".", "").lstrip("0")) or 1
    value = float(mantissa.replace("−", "-")) * 10.0 ** int(exponent.translate(_RAISED) or 0)
    keep_zeros = "." in mantissa and mantissa.endswith("0")
    shown = raise_exponents(format_number(value / size, max(digits, 2), keep_zeros=keep_zeros))
    return shown.replace("-", "−") if number.startswith("−") else "+" * number.startswith("+") + shown


def _measured(mantissa: str, power: int, size: float) -> str:
    """Return a number with the uncertainty of its last digits in brackets, in a unit of this size."""
    digits, uncertain = mantissa.rstrip(")").split("(")
    decimals = len(digits.partition(".")[2])
    value, u = float(digits.replace("−", "-")), int(uncertain) * 10.0**-decimals
    return raise_exponents(format_measured(value * 10.0**power / size, u * 10.0**power / size))
