"""Drives, quantities and sizes of the pictures, with their names and units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from edgewind.errors import InputError
from edgewind.report.palette import DARK, LIGHT, Palette


@dataclass(frozen=True)
class DriveWords:
    """A drive, and the effect that is shown.

    Attributes
    ----------
    solver : str
        Name of the drive in the kinetic solver.
    title : str
        Headline of the picture.
    per : str
        Divisor of every quantity: the strength of the drive, since the response is linear.
    faces : tuple of str
        Names of the right (hot, front) and the left (cold, back) face.
    acts : str
        Load along the face: ``pressure`` or ``heat``.
    coefficient : str
        Name of the coefficient of the response that is its mean over the face.
    effect, along : str
        Names of the coefficient and of the load along the face.
    unit : str
        Unit of the effect in the curve, in which only the pressure changes.
    """

    solver: str
    title: str
    per: str
    faces: tuple[str, str]
    acts: str
    coefficient: str
    effect: str
    along: str
    unit: str


DRIVES: dict[str, DriveWords] = {
    "thermal": DriveWords(
        "faces", "Thin gas round a vane with a hot and a cold face", "ΔT/T₀", ("hot face", "cold face"),
        "pressure", "thermal_force", "thermal force", "push, hot less cold", "F / (A p₁)",
    ),
    "flow": DriveWords(
        "motion", "Thin gas round a vane that moves face on", "U/v₀", ("front face", "back face"),
        "pressure", "drag", "drag", "push, front less back", "F / (A p₁)",
    ),
    "warm": DriveWords(
        "both", "Thin gas round a vane warmer than its room", "ΔT/T₀", ("warm face", "warm face"),
        "heat", "heat_loss", "heat loss", "heat, both faces", "Q / (A p₁ v₀)",
    ),
}  # fmt: skip
"""Drives by name: faces of unequal temperature, the vane moving along its normal, both faces warmer than the room."""


@dataclass(frozen=True)
class Quantity:
    """A field of the gas that colours can show.

    Attributes
    ----------
    words : str
        Its name on the picture.
    unit : str
        Unit before the division by the strength of the drive.
    signed : bool
        Whether it is shown about zero.
    lines : str
        Field of the lines: ``velocity`` or ``heat_flux``.
    """

    words: str
    unit: str
    signed: bool
    lines: str = "velocity"


QUANTITIES: dict[str, Quantity] = {
    "temperature": Quantity("temperature", "(T − T₀)/T₀", True),
    "density": Quantity("density", "(n − n₀)/n₀", True),
    "pressure": Quantity("pressure: mean normal stress", "(p − p₀)/p₀", True),
    "speed": Quantity("speed of the gas", "|u|/v₀", False),
    "heat-flux": Quantity("heat flux", "|q|/(p₀ v₀)", False, "heat_flux"),
}
"""Fields of the gas by name."""

SIZES: dict[str, tuple[int, int]] = {
    "page": (1280, 720), "1080p": (1920, 1080), "4K": (3840, 2160), "vertical": (1080, 1920),
}  # fmt: skip
"""Width and height in pixels by name; those of one aspect ratio are the same picture, ``vertical`` is for a phone."""

THEMES: dict[str, Palette] = {"light": LIGHT, "dark": DARK}
"""Palettes by name."""

Value = TypeVar("Value")

MOST_MARK_SIGNS = 32
"""Characters beside a mark that fit on the curve."""

SHORT_CAPTION = "Computed, not measured"
"""Text instead of the footnote: four lines are not legible on a phone."""


class Mark(NamedTuple):
    """A place to mark on the curve of a picture.

    Attributes
    ----------
    knudsen : float
        Its Knudsen number.
    words : str
        Words beside it.
    """

    knudsen: float
    words: str


def mark_of(text: str) -> Mark | None:
    """Read a mark, a Knudsen number and words; None for an empty text.

    Examples
    --------
    >>> mark_of("0.2: my rotor, 20 mTorr")
    Mark(knudsen=0.2, words='my rotor, 20 mTorr')
    >>> mark_of("0.2").words
    'Kn 0.2'

    Raises
    ------
    InputError
        The text does not begin with a number above 0, or has too many words.
    """
    if not text.strip():
        return None
    number, _, words = (part.strip() for part in text.partition(":"))
    fix = "write a Knudsen number and a few words, such as '0.2: my rotor, 20 mTorr'"
    try:
        knudsen = float(number)
    except ValueError:
        raise InputError(f"'{number[:20]}' is not a Knudsen number", key="mark", fix=fix) from None
    if not 0 < knudsen < math.inf:
        raise InputError(f"the Knudsen number of a mark must be above 0, not {number[:20]}", key="mark", fix=fix)
    if len(words) > MOST_MARK_SIGNS:
        raise InputError(f"the words of a mark can have {MOST_MARK_SIGNS} characters, not {len(words)}", key="mark",
                         fix="shorten them")  # fmt: skip
    return Mark(knudsen, words or f"Kn {number}")


def option_of(table: Mapping[str, Value], name: str, key: str) -> Value:
    """Return the option of a name.

    Examples
    --------
    >>> option_of(SIZES, "4K", "size")
    (3840, 2160)

    Raises
    ------
    InputError
        An unknown name.
    """
    for known, value in table.items():
        if known.lower() == str(name).lower():
            return value
    raise InputError(f"'{name}' is unknown", key=key, fix=f"choose one of {', '.join(table)}")
