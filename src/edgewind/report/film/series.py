"""The gas at several Knudsen numbers, with smooth interpolation between them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics import ResponseTable
from edgewind.report.film.field import GasField, check_field_knudsen, gas_field
from edgewind.report.film.sample import SampleGrid, Singles, quantity_of, resample, stream_function, stress_points
from edgewind.report.film.shipped import shipped_field
from edgewind.report.film.words import QUANTITIES, option_of

Floats = NDArray[np.float64]
# With fewer nodes the shipped table, if any, gives a better curve.
LEAST_NODES = 6
Progress = Callable[[int, int, GasField], None]


@dataclass(frozen=True, eq=False)
class FieldFrame:
    """Content of a picture at one Knudsen number, on the points of the sheet.

    Attributes
    ----------
    knudsen : float
        Knudsen number.
    values : array of shape (y, x)
        Quantity of the colours, over the upper half of the room.
    stream : array of shape (y, x), or None
        Stream function of the lines, if there is one.
    flow : tuple of two arrays of shape (y, x), or None
        The components that lines follow, without a stream function.
    fastest : float
        Greatest magnitude of the field of the lines.
    stress : array
        Load along the face, from its middle to its edge.
    area_share, mean, coefficient : float
        As in `GasField`.
    """

    knudsen: float
    values: Singles
    stream: Singles | None
    flow: tuple[Singles, Singles] | None
    fastest: float
    stress: Floats
    area_share: float
    mean: float
    coefficient: float


class GasSeries:
    """The gas at several Knudsen numbers: solved at the nodes, a cubic in ln Kn between them.

    Parameters
    ----------
    fields : sequence of GasField
        One case, at different Knudsen numbers.

    Raises
    ------
    InputError
        There are none, or they are not of one case.
    """

    def __init__(self, fields: Sequence[GasField]) -> None:
        if not fields:
            raise InputError("no Knudsen number is given", key="knudsen", fix="give one or more")
        self.fields: tuple[GasField, ...] = tuple(sorted(fields, key=lambda field: field.knudsen))
        first = self.fields[0]
        for field in self.fields[1:]:
            for name in ("shape", "aspect", "room", "position", "accommodation", "drive"):
                if getattr(field, name) != getattr(first, name):
                    raise InputError(f"these fields differ in {name}", fix="draw fields of one case together")
        self.knudsen: Floats = np.array([field.knudsen for field in self.fields])
        if np.any(np.diff(self.knudsen) <= 0.0):
            raise InputError("a Knudsen number is given twice", key="knudsen", fix="give each once")
        self.sheet = SampleGrid.of(first)
        self._kept: dict[tuple[str, int], Any] = {}
        self._lock = Lock()

    @property
    def first(self) -> GasField:
        """The field at the lowest Knudsen number: the case."""
        return self.fields[0]

    @property
    def low(self) -> float:
        """Lowest Knudsen number."""
        return float(self.knudsen[0])

    @property
    def high(self) -> float:
        """Highest Knudsen number."""
        return float(self.knudsen[-1])

    @property
    def flat(self) -> bool:
        """Whether there is a stream function."""
        return self.first.flat

    def check(self, knudsen: float | None) -> float:
        """Return a Knudsen number between the lowest and the highest; the lowest for None.

        Raises
        ------
        OutOfRangeError
            It lies outside.
        """
        value = self.low if knudsen is None else float(knudsen)
        if not self.low * (1 - 1e-9) <= value <= self.high * (1 + 1e-9):
            raise OutOfRangeError(
                f"a Knudsen number of {value:g} lies outside what was computed",
                key="knudsen",
                fix=f"stay within {self.low:g} and {self.high:g}, or compute more",
            )
        return float(np.clip(value, self.low, self.high))

    def _node(self, index: int, quantity: str) -> dict[str, Singles]:
        """Sample one node, once."""
        key = (quantity, index)
        with self._lock:
            if key not in self._kept:
                field, lines = self.fields[index], QUANTITIES[quantity].lines
                parts = {"values": resample(field, quantity_of(field, quantity), self.sheet)}
                if self.flat:
                    parts["stream"] = resample(field, stream_function(field, lines), self.sheet, nodes=True)
                else:
                    parts["flow_x"] = resample(field, field.moment(f"{lines}_x"), self.sheet)
                    parts["flow_y"] = resample(field, field.moment(f"{lines}_y"), self.sheet, odd=True)
                self._kept[key] = parts
            kept: dict[str, Singles] = self._kept[key]
            return kept

    @cached_property
    def _numbers(self) -> Floats:
        """Columns: mean, coefficient, area share, greatest speed, greatest heat flux, and the stress."""
        rows = []
        for field in self.fields:
            fast = [float(np.hypot(field.moment(f"{k}_x"), field.moment(f"{k}_y")).max()) for k in _LINES]
            rows.append([field.mean, field.coefficient, field.area_share, *fast, *stress_points(field)])
        return np.array(rows)

    @cached_property
    def table(self) -> ResponseTable | None:
        """The shipped table of the case, if there is one."""
        first = self.first
        hot, cold, room = first.accommodation
        equal = len(set(first.room)) == 1 and hot == cold and room == 1.0 and first.position == 0.5
        if not equal or (first.shape == "rectangle"):
            return None
        try:
            return ResponseTable.standard(first.shape, room=first.room[0], accommodation=first.accommodation[0])
        except InputError:
            return None

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest Knudsen number of the curve: that of the series, or of the table if nodes are few."""
        if self.knudsen.size >= LEAST_NODES or self.table is None:
            return self.low, self.high
        return min(self.low, float(self.table.knudsen[0])), max(self.high, 10.0)

    def curve(self, knudsen: Floats) -> Floats:
        """Return the coefficient at Knudsen numbers within the span: through the nodes, or from the table."""
        if self.knudsen.size < LEAST_NODES and self.table is not None:
            name = {"thermal": "thermal_force", "flow": "drag", "warm": "heat_loss"}[self.first.drive]
            return np.asarray(getattr(self.table, name)(knudsen))
        if self.knudsen.size == 1:
            return np.full(np.shape(knudsen), self.first.coefficient)
        return np.asarray(PchipInterpolator(np.log(self.knudsen), self._numbers[:, 1])(np.log(knudsen)))

    def at(self, knudsen: float | None, quantity: str = "temperature") -> FieldFrame:
        """Return the frame at a Knudsen number within the series."""
        kn = self.check(knudsen)
        known = option_of(QUANTITIES, quantity, "quantity")
        places, weights = _weights(np.log(self.knudsen), float(np.log(kn)))
        nodes = [self._node(place, quantity) for place in places]
        mixed = {
            name: np.asarray(sum(np.float32(w) * node[name] for w, node in zip(weights, nodes, strict=True)))
            for name in nodes[0]
        }
        numbers = weights @ self._numbers[places]
        if not known.signed:
            mixed["values"] = np.maximum(mixed["values"], 0.0)
        return FieldFrame(
            knudsen=kn,
            values=mixed["values"],
            stream=mixed.get("stream"),
            flow=(mixed["flow_x"], mixed["flow_y"]) if "flow_x" in mixed else None,
            fastest=float(numbers[3 + _LINES.index(known.lines)]),
            stress=numbers[5:],
            area_share=float(numbers[2]),
            mean=float(numbers[0]),
            coefficient=float(self.curve(np.array(kn))) if kn not in self.knudsen else float(numbers[1]),
        )

    def largest(self, quantity: str) -> float:
        """Return the greatest magnitude that the colours must show, over all nodes."""
        return max(float(np.abs(self._node(k, quantity)["values"]).max()) for k in range(self.knudsen.size))


_LINES = ("velocity", "heat_flux")


def _weights(nodes: Floats, place: float) -> tuple[NDArray[np.int64], Floats]:
    """Return nodes and weights of the cubic with the slopes of the parabolas through three nodes (Hermite).

    Examples
    --------
    >>> places, weights = _weights(np.array([0.0, 1.0, 2.0, 3.0]), 1.5)
    >>> places.tolist(), weights.tolist()
    ([0, 1, 2, 3], [-0.0625, 0.5625, 0.5625, -0.0625])
    """
    n = nodes.size
    if n == 1:
        return np.array([0]), np.array([1.0])
    left = int(np.clip(np.searchsorted(nodes, place, side="right") - 1, 0, n - 2))
    h = nodes[left + 1] - nodes[left]
    t = (place - nodes[left]) / h
    weights = np.zeros(n)
    weights[left] += (1 + 2 * t) * (1 - t) ** 2
    weights[left + 1] += t**2 * (3 - 2 * t)
    for node, share in ((left, t * (1 - t) ** 2), (left + 1, t**2 * (t - 1))):
        low, high = max(node - 1, 0), min(node + 1, n - 1)
        if high - low == 1:
            weights[[low, high]] += share * h / (nodes[high] - nodes[low]) * np.array([-1.0, 1.0])
        else:
            before, after = nodes[node] - nodes[low], nodes[high] - nodes[node]
            slopes = np.array([-after / before, after / before - before / after, before / after]) / (before + after)
            weights[[low, node, high]] += share * h * slopes
    used = np.flatnonzero(weights)
    return used, weights[used]


def standard_knudsen(shape: str = "strip") -> list[float]:
    """Return the default Knudsen numbers of a film, the thinnest gas first.

    Examples
    --------
    >>> numbers = standard_knudsen("strip")
    >>> numbers[0], round(numbers[-1], 6), len(numbers)
    (10.0, 0.01, 19)
    """
    if shape == "strip":
        return [float(kn) for kn in np.geomspace(10.0, 0.01, 19)]
    return [float(kn) for kn in np.geomspace(10.0, 0.05, 14)]


def gas_series(
    shape: str = "strip",
    knudsen: Iterable[float] | None = None,
    *,
    progress: Progress | None = None,
    shipped: bool = True,
    **options: Any,
) -> GasSeries:
    """Compute the gas at several Knudsen numbers, or read shipped or stored fields.

    Parameters
    ----------
    shape : str
        As for `gas_field`.
    knudsen : iterable of float, optional
        Knudsen numbers; default: `standard_knudsen`.
    progress : callable, optional
        Called with the number done, the total number and the last field.
    shipped : bool
        Whether shipped fields are used, if no option makes it another case.
    **options
        As for `gas_field`.

    Raises
    ------
    InputError
        A case that is meaningless or cannot be resolved; raised before anything is computed.
    """
    numbers = [check_field_knudsen(shape, kn) for kn in (standard_knudsen(shape) if knudsen is None else knudsen)]
    drive = options.get("drive", "thermal")
    usual = shipped and options.keys() <= {"drive", "workers"}
    fields = []
    for kn in numbers:
        ready = shipped_field(shape, drive, kn) if usual else None
        fields.append(gas_field(shape, kn, **options) if ready is None else ready)
        if progress is not None:
            progress(len(fields), len(numbers), fields[-1])
    return GasSeries(fields)
