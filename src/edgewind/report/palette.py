"""The colours of the report: one set for light, one for dark mode, and one of placeholders that CSS replaces."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass


@dataclass(frozen=True)
class Palette:
    """Colours by role. Series colours are distinguishable in the common kinds of colour blindness.

    Attributes
    ----------
    paper, ink, soft : str
        Background, text and marks, text of less weight.
    grid, rule : str
        Lines behind the data, and borders.
    gold, gold_ink : str
        The optimum: as an area, and as text.
    blue, rust, plum, moss, rose, slate : str
        Sweeps and rotors, in this order.
    """

    paper: str
    ink: str
    soft: str
    grid: str
    rule: str
    gold: str
    gold_ink: str
    blue: str
    rust: str
    plum: str
    moss: str
    rose: str
    slate: str

    @property
    def series(self) -> tuple[str, ...]:
        """The colours of sweeps and rotors in their order."""
        return (self.blue, self.rust, self.plum, self.moss, self.rose, self.slate)


LIGHT = Palette(
    paper="#fbf9f3",
    ink="#22262e",
    soft="#575d67",
    grid="#e6e1d5",
    rule="#bdb6a6",
    gold="#c8921a",
    gold_ink="#7a5400",
    blue="#17647f",
    rust="#b0461a",
    plum="#74418c",
    moss="#57700f",
    rose="#a32c5a",
    slate="#4b5768",
)
DARK = Palette(
    paper="#14171c",
    ink="#ece7db",
    soft="#a8adb5",
    grid="#2a2f37",
    rule="#565d68",
    gold="#d9a436",
    gold_ink="#ecc56a",
    blue="#6fc3df",
    rust="#f2955f",
    plum="#cba1e4",
    moss="#b6cf6c",
    rose="#f38fb4",
    slate="#aab6c8",
)
# Colours that occur nowhere else, so that a drawing can be recoloured by search and replace.
PLACEHOLDERS = Palette(*(f"#ab00{number:02x}" for number in range(1, 14)))

_PLACEHOLDER = re.compile("|".join(asdict(PLACEHOLDERS).values()))
_ROLES = {colour: role for role, colour in asdict(PLACEHOLDERS).items()}


def css_variable(role: str) -> str:
    """Name the CSS custom property of a role: ``--gold-ink``."""
    return "--" + role.replace("_", "-")


def recolour(drawing: str, palette: Palette | None) -> str:
    """Replace placeholders by real colours, or by CSS variables if `palette` is None.

    Examples
    --------
    >>> recolour("fill: " + PLACEHOLDERS.ink, LIGHT), recolour("fill: " + PLACEHOLDERS.gold_ink, None)
    ('fill: #22262e', 'fill: var(--gold-ink)')
    """

    def colour(match: re.Match[str]) -> str:
        role = _ROLES[match[0]]
        return f"var({css_variable(role)})" if palette is None else str(getattr(palette, role))

    return _PLACEHOLDER.sub(colour, drawing)


def real_colours(palette: Palette) -> dict[str, str]:
    """Return the colour in the place of each placeholder."""
    return dict(zip(asdict(PLACEHOLDERS).values(), asdict(palette).values(), strict=True))


def css_of(palette: Palette) -> str:
    """Return the palette as CSS declarations."""
    return " ".join(f"{css_variable(role)}: {colour};" for role, colour in asdict(palette).items())
