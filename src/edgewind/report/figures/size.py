"""Sizes of figures, and lengths on them in ems of their type."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Size:
    """A size of a figure: inches and the size of its type in points.

    Attributes
    ----------
    width_in, height_in : float
        Inches; a point is 1/72 of one.
    type_pt : float
        Size of the type, the em of this figure.
    titled : bool
        Whether the figure stands alone and so needs a title.
    narrow : bool
        Whether it fits the width of a phone.
    """

    width_in: float
    height_in: float
    type_pt: float
    titled: bool = False
    narrow: bool = False

    @property
    def width_em(self) -> float:
        """Width in ems."""
        return 72 * self.width_in / self.type_pt

    @property
    def height_em(self) -> float:
        """Height in ems."""
        return 72 * self.height_in / self.type_pt

    @property
    def line(self) -> float:
        """Width of a fine line in points, in proportion to the type."""
        return self.type_pt / 12

    def box(self, left: float, bottom: float, right: float, top: float) -> tuple[float, float, float, float]:
        """Return an axes rectangle in figure fractions from the distances of its sides to the figure's, in ems.

        Examples
        --------
        >>> Size(10.0, 5.0, 12.0).box(6.0, 3.0, 6.0, 3.0)
        (0.1, 0.1, 0.8, 0.8)
        """
        x, y = left / self.width_em, bottom / self.height_em
        width, height = 1 - (left + right) / self.width_em, 1 - (bottom + top) / self.height_em
        return (x, y, round(width, 12), round(height, 12))


# 12.8 in by 7.2 in at 150 dots an inch make 1920 by 1080.
FILM_DPI = 150


def sizes(page_in: float, narrow_in: float, film_pt: float) -> dict[str, Size]:
    """Return the sizes of a figure by use, from its heights on a page and on a phone and its type in a film."""
    return {
        "page": Size(10.4, page_in, 10.5),
        "narrow": Size(4.7, narrow_in, 10.5, narrow=True),
        "film": Size(12.8, 7.2, film_pt, titled=True),
    }
