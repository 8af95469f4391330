"""How the pressure of greatest speed, and of greatest torque, moves with the size of the vane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence.fit import Fit
from edgewind.evidence.verdicts import prior_draws
from edgewind.rotor import parameters_of, response_for
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.predict import peak_places
from edgewind.rotor.speed_kernel import flat, steady_speeds, table_arrays

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scaling:
    """Optimum pressure against the width of square vanes, with the exponent of a power law through it.

    Attributes
    ----------
    quantity : {"speed", "torque"}
        What is greatest there.
    width_m : array of shape (n,)
        Widths.
    pressure_pa : array of shape (n,)
        Median pressure of the maximum.
    low_pa, high_pa : array of shape (n,)
        Interval of it.
    exponent, exponent_interval : float, tuple of float
        n in ``p proportional to width**n``, least squares in logarithms draw by draw; median and interval.
    bend : float
        How far the local exponent changes over the widths, median: zero for a true power law.
    level : float
        Coverage.
    """

    quantity: str
    width_m: Array
    pressure_pa: Array
    low_pa: Array
    high_pa: Array
    exponent: float
    exponent_interval: tuple[float, float]
    bend: float
    level: float

    def as_plain(self) -> dict[str, object]:
        """The law as plain data with stable keys."""
        return {
            "quantity": self.quantity,
            "width_m": self.width_m.tolist(),
            "pressure_pa": self.pressure_pa.tolist(),
            "interval_pa": np.stack([self.low_pa, self.high_pa], axis=1).tolist(),
            "exponent": self.exponent,
            "exponent_interval": list(self.exponent_interval),
            "bend": self.bend,
            "level": self.level,
        }

    @property
    def sentence(self) -> str:
        """The law in a sentence."""
        low, high = self.exponent_interval
        least, most = 1e3 * self.width_m[[0, -1]]
        law = (
            "compatible with the -1 of a fixed Knudsen number"
            if low <= -1 <= high
            else "not the -1 of a fixed Knudsen number"
        )
        return (
            f"From {least:.3g} to {most:.3g} mm the pressure of greatest {self.quantity} goes as the width of the vane "
            f"to the power {self.exponent:.2f} ({100 * self.level:g} % interval {low:.2f} to {high:.2f}), {law}; the "
            f"local power changes by {self.bend:.2f} over these widths."
        )


def scaling_of(
    bench: Bench,
    widths_m: Sequence[float] | None = None,
    *,
    fitted: Fit | None = None,
    quantity: Literal["speed", "torque"] = "speed",
    level: float = 0.9,
    draws: int = 200,
    seed: int = 1,
) -> Scaling:
    """Predict how the optimum moves when square vanes of other widths are put on the same arms.

    The inner edge of the vane keeps its distance from the axis; chamber, lamp, gas, pivot and build of the vane stay.
    Draws are those of the posterior of `fitted` where it is given, else those of what the bench states.

    Parameters
    ----------
    bench : Bench
        The bench.
    widths_m : sequence of float, optional
        Three or more widths, m; from half the bench's to twice it where absent.
    fitted : Fit, optional
        A fit of this bench.
    quantity : {"speed", "torque"}
        Whose maximum is followed.
    level, draws, seed : float, int, int
        Coverage; number of draws; their seed.

    Raises
    ------
    InputError
        Fewer than three widths, or a rotor that would not fit its chamber.
    """
    own = bench.rotor.vane_width.value
    widths = np.geomspace(own / 2, 2 * own, 7) if widths_m is None else np.sort(np.asarray(widths_m, dtype=float))
    if widths.size < 3 or widths[0] <= 0:
        raise InputError(f"{widths.size} widths show no law", fix="give three or more widths above zero")
    inner = bench.rotor.arm.value - own / 2
    if 2 * (inner + widths[-1]) >= bench.chamber.width.value or widths[-1] >= bench.chamber.height.value:
        raise InputError(
            f"vanes of {1e3 * widths[-1]:.4g} mm do not fit the chamber",
            fix="ask for narrower vanes or a wider chamber",
        )
    numbers = _numbers(bench, fitted, draws, seed)
    row = {"speed": 0, "torque": 1}[quantity]
    base = parameters_of(bench)
    places = np.array([_places(base, numbers, width, inner, row) for width in widths])  # (widths, draws)
    whole = np.isfinite(places).all(axis=0)
    if whole.sum() < level * places.shape[1]:
        raise InputError(
            f"the {quantity} has no maximum inside the response of the gas for all these widths",
            fix="ask for fewer widths",
        )
    logs, x = np.log(places[:, whole]), np.log(widths)
    powers = np.polyfit(x, logs, 1)[0]
    ends = np.diff(logs, axis=0) / np.diff(x)[:, None]
    tails = [(1 - level) / 2, 0.5, (1 + level) / 2]
    low, middle, high = np.exp(np.quantile(logs, tails, axis=1))
    least, power, most = (float(q) for q in np.quantile(powers, tails))
    bend = float(np.median(np.abs(ends[-1] - ends[0])))
    return Scaling(quantity, widths, middle, low, high, power, (least, most), bend, level)


def _numbers(bench: Bench, fitted: Fit | None, draws: int, seed: int) -> Array:
    """Return draws of the rotor as flat arrays of the kernel, shape (draws, numbers)."""
    if fitted is not None:
        picked = fitted.draws[
            np.random.default_rng(seed).choice(len(fitted.draws), draws, replace=len(fitted.draws) < draws)
        ]
        return np.array([fitted.problem.numbers(values) for values in picked])
    drawn = prior_draws(bench, seed)
    found = []
    for k in range(draws):
        single: dict[str, float] = {}
        for name in RotorParameters.__dataclass_fields__:
            value = np.asarray(getattr(drawn, name), dtype=float).ravel()
            single[name] = float(value[k % value.size])
        found.append(flat(RotorParameters(**single)))  # type: ignore[arg-type]
    return np.array(found)


def _places(base: RotorParameters, numbers: Array, width: float, inner: float, row: int) -> Array:
    """Return the pressure of the maximum for each draw, Pa; nan where it has none."""
    response = response_for(float(base.chamber_width_m) / width)
    top = float(base.knudsen(1.0, width)) / response.least_knudsen / 1.01
    pressure = np.geomspace(top / 1e4, top, 121)
    table = table_arrays(response)
    curves = np.empty((len(numbers), pressure.size))
    for k, one in enumerate(numbers):
        q = one.copy()
        q[1] = q[2] = width
        q[4] = inner + width / 2
        speed_torque = steady_speeds(pressure, q, *table)
        sense = np.sign(speed_torque[1][np.argmax(np.abs(speed_torque[1]))])
        curves[k] = sense * speed_torque[row]
    return peak_places(pressure, curves)
