"""Conductance of a round tube: Clausing's integral equation, Poiseuille flow with end corrections, and the transition.

Conductances are throughput over the difference of pressure, m^3/s, for gas at one temperature.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from edgewind.errors import InputError
from edgewind.gas import GasState

Array = NDArray[np.float64]

# Greatest length over radius that the integral equation is solved for. Beyond it 1/W grows by 3/8 a radius, as in a
# long tube; what the ends add changes only with the logarithm of the length there (less than 1e-4 of W).
_LONGEST = 2000.0
# Loss of pressure at the two ends of a tube in slow viscous flow, as a length in radii: Dagan, Weinbaum and Pfeffer,
# J. Fluid Mech. 115, 505 (1982), resistance (3 + 8 L / (pi R)) mu / R^3, within 1 % of their exact solution.
END_LENGTH_VISCOUS = 3 * np.pi / 8


def disc_to_disc(distance: Any) -> Array:
    """Return the share of the molecules through one cross-section that cross another directly; distance in radii.

    Source: P. Clausing, Ann. Phys. (Leipzig) 404, 961 (1932), translated in J. Vac. Sci. Technol. 8, 636 (1971).
    Written ``(2 / (z + sqrt(z^2 + 4)))^2``, which keeps its digits far away.
    """
    z = np.asarray(distance, dtype=float)
    return np.asarray((2 / (z + np.sqrt(z**2 + 4))) ** 2)


def wall_to_disc(distance: Any) -> Array:
    """Return the share of the molecules from a wall element that cross the section at a distance directly, on one side.

    ``(z^2 + 2) / (2 sqrt(z^2 + 4)) - z/2``, minus half the slope of :func:`disc_to_disc`; the same source.
    """
    z = np.asarray(distance, dtype=float)
    root = np.sqrt(z**2 + 4)
    return np.asarray(2 / (root * (z + root)) * (2 / (z + root)))


def _places(length: float, count: int) -> Array:
    """Places along the tube, packed towards both ends where the density bends."""
    half = 1 + count // 2
    # Steps grow from the end as a power of their number, so that the first is a small part of a radius.
    power = 2.0 if length < 4 else 3.0
    side = length / 2 * np.linspace(0.0, 1.0, half) ** power
    return np.concatenate([side, length - side[-2::-1]])


def _escape(at: Array, places: Array) -> Array:
    """Matrix that takes the chance of escape at `places` to ``w - int K w`` at `at`, without approximation.

    The kernel from wall to wall is the slope of :func:`wall_to_disc`, whose integral is half of :func:`disc_to_disc`.
    With w linear in each step, integration by parts leaves values of these two:
    ``int K(|x-y|) w(y) dy = w(x) - w(L) F(L-x) - w(0) F(x) + sum_j w'_j (G(|x-x_j|) - G(|x-x_j+1|))``.
    """
    apart = np.abs(at[:, None] - places[None, :])
    half_direct = disc_to_disc(apart) / 2
    slope = (half_direct[:, :-1] - half_direct[:, 1:]) / np.diff(places)
    matrix = np.zeros(apart.shape)
    matrix[:, :-1] += slope
    matrix[:, 1:] -= slope
    matrix[:, 0] += wall_to_disc(apart[:, 0])
    matrix[:, -1] += wall_to_disc(apart[:, -1])
    return matrix


@lru_cache(maxsize=512)
def _solve(length: float, count: int = 160) -> float:
    """Transmission probability from a piecewise linear chance of escape, made good to second order.

    The chance w(x) that a molecule leaving the wall at x gets out at the far end obeys ``w = F(L - x) + int K w``; it
    is solved for at the places, and enters the stationary form ``2 <F, w> + 2 <w(L - x), F(L - x) - w + int K w>``,
    in which its error enters squared.
    """
    x = _places(length, count)
    chance = np.linalg.solve(_escape(x, x), wall_to_disc(length - x))
    node, weight = np.polynomial.legendre.leggauss(6)
    step = np.diff(x)[:, None]
    y = ((x[:-1] + x[1:])[:, None] / 2 + step / 2 * node).ravel()
    measure = (step / 2 * weight).ravel()
    here, there = np.interp(y, x, chance), np.interp(length - y, x, chance)
    missing = wall_to_disc(length - y) - _escape(y, x) @ chance
    through_wall = 2 * np.sum(measure * (wall_to_disc(y) * here + there * missing))
    return float(disc_to_disc(length) + through_wall)


def transmission_probability(length_over_radius: float) -> float:
    """Return the chance that a molecule which enters a round tube leaves it at the far end, in molecular flow.

    Clausing's integral equation, solved to eight digits up to 10 radii, six up to 100 and five up to 2000.

    Parameters
    ----------
    length_over_radius : float
        Length over radius; 0 is an orifice.

    Raises
    ------
    InputError
        A length below zero or not finite.

    Notes
    -----
    Walls re-emit by the cosine law, and molecules enter by it: P. Clausing, Ann. Phys. (Leipzig) 404, 961 (1932).
    The equation in the form used here is that of R. J. Cole, Progr. Astronaut. Aeronaut. 51, 261 (1977).

    Examples
    --------
    >>> [round(transmission_probability(x), 4) for x in (0.0, 1.0, 10.0)]
    [1.0, 0.672, 0.1909]
    """
    length = float(length_over_radius)
    if not (np.isfinite(length) and length >= 0):
        raise InputError(f"the length of a tube cannot be {length:g} radii", fix="give a length of zero or more")
    if length < 1e-9:
        return 1.0
    if length <= _LONGEST:
        return _solve(length)
    return 1 / (1 / _solve(_LONGEST) + 3 / 8 * (length - _LONGEST))


@dataclass(frozen=True)
class Tube:
    """A straight round tube between chamber and pump, m."""

    length_m: float
    diameter_m: float

    @property
    def radius_m(self) -> float:
        """Radius, m."""
        return self.diameter_m / 2

    @property
    def area_m2(self) -> float:
        """Cross-section, m^2."""
        return float(np.pi * self.radius_m**2)

    @property
    def transmission(self) -> float:
        """Transmission probability; see :func:`transmission_probability`."""
        return transmission_probability(self.length_m / self.radius_m)


def molecular_conductance(tube: Tube, gas: GasState) -> float:
    """Return the conductance in molecular flow, ``W A v_mean / 4`` with ``v_mean = 2 v0 / sqrt(pi)``, m^3/s.

    Examples
    --------
    >>> from edgewind.gas import find_gas
    >>> air = GasState(find_gas("air"), 1.0, 293.15)
    >>> round(1e3 * molecular_conductance(Tube(1.0, 0.01), air), 3)  # litres a second: 12.1 d^3 / L, d and L in cm
    0.118
    """
    return float(tube.transmission * tube.area_m2 * gas.most_probable_speed_m_s / (2 * np.sqrt(np.pi)))


def viscous_conductance(tube: Tube, mean_pressure_pa: Any, gas: GasState) -> Array:
    """Return the conductance in slow viscous flow, ``pi R^4 p / (8 mu (L + 3 pi R / 8))``, m^3/s, at the mean pressure.

    Hagen and Poiseuille, lengthened for the losses at both ends (:data:`END_LENGTH_VISCOUS`); with no length it is
    Sampson's orifice, ``R^3 p / (3 mu)``. Holds while the flow is laminar and far from the speed of sound: see
    :func:`choked_throughput`.
    """
    long = tube.length_m + END_LENGTH_VISCOUS * tube.radius_m
    pressure = np.asarray(mean_pressure_pa, dtype=float)
    return np.asarray(np.pi * tube.radius_m**4 * pressure / (8 * gas.viscosity_pa_s * long))


def tube_rarefaction(tube: Tube, mean_pressure_pa: Any, gas: GasState) -> Array:
    """Return the rarefaction parameter ``delta = R p / (mu v0)`` of the flow in a tube."""
    scale = tube.radius_m / (gas.viscosity_pa_s * gas.most_probable_speed_m_s)
    return np.asarray(np.asarray(mean_pressure_pa, dtype=float) * scale)


# Reduced flow through a long tube less its viscous part, G_P - delta/4, from the linear BGK equation with diffuse
# walls, solved by `tests/plan/tube_flow.py`, which a test holds against this table. In molecular flow it is
# 8/(3 sqrt(pi)), in dense gas it goes to the slip coefficient of that equation, 1.0162 (Sharipov and Seleznev,
# J. Phys. Chem. Ref. Data 27, 657, 1998).
_DELTA = (0.001, 0.003, 0.01, 0.03, 0.1, 0.2, 0.4, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
_SLIP = (
    1.4992, 1.4919, 1.4738, 1.4408, 1.3790, 1.3316, 1.2790, 1.2355, 1.2083, 1.1782, 1.1576, 1.1300, 1.0983, 1.0802,
    1.0641,
)  # fmt: skip
_FREE, _DENSE = 8 / (3 * np.sqrt(np.pi)), 1.0162
_BETWEEN = PchipInterpolator(np.log(_DELTA), _SLIP)


def slip_part(delta: Any) -> Array:
    """Return the reduced flow through a long tube less Poiseuille's delta/4; see :func:`poiseuille_coefficient`."""
    d = np.maximum(np.asarray(delta, dtype=float), 0.0)
    least, most = _DELTA[0], _DELTA[-1]
    inside = _BETWEEN(np.log(np.clip(d, least, most)))
    thin = _FREE + (_SLIP[0] - _FREE) * d / least
    dense = _DENSE + (_SLIP[-1] - _DENSE) * most / np.maximum(d, most)
    return np.asarray(np.where(d < least, thin, np.where(d > most, dense, inside)))


def poiseuille_coefficient(delta: Any) -> Array:
    """Return the reduced flow G_P through a long round tube; the throughput is ``pi R^3 v0 G_P dp / (2 L)``.

    From a table of our own solution of the linear BGK equation, within 0.1 % of it; the form, the equation and its
    limits are those reviewed by F. Sharipov and V. Seleznev, J. Phys. Chem. Ref. Data 27, 657 (1998).

    Examples
    --------
    >>> [round(float(poiseuille_coefficient(x)), 3) for x in (0.0, 1.0, 100.0)]
    [1.505, 1.458, 26.021]
    """
    return np.asarray(slip_part(delta) + np.asarray(delta, dtype=float) / 4)


def conductance(tube: Tube, mean_pressure_pa: Any, gas: GasState) -> Array:
    """Return the conductance of a tube at any pressure, m^3/s.

    Exact in molecular flow, and viscous with its ends in dense gas. To the viscous conductance is added the kinetic
    solution for a long tube less its viscous part (:func:`slip_part`), on the scale of the molecular conductance. For a
    short tube in transitional flow this is our own interpolation between two exact limits, not a solution.

    Parameters
    ----------
    tube : Tube
        The tube.
    mean_pressure_pa : array
        Mean of the pressures at both ends, Pa.
    gas : GasState
        The gas; its own pressure is not used.
    """
    return _Flow.of(tube, gas).conductance(np.asarray(mean_pressure_pa, dtype=float))


@dataclass(frozen=True)
class _Flow:
    """Properties of a tube and a gas, computed once."""

    molecular: float
    viscous_per_pa: float
    delta_per_pa: float
    choked_per_pa: float

    @classmethod
    def of(cls, tube: Tube, gas: GasState) -> _Flow:
        viscous, delta = float(viscous_conductance(tube, 1.0, gas)), float(tube_rarefaction(tube, 1.0, gas))
        return cls(molecular_conductance(tube, gas), viscous, delta, float(choked_throughput(tube, 1.0, gas)))

    def conductance(self, mean_pa: Array) -> Array:
        delta = self.delta_per_pa * mean_pa
        left = slip_part(delta) / _FREE
        return np.asarray(self.viscous_per_pa * mean_pa + left * self.molecular)

    def throughput(self, high: Array, low: Array) -> Array:
        free = self.conductance((high + low) / 2) * (high - low)
        return np.asarray(np.minimum(free, self.choked_per_pa * high))


def heat_capacity_ratio(gas: GasState) -> float:
    """Return the ratio of the heat capacities of the ideal gas; 5/3 for a monatomic one."""
    cv = 1.5 + gas.internal_heat
    return float((cv + 1) / cv)


def choked_throughput(tube: Tube, high_pressure_pa: Any, gas: GasState) -> Array:
    """Return the choked throughput, Pa m^3/s: that of an ideal nozzle of the tube's section.

    ``A p v0 / sqrt(2) sqrt(g) (2/(g+1))^((g+1)/(2(g-1)))``, textbook gas dynamics (Liepmann and Roshko, Elements of
    Gasdynamics, 1957, section 5.3). A tube passes less: friction chokes it earlier.
    """
    g = heat_capacity_ratio(gas)
    factor = np.sqrt(g) * (2 / (g + 1)) ** ((g + 1) / (2 * (g - 1)))
    return np.asarray(
        tube.area_m2 * np.asarray(high_pressure_pa, dtype=float) * gas.most_probable_speed_m_s / np.sqrt(2) * factor
    )


def throughput(tube: Tube, high_pressure_pa: Any, low_pressure_pa: Any, gas: GasState) -> Array:
    """Return the throughput of a tube, Pa m^3/s: conductance at the mean pressure times the difference, or choked.

    Examples
    --------
    >>> from edgewind.gas import find_gas
    >>> air = GasState(find_gas("air"), 1.0, 293.15)
    >>> bool(np.isclose(throughput(Tube(0.02, 0.05), 1e5, 0.0, air), choked_throughput(Tube(0.02, 0.05), 1e5, air)))
    True
    """
    high, low = np.asarray(high_pressure_pa, dtype=float), np.asarray(low_pressure_pa, dtype=float)
    return _Flow.of(tube, gas).throughput(high, low)


def effective_speed(tube: Tube | None, pump_m3_s: float, pressure_pa: Any, gas: GasState) -> Array:
    """Return the pumping speed at the chamber, m^3/s: the pump seen through the tube, at each pressure of the chamber.

    The pressure p' at the pump obeys ``S p' = Q(p, p')``; found by bisection. Without a tube it is the pump's own.
    """
    pressure = np.asarray(pressure_pa, dtype=float)
    if tube is None:
        return np.full(pressure.shape, float(pump_m3_s))
    flow = _Flow.of(tube, gas)
    low, high = np.zeros_like(pressure), pressure.copy()
    for _ in range(60):
        middle = (low + high) / 2
        passes = flow.throughput(pressure, middle) > pump_m3_s * middle
        low, high = np.where(passes, middle, low), np.where(passes, high, middle)
    return np.asarray(pump_m3_s * high / pressure)
