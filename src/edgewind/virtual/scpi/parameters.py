"""Parameters and answers of commands: IEEE 488.2-1992, 7.7 and 8.7; SCPI-1999, volume 1, 7."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.virtual.scpi.errors import ScpiError

# IEEE 488.2-1992, table 7-2; M is milli, except before HZ and OHM.
_MULTIPLIERS = {
    "EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3, "": 1.0,
    "M": 1e-3, "U": 1e-6, "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18,
}  # fmt: skip
_MEGA = ("HZ", "OHM")  # with these M is mega
_NUMBER = re.compile(
    r"(?P<mantissa>[+-]?(?:\d+\.?\d*|\.\d+))(?:[ \t]*[eE][ \t]*(?P<exponent>[+-]?\d+))?(?P<rest>.*)", re.S | re.A
)
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*$")
_OTHER_TYPES = {"'": -158, '"': -158, "#": -168, "(": -178}  # by their first character
_MOST_DIGITS, _GREATEST_EXPONENT = 255, 32_000  # IEEE 488.2-1992, 7.7.2.4.1
# SCPI-1999, volume 1, 7.2.1.4 and 7.2.1.5: codes of infinity and of not a number.
INFINITY, NOT_A_NUMBER = 9.9e37, 9.91e37


def mnemonic(written: str) -> tuple[str, str]:
    """Return short and long form, in capitals, of a mnemonic written with its short form in capitals.

    Examples
    --------
    >>> mnemonic("VOLTage")
    ('VOLT', 'VOLTAGE')
    """
    return "".join(letter for letter in written if not letter.islower()), written.upper()


def real(value: float) -> str:
    """Return a number with exponent (NR3).

    Examples
    --------
    >>> real(3.25), real(float("inf")), real(float("nan"))
    ('+3.250000000E+00', '+9.900000000E+37', '+9.910000000E+37')
    """
    if math.isnan(value):
        return f"{NOT_A_NUMBER:+.9E}"
    return f"{math.copysign(INFINITY, value) if math.isinf(value) else value:+.9E}"


def block(data: bytes) -> bytes:
    """Return definite length arbitrary block response data: IEEE 488.2-1992, 8.7.9.

    Examples
    --------
    >>> block(b"abc")
    b'#13abc'
    """
    length = str(len(data)).encode()
    return b"#" + str(len(length)).encode() + length + data


def array_block(values: NDArray[Any], dtype: str, *, swapped: bool) -> bytes:
    """Return numbers as a block, most significant byte first unless `swapped` (SCPI-1999, volume 2, FORMat:BORDer)."""
    return block(values.astype(("<" if swapped else ">") + dtype).tobytes())


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

    def read(self, text: str) -> float:
        """Return the number."""
        named = {"MINimum": self.least, "MAXimum": self.most, "DEFault": self.default}
        value = next((value for name, value in named.items() if text.upper() in mnemonic(name)), None)
        if value is None:
            value = self._parsed(text)
        if self.whole:
            value = float(np.floor(value + 0.5))  # numbers are rounded: IEEE 488.2-1992, 7.7.2.4.2
        if not self.least <= value <= self.most:
            raise ScpiError(-222, f"{text[:40]} is not from {self.least:g} to {self.most:g} {self.unit}".rstrip())
        return value

    def answer(self, value: float) -> str:
        """Return a value as the query answers it."""
        return f"{int(value)}" if self.whole else real(float(value))

    def _parsed(self, text: str) -> float:
        found = _NUMBER.match(text)
        if found is None:
            raise ScpiError(_OTHER_TYPES.get(text[0], -148 if _WORD.match(text) else -104), text)
        if len(found["mantissa"]) > _MOST_DIGITS:
            raise ScpiError(-124)
        exponent = found["exponent"] or "0"
        if len(exponent) > 6 or abs(int(exponent)) > _GREATEST_EXPONENT:
            raise ScpiError(-123, text)
        return float(f"{found['mantissa']}e{exponent}") * self._multiplier(found["rest"].strip(" \t").upper())

    def _multiplier(self, suffix: str) -> float:
        unit = self.unit.upper()
        if not suffix:
            return 1.0
        if not suffix[0].isalpha():
            raise ScpiError(-121, suffix)
        if not unit:
            raise ScpiError(-138, suffix)
        known = _MULTIPLIERS | ({"M": 1e6} if unit in _MEGA else {})
        factor = known.get(suffix.removesuffix(unit)) if suffix.endswith(unit) else None
        if factor is None:
            raise ScpiError(-131, suffix)
        return factor


@dataclass(frozen=True)
class Switch:
    """ON or OFF; a number is on unless it rounds to zero (SCPI-1999, volume 1, 7.3)."""

    def read(self, text: str) -> bool:
        """Return whether it is on."""
        if text.upper() in ("ON", "OFF"):
            return text.upper() == "ON"
        if _WORD.match(text):
            raise ScpiError(-141, text)
        return Numeric("", -1e9, 1e9, 0.0, whole=True).read(text) != 0

    def answer(self, value: bool) -> str:
        """Return 1 or 0."""
        return "1" if value else "0"


@dataclass(frozen=True)
class Choice:
    """One of several words, in short or long form; the answer is the short form."""

    words: tuple[str, ...]

    def read(self, text: str) -> str:
        """Return the word's short form."""
        if not _WORD.match(text):
            raise ScpiError(-158 if text[0] in "'\"" else -104, text)
        for word in self.words:
            if text.upper() in mnemonic(word):
                return mnemonic(word)[0]
        raise ScpiError(-141, f"{text[:40]} is not one of {', '.join(self.words)}")

    def answer(self, value: str) -> str:
        """Return the word's short form."""
        return value


Parameter = Numeric | Switch | Choice
