"""A closed form in place of the kinetic tables, for tests only."""

from typing import Any

import numpy as np

from edgewind.rotor import Coefficients


class StandIn:
    """A closed form in place of the kinetic tables, for tests only: the limits of thin and of dense gas, joined.

    Thin gas: 1/4 for the thermal force, 4/sqrt(pi) + sqrt(pi) for the drag, 1/sqrt(pi) for the heat. Dense gas
    (invented, with the right powers): force as Kn^2, drag, heat and loss as Kn.
    """

    least_knudsen = 1e-4
    FREE = (0.25, 4 / np.sqrt(np.pi) + np.sqrt(np.pi), 1 / (2 * np.sqrt(np.pi)), 1 / np.sqrt(np.pi))
    DENSE = (2.0, 12.0, 2.5, 2.0)  # of Kn^2, Kn, Kn, Kn

    def at(self, knudsen: Any, accommodation: Any) -> Coefficients:
        kn, alpha = np.broadcast_arrays(np.asarray(knudsen, float), np.asarray(accommodation, float))
        inverse = 1 / kn
        powers = (inverse**2, inverse, inverse, inverse)
        force, drag, heat, loss = (
            free / (1 + free / dense * power) for free, dense, power in zip(self.FREE, self.DENSE, powers, strict=True)
        )
        share = 1 / (1 + 0.1 * inverse)
        # Unequal accommodation: 1/4 in free flight; as much less in dense gas as the faces lose less heat.
        uneven = (force * loss / self.FREE[3], heat * loss / self.FREE[3])
        drag, heat, loss = drag * (1 + 0.2 * (1 - alpha)), heat * alpha, loss * alpha
        return Coefficients(force * alpha, drag, heat, loss, share, *uneven)

    def relative_error(self, knudsen: Any) -> Any:
        return np.full(np.shape(knudsen), 1e-3)

    def relative_errors(self, knudsen: Any) -> Any:
        return np.full((3, *np.shape(knudsen)), 1e-3)

    def shared_errors(self, knudsen: Any) -> Any:
        return np.zeros((2, *np.shape(knudsen)))

    def unequal_error(self, knudsen: Any) -> Any:
        return np.full(np.shape(knudsen), 0.1)
