"""The further reading that would narrow each unknown most."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.evidence.likelihood import Likelihood

Array = NDArray[np.float64]


def settling_readings(problem: Likelihood, picked: Array) -> dict[str, str]:
    """Return, for each unknown, the further reading that would narrow it most, in words.

    Each candidate is predicted for every draw of the posterior. A reading with noise of 1 % then leaves the share
    ``1 - r^2 var/(var + noise^2)`` of an unknown's variance, r being their correlation over the draws; candidates
    that leave more than 80 % of it are not named.
    """
    data = problem.data
    low, high = float(data.pressure_pa.min()), float(data.pressure_pa.max())
    most = float(problem.rotor.knudsen(1.0)) / problem.response.least_knudsen
    names = [unknown.name for unknown in problem.unknowns]
    candidates: dict[str, Array] = {}
    places = {
        f"a speed at {low / 5:.2g} Pa": np.array([low / 5]),
        f"a speed at {np.sqrt(low * high):.2g} Pa": np.array([np.sqrt(low * high)]),
    }
    if high * 3 < most / 1.3:
        places[f"a speed at {high * 3:.2g} Pa"] = np.array([high * 3])
    for words, place in places.items():
        candidates[words] = problem.predicted(picked, place)[:, 0, 0]
    brighter = _with_light(problem, picked, 3.0, np.array([low]))
    candidates[f"a speed at {low:.2g} Pa under a lamp three times as bright"] = brighter
    for words, end in ((f"a coast-down at {low:.2g} Pa", low), (f"a coast-down at {high:.2g} Pa", high)):
        rates = problem.predicted(picked, np.array([end]))[:, 2, 0]
        inertia = picked[:, names.index("inertia")] if "inertia" in names else np.ones(len(picked))
        candidates[f"{words}, its drag with a known moment of inertia"] = rates / inertia
    dry = picked[:, names.index("pivot_dry")]
    candidates["a coast-down of any pressure, its dry friction with a known moment of inertia"] = dry
    candidates["a comparison of the gauge with a reference gauge"] = picked[:, names.index("gauge")]
    found = {}
    for k, name in enumerate(names):
        if name == "scatter":
            continue
        target = np.log(np.maximum(np.abs(picked[:, k]), 1e-300))
        left = {}
        for words, values in candidates.items():
            signal = float(np.var(values))
            noise = (0.01 * float(np.mean(np.abs(values)))) ** 2
            if signal > 0 and np.std(target) > 0:
                r = float(np.corrcoef(values, target)[0, 1])
                left[words] = 1 - r**2 * signal / (signal + noise)
        best = min(left, key=lambda words: left[words], default="")
        if best and left[best] < 0.8:
            found[name] = f"{best} (leaves {100 * np.sqrt(left[best]):.0f} % of its width)"
    return found


def _with_light(problem: Likelihood, values: Array, times: float, pressure: Array) -> Array:
    brighter = values.copy()
    brighter[:, 0] *= times
    return np.asarray(problem.predicted(brighter, pressure)[:, 0, 0])
