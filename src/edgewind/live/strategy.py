"""The choice of the next pressure in an adaptive sweep."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from edgewind.bench import Bench
from edgewind.live.sweep_request import Step
from edgewind.signals import ExperimentSource, read_experiment

if TYPE_CHECKING:
    from edgewind.plan import Stop, Target

_COLUMNS = ("pressure_pa", "log_pressure_u", "log_pressure_u_common", "speed_rad_s", "speed_u_rad_s")


class Strategy(Protocol):
    """Chooses targets from the readings so far; the same readings give the same choice, so a sweep can be resumed."""

    def next_target(self, source: ExperimentSource | None, done: Sequence[Step]) -> Target | Stop:
        """Return the next target, or the reason to stop.

        Parameters
        ----------
        source : ExperimentSource or None
            The experiment in the book; None if it has no reading yet.
        done : sequence of Step
            The steps of this sweep so far.
        """


class AdaptiveStrategy:
    """The choice of :class:`edgewind.plan.AdaptiveChoice`, between two pressures."""

    def __init__(self, bench: Bench, low_pa: float, high_pa: float, most: int, target: str = "") -> None:
        from edgewind.plan import AdaptiveChoice

        self._choice = AdaptiveChoice(bench, low_pa, high_pa, max_readings=most, target=target or None)

    def next_target(self, source: ExperimentSource | None, done: Sequence[Step]) -> Target | Stop:
        """Return the next target, or the reason to stop."""
        import pandas as pd

        readings = (
            pd.DataFrame(columns=list(_COLUMNS), dtype=float) if source is None else read_experiment(source).readings
        )
        return self._choice.next(readings)
