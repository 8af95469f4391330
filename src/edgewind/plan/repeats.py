"""Repeats at measured pressures where readings scatter by far more than they state, and how many decide about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, chdtri

from edgewind.evidence import Optimum, SweepData
from edgewind.evidence.optimum import REASONS, UnstatedScatter
from edgewind.evidence.sweep_data import repeat_groups
from edgewind.formatting import RPM_PER_RAD_S, format_number
from edgewind.plan.cost import Cost
from edgewind.plan.spread import rounded
from edgewind.plan.values import PlannedMeasurement

# Probability that repeats with the stated scatter are taken for more, and that those with the real one are found.
FALSE_ALARM, POWER = 0.01, 0.95
# Fewer repeats give the scatter itself only to a factor of two.
FEWEST_REPEATS, MOST_REPEATS = 3, 24


def repeats_needed(ratio: float) -> int:
    """Return how many repeats show that the scatter is `ratio` times what the readings state.

    Chi-squared of the repeats about the means of their pressures, one degree of freedom for each repeat.

    Examples
    --------
    >>> repeats_needed(15.0), repeats_needed(5.0), repeats_needed(2.5)
    (3, 4, 10)
    """
    freedom = np.arange(FEWEST_REPEATS, MOST_REPEATS + 1)
    found = chdtrc(freedom, chdtri(freedom, FALSE_ALARM) / ratio**2) >= POWER
    return int(freedom[np.argmax(found)]) if found.any() else MOST_REPEATS


@dataclass(frozen=True, eq=False)
class Repeats:
    """What readings that alternate leave to find out.

    Parameters
    ----------
    data : SweepData
        The readings.
    optimum : Optimum
        The refused optimum.
    scatter : UnstatedScatter
        By how much they alternate.
    """

    data: SweepData
    optimum: Optimum
    scatter: UnstatedScatter

    @property
    def needed(self) -> int:
        """Number of repeats that decide."""
        return repeats_needed(self.scatter.ratio)

    def _groups(self) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """Return ln(pressure / Pa) and number of readings of each measured pressure."""
        order = np.argsort(self.data.log_pressure, kind="stable")
        place = self.data.log_pressure[order]
        group = repeat_groups(place, self.data.log_pressure_u[order])
        count = np.bincount(group)
        return np.bincount(group, place) / count, count

    @property
    def taken(self) -> int:
        """Number of repeats so far."""
        return int(self.data.size - self._groups()[1].size)

    def proposals(self, count: int, allowed: tuple[float, float], cost: Cost) -> tuple[PlannedMeasurement, ...]:
        """Propose repeats at two pressures in turn, so that each is set anew, first where the curve is highest."""
        curve = self.optimum.curve
        assert curve is not None
        places, readings = self._groups()
        open_places = (np.exp(places) >= allowed[0] * 0.999) & (np.exp(places) <= allowed[1] * 1.001)
        places, readings = places[open_places], readings[open_places]
        height = np.abs(curve.at(np.exp(places)))
        rank = np.argsort(np.argsort(-height, kind="stable"))
        last, before = float(self.data.log_pressure[-1]), float(self.data.pressure_pa[-1])
        each = -(-self.needed // 2)
        found: list[PlannedMeasurement] = []
        for number in range(count if places.size else 0):
            here = np.abs(places - last) < 0.01
            at = int(np.lexsort((rank, here, readings, rank // 2, (readings - 1) // each))[0])
            pressure = rounded(float(np.exp(places[at])), allowed)
            found.append(
                PlannedMeasurement(
                    kind="repeat",
                    about="scatter of the readings",
                    pressure_pa=pressure,
                    pressures_pa=(pressure,),
                    why=self._why(self.taken + number + 1),
                    cost_s=float(cost(np.array([pressure]), before)[0]),
                )
            )
            readings[at] += 1
            last, before = float(places[at]), pressure
        return tuple(found)

    def _why(self, number: int) -> str:
        if number > self.needed:
            return (
                "The repeats so far agree, and neighbouring readings do not: return to this pressure from another one. "
                "If it differs from before, the pressure is not set or read as well as stated."
            )
        return (
            f"Repeat {number} of the {self.needed} that show whether readings scatter at one pressure as neighbouring "
            "ones do: set the pressure anew, from another one."
        )

    @property
    def opening(self) -> str:
        """State of the experiment, and what the repeats would settle."""
        size = format_number(RPM_PER_RAD_S * self.scatter.scatter_rad_s, 2)
        ratio = format_number(self.scatter.ratio, 2)
        return (
            f"No optimum is claimed yet ({self.optimum.reason}): {REASONS[self.optimum.reason]}. They scatter by about "
            f"{size} rpm, {ratio} times what they state. {self.needed} repeats show with a probability of "
            f"{100 * POWER:g} % whether they do so at one pressure. If they do, state that scatter as the uncertainty "
            "of speed; two traces of one rotation, with nothing changed between them, show how much of it is due to "
            "the instrument and how much to the rotor. If they do not, the pressure is not set or read as well as "
            "stated, or the curve has several maxima."
        )

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the number of repeats rests on."""
        return (
            f"Repeats at one pressure scatter as neighbouring readings do, by {format_number(self.scatter.ratio, 2)} "
            "times what they state.",
            "The rotor does not change in the meantime: no drift, and the same light.",
        )

    @property
    def falsified_by(self) -> tuple[str, ...]:
        """Observations that contradict the assumption."""
        limit = format_number(float(chdtri(self.needed, FALSE_ALARM)), 3)
        return (
            f"A chi-squared of {self.needed} repeats about the means of their pressures, by the stated uncertainties, "
            f"below {limit}: the scatter then does not arise at one pressure.",
        )
