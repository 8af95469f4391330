"""Parameters of commands: numbers with suffixes, switches and choices (IEEE 488.2-1992, 7.7; SCPI-1999, vol. 1, 7)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any, Protocol

from edgewind.virtual.scpi.errors import ScpiError

# IEEE 488.2-1992, table 7-2; M is milli, except before HZ and OHM.
_MULTIPLIERS = {
    "EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3,
    "M": 1e-3, "U": 1e-6, "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18,
}  # fmt: skip
_MEGA = ("HZ", "OHM")  # with these M is mega
_NUMBER = re.compile(
    r"(?P<mantissa>[+-]?(?:\d+\.?\d*|\.\d+))(?:[ \t]*[eE][ \t]*(?P<exponent>[+-]?\d+))?(?P<rest>.*)", re.S | re.A
)
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*$")
_MOST_DIGITS, _GREATEST_EXPONENT = 255, 32_000  # IEEE 488.2-1992, 7.7.2.4.1


def mnemonic(written: str) -> tuple[str, str]:
    """Return short and long form, in capitals, of a mnemonic written with its short form in capitals.

    Examples
    --------
    >>> mnemonic("VOLTage")
    ('VOLT', 'VOLTAGE')
    """
    return "".join(letter for letter in written if not letter.islower()), written.upper()


class Parameter(Protocol):
    """Parser of one parameter."""

    def read(self, text: str) -> Any:
        """Return its value; raise ScpiError if it is invalid."""


@dataclass(frozen=True)
class Numeric:
    """A number between two bounds, in SI, with an optional suffix; or MINimum, MAXimum or DEFault.

    Examples
    --------
    >>> Numeric("V", 0.0, 10.0, 0.0).read("1500 mV")
    1.5
    >>> Numeric("V", 0.0, 10.0, 0.0).read("MAXimum")
    10.0
    """

    unit: str
    least: float
    most: float
    default: float
    whole: bool = False

    def named(self, text: str) -> float | None:
        """Return the bound or default of that name, or None."""
        names = {"MINimum": self.least, "MAXimum": self.most, "DEFault": self.default}
        return next((value for name, value in names.items() if text.upper() in mnemonic(name)), None)

    def read(self, text: str) -> float:
        """Return the number."""
        named = self.named(text)
        value = self._parsed(text) if named is None else named
        if self.whole and math.isfinite(value):
            value = float(math.floor(value + 0.5))  # numbers are rounded: IEEE 488.2-1992, 7.7.2.4.2
        if not self.least <= value <= self.most:
            raise ScpiError(-222, f"{text[:40]} is not from {self.least:g} to {self.most:g} {self.unit}".rstrip())
        return value

    def _parsed(self, text: str) -> float:
        found = _NUMBER.match(text)
        if found is None:
            raise _not_a_number(text)
        if len(found["mantissa"]) > _MOST_DIGITS:
            raise ScpiError(-124)
        if found["exponent"] and (len(found["exponent"]) > 6 or abs(int(found["exponent"])) > _GREATEST_EXPONENT):
            raise ScpiError(-123, text[:40])
        value = float(f"{found['mantissa']}e{found['exponent'] or 0}")
        suffix = found["rest"].strip(" \t").upper()
        return _finite(value * self._multiplier(suffix) if suffix else value)

    def _multiplier(self, suffix: str) -> float:
        if not suffix[0].isalpha():
            raise ScpiError(-121, suffix[:40])
        unit = self.unit.upper()
        if not unit:
            raise ScpiError(-138, suffix[:40])
        if suffix == unit:
            return 1.0
        if unit in _MEGA and suffix == f"M{unit}":
            return 1e6
        factor = _MULTIPLIERS.get(suffix.removesuffix(unit)) if suffix.endswith(unit) else None
        if factor is None:
            raise ScpiError(-131, suffix[:40])
        return factor


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ScpiError(-222, "not a finite number")
    return value


def _not_a_number(text: str) -> ScpiError:
    kinds = {"'": -158, '"': -158, "#": -168, "(": -178}
    if text[0] in kinds:
        return ScpiError(kinds[text[0]])
    return ScpiError(-148 if _WORD.match(text) else -104, text[:40])


@dataclass(frozen=True)
class Switch:
    """ON or OFF; a number is on unless it rounds to zero (SCPI-1999, volume 1, 7.3)."""

    def read(self, text: str) -> bool:
        """Return whether it is on."""
        if text.upper() in ("ON", "OFF"):
            return text.upper() == "ON"
        if _WORD.match(text):
            raise ScpiError(-141, text[:40])
        return Numeric("", -1e9, 1e9, 0.0, whole=True).read(text) != 0


@dataclass(frozen=True)
class Choice:
    """One of several words, in short or long form; the answer is the short form."""

    words: tuple[str, ...]

    def read(self, text: str) -> str:
        """Return the word's short form."""
        if not _WORD.match(text):
            raise ScpiError(-158 if text[0] in "'\"" else -104, text[:40])
        for word in self.words:
            if text.upper() in mnemonic(word):
                return mnemonic(word)[0]
        raise ScpiError(-141, f"{text[:40]} is not one of {', '.join(self.words)}")
