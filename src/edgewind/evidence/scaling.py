"""Scaling of the pressures of greatest speed and of greatest torque with the width of the vane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence.draws import RotorDraws, draws_of, moved_numbers
from edgewind.evidence.fit import Fit
from edgewind.frozen_model import FrozenModel
from edgewind.rotor import parameters_of, response_of
from edgewind.rotor.optimum import peak_pressures

Array = NDArray[np.float64]
# Maxima are sought above this Knudsen number: in denser gas convection may take over, which the model leaves out.
LEAST_KNUDSEN = 0.025
# Least share of the draws that must have a maximum at every width.
LEAST_SHARE = 0.5


class ScalingResult(FrozenModel):
    """Optimum pressure against the width of the vane, for JSON: SI, the unit in each key."""

    quantity: Literal["speed", "torque"] = Field(description="Quantity that is greatest at the optimum.")
    width_m: tuple[float, ...] = Field(description="Widths of the vane, m.")
    pressure_pa: tuple[float, ...] = Field(description="Median pressure of the maximum at each width, Pa.")
    interval_pa: tuple[tuple[float, float], ...] = Field(
        description="Interval of the pressure of the maximum at each width, Pa."
    )
    exponent: float = Field(
        description="Power n in `p proportional to width**n`, least squares in logarithms draw by draw, median."
    )
    exponent_interval: tuple[float, float] = Field(description="Interval of that power.")
    bend: float = Field(description="Change of the local exponent over the widths, median: zero for a true power law.")
    level: float = Field(description="Coverage probability of the intervals.")
    share_with_a_maximum: float = Field(
        description="Share of the draws that have a maximum at every width and so enter the law."
    )


@dataclass(frozen=True, eq=False)
class Scaling:
    """Optimum pressure against the width of vanes as high as wide, with the exponent of a power law through it.

    Attributes
    ----------
    quantity : {"speed", "torque"}
        Quantity that is greatest at the optimum.
    width_m : array of shape (n,)
        Widths of the vane, m.
    pressure_pa : array of shape (n,)
        Median pressure of the maximum at each width, Pa.
    low_pa, high_pa : array of shape (n,)
        Interval of it.
    exponent : float
        Power n in ``p proportional to width**n``, least squares in logarithms draw by draw, median.
    exponent_interval : tuple of float
        Interval of that power.
    bend : float
        Change of the local exponent over the widths, median: zero for a true power law.
    level : float
        Coverage probability of the intervals.
    share : float
        Share of the draws that have a maximum at every width and so enter the law.
    """

    quantity: Literal["speed", "torque"]
    width_m: Array
    pressure_pa: Array
    low_pa: Array
    high_pa: Array
    exponent: float
    exponent_interval: tuple[float, float]
    bend: float
    level: float
    share: float = 1.0

    def to_result(self) -> ScalingResult:
        """Return the result for JSON."""
        return ScalingResult(
            quantity=self.quantity,
            width_m=tuple(self.width_m.tolist()),
            pressure_pa=tuple(self.pressure_pa.tolist()),
            interval_pa=tuple(zip(self.low_pa.tolist(), self.high_pa.tolist(), strict=True)),
            exponent=self.exponent,
            exponent_interval=self.exponent_interval,
            bend=self.bend,
            level=self.level,
            share_with_a_maximum=self.share,
        )

    @property
    def sentence(self) -> str:
        """The law in a sentence."""
        low, high = self.exponent_interval
        least, most = 1e3 * self.width_m[[0, -1]]
        law = "not the -1 of a fixed Knudsen number"
        if low <= -1 <= high:
            law = "compatible with the -1 of a fixed Knudsen number"
        elif -1.0 in (round(low, 2), round(high, 2)):  # as printed
            law = "with the -1 of a fixed Knudsen number at an end"
        rest = ""
        if self.share < self.level:
            rest = f" This is based on the {100 * self.share:.0f} % of the draws that have a maximum at every width."
        return (
            f"From {least:.3g} to {most:.3g} mm the pressure of greatest {self.quantity} scales as the width of the "
            f"vane to the power {self.exponent:.2f} ({100 * self.level:g} % interval {low:.2f} to {high:.2f}), {law}; "
            f"the local power changes by {self.bend:.2f} over these widths.{rest}"
        )


def scaling_of(
    bench: Bench,
    widths_m: Sequence[float] | None = None,
    *,
    fitted: Fit | RotorDraws | None = None,
    quantity: Literal["speed", "torque"] = "speed",
    level: float = 0.9,
    draws: int = 200,
    seed: int = 1,
) -> Scaling:
    """Predict the optimum for square vanes of other widths on the same arms.

    The inner edge of the vane keeps its distance from the axis; chamber, lamp, gas, pivot and build of the vane stay.
    Draws are those of the posterior of `fitted` if given, else those of the bench.

    Parameters
    ----------
    bench : Bench
        The bench.
    widths_m : sequence of float, optional
        Three or more widths, m; from half the bench's to twice it, or to what the chamber takes, where absent.
    fitted : Fit or RotorDraws, optional
        A fit of this bench, or draws of it.
    quantity : {"speed", "torque"}
        Quantity whose maximum is followed.
    level, draws, seed : float, int, int
        Coverage; number of draws; their seed.

    Raises
    ------
    InputError
        Fewer than three widths, or a rotor that would not fit its chamber.
    """
    own = bench.rotor.vane_width.value
    inner = bench.rotor.arm.value - own / 2
    if widths_m is None:
        most = 0.98 * min(bench.chamber.width.value / 2 - inner, bench.chamber.height.value)
        widths = np.geomspace(own / 2, min(2 * own, most), 7)
    else:
        widths = np.sort(np.asarray(widths_m, dtype=float))
    if widths.size < 3 or widths[0] <= 0:
        raise InputError(
            f"{widths.size} widths are too few for a power law", fix="give three or more widths above zero"
        )
    if 2 * (inner + widths[-1]) >= bench.chamber.width.value or widths[-1] >= bench.chamber.height.value:
        raise InputError(
            f"vanes of {1e3 * widths[-1]:.4g} mm do not fit the chamber",
            fix="ask for narrower vanes or a wider chamber",
        )
    if isinstance(fitted, RotorDraws):
        drawn = fitted
    else:
        drawn = draws_of(bench if fitted is None else fitted, draws=draws, seed=seed)
    row = {"speed": 0, "torque": 1}[quantity]
    places = np.array([_places(bench, drawn, width, inner, row) for width in widths])  # (widths, draws)
    whole = np.isfinite(places).all(axis=0)
    if whole.mean() < LEAST_SHARE:
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
    bend = float(np.median(np.ptp(ends, axis=0)))
    return Scaling(quantity, widths, middle, low, high, power, (least, most), bend, level, float(whole.mean()))


def both_laws(bench: Bench, fitted: Fit | RotorDraws | None = None, *, level: float = 0.9) -> tuple[list[Scaling], str]:
    """Return the laws of speed and of torque that exist, and why one is missing; empty if none is."""
    laws, missing = [], []
    quantities: tuple[Literal["speed", "torque"], ...] = ("speed", "torque")
    for quantity in quantities:
        try:
            laws.append(scaling_of(bench, fitted=fitted, quantity=quantity, level=level))
        except InputError as error:
            missing.append(str(error))
    if not laws:
        raise InputError(missing[0], fix="look at `edgewind predict --plot` for where the curves end")
    return laws, "; ".join(missing)


def _places(bench: Bench, draws: RotorDraws, width: float, inner: float, row: int) -> Array:
    """Return the pressure of the maximum for each draw, Pa; nan where it has none."""
    base = parameters_of(draws.bench)
    wide = base.with_(vane_width_m=width, vane_height_m=width, arm_m=inner + width / 2)
    response = response_of(wide)
    top = float(wide.knudsen(1.0)) / max(LEAST_KNUDSEN, 1.01 * response.least_knudsen)
    pressure = np.geomspace(top / 4e3, top, 121)
    moved = draws.of(bench, moved_numbers(draws.numbers, base, wide), wide)
    curves = moved.curves(pressure, reach=np.inf)
    torque = curves[:, 1]
    strongest = np.take_along_axis(torque, np.argmax(np.abs(torque), axis=1)[:, None], axis=1)
    return peak_pressures(pressure, np.sign(strongest) * curves[:, row])
