"""Steady speeds in a compiled loop, for fits with a hundred thousand calls; `steady.py` is the same in plain NumPy.

A test compares the two. Numbers come in the order of `Place`, so that a draw of unknowns is one flat array.
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray
from scipy.constants import Stefan_Boltzmann, speed_of_light

from edgewind.compiled import njit
from edgewind.kinetics.internal_energy import HALF_WAY
from edgewind.rotor.drag import FREE_MOLECULAR_CYLINDER_DRAG
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import TableResponse

Array = NDArray[np.float64]


class Place(IntEnum):
    """Index of each number in the flat array of a rotor; 24 to 27 are the shares of the drives that act."""

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
    HEAT_CAPACITY = 35
    INERTIA = 36


# Change of the film's relative temperature up to which two derivatives of the gas suffice: third ones change 1e-9.
_FILM_REACH = 2e-3
# Index of the share of each separate drive.
DRIVE_PLACES = {
    "thermal_force": Place.THERMAL_FORCE,
    "unequal_accommodation": Place.UNEQUAL_ACCOMMODATION,
    "light_pressure": Place.LIGHT_PRESSURE,
    "infrared_recoil": Place.INFRARED_RECOIL,
    "outgassing": Place.RECOIL,
    "foreign": Place.FOREIGN_TORQUE,
}


def flat(rotor: RotorParameters) -> Array:
    """Return a rotor as the flat array of the kernel, with every drive acting."""
    numbers = [
        rotor.vanes, rotor.vane_width_m, rotor.vane_area_m2, rotor.dark_reflected_push, rotor.arm_m,
        rotor.arm_diameter_m, rotor.irradiance_w_m2, rotor.turn_mean_irradiance, rotor.bright_reflected_push,
        rotor.dark_absorptance, rotor.bright_absorptance, rotor.dark_emissivity, rotor.bright_emissivity,
        rotor.vane_conductance_w_m2_k, rotor.dark_outgassing_pa_m_s - rotor.bright_outgassing_pa_m_s,
        rotor.pivot_dry_n_m, rotor.pivot_breakaway_n_m, rotor.pivot_viscous_n_m_s, rotor.accommodation,
        rotor.gas_temperature_k, rotor.envelope_temperature_k, rotor.viscosity_pa_s, rotor.most_probable_speed_m_s,
        rotor.internal_heat, rotor.gas_force_factor, 1.0, rotor.gas_force_factor * rotor.gas_unequal_factor, 1.0, 1.0,
        rotor.mean_square_offset_m2, rotor.gas_drag_factor, rotor.accommodation_difference, rotor.foreign_torque_n_m,
        rotor.viscosity_exponent, rotor.conductivity_factor, rotor.heat_capacity_j_m2_k,
        rotor.moment_of_inertia_kg_m2,
    ]  # fmt: skip
    return np.array([float(number) for number in numbers])


def table_arrays(response: TableResponse) -> tuple[Array, Array, Array, Array, Array]:
    """Return the table as input of the kernel: ln Kn, cubics, values in free flight, values at the top,
    accommodations; the coefficients last, since the kernel reads them all at one place.
    """
    return (
        np.log(response.knudsen),
        np.ascontiguousarray(np.transpose(response.cubics, (1, 3, 0, 2))),
        np.ascontiguousarray(response.free.T),
        np.ascontiguousarray(response.top.T),
        response.accommodation,
    )


@njit(error_model="numpy", cache=True)
def look_up(x, alpha, log_kn, cubic, free, top, alphas, out):  # type: ignore[no-untyped-def]
    """Write the first coefficients at one ln Kn and accommodation to `out`, with two derivatives, shape (count, 3)."""
    last, logs = log_kn.size - 1, free.shape[1] - 1
    m = alphas.size
    j = 0
    while j < m - 2 and alpha >= alphas[j + 1]:
        j += 1
    share = 0.0 if m == 1 else (alpha - alphas[j]) / (alphas[j + 1] - alphas[j])
    out[:] = 0.0
    if x >= log_kn[last]:
        nearer = np.exp(log_kn[last] - x)
        for side in range(min(m, 2)):
            weight = share if side else 1.0 - share
            for k in range(out.shape[0]):
                part = (top[j + side, k] - free[j + side, k]) * nearer
                out[k, 0] += weight * (free[j + side, k] + part)
                out[k, 1] -= weight * part
                out[k, 2] += weight * part
        return
    i = min(max(np.searchsorted(log_kn, x, side="right") - 1, 0), last - 1)
    d = max(x, log_kn[0]) - log_kn[i]
    inside = 1.0 if x > log_kn[0] else 0.0
    for side in range(min(m, 2)):
        weight = share if side else 1.0 - share
        powers = cubic[i, j + side]
        for k in range(out.shape[0]):
            a, b, c = powers[0, k], powers[1, k], powers[2, k]
            value = ((a * d + b) * d + c) * d + powers[3, k]
            rise, bend = (3.0 * a * d + 2.0 * b) * d + c, 6.0 * a * d + 2.0 * b
            if k < logs:
                value = np.exp(value)
                bend = value * (rise * rise + bend)
                rise *= value
            out[k, 0] += weight * value
            out[k, 1] += weight * inside * rise
            out[k, 2] += weight * inside * bend


@njit(error_model="numpy", cache=True)
def _multiply(c, k, g, rise, bend):  # type: ignore[no-untyped-def]
    """Multiply a coefficient with two derivatives by ``exp(g)``, given the derivatives of g."""
    factor = np.exp(g)
    c[k, 2] = factor * (c[k, 2] + 2.0 * c[k, 1] * rise + c[k, 0] * (rise * rise + bend))
    c[k, 1] = factor * (c[k, 1] + c[k, 0] * rise)
    c[k, 0] *= factor


@njit(error_model="numpy", cache=True)
def nearby(c, k, on):  # type: ignore[no-untyped-def]
    """Return a coefficient at a nearby place, by its two derivatives."""
    return c[k, 0] + on * (c[k, 1] + 0.5 * on * c[k, 2])


@njit(error_model="numpy", cache=True)
def warm_gas(x, film, share, diffuse, exponent, alpha, table, c):  # type: ignore[no-untyped-def]
    """Write the coefficients of the gas near warm vanes to `c`, with two derivatives by `film`; see film.py."""
    look_up(x + exponent * np.log((1.0 + film) / 2.0), alpha, *table, c)
    by = exponent / (1.0 + film)
    for k in range(c.shape[0]):
        c[k, 2] = by * (by * c[k, 2] - c[k, 1] / (1.0 + film))
        c[k, 1] *= by
    root = np.sqrt(film)
    _multiply(c, 0, -0.5 * share * np.log(film), -0.5 * share / film, 0.5 * share / (film * film))
    eased, rise = 1.0 + diffuse * (root - 1.0), diffuse / (2.0 * root)
    rise /= eased
    _multiply(c, 1, share * np.log(eased), share * rise, -share * rise * (0.5 / film + rise))
    inverse = 1.0 / (root + film)
    bend = 0.5 * share * inverse * inverse * (1.0 + 0.5 / root)
    _multiply(c, 4, share * np.log(2.0 / (1.0 + root)), -0.5 * share * inverse, bend)


@njit(cache=True)
def diffuse_share_of(alpha):  # type: ignore[no-untyped-def]
    """Return the share of diffuse re-emission in the drag of a plate; see film.py."""
    diffuse = np.sqrt(np.pi) * alpha
    return diffuse / (8.0 * (1.0 - alpha) / np.sqrt(np.pi) + alpha * 4.0 / np.sqrt(np.pi) + diffuse)


@njit(cache=True)
def light_push(q):  # type: ignore[no-untyped-def]
    """Return the torque of the pressure of light, N m."""
    reflected = (1.0 - q[10]) * q[8] - (1.0 - q[9]) * q[3]
    return -q[25] * q[0] * q[4] * q[6] * q[2] / speed_of_light * reflected


@njit(cache=True)
def arms_in_flight(q):  # type: ignore[no-untyped-def]
    """Return the drag of the arms in free flight over p/v0, m^4."""
    reach = max(q[4] - q[1] / 2.0, 0.0)
    return FREE_MOLECULAR_CYLINDER_DRAG * q[0] * q[5] * reach**3 / 3.0


@njit(error_model="numpy", cache=True)
def steady_speeds(pressure, q, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return speed (rad/s), net torque (N m) and drag (N m s) at each pressure, shape (3, n)."""
    return deviating_speeds(pressure, q, np.ones((4, pressure.size)), log_kn, cubic, free, top, alphas)


@njit(error_model="numpy", cache=True)
def deviating_speeds(pressure, q, factors, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return the same with factors, shape (4, n), on thermal force, drag and heat of the gas at each pressure, and on
    the force of unequal accommodation besides that on the thermal force.

    Newton's steps find both faces, with the gas at the film temperature (see film.py). The table is used again only
    after a change of the film; for smaller changes two derivatives suffice, to 1e-9. Each pressure starts from an
    extrapolation of the two before it.
    """
    found = np.empty((3, pressure.size))
    c, at_arm, in_flight = np.empty((6, 3)), np.empty((2, 3)), np.empty((2, 3))
    table = (log_kn, cubic, free, top, alphas)
    vanes, width, area, arm, rod = q[0], q[1], q[2], q[4], q[5]
    t0, te, v0 = q[19], q[20], q[22]
    path = 0.5 * np.sqrt(np.pi) * q[21] * v0
    conductance, inner = q[13], q[23]
    light = q[6] * q[7]
    black_dark, black_bright = q[11] * Stefan_Boltzmann, q[12] * Stefan_Boltzmann
    te4 = te * te * te * te
    offset, difference = q[29], q[31]
    thin, dense, exponent = 1.0 + inner / 2.0, q[34], q[33]
    diffuse = diffuse_share_of(q[18])
    push = light_push(q)
    push += q[27] * vanes * arm * area * np.sqrt(np.pi) * q[14] / v0 + q[32]
    if rod > 0.0:
        look_up(30.0, q[18], log_kn, cubic, free, top, alphas, in_flight)
    recoil = q[28] * vanes * arm * area * 2.0 / 3.0 / speed_of_light
    hold = max(q[15], q[16])
    swept = q[30] * vanes * area * (arm * arm + offset)
    dark = bright = max(t0, te) + 10.0
    dark_before, bright_before, x_before, x_here = dark, bright, 0.0, 0.0
    for n in range(pressure.size):
        p = pressure[n]
        kn = path / p / width
        x = np.log(kn)
        on_arms = q[17]
        if rod > 0.0:
            look_up(max(x + np.log(width / rod), log_kn[0]), q[18], log_kn, cubic, free, top, alphas, at_arm)
            on_arms += arms_in_flight(q) * at_arm[1, 0] / in_flight[1, 0] * p / v0
        if n > 1 and abs(x - x_here) < 1.5 * abs(x_here - x_before):
            ahead = (x - x_here) / (x_here - x_before)
            before = dark, bright
            dark = max(dark + ahead * (dark - dark_before), 1.0)
            bright = max(bright + ahead * (bright - bright_before), 1.0)
            dark_before, bright_before = before
        else:
            dark_before, bright_before = dark, bright
        x_before, x_here = x_here, x
        share = kn / (1.0 + kn)
        # HALF_WAY is compiled in: kept machine code knows of a new value only if this file is new, too.
        flow = p * v0 / t0 * (dense + (thin - dense) * kn / (kn + HALF_WAY)) * factors[2, n]
        driven = vanes * arm * area * p / t0 * factors[0, n]
        unequal = driven * factors[3, n]
        speed = torque = drag = 0.0
        film = -1.0
        for _step in range(60):
            warmth = (dark + bright) / 2.0 / t0
            on = warmth - film
            if abs(on) > _FILM_REACH:
                film, on = warmth, 0.0
                warm_gas(x, film, share, diffuse, exponent, q[18], table, c)
            force, by_difference = nearby(c, 0, on), nearby(c, 4, on) * difference
            mean, apart = flow * nearby(c, 3, on) / 2.0, flow * nearby(c, 2, on)
            uneven = flow * nearby(c, 5, on) * difference
            same, cross = conductance + mean + apart, mean - apart - conductance
            moved, moved_both = p * force * speed * arm, p * by_difference / 2.0 * speed * arm
            lost_dark, lost_bright = black_dark * dark * dark * dark, black_bright * bright * bright * bright
            over_dark = (
                q[9] * light
                + black_dark * te4
                + (2.0 * mean + uneven) * t0
                - moved
                - moved_both
                - (lost_dark + same + uneven) * dark
                - cross * bright
            )
            over_bright = (
                q[10] * light
                + black_bright * te4
                + (2.0 * mean - uneven) * t0
                + moved
                - moved_both
                - (lost_bright + same - uneven) * bright
                - cross * dark
            )
            # What a warmer film does to the heat of both faces, by half a degree of each.
            both = flow * c[3, 1] / 2.0 * (dark + bright - 2.0 * t0) / (2.0 * t0)
            each = flow * c[2, 1] * (dark - bright) / (2.0 * t0)
            own_dark, to_dark = 4.0 * lost_dark + same + uneven + both + each, cross + both + each
            own_bright, to_bright = 4.0 * lost_bright + same - uneven + both - each, cross + both - each
            determinant = own_dark * own_bright - to_dark * to_bright
            step_dark = (own_bright * over_dark - to_dark * over_bright) / determinant
            step_bright = (own_dark * over_bright - to_bright * over_dark) / determinant
            dark = max(dark + step_dark, 1.0)
            bright = max(bright + step_bright, 1.0)
            before_speed = speed
            on = (dark + bright) / 2.0 / t0 - film
            drag = swept * factors[1, n] * nearby(c, 1, on) * p / v0 + on_arms
            radiated = black_dark * (dark**4 - te4) - black_bright * (bright**4 - te4)
            torque = q[24] * driven * nearby(c, 0, on) * (dark - bright) + push + recoil * radiated
            torque += q[26] * unequal * nearby(c, 4, on) * difference * ((dark + bright) / 2.0 - t0)
            speed = 0.0
            if abs(torque) > hold and drag > 0.0:
                speed = np.sign(torque) * (abs(torque) - q[15]) / drag
            small = max(abs(step_dark), abs(step_bright)) < 1e-5
            if small and abs(on) <= _FILM_REACH and abs(speed - before_speed) <= 1e-6 * abs(speed):
                break
        found[0, n], found[1, n], found[2, n] = speed, torque, drag
    return found


@njit(error_model="numpy", cache=True)
def steady_speeds_of(pressure, q, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return the same for many rotors, each at its own pressures: shapes (k, n) and (k, numbers) give (k, 3, n)."""
    found = np.empty((pressure.shape[0], 3, pressure.shape[1]))
    for k in range(pressure.shape[0]):
        found[k] = steady_speeds(pressure[k], q[k], log_kn, cubic, free, top, alphas)
    return found


@njit(error_model="numpy", cache=True)
def deviating_speeds_of(pressure, q, factors, log_kn, cubic, free, top, alphas):  # type: ignore[no-untyped-def]
    """Return the same for many rotors with factors on the gas, shape (k, 4, n)."""
    found = np.empty((pressure.shape[0], 3, pressure.shape[1]))
    for k in range(pressure.shape[0]):
        found[k] = deviating_speeds(pressure[k], q[k], factors[k], log_kn, cubic, free, top, alphas)
    return found
