"""Published measurements of rotors; what the publication leaves open is drawn from ranges, without tuning.

"Experimental and numerical study of the optimal operation pressure within Crookes radiometer", J. Vac. Sci. Technol. A
23(6), 1531, 2005 (abstract read): freely rotating rotors with blades of 20 and 10 mm turned fastest at 0.1 and 3 Pa.
Assumed: four square vanes 0.1 mm thick in air at 22 degC, their middles 0.75 widths off the axis, a chamber 100 mm wide
and high. Drawn, each within the range that a fit starts from: see `open_unknowns`.
"""

from __future__ import annotations

import numpy as np
from measured import Row, invented_bench, row
from numpy.typing import NDArray
from scipy.stats import spearmanr

from edgewind.evidence.priors import CONDUCTANCE_RANGE
from edgewind.rotor import parameters_of, response_of, steady_state
from edgewind.rotor.parameters import BRIGHT_EMISSIVITY_RANGE

Array = NDArray[np.float64]

SEEN_PA = {"20 mm": 0.1, "10 mm": 3.0}
PRESSURES = np.geomspace(0.01, 30.0, 121)


def open_unknowns(count: int, seed: int) -> dict[str, Array]:
    """Draw the values that the abstract leaves open, shapes (count, 1); friction as a share of the greatest torque."""
    random = np.random.default_rng(seed)

    def even(low: float, high: float) -> Array:
        return random.uniform(low, high, (count, 1))

    def log_even(low: float, high: float) -> Array:
        return np.exp(even(np.log(low), np.log(high)))

    return {
        "conductance of the vane": log_even(*CONDUCTANCE_RANGE),
        "emissivity of the bright face": even(*BRIGHT_EMISSIVITY_RANGE),
        "accommodation": even(0.65, 0.95),
        "difference in accommodation": 0.1 * random.standard_normal((count, 1)),
        "dry friction over greatest torque": log_even(1e-4, 0.5),
        "light": log_even(300.0, 1500.0),
    }


def fastest_pa(width: str, drawn: dict[str, Array]) -> Array:
    """Return the pressure of greatest speed of each draw; nan if the rotor does not turn."""
    arm = 0.75 * float(width.split()[0])
    bench = invented_bench(
        vane_width=width, vane_height=width, arm=f"{arm} mm", vanes=4, vane_thickness="0.1 mm", vane_mass="0.1 g"
    )
    bench = bench.with_gas("air")
    rotor = parameters_of(bench).with_(chamber_width_m=0.1, chamber_height_m=0.1)
    response = response_of(rotor)
    rotor = rotor.with_(
        vane_conductance_w_m2_k=drawn["conductance of the vane"],
        bright_emissivity=drawn["emissivity of the bright face"],
        accommodation=drawn["accommodation"],
        accommodation_difference=drawn["difference in accommodation"],
        irradiance_w_m2=drawn["light"],
        pivot_dry_n_m=0.0,
        pivot_breakaway_n_m=0.0,
        pivot_viscous_n_m_s=0.0,
    )
    torque = np.abs(steady_state(PRESSURES, rotor, response).net_torque).max(axis=1, keepdims=True)
    dry = drawn["dry friction over greatest torque"] * torque
    speed = np.abs(
        steady_state(PRESSURES, rotor.with_(pivot_dry_n_m=dry, pivot_breakaway_n_m=dry), response).speed_rad_s
    )
    fastest = PRESSURES[np.argmax(speed, axis=1)]
    return np.where(speed.max(axis=1) > 0.0, fastest, np.nan)


def run(full: bool) -> list[Row]:
    """Return the optima of both rotors by the model, and the parameters that they depend on."""
    count = 600 if full else 60
    rows, found = [], {}
    drawn = open_unknowns(count, 1)
    for width, seen in SEEN_PA.items():
        found[width] = fastest_pa(width, drawn)
        low, middle, high = np.nanquantile(found[width], [0.05, 0.5, 0.95])
        rows += [row(f"fastest pressure of the {width} rotor: {end}", float(value), "Pa", seen)
                 for end, value in (("5 %", low), ("median", middle), ("95 %", high))]  # fmt: skip
        rows.append(
            row(f"share of draws at or below the published pressure, {width}", float(np.nanmean(found[width] <= seen)))
        )
        turning = np.isfinite(found[width])
        for name, values in drawn.items():
            rank = spearmanr(values[turning, 0], found[width][turning]).statistic
            rows.append(row(f"rank correlation of that pressure with {name}, {width}", float(rank)))
    alike = found["10 mm"] / found["20 mm"]
    apart = fastest_pa("10 mm", open_unknowns(count, 2)) / found["20 mm"]
    for name, ratio in (("otherwise equal rotors", alike), ("different rotors", apart)):
        rows.append(row(f"ratio of the two pressures, {name}: median", float(np.nanmedian(ratio)), "", 30.0))
        rows.append(row(f"share of draws with a ratio of 30 or more, {name}", float(np.nanmean(ratio >= 30.0))))
    return rows
