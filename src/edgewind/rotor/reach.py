"""The pressures over which a rotor can be predicted: those that the response of the gas reaches."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.rotor.parameters import RotorParameters, parameters_of
from edgewind.rotor.response import GasResponse
from edgewind.rotor.shapes import response_of

POINTS = 81
DECADES = 3.5


def reach(bench: Bench) -> NDArray[np.float64]:
    """Return pressures from the highest that the response of the gas reaches down by some decades, Pa.

    Parameters
    ----------
    bench : Bench
        The bench as described.

    Returns
    -------
    array of shape (POINTS,)
        Ascending, even in the logarithm.
    """
    rotor = parameters_of(bench)
    return pressures_within(rotor, response_of(rotor))


def pressures_within(rotor: RotorParameters, response: GasResponse) -> NDArray[np.float64]:
    """Return what :func:`reach` does for a rotor whose response is known."""
    top = float(np.max(rotor.knudsen(1.0))) / response.least_knudsen / 1.01
    return np.geomspace(top / 10**DECADES, top, POINTS)
