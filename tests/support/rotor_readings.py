"""Readings and coast-downs of a rotor of the forward model at a known truth, for tests of fits."""

import numpy as np

from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit import FitData
from edgewind.rotor import parameters_of, response_of, steady_state

ROTOR = {"bright_emissivity": "0.80 +/- 0.05", "vane_thickness": "0.1 mm", "vane_conductance": "80 +/- 60 W/(m^2 K)"}
TRUTH = {"light": 1.05, "conductance": 60.0, "accommodation": 0.9, "pivot_dry": 2e-10, "pivot_viscous": 5e-11}


def data_of(bench, *, seed=1, readings=24, low=0.03, high=15.0, scatter=0.01, coasts=False):
    """Readings made by the forward model at a known truth; the gauge reads 3 % low."""
    random = np.random.default_rng(seed)
    nominal = parameters_of(bench)
    rotor = nominal.with_(
        irradiance_w_m2=nominal.irradiance_w_m2 * TRUTH["light"], vane_conductance_w_m2_k=TRUTH["conductance"],
        accommodation=TRUTH["accommodation"], pivot_dry_n_m=TRUTH["pivot_dry"], pivot_breakaway_n_m=TRUTH["pivot_dry"],
        pivot_viscous_n_m_s=TRUTH["pivot_viscous"],
    )  # fmt: skip
    response = response_of(rotor)
    shown = np.geomspace(low, high, readings)
    state = steady_state(1.03 * shown, rotor, response)
    seen = state.speed_rad_s * (1 + scatter * random.standard_normal(readings))
    found = ()
    if coasts:
        inertia = rotor.moment_of_inertia_kg_m2
        drag = steady_state(1.03 * np.array([0.05, 0.5, 5.0]), rotor, response).drag / inertia
        dry = TRUTH["pivot_dry"] / inertia
        found = tuple(
            CoastDown(
                float(rate * (1 + 0.01 * random.standard_normal())), float(0.01 * rate),
                float(dry * (1 + 0.02 * random.standard_normal())), float(0.02 * dry), 0.0, 5.0, 0.5, 1.0, p, 0.01,
            )
            for rate, p in zip(drag, (0.05, 0.5, 5.0), strict=True)
        )  # fmt: skip
    return FitData(shown, np.full(readings, 0.01), seen, 1e-3 * np.abs(seen), True, 0.05, found)
