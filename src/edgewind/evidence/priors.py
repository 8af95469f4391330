"""The unknowns of a rotor and their priors, from bench.toml."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from edgewind.bench import Bench
from edgewind.evidence.model_error import GAUGE_FACTOR_SHARE
from edgewind.kinetics.wall_law import UNEQUAL_IN_FREE_FLIGHT
from edgewind.rotor import GasResponse, parameters_of, steady_state
from edgewind.rotor.parameters import BRIGHT_EMISSIVITY_RANGE
from edgewind.rotor.response import ACCOMMODATIONS

Array = NDArray[np.float64]
Law = Literal["log-normal", "log-uniform", "normal", "uniform"]


@dataclass(frozen=True)
class Unknown:
    """An unknown of the fit and its prior.

    Attributes
    ----------
    name : str
        Short name of the unknown, a key of tables.
    label : str
        Label.
    unit : str
        Unit of its numbers.
    law : {"log-normal", "log-uniform", "normal", "uniform"}
        A median and a standard deviation of the logarithm; two ends; mean and standard deviation; two ends.
    first, second : float
        The two numbers of the law.
    low, high : float
        Limits of a normal law.
    stated : bool
        Whether the bench states it; else the prior is wide.
    """

    name: str
    label: str
    unit: str
    law: Law
    first: float
    second: float
    low: float = -np.inf
    high: float = np.inf
    stated: bool = True

    def value(self, score: float) -> float:
        """Return the value whose place in the prior is that of `score` in a standard normal distribution."""
        if self.law == "log-normal":
            return float(self.first * np.exp(self.second * score))
        share = float(ndtr(score))
        if self.law == "log-uniform":
            return float(self.first * (self.second / self.first) ** share)
        if self.law == "uniform":
            return float(self.first + share * (self.second - self.first))
        low, high = self._cuts
        return float(np.clip(self.first + self.second * ndtri(low + share * (high - low)), self.low, self.high))

    def share(self, value: float) -> float:
        """Return the share of the prior that lies below `value`."""
        if self.law == "log-normal":
            return float(ndtr(np.log(value / self.first) / self.second))
        if self.law == "log-uniform":
            return float(np.clip(np.log(value / self.first) / np.log(self.second / self.first), 0, 1))
        if self.law == "uniform":
            return float(np.clip((value - self.first) / (self.second - self.first), 0, 1))
        low, high = self._cuts
        return float(np.clip((ndtr((value - self.first) / self.second) - low) / (high - low), 0, 1))

    @cached_property
    def _cuts(self) -> tuple[float, float]:
        low, high = (float(ndtr((end - self.first) / self.second)) for end in (self.low, self.high))
        return low, high

    @property
    def words(self) -> str:
        """The prior in words."""
        if self.law == "log-normal":
            return f"{self.first:.3g} {self.unit} within a factor {np.exp(self.second):.3g}".replace("  ", " ")
        if self.law == "normal":
            return f"{self.first:.3g} ± {self.second:.2g} {self.unit}".strip()
        spread = "evenly in the logarithm" if self.law == "log-uniform" else "evenly"
        return f"{self.first:.3g} to {self.second:.3g} {self.unit}, {spread}".replace(" ,", ",")


class Priors:
    """The priors of several unknowns at once, for arrays of scores.

    Parameters
    ----------
    unknowns : sequence of Unknown
        In the order of the columns.
    """

    def __init__(self, unknowns: Sequence[Unknown]) -> None:
        first, second = (np.array([getattr(u, end) for u in unknowns]) for end in ("first", "second"))
        law = np.array([unknown.law for unknown in unknowns])
        # The laws of a logarithm: ln(value) = ln(first) + steps of the score + steps of its share.
        of_log = (law == "log-normal") | (law == "log-uniform")
        self._log_first = np.log(np.where(of_log, first, 1.0))
        self._by_score = np.where(law == "log-normal", second, 0.0)
        self._by_share = np.log(np.where(law == "log-uniform", second / np.where(of_log, first, 1.0), 1.0))
        self._even = np.flatnonzero(law == "uniform")
        self._even_first, self._even_span = first[self._even], (second - first)[self._even]
        self._cut = at = np.flatnonzero(law == "normal")
        self._middle, self._width = first[at], second[at]
        self._low, self._high = (np.array([getattr(u, end) for u in unknowns])[at] for end in ("low", "high"))
        self._below = ndtr((self._low - self._middle) / self._width)
        self._inside = ndtr((self._high - self._middle) / self._width) - self._below

    def values(self, scores: Array) -> Array:
        """Return the unknowns at standard normal scores, shape (..., d); see :meth:`Unknown.value`."""
        share = ndtr(scores)
        found = np.exp(self._log_first + self._by_score * scores + self._by_share * share)
        if self._even.size:
            found[..., self._even] = self._even_first + share[..., self._even] * self._even_span
        if self._cut.size:
            drawn = self._middle + self._width * ndtri(self._below + share[..., self._cut] * self._inside)
            found[..., self._cut] = np.minimum(np.maximum(drawn, self._low), self._high)
        return np.asarray(found)


# Ranges of unstated keys. Our judgement, no source: each is wider than for any real bench.
CONDUCTANCE_RANGE = (5.0, 20_000.0)  # W/(m^2 K): an evacuated double foil to thick metal foil
ACCOMMODATION_RANGE = (0.6, 1.0)
# Molecules of less than 10 g/mol accommodate less: helium 0.45 on metals (Trott et al., Sandia, 2010, abstract), 0.15
# and 0.2 on hot filaments. The tables begin at 0.2.
LIGHT_GAS_KG_MOL, LIGHT_ACCOMMODATION_RANGE = 0.010, (ACCOMMODATIONS[0], 1.0)
ACCOMMODATION_DIFFERENCE_U = 0.1
INERTIA_SPREAD = 0.4  # of its logarithm, about vanes of 0.3 kg/m^2
MASS_SPREAD = 0.5  # of the logarithm of the vane's mass where none is stated
HEAT_CAPACITY_LEAST = 0.1  # of its logarithm: faces and core do not warm as one
SCATTER_RANGE = (1e-3, 0.2)
PIVOT_SHARES = (1e-4, 0.5)  # of the greatest torque predicted
VISCOUS_SHARES = (1e-4, 1.0)  # of the gas's drag at the pressure of that torque; from lower where readings reach lower
LEAST_VISCOUS = 0.01  # of the least drag of the gas among the readings
FOREIGN_SHARE = 0.3  # of the greatest torque needed by the readings: standard deviation of a torque from outside


def unknowns_of(
    bench: Bench,
    response: GasResponse,
    gauge_log_u: float,
    *,
    coasts: bool,
    runs: bool = False,
    needed_n_m: float | None = None,
    least_drag: float = np.inf,
) -> tuple[Unknown, ...]:
    """Return the unknowns of a bench with their priors.

    Parameters
    ----------
    bench : Bench
        The bench: what it states, with an uncertainty, is the prior.
    response : GasResponse
        Response of the gas, for the scales of the pivot.
    gauge_log_u : float
        Standard uncertainty of ln(pressure) that all readings share.
    coasts : bool
        Whether there are coast-downs, which bring in the moment of inertia.
    runs : bool
        Whether there are runs through a change, which bring in the heat capacity of the vane too.
    needed_n_m : float, optional
        Greatest torque that the readings need, N m, the scale of a torque from outside; default: that of the
        prediction.
    least_drag : float
        Least drag of the gas at the pressures read, N m s: friction is sought below it.
    """
    rotor, light = bench.rotor, bench.light
    nominal = parameters_of(bench)
    top = float(nominal.knudsen(1.0)) / response.least_knudsen
    state = steady_state(np.geomspace(top / 3e3, top / 1.01, 40), nominal, response)
    k = int(np.argmax(np.abs(state.net_torque)))
    torque, drag = float(np.abs(state.net_torque[k])), float(state.drag_vanes[k])
    # Measured torque, if any, sets the scale of friction: a prediction from unstated keys may be far off.
    scale = torque if needed_n_m is None else needed_n_m

    contrast = rotor.dark_absorptance.value - rotor.bright_absorptance.value
    absorbed = float(
        np.hypot(
            light.irradiance.relative, np.hypot(rotor.dark_absorptance.u, rotor.bright_absorptance.u) / abs(contrast)
        )
    )
    found = [Unknown("light", "absorbed light, relative to bench.toml", "", "log-normal", 1.0, max(absorbed, 0.01))]
    stated = rotor.vane_conductance
    conductance = ("conductance", "conductance of the vane", "W/(m² K)")
    if stated is not None:
        found.append(Unknown(*conductance, "log-normal", stated.value, max(stated.relative, 0.01)))
    else:
        found.append(Unknown(*conductance, "log-uniform", *CONDUCTANCE_RANGE, stated=False))
    emissivity = rotor.bright_emissivity
    label = "emissivity of the bright face"
    if emissivity is None:
        found.append(Unknown("bright_emissivity", label, "", "uniform", *BRIGHT_EMISSIVITY_RANGE, stated=False))
    else:
        spread = max(emissivity.u, 0.005)
        found.append(Unknown("bright_emissivity", label, "", "normal", emissivity.value, spread, 0.0, 1.0))
    surface = rotor.mean_accommodation
    if surface is None or surface.u == 0:
        light_gas = bench.gas.gas.molar_mass_kg_mol < LIGHT_GAS_KG_MOL
        low, high = LIGHT_ACCOMMODATION_RANGE if light_gas else ACCOMMODATION_RANGE
        low = low if surface is None else min(low, max(surface.value, ACCOMMODATIONS[0]))
        found.append(Unknown("accommodation", "accommodation", "", "uniform", low, high, stated=False))
    else:
        ends = ACCOMMODATIONS[0], ACCOMMODATIONS[-1]
        found.append(Unknown("accommodation", "accommodation", "", "normal", surface.value, surface.u, *ends))
    apart = rotor.accommodation_difference
    middle, apart_u = 0.0, ACCOMMODATION_DIFFERENCE_U
    if apart is not None:  # its effect is known no better than the law of the walls
        middle, law = apart.value, 0.5 * UNEQUAL_IN_FREE_FLIGHT
        apart_u = max(float(np.hypot(apart.u, law * np.hypot(apart.value, apart.u))), 1e-3)
    found.append(
        Unknown(
            "accommodation_difference", "accommodation of the dark less that of the bright face", "", "normal", middle,
            apart_u, -1.0, 1.0, stated=apart is not None,
        )
    )  # fmt: skip
    found.append(
        Unknown(
            "foreign", "constant torque from outside", "N m", "normal", 0.0, FOREIGN_SHARE * scale, stated=False
        )
    )  # fmt: skip
    found.append(_scale("pivot_dry", "dry friction of the pivot", "N m", rotor.pivot_dry_torque, scale, PIVOT_SHARES))
    found.append(
        _scale(
            "pivot_viscous",
            "viscous friction of the pivot",
            "N m s",
            rotor.pivot_viscous,
            drag,
            (min(VISCOUS_SHARES[0], LEAST_VISCOUS * least_drag / drag), VISCOUS_SHARES[1]),
        )
    )
    factor_u = float(np.sqrt(GAUGE_FACTOR_SHARE)) * gauge_log_u
    found.append(Unknown("gauge", "true over indicated pressure", "", "log-normal", 1.0, max(factor_u, 0.002)))
    if coasts or runs:
        inertia = rotor.moment_of_inertia
        width = INERTIA_SPREAD if inertia is None else max(inertia.relative, 0.005)
        if inertia is None and rotor.vane_mass is not None:
            width = max(rotor.vane_mass.relative, 0.1)
        found.append(
            Unknown(
                "inertia", "moment of inertia", "kg m²", "log-normal", nominal.moment_of_inertia_kg_m2, width,
                stated=inertia is not None,
            )
        )  # fmt: skip
    if runs:
        mass_u = MASS_SPREAD if rotor.vane_mass is None else float(rotor.vane_mass.relative)
        heat_u = float(np.hypot(mass_u, rotor.vane_specific_heat.relative))
        found.append(
            Unknown(
                "heat_capacity", "heat capacity of the vane", "J/(m² K)", "log-normal", nominal.heat_capacity_j_m2_k,
                max(heat_u, HEAT_CAPACITY_LEAST), stated=rotor.vane_mass is not None,
            )
        )  # fmt: skip
    gas = bench.gas.gas
    for symbol, u in gas.uncertain:
        x = gas.fraction(symbol)
        most = x + gas.fraction(gas.balance)
        found.append(Unknown(fraction_name(symbol), f"mole fraction of {symbol}", "", "normal", x, u, 0.0, most))
    found.append(
        Unknown("scatter", "scatter beyond what is stated, relative", "", "log-uniform", *SCATTER_RANGE, stated=False)
    )
    return tuple(found)


def fraction_name(symbol: str) -> str:
    """Return the name of the unknown that is the mole fraction of a species."""
    return f"fraction_{symbol}"


def _scale(name: str, label: str, unit: str, stated: object, scale: float, shares: tuple[float, float]) -> Unknown:
    """Return the prior of a friction: as stated, or wide on the scale of the drive or drag."""
    value, relative = getattr(stated, "value", 0.0), getattr(stated, "relative", 0.0)
    if value > 0 and 0 < relative < np.inf:
        return Unknown(name, label, unit, "log-normal", value, relative)
    if value > 0:
        return Unknown(name, label, unit, "log-normal", value, 0.01)
    return Unknown(name, label, unit, "log-uniform", shares[0] * scale, shares[1] * scale, stated=False)
