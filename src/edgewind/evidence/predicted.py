"""The optima of a prediction with the error of the gas model, for the rotor as stated."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from edgewind.evidence.draws import draws_of_model_error
from edgewind.evidence.what_if import DrawnOptimum, drawn_optima
from edgewind.rotor import Prediction


def with_model_error(found: Prediction, *, level: float = 0.9) -> Prediction:
    """Return a prediction with intervals of both optima for the error of the model alone.

    Parameters
    ----------
    found : Prediction
        See :func:`edgewind.rotor.predict_whole`; returned as it is where it has one pressure only.
    level : float
        Coverage of the intervals.

    Notes
    -----
    The uncertainties of stated and unstated keys of the bench are not included; they come with
    :func:`edgewind.evidence.what_if` over :func:`edgewind.evidence.draws_of`.
    """
    pressure = found.table["pressure_pa"].to_numpy(float)
    if pressure.size < 2:
        return found
    drawn = draws_of_model_error(found.bench, found.parameters)
    speed, torque = drawn_optima(drawn, float(pressure[0]), float(pressure[-1]), level=level)
    return replace(
        found,
        speed=found.speed.model_copy(update=_intervals(speed)),
        force=found.force.model_copy(update=_intervals(torque)),
    )


def _intervals(drawn: DrawnOptimum) -> dict[str, Any]:
    return {
        "interval_pa": drawn.interval_pa,
        "value_interval": drawn.value_interval,
        "level": drawn.level,
        "reason": drawn.reason,
    }
