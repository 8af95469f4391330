"""Units: parse the quantities that a user writes into SI, and convert back.

One Pint registry serves the whole program. A *kind* of quantity (``"pressure"``, ``"length"``, …) names the SI unit
that the program computes in and gives the example shown in error messages.
"""

from __future__ import annotations

import difflib
import math
import re
import sys
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.errors import InputError
from edgewind.files import cache_folder, replacing_folder
from edgewind.formatting import NUMBER

# Pint imports these if they are installed, which takes half a second; the program uses none of their types with Pint.
_UNUSED = [name for name in ("dask", "scipy", "uncertainties", "babel") if name not in sys.modules]
sys.modules.update(dict.fromkeys(_UNUSED))  # type: ignore[arg-type]  # None marks a module as not installed
import pint  # noqa: E402

for _name in _UNUSED:
    del sys.modules[_name]


def _make_registry() -> pint.UnitRegistry[Any]:
    """Return Pint's registry, from the user's cache folder where its parsed definitions are kept.

    Reading the cache takes a tenth of the time of parsing. The cache is written to a draft folder and renamed, so that
    another process never reads a part of it; if it cannot be written or read, the definitions are parsed.
    """
    folder = cache_folder() / f"units-pint-{pint.__version__}"
    try:
        if not folder.is_dir():
            folder.parent.mkdir(parents=True, exist_ok=True)
            with replacing_folder(folder, replace=False) as draft:
                pint.UnitRegistry(cache_folder=draft)
        return pint.UnitRegistry(cache_folder=folder)
    except Exception:  # a damaged cache raises any error of unpickling
        return pint.UnitRegistry(cache_folder=None)


registry: pint.UnitRegistry[Any] = _make_registry()
registry.define("@alias torr = Torr")
registry.define("micron_Hg = 1e-3 * mmHg = µmHg = umHg")
registry.define("percent = 0.01 = %")


@dataclass(frozen=True)
class QuantityKind:
    """A kind of quantity: its name in messages, the SI unit used inside, and an example as a user would write it."""

    name: str
    unit: str
    example: str


KINDS: dict[str, QuantityKind] = {
    kind.name: kind
    for kind in (
        QuantityKind("pressure", "Pa", "7 mTorr"),
        QuantityKind("length", "m", "12 mm"),
        QuantityKind("temperature", "K", "22 degC"),
        QuantityKind("temperature difference", "K", "0.5 K"),
        QuantityKind("angular speed", "rad/s", "300 rpm"),
        QuantityKind("voltage", "V", "3.2 V"),
        QuantityKind("voltage per decade", "V", "1 V"),
        QuantityKind("pressure per voltage", "Pa/V", "10 mTorr/V"),
        QuantityKind("current", "A", "4 mA"),
        QuantityKind("current per voltage", "A/V", "1e-6 A/V"),
        QuantityKind("sensitivity", "1/Pa", "10 1/Torr"),
        QuantityKind("time", "s", "20 ms"),
        QuantityKind("frequency", "Hz", "50 Hz"),
        QuantityKind("power", "W", "50 W"),
        QuantityKind("irradiance", "W/m^2", "800 W/m^2"),
        QuantityKind("mass", "kg", "25 mg"),
        QuantityKind("density", "kg/m^3", "2.7 g/cm^3"),
        QuantityKind("volume", "m^3", "3 l"),
        QuantityKind("pumping speed", "m^3/s", "1.5 l/s"),
        QuantityKind("gas flow", "Pa*m^3/s", "1e-3 Pa*m^3/s"),
        QuantityKind("torque", "N*m", "2e-10 N*m"),
        QuantityKind("torque per angular speed", "N*m*s", "1e-10 N*m*s"),
        QuantityKind("moment of inertia", "kg*m^2", "5e-8 kg*m^2"),
        QuantityKind("conductance", "W/(m^2*K)", "200 W/(m^2*K)"),
        QuantityKind("specific heat", "J/(kg*K)", "880 J/(kg*K)"),
        QuantityKind("outgassing", "Pa*m/s", "1e-7 mbar*l/(s*cm^2)"),
        QuantityKind("number", "", "0.95"),
    )
}

_WRITTEN = re.compile(
    rf"^\s*(?P<value>{NUMBER})"
    rf"(?:\s*(?:\+/-|\+-|±)\s*(?P<u>{NUMBER})\s*(?P<u_percent>%?)|\((?P<digits>\d+)\)(?P<exponent>[eE][+-]?\d+)?)?"
    r"\s*(?P<unit>.*?)\s*$"
)
_HEADER = re.compile(r"^\s*(?P<name>[^\[\]]*?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*$")
_ANGLES = ("radian", "revolution", "turn", "degree", "cycle", "rpm", "revolutions_per_minute", "grade")


class Measured(NamedTuple):
    """A value and its standard uncertainty, both in the SI unit of their kind."""

    value: float
    u: float = 0.0

    @property
    def relative(self) -> float:
        """Standard uncertainty over value, dimensionless (infinite for a value of zero with an uncertainty)."""
        return 0.0 if self.u == 0 else (self.u / abs(self.value) if self.value else math.inf)


def with_article(kind: str) -> str:
    """Return a kind of quantity with its article: a pressure, an irradiance."""
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def parse_unit(text: str, kind: str) -> pint.Unit:
    """Return the unit written in `text`, checked to measure `kind`.

    Raises
    ------
    InputError
        The unit is unknown (the nearest known one is suggested) or measures something else.

    Examples
    --------
    >>> str(parse_unit("mTorr", "pressure"))
    'millitorr'
    >>> parse_unit("W/m2", "irradiance") == parse_unit("W/m^2", "irradiance")
    True
    """
    unit = _unit_of(text.strip())
    example = f"write {with_article(kind)} with a unit, such as '{KINDS[kind].example}'"
    if unit is None:
        alike = [name for name in _KNOWN_UNITS if _measures(registry.parse_units(name), KINDS[kind].unit)]
        near = difflib.get_close_matches(text.strip(), alike, n=1, cutoff=0.5)
        fix = f"did you mean '{near[0]}'?" if near else example
        raise InputError(f"unknown unit '{text}' for {with_article(kind)}", fix=fix)
    if not _measures(unit, KINDS[kind].unit):
        raise InputError(f"'{text}' is not a unit of {kind}", fix=example)
    if kind == "angular speed" and not any(str(part) in _ANGLES for part in unit._units):
        raise InputError(
            f"'{text}' does not say whether turns or radians are counted",
            fix="write 'rpm', 'turn/s' or 'rad/s'",
        )
    return unit


@lru_cache(maxsize=512)
def _measures(unit: pint.Unit, si: str) -> bool:
    """Whether `unit` converts to `si` in equal steps, which a decibel does not."""
    try:
        zero, one, two = (float(registry.Quantity(steps, unit).to(si).magnitude) for steps in (0.0, 1.0, 2.0))
    except Exception:  # Pint raises a dozen unrelated types where units cannot be converted
        return False
    return one != zero and math.isclose(two - one, one - zero, rel_tol=1e-9)


@lru_cache(maxsize=512)
def _unit_of(text: str) -> pint.Unit | None:
    """Return the unit; None if it is unknown."""
    written = (
        text.replace("°C", "degC").replace("° C", "degC").replace("°F", "degF").replace("μ", "µ").replace("·", "*")
    )
    # W/m2 is read as W/m^2, but only second, so that a unit whose name ends in a digit stays unchanged.
    for tried in dict.fromkeys((written, re.sub(r"(?<=[A-Za-zµ])([2-4])(?!\w)", r"^\1", written))):
        try:
            return registry.parse_units(tried)
        except Exception:  # Pint raises a dozen unrelated types for malformed text
            continue
    return None


_KNOWN_UNITS = (
    "Pa", "hPa", "kPa", "mPa", "mbar", "bar", "µbar", "Torr", "mTorr", "mmHg", "micron_Hg", "psi", "atm", "m",
    "mm", "cm", "µm", "in", "K", "degC", "degF", "rpm", "rad/s", "turn/s", "V", "mV", "A", "mA", "µA", "nA",
    "s", "ms", "min", "h", "Hz", "kHz", "W", "mW", "W/m^2", "kg", "g", "mg", "l",
)  # fmt: skip


def parse_measured(text: str | float, kind: str) -> Measured:
    """Read ``"12.0 +/- 0.2 mm"``, ``"12.0(2) mm"`` or ``"12 mm"`` as a value with standard uncertainty in SI.

    Parameters
    ----------
    text : str or float
        Text of the user. A bare number is accepted only for the kind ``"number"``.
    kind : str
        A key of :data:`KINDS`.

    Returns
    -------
    Measured
        Value and standard uncertainty (zero where none is written), in the SI unit of the kind.

    Raises
    ------
    InputError
        The text holds no number, no unit, an unknown unit or a unit of another kind, or the value is not finite or
        below absolute zero.

    Examples
    --------
    >>> parse_measured("7 mTorr", "pressure").value  # doctest: +ELLIPSIS
    0.93325...
    >>> parse_measured("12.0(2) mm", "length")
    Measured(value=0.012, u=0.0002)
    >>> parse_measured("1.2 +/- 5 %", "number")
    Measured(value=1.2, u=0.06)
    """
    expected = f"write a number and a unit, such as '{KINDS[kind].example}'"
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise InputError(f"{text!r} is not {with_article(kind)}", fix=expected)
    try:
        match = _WRITTEN.match(str(text))
    except ValueError:  # a whole number of thousands of digits
        raise InputError(f"that is not a finite {kind}", fix=expected) from None
    if match is None:
        raise InputError(f"'{text}' is not {with_article(kind)}", fix=expected)
    written = match["unit"]
    try:
        value, u = float(match["value"]), _written_uncertainty(match)
        if match["exponent"]:
            scale = 10.0 ** int(match["exponent"][1:])
            value, u = value * scale, u * scale
    except (OverflowError, ValueError):
        value, u = math.inf, math.inf
    if not written and KINDS[kind].unit:
        raise InputError(f"'{text}' has no unit", fix=expected)
    si = KINDS[kind].unit
    unit = parse_unit(written, kind)
    result = Measured(_to_si(value, unit, si, kind), u * _unit_step(unit, si))
    if not (math.isfinite(result.value) and math.isfinite(result.u)):
        raise InputError(f"'{text}' is not a finite {kind}", fix=expected)
    if kind == "temperature" and result.value <= 0:
        raise InputError(f"'{text}' is below absolute zero", fix=expected)
    return result


def _written_uncertainty(match: re.Match[str]) -> float:
    if match["u"] is not None:
        u = abs(float(match["u"]))
        return u / 100 * abs(float(match["value"])) if match["u_percent"] else u
    if match["digits"] is not None:
        mantissa, _, exponent = match["value"].lower().partition("e")
        return int(match["digits"]) * 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))
    return 0.0


def parse_quantity(text: str | float, kind: str) -> float:
    """Read a quantity and return its value in SI; see :func:`parse_measured`.

    Examples
    --------
    >>> round(parse_quantity("22 degC", "temperature"), 2)
    295.15
    """
    return parse_measured(text, kind).value


def _to_si(value: float, unit: pint.Unit, si: str, kind: str) -> float:
    if kind == "temperature difference":
        return value * _unit_step(unit, si)
    # Rounded to 15 digits, so that '12 mm' is 0.012 and not 0.012000000000000002.
    return float(f"{registry.Quantity(value, unit).to(si).magnitude:.15g}")


def _unit_step(unit: pint.Unit, si: str) -> float:
    """SI size of one step of `unit`, free of any offset."""
    return float(f"{registry.Quantity(1.0, unit).to(si).m - registry.Quantity(0.0, unit).to(si).m:.12g}")


def parse_header(text: str) -> tuple[str, str | None]:
    """Split a column title such as ``"pressure [mTorr]"`` into its name and its unit.

    Examples
    --------
    >>> parse_header("pressure [mTorr]")
    ('pressure', 'mTorr')
    >>> parse_header("note")
    ('note', None)
    """
    match = _HEADER.match(text)
    if match is None:
        raise InputError(
            f"'{text}' is not a column title", fix="write a name and a unit in brackets: 'pressure [mTorr]'"
        )
    name = re.sub(r"[\s_]+", " ", match["name"]).lower()
    return name, match["unit"].strip() if match["unit"] is not None else None


def to_si(values: ArrayLike, unit: str, kind: str) -> NDArray[np.float64]:
    """Convert numbers in `unit` to the SI unit of `kind`; any shape."""
    quantity = registry.Quantity(np.asarray(values, dtype=float), parse_unit(unit, kind))
    return np.asarray(quantity.to(KINDS[kind].unit).magnitude, dtype=float)


def from_si(values: ArrayLike, unit: str, kind: str) -> NDArray[np.float64]:
    """Convert numbers in the SI unit of `kind` to `unit`; any shape.

    Examples
    --------
    >>> float(from_si(0.93325, "mTorr", "pressure").round(3))
    7.0
    """
    quantity = registry.Quantity(np.asarray(values, dtype=float), KINDS[kind].unit)
    return np.asarray(quantity.to(parse_unit(unit, kind)).magnitude, dtype=float)
