"""The pressures over which a rotor can be predicted: the range of the gas response."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.rotor.parameters import RotorParameters, parameters_of
from edgewind.rotor.response import GasResponse
from edgewind.rotor.whole_rotor import response_of

POINTS = 81
DECADES = 3.5


def reach(bench: Bench) -> NDArray[np.float64]:
    """Return pressures from the highest of the gas response down by some decades, Pa.

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
    """Return the same as :func:`reach` for a rotor with a known response."""
    top = float(np.max(rotor.knudsen(1.0))) / response.least_knudsen / 1.01
    return np.geomspace(top / 10**DECADES, top, POINTS)
