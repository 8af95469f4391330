"""Errors of the model equation against hard spheres of the same viscosity, separately for force and drag.

Lone square vanes and rotors of four were simulated as hard-sphere molecules (``benchmarks/hard_spheres.py``; runs of
2026-11-28 and 29 on one H200 are kept beside it) and solved by the model equation, in the same rooms. In free flight
both agree. From Kn 1 to 0.1 hard spheres have 3 to 6 per cent more drag. The force of warm faces is the same to a per
cent at Kn 1, 2 per cent less at 0.3 and 7 per cent less at 0.1: 4(1) per cent on a lone vane, 7.3(5) on a rotor. Part
of that is not due to the model: faces that differ by 0.3 T0 have second-order terms of about two per cent, and cells of
a quarter of a mean free path add less than a per cent to the viscosity (Alexander, Garcia and Alder, Phys. Fluids 10,
1540, 1998).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Knudsen number; hard spheres over the model equation, less 1, lone vane and rotor of four together: difference of the
# force, or its standard error if greater, and difference of the drag.
KNUDSEN = (0.1, 0.3, 1.0, 10.0, 100.0)
FORCE = (0.068, 0.017, 0.006, 0.002, 0.0)
DRAG = (0.030, 0.059, 0.039, 0.003, 0.0)


def equation_error(knudsen: ArrayLike) -> dict[str, Floats]:
    """Return the relative errors of force, drag and heat due to the model equation.

    Heat was not simulated: it has the error of the drag.

    Examples
    --------
    >>> error = equation_error(0.3)
    >>> float(error["thermal_force"]), float(error["drag"])
    (0.017, 0.059)

    Parameters
    ----------
    knudsen : array
        Mean free path over the width of the vane. Below 0.1 the errors are constant.

    Returns
    -------
    dict of str to array
        By the name of a coefficient in the tables: `thermal_force`, `drag`, `heat_hot`, `loss_hot`.
    """
    at = np.log(np.asarray(knudsen, dtype=float))
    force, drag = (np.asarray(np.interp(at, np.log(KNUDSEN), error)) for error in (FORCE, DRAG))
    return {"thermal_force": force, "drag": drag, "heat_hot": drag, "loss_hot": drag}
