"""Steady speeds in a compiled loop, for fits that ask a hundred thousand times; `steady.py` is the same in plain NumPy.

A test holds the two together. Numbers come in the order of `Place`, so that a draw of unknowns is one flat array.
"""

from __future__ import annotations

from enum import IntEnum

import numba as nb
import numpy as np
from numpy.typing import NDArray
from scipy.constants import Stefan_Boltzmann, speed_of_light

from edgewind.rotor.drag import FREE_MOLECULAR_CYLINDER_DRAG
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import TableResponse

Array = NDArray[np.float64]


class Place(IntEnum):
    """Where each number stands in the flat array of a rotor; 24 to 27 are the shares of the drives that act."""

    VANES = 0
    WIDTH = 1
    AREA = 2
    DARK_REFLECTED_PUSH = 3
    ARM = 4
    ARM_DIAMETER = 5
    IRRADIANCE = 6
    MEAN_IRRADIANCE = 7
    BRIGHT_REFLECTED_PUSH = 8
    DARK_ABSORPTANCE = 9
    BRIGHT_ABSORPTANCE = 10
    DARK_EMISSIVITY = 11
    BRIGHT_EMISSIVITY = 12
    CONDUCTANCE = 13
    OUTGASSING = 14
    DRY = 15
    BREAKAWAY = 16
    VISCOUS = 17
    ACCOMMODATION = 18
    GAS_K = 19
    ENVELOPE_K = 20
    VISCOSITY = 21
    V0 = 22
    INTERNAL = 23
    THERMAL_FORCE = 24
    LIGHT_PRESSURE = 25
    UNEQUAL_ACCOMMODATION = 26
    RECOIL = 27
    INFRARED_RECOIL = 28
    MEAN_SQUARE_OFFSET = 29
    DRAG_FACTOR = 30
    ACCOMMODATION_DIFFERENCE = 31
    FOREIGN_TORQUE = 32
    VISCOSITY_EXPONENT = 33
    CONDUCTIVITY_FACTOR = 34


# Where the share of each drive stands that acts by itself.
DRIVE_PLACES = {
    "thermal_force": Place.THERMAL_FORCE,
    "unequal_accommodation": Place.UNEQUAL_ACCOMMODATION,
    "light_pressure": Place.LIGHT_PRESSURE,
    "infrared_recoil": Place.INFRARED_RECOIL,
    "outgassing": Place.RECOIL,
    "foreign": Place.FOREIGN_TORQUE,
}


def flat(rotor: RotorParameters) -> Array:
    """Return a rotor as the flat array that the kernel takes, with every drive acting."""
    numbers = [
        rotor.vanes, rotor.vane_width_m, rotor.vane_area_m2, rotor.dark_reflected_push, rotor.arm_m,
        rotor.arm_diameter_m, rotor.irradiance_w_m2, rotor.turn_mean_irradiance, rotor.bright_reflected_push,
        rotor.dark_absorptance, rotor.bright_absorptance, rotor.dark_emissivity, rotor.bright_emissivity,
        rotor.vane_conductance_w_m2_k, rotor.dark_outgassing_pa_m_s - rotor.bright_outgassing_pa_m_s,
        rotor.pivot_dry_n_m, rotor.pivot_breakaway_n_m, rotor.pivot_viscous_n_m_s, rotor.accommodation,
        rotor.gas_temperature_k, rotor.envelope_temperature_k, rotor.viscosity_pa_s, rotor.most_probable_speed_m_s,
        rotor.internal_heat, rotor.gas_force_factor, 1.0, rotor.gas_force_factor, 1.0, 1.0,
        rotor.mean_square_offset_m2, rotor.gas_drag_factor, rotor.accommodation_difference, rotor.foreign_torque_n_m,
        rotor.viscosity_exponent, rotor.conductivity_factor,
    ]  # fmt: skip
    return np.array([float(number) for number in numbers])


def table_arrays(response: TableResponse) -> tuple[Array, Array, Array, Array, Array]:
    """Return the table as the kernel takes it: ln Kn, cubics, values in free flight, values at the top,
    accommodations.
    """
    return (
        np.log(response.knudsen),
        np.ascontiguousarray(response.cubics),
        np.ascontiguousarray(response.free),
        np.ascontiguousarray(response.top),
        response.accommodation,
    )


@nb.njit(error_model="numpy", cache=True)
def _look_up(kn, alpha, log_kn, cubic, free, top, alphas, out):  # type: ignore[no-untyped-def]
    """Write the first coefficients at one Knudsen number and accommodation to `out`."""
    last, logs = log_kn.size - 1, free.shape[0] - 1
    m = alphas.size
    j = 0
    while j < m - 2 and alpha >= alphas[j + 1]:
        j += 1
    share = 0.0 if m == 1 else (alpha - alphas[j]) / (alphas[j + 1] - alphas[j])
    x = np.log(kn)
    if x >= log_kn[last]:
        nearer = np.exp(log_kn[last] - x)
        for k in range(out.size):
            low = free[k, j] + (top[k, j] - free[k, j]) * nearer
            high = low if m == 1 else free[k, j + 1] + (top[k, j + 1] - free[k, j + 1]) * nearer
            out[k] = low + share * (high - low)
        return
    i = min(max(np.searchsorted(log_kn, x, side="right") - 1, 0), last - 1)
    d = max(x, log_kn[0]) - log_kn[i]
    for k in range(out.size):
        low = ((cubic[0, i, k, j] * d + cubic[1, i, k, j]) * d + cubic[2, i, k, j]) * d + cubic[3, i, k, j]
        if k < logs:
            low = np.exp(low)
        high = low
        if m > 1:
            high = ((cubic[0, i, k, j + 1] * d + cubic[1, i, k, j + 1]) * d + cubic[2, i, k, j + 1]) * d
            high += cubic[3, i, k, j + 1]
            if k < logs:
                high = np.exp(high)
        out[k] = low + share * (high - low)


@nb.njit(error_model="numpy", cache=True)
def steady_speeds(pressure, q, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return speed (rad/s), net torque (N m) and drag (N m s) at each pressure, shape (3, n)."""
    return deviating_speeds(pressure, q, np.ones((3, pressure.size)), log_kn, cubic, free, top, alphas)


@nb.njit(error_model="numpy", cache=True)
def deviating_speeds(pressure, q, factors, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return the same with factors, shape (3, n), on thermal force, drag and heat of the gas at each pressure."""
    found = np.empty((3, pressure.size))
    c, at_arm, in_flight = np.empty(6), np.empty(2), np.empty(2)
    vanes, width, area, arm, rod = q[0], q[1], q[2], q[4], q[5]
    t0, te, v0 = q[19], q[20], q[22]
    path = 0.5 * np.sqrt(np.pi) * q[21] * v0
    conductance, inner = q[13], q[23]
    light = q[6] * q[7]
    black_dark, black_bright = q[11] * Stefan_Boltzmann, q[12] * Stefan_Boltzmann
    offset, difference = q[29], q[31]
    thin, dense, exponent = 1.0 + inner / 2.0, q[34], q[33]
    diffuse = np.sqrt(np.pi) * q[18]
    diffuse = diffuse / (8.0 * (1.0 - q[18]) / np.sqrt(np.pi) + q[18] * 4.0 / np.sqrt(np.pi) + diffuse)
    reflected = (1.0 - q[10]) * q[8] - (1.0 - q[9]) * q[3]
    push = -q[25] * vanes * arm * q[6] * area / speed_of_light * reflected
    push += q[27] * vanes * arm * area * np.sqrt(np.pi) * q[14] / v0 + q[32]
    if rod > 0.0:
        _look_up(1e12, q[18], log_kn, cubic, free, top, alphas, in_flight)
    recoil = q[28] * vanes * arm * area * 2.0 / 3.0 / speed_of_light
    dark = bright = max(t0, te) + 10.0
    for n in range(pressure.size):
        p = pressure[n]
        kn = path / p / width
        on_arms = q[17]
        if rod > 0.0:
            _look_up(max(path / p / rod, np.exp(log_kn[0])), q[18], log_kn, cubic, free, top, alphas, at_arm)
            reach = max(arm - width / 2.0, 0.0)
            on_arms += FREE_MOLECULAR_CYLINDER_DRAG * vanes * rod * reach**3 / 3.0 * at_arm[1] / in_flight[1] * p / v0
        share = kn / (1.0 + kn)
        more = (dense + (thin - dense) * share) * factors[2, n]
        speed = 0.0
        torque = 0.0
        drag = 0.0
        before_used, used, got = 0.0, 0.0, 0.0
        for turn in range(30):
            # As in film.py: the gas at the film temperature and its factors in free flight. The warmth of the vane
            # that the last one gave is carried on by a secant, so that few look-ups do.
            warmth = (dark + bright) / 2.0 / t0
            settled = turn > 0 and abs(warmth - used) < 1e-9
            if not settled:
                film = warmth
                if turn > 1:
                    slope = (warmth - got) / (used - before_used)
                    if abs(slope) < 0.5:
                        film = used + (warmth - used) / (1.0 - slope)
                before_used, used, got = used, film, warmth
                _look_up(kn * np.exp(exponent * np.log((1.0 + film) / 2.0)), q[18], log_kn, cubic, free, top, alphas, c)
                root = np.sqrt(film)
                c[0] *= np.exp(-share * np.log(root))
                c[1] *= np.exp(share * np.log(1.0 + diffuse * (root - 1.0))) * factors[1, n]
                c[4] *= np.exp(share * np.log(2.0 / (1.0 + root)))
                drag = q[30] * vanes * area * (arm * arm + offset) * c[1] * p / v0 + on_arms
                per_difference = q[24] * vanes * arm * area * p / t0 * c[0] * factors[0, n]
                mean, apart = p * v0 / t0 * more * c[3] / 2.0, p * v0 / t0 * more * c[2]
                same, cross = conductance + mean + apart, mean - apart - conductance
                uneven = p * v0 / t0 * more * c[5] * difference
                by_warmth = q[26] * vanes * arm * area * p / t0 * c[4] * difference * factors[0, n]
            moved = p * c[0] * speed * arm
            moved_both = p * c[4] * difference / 2.0 * speed * arm
            in_dark = q[9] * light + black_dark * te**4 + (2.0 * mean + uneven) * t0 - moved - moved_both
            in_bright = q[10] * light + black_bright * te**4 + (2.0 * mean - uneven) * t0 + moved - moved_both
            for _step in range(60):
                lost_dark, lost_bright = black_dark * dark**3, black_bright * bright**3
                over_dark = in_dark - (lost_dark + same + uneven) * dark - cross * bright
                over_bright = in_bright - (lost_bright + same - uneven) * bright - cross * dark
                own_dark, own_bright = 4.0 * lost_dark + same + uneven, 4.0 * lost_bright + same - uneven
                determinant = own_dark * own_bright - cross * cross
                step_dark = (own_bright * over_dark - cross * over_bright) / determinant
                step_bright = (own_dark * over_bright - cross * over_dark) / determinant
                dark = max(dark + step_dark, 1.0)
                bright = max(bright + step_bright, 1.0)
                if max(abs(step_dark), abs(step_bright)) < 1e-5:
                    break
            radiated = black_dark * (dark**4 - te**4) - black_bright * (bright**4 - te**4)
            torque = per_difference * (dark - bright) + by_warmth * ((dark + bright) / 2.0 - t0)
            torque += push + recoil * radiated
            before = speed
            speed = 0.0
            if abs(torque) > max(q[15], q[16]) and drag > 0.0:
                speed = np.sign(torque) * (abs(torque) - q[15]) / drag
            if settled and abs(speed - before) <= 1e-9 * abs(speed):
                break
        found[0, n], found[1, n], found[2, n] = speed, torque, drag
    return found


@nb.njit(error_model="numpy", cache=True)
def steady_speeds_of(pressure, q, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return the same for many rotors, each at its own pressures: shapes (k, n) and (k, numbers) give (k, 3, n)."""
    found = np.empty((pressure.shape[0], 3, pressure.shape[1]))
    for k in range(pressure.shape[0]):
        found[k] = steady_speeds(pressure[k], q[k], log_kn, cubic, free, top, alphas)
    return found


@nb.njit(error_model="numpy", cache=True)
def deviating_speeds_of(pressure, q, factors, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return the same for many rotors with factors on the gas, shape (k, 3, n)."""
    found = np.empty((pressure.shape[0], 3, pressure.shape[1]))
    for k in range(pressure.shape[0]):
        found[k] = deviating_speeds(pressure[k], q[k], factors[k], log_kn, cubic, free, top, alphas)
    return found
