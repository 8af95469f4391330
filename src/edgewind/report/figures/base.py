"""Figures of the report as values: drawing function, alternative text and caption."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette

Subject = TypeVar("Subject")


@dataclass(frozen=True)
class Drawing(Generic[Subject]):
    """A figure of one kind of subject.

    Attributes
    ----------
    stem : str
        First part of its file names.
    draw : callable
        Returns the figure in a palette and a size, or None if there is nothing to draw.
    alt : callable
        Alternative text of the figure.
    caption : callable
        Caption.
    sizes : dict
        Shapes by use: ``page``, ``narrow`` and ``film``.
    """

    stem: str
    draw: Callable[[Subject, Palette, Size], Figure | None]
    alt: Callable[[Subject], str]
    caption: Callable[[Subject], str]
    sizes: dict[str, Size]
