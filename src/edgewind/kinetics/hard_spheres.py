"""How far the model equation is from hard spheres of the same viscosity: an error to state.

Lone square vanes and rotors of four were simulated as hard-sphere molecules (``benchmarks/hard_spheres.py``; a run of
2026-11-28 on one H200 is kept beside it) and solved by the model equation, in the same rooms. In free flight both
agree; from Kn 1 to 0.1 hard spheres have 4 to 7 per cent more drag. The finite cells of that simulation explain 0.1 to
1.1 per cent of it (Alexander, Garcia and Alder, Phys. Fluids 10, 1540, 1998). The force of warm faces differs by about
1 per cent down to Kn 0.3 and by 4(2) per cent at Kn 0.1, that of a rotor by 8(2) per cent there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Knudsen number; drag of hard spheres over that of the model equation, less 1, lone vane and rotor of four together.
KNUDSEN = (0.1, 0.3, 1.0, 10.0, 100.0)
DRAG_EXCESS = (0.048, 0.065, 0.040, 0.003, 0.0)


def model_error(knudsen: ArrayLike) -> Floats:
    """Return the relative error of the coefficients that comes of the model equation, by its drag.

    Examples
    --------
    >>> float(model_error(0.3)), float(model_error(1e6))
    (0.065, 0.0)

    Parameters
    ----------
    knudsen : array
        Mean free path over the width of the vane. Below 0.1 the error stays as it is there.
    """
    return np.asarray(np.interp(np.log(np.asarray(knudsen, dtype=float)), np.log(KNUDSEN), DRAG_EXCESS))
