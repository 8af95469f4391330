"""Target interval: its full width, as a share of the pressure or in a unit of pressure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.units import parse_measured

_RIGHT = "write a share such as '10%', or a pressure such as '0.1 Pa'"


@dataclass(frozen=True)
class TargetInterval:
    """A wanted full width of the interval of the maximising pressure.

    Attributes
    ----------
    relative : float or None
        Upper less lower end over the pressure itself.
    absolute_pa : float or None
        Upper less lower end, Pa; one of the two is given.
    """

    relative: float | None = None
    absolute_pa: float | None = None

    def __post_init__(self) -> None:
        given = [value for value in (self.relative, self.absolute_pa) if value is not None]
        if len(given) != 1 or not (np.isfinite(given[0]) and given[0] > 0):
            said = given[0] if given else None
            raise InputError(f"a target interval of width {said!r} cannot be reached", fix=f"{_RIGHT}, above zero")

    def log_width(self, pressure_pa: float) -> float:
        """Return the width in ln(pressure) of an interval about `pressure_pa` of this full width.

        Examples
        --------
        >>> round(TargetInterval(relative=0.1).log_width(3.0), 4)
        0.1
        """
        half = 0.5 * (self.relative if self.relative is not None else (self.absolute_pa or 0.0) / pressure_pa)
        return float(2 * np.arcsinh(half))

    def reached(self, interval_pa: tuple[float, float], pressure_pa: float) -> bool:
        """Return whether an interval is as narrow as wanted."""
        width = interval_pa[1] - interval_pa[0]
        return bool(width <= (self.absolute_pa if self.absolute_pa is not None else self.relative * pressure_pa))  # type: ignore[operator]

    @property
    def words(self) -> str:
        """The target in words: ``10 % of the pressure``."""
        if self.relative is not None:
            return f"{format_number(100 * self.relative, 3)} % of the pressure"
        return f"{format_number(self.absolute_pa or 0.0, 3)} Pa"


def parse_target(target: str | float | TargetInterval | None) -> TargetInterval | None:
    """Read a target: ``"10%"``, ``"0.1 Pa"``, ``0.1`` for a tenth of the pressure, or None for none.

    Raises
    ------
    InputError
        It is neither, or not above zero.

    Examples
    --------
    >>> parse_target("10%"), parse_target("100 mPa")
    (TargetInterval(relative=0.1, absolute_pa=None), TargetInterval(relative=None, absolute_pa=0.1))
    """
    if target is None or isinstance(target, TargetInterval):
        return target
    if isinstance(target, int | float) and not isinstance(target, bool):
        return TargetInterval(relative=float(target))
    text = str(target).strip()
    try:
        if text.endswith("%"):
            return TargetInterval(relative=parse_measured(text, "number").value)
        try:
            float(text)
        except ValueError:
            return TargetInterval(absolute_pa=parse_measured(text, "pressure").value)
    except InputError as error:
        raise InputError(f"'{text}' is not a target interval: {error.problem}", fix=f"{_RIGHT}, above zero") from None
    raise InputError(f"'{text}' has no unit", fix=_RIGHT)
