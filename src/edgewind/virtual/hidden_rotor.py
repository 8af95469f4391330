"""An invented rotor whose physics is not that of the program: closed bridging formulas with hidden smooth deviations.

The conclusions of a study rest on the response tables of `edgewind.kinetics` and on `edgewind.rotor`. Data from those
would confirm them in any case. This rotor has only the viscosity of the gas in common with them: force, drag and heat
are bridged in closed form between free flight and dense gas, and multiplied by smooth functions of ln Kn that are
unknown to a study; the faces may differ in accommodation, the vanes shade and disturb each other, the faces' own
infrared recoils, and a torque may come from outside. It is accurate to some ten per cent, as a bench may be, and is for
invented data only.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.constants import R, Stefan_Boltzmann, pi
from scipy.constants import c as LIGHT_SPEED
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator

from edgewind.gas import Gas, GasState, find_gas

Array = NDArray[np.float64]


# needed at every step of a motion, mostly at the same temperature
@lru_cache(maxsize=1024)
def _free_path_at_1_pa(gas: Gas, temperature_k: float) -> float:
    """Return the mean free path at a pressure of 1 Pa, m."""
    return GasState(gas, 1.0, temperature_k).mean_free_path_m()


# Bridging constants of a square in a closed room of four widths; judged by eye.
_FORCE = (0.1034, 1.352)
_HEAT = (0.0775, 0.925)
_LOSS = (0.0833, 1.038)
# Of the force of unequal accommodation over that of a difference of temperature; from a lone square by random markers,
# accommodation 0.9 (benchmarks/weighted_markers.json), which this meets within 3 % at Kn 0.1 and 0.3.
_ACCOMMODATION = 0.06
# Drag in free flight of a plate in free space, with diffuse or specular re-emission (closed forms), and the addition by
# the walls of the room of four widths, by eye; that falls with the square of their distance.
_DIFFUSE_DRAG, _MIRROR_DRAG = 4 / np.sqrt(pi) + np.sqrt(pi), 8 / np.sqrt(pi)
_FREE_WALLS = 0.34
# Drag in dense gas over Kn: of a disc of the same area in free space, 16 mu a U, and the law of distant walls of
# Brenner (J. Fluid Mech. 12, 35, 1962) with the constant that gives 18.3 in the room of four widths, judged by eye.
_STOKES_DRAG, _WALLS = 32 / pi, 1.77
# Power by which free flight and dense gas join: 1, as resistances in series, is 7 % below the solver at Kn 0.2.
_BRIDGE = 1.1
_ROOM = 4.0
# What four vanes with arms of 1.25 widths lose of drag and torque in free flight, and how far they are from there to
# dense gas at these Knudsen numbers, by eye. Without kinks: a greatest speed or torque would lie at one.
_THIN_DRAG, _THIN_TORQUE = 0.10, 0.04
_NEIGHBOUR_KN = np.array([0.01, 0.1, 0.3, 1.0, 10.0])
_DENSE_SHARE_OF_DRAG = PchipInterpolator(np.log(_NEIGHBOUR_KN), [1.0, 0.62, 0.44, 0.19, 0.0])
_DENSE_SHARE_OF_TORQUE = PchipInterpolator(np.log(_NEIGHBOUR_KN), [1.0, 0.53, 0.31, 0.12, 0.0])
# What the warm side of one vane takes of the torque on the next in dense gas, beyond what the gas that turns with them
# takes of the drag.
_WARM_NEIGHBOUR = 0.16
# Width of a chamber that is not given, over that of the rotor.
_TIGHT = 1.25
_SHADE_ARM = np.array([1.0, 1.25, 1.5, 2.0])
_SHADE = np.array([0.83, 0.86, 0.88, 0.91])


def _inside(kn: Array) -> Array:
    return np.asarray(np.log(np.clip(kn, _NEIGHBOUR_KN[0], _NEIGHBOUR_KN[-1])))


@dataclass(frozen=True)
class Deviation:
    """A smooth factor: the exponential of a few broad bumps in ln of its argument.

    Attributes
    ----------
    heights, centres, widths : arrays of shape (n,)
        Of the bumps, in ln of the factor and of the argument.
    """

    heights: Array = field(default_factory=lambda: np.zeros(0))
    centres: Array = field(default_factory=lambda: np.zeros(0))
    widths: Array = field(default_factory=lambda: np.ones(0))

    def __call__(self, argument: Any) -> Array:
        """Return the factor at an argument."""
        x = np.log(np.asarray(argument, dtype=float))[..., None]
        return np.asarray(np.exp((self.heights * np.exp(-0.5 * ((x - self.centres) / self.widths) ** 2)).sum(axis=-1)))

    def __add__(self, other: Deviation) -> Deviation:
        """Return the product of both factors, which has the bumps of both."""
        return Deviation(
            *(np.append(getattr(self, name), getattr(other, name)) for name in ("heights", "centres", "widths"))
        )

    @classmethod
    def draw(cls, size: float, low: float, high: float, random: np.random.Generator, bumps: int = 3) -> Deviation:
        """Draw a deviation whose largest size between two arguments is `size`, in ln."""
        low, high = np.log(low), np.log(high)
        drawn = cls(
            random.standard_normal(bumps),
            random.uniform(low, high, bumps),
            random.uniform(0.8, 2.5, bumps),
        )
        largest = np.abs(np.log(drawn(np.exp(np.linspace(low, high, 200))))).max()
        return replace(drawn, heights=drawn.heights * size / largest)

    @classmethod
    def stated(cls, u: float, low: float, high: float, random: np.random.Generator) -> Deviation:
        """Draw a deviation whose logarithm is normal at each argument, with standard deviation `u`.

        It is the error of an instrument with that stated uncertainty: any share of the variance is a constant factor,
        and the rest varies with the argument over a drawn length.
        """
        low, high = np.log(low), np.log(high)
        width, factor = random.uniform(0.8, 2.5), random.uniform()
        # Bumps a width apart add up to the same variance everywhere, sqrt(pi) of the square of a height.
        centres = np.arange(low - 3 * width, high + 3 * width, width)
        heights = u * np.sqrt((1 - factor) / np.sqrt(np.pi)) * random.standard_normal(centres.size)
        return cls(
            np.append(heights, u * np.sqrt(factor) * random.standard_normal()),
            np.append(centres, 0.0), np.append(np.full(centres.size, width), np.inf),
        )  # fmt: skip


@dataclass(frozen=True)
class BenchConditions:
    """Conditions that a bench changes on purpose; floats, or arrays of one shape.

    Attributes
    ----------
    pressure_pa : float or array
        Pressure, Pa.
    light : float or array
        Share of the full light.
    envelope_k : float or array
        Temperature of the envelope, which is that of the gas, K.
    """

    pressure_pa: Any
    light: Any = 1.0
    envelope_k: Any = 295.15


@dataclass(frozen=True)
class HiddenRotor:
    """An invented rotor in its gas; SI throughout. Positive: the bright face leads.

    Attributes
    ----------
    species : str or dict of str to float or str
        Gas, or the shares of its parts.
    internal_heat : float
        Heat capacity of the internal degrees of freedom of a molecule, in k: 0 for a monatomic gas, 1 for a linear
        molecule.
    vanes : int
        Number of vanes.
    width_m, arm_m : float
        Width and height of the square vanes; axis to the middle of a vane.
    chamber_width_m, chamber_height_m : float, optional
        Of the chamber; default: four widths of a vane about its middle.
    irradiance_w_m2 : float
        Of a vane that faces the lamp.
    turn_mean_irradiance, turn_mean_push : float
        Means over a turn of the irradiance and of the push of unit irradiance.
    specular : float
        Specular share of the light that a face reflects.
    dark_absorptance, bright_absorptance, dark_emissivity, bright_emissivity : float
        Of the faces.
    conductance_w_m2_k : float
        Through the vane.
    heat_capacity_j_m2_k : float
        Of the vane, for each area of one face.
    accommodation : float
        Mean of both faces.
    accommodation_difference : float
        Dark less bright.
    dry_n_m, breakaway_n_m, viscous_n_m_s, inertia_kg_m2 : float
        Of the pivot and the rotor.
    foreign_n_m : float
        Torque from outside.
    force, drag, heat, uneven : Deviation
        Hidden factors over the Knudsen number; the last on the force of unequal accommodation.
    gauge : Deviation
        Indicated over true pressure, over the pressure in pascal.
    """

    species: str | dict[str, float | str] = "N2"
    internal_heat: float = 1.0
    vanes: int = 4
    width_m: float = 0.012
    arm_m: float = 0.018
    chamber_width_m: float | None = None
    chamber_height_m: float | None = None
    irradiance_w_m2: float = 800.0
    turn_mean_irradiance: float = 1 / pi
    turn_mean_push: float = 0.25
    specular: float = 0.0
    dark_absorptance: float = 0.94
    bright_absorptance: float = 0.15
    dark_emissivity: float = 0.93
    bright_emissivity: float = 0.6
    conductance_w_m2_k: float = 60.0
    heat_capacity_j_m2_k: float = 250.0
    accommodation: float = 0.92
    accommodation_difference: float = 0.0
    dry_n_m: float = 1e-10
    breakaway_n_m: float = 1e-10
    viscous_n_m_s: float = 5e-11
    inertia_kg_m2: float = 1e-7
    foreign_n_m: float = 0.0
    force: Deviation = Deviation()
    drag: Deviation = Deviation()
    heat: Deviation = Deviation()
    uneven: Deviation = Deviation()
    gauge: Deviation = Deviation()

    # The gas.

    @cached_property
    def _gas(self) -> Gas:
        return find_gas(self.species)

    def knudsen(self, pressure_pa: Any, temperature_k: Any = 295.15) -> Array:
        """Return the Knudsen number on the width of a vane."""
        path = _free_path_at_1_pa(self._gas, float(np.mean(temperature_k)))
        return np.asarray(path / self.width_m / np.asarray(pressure_pa, dtype=float))

    @cached_property
    def room(self) -> float:
        """Width of the chamber about a vane, over that of the vane: twice the harmonic mean distance of six walls."""
        if self.chamber_width_m is None or self.chamber_height_m is None:
            return _ROOM
        half, up = self.chamber_width_m / 2, self.chamber_height_m / 2
        beside = np.sqrt(half**2 - self.arm_m**2)
        away = np.array([up, up, half - self.arm_m, half + self.arm_m, beside, beside])
        return float(2 / np.mean(1 / away) / self.width_m)

    @cached_property
    def _dense_drag(self) -> float:
        return float(_STOKES_DRAG / (1 - _WALLS / self.room))

    @cached_property
    def _taken_along(self) -> float:
        """Share of the drag of lone vanes that those of a rotor do not have in dense gas.

        Stokes flow about two and four vanes in a round chamber as high as wide, by point forces
        (tests/support/point_forces.py), which this meets within 4 %. What turns stirs the gas less far away than what
        moves ahead: walls add to its drag as a high power of their distance, and far from them it is no less than that
        of lone vanes.
        """
        if self.vanes == 1:
            return 0.0
        wide = _TIGHT if self.chamber_width_m is None else self.chamber_width_m / (2 * self.arm_m + self.width_m)
        short = self.width_m / self.arm_m
        two = (10.0 + 3.5 * short) / (1 - (0.33 + 0.35 * short) * wide**-2.6)
        four = (9.6 + 1.7 * short) / (1 - (0.42 + 0.29 * short) * wide**-3.5)
        share = (min(self.vanes, 4) - 2) / 2
        return float(1 - two ** (1 - share) * four**share / self._dense_drag)

    def _dense_force(self, kn: Array) -> Array:
        """Return the thermal force in free flight over that in dense gas, which follows the drag (reciprocity)."""
        walls = _STOKES_DRAG / (1 - _WALLS / _ROOM) / self._dense_drag
        return np.asarray(walls * _FORCE[0] * kn ** -_FORCE[1])

    def force_coefficient(self, kn: Array) -> Array:
        """Return the force over p A per relative difference of the faces: 1/4 of the accommodation in free flight."""
        bridge = 0.25 * self.accommodation / (1 + self._dense_force(kn))
        return np.asarray(bridge * self.force(kn) * (1 - self._lost_torque(kn)))

    def accommodation_coefficient(self, kn: Array) -> Array:
        """Return the force over p A per unlike accommodation and relative warmth of the vane: 1/4 in free flight."""
        bridge = 0.25 / (1 + _ACCOMMODATION / kn) / (1 + self._dense_force(kn))
        return np.asarray(bridge * self.uneven(kn) * (1 - self._lost_torque(kn)))

    def drag_coefficient(self, kn: Array) -> Array:
        """Return the drag over p A per U/v0, between free flight and Stokes flow, in which it goes as Kn."""
        free = self.accommodation * _DIFFUSE_DRAG + (1 - self.accommodation) * _MIRROR_DRAG
        free += _FREE_WALLS * (_ROOM / self.room) ** 2
        bridge = (free**-_BRIDGE + (self._dense_drag * kn) ** -_BRIDGE) ** (-1 / _BRIDGE)
        dense = _DENSE_SHARE_OF_DRAG(_inside(kn))
        lost = self._nearness * _THIN_DRAG * (1 - dense) + self._taken_along * dense
        return np.asarray(bridge * self.drag(kn) * (1 - lost))

    def heat_coefficients(self, kn: Array) -> tuple[Array, Array]:
        """Return the heat over p v0 A: of a face per relative difference of the faces, and per excess of both."""
        inner = self.internal_heat
        share = kn / (kn + 1)
        more = (1 + inner / 2) * share + (1 + 0.35 * inner) * (1 - share)
        factor = more * self.accommodation * self.heat(kn)
        apart = 0.5 / np.sqrt(pi) / (1 + _HEAT[0] * kn ** -_HEAT[1])
        both = 1.0 / np.sqrt(pi) / (1 + _LOSS[0] * kn ** -_LOSS[1])
        return np.asarray(apart * factor), np.asarray(both * factor)

    @cached_property
    def _nearness(self) -> float:
        """How much of what four vanes take from each other these do; less on longer arms, and for fewer vanes."""
        return float(min(1.0, (1.25 * self.width_m / self.arm_m) ** 1.5) * (self.vanes - 1) / 3)

    def _lost_torque(self, kn: Array) -> Array:
        """Share of the torque that the other vanes take.

        In dense gas it goes as the drag does (reciprocal theorem), besides what is warmed.
        """
        dense = _DENSE_SHARE_OF_TORQUE(_inside(kn))
        most = 1 - (1 - self._taken_along) * (1 - _WARM_NEIGHBOUR * self._nearness)
        return np.asarray(self._nearness * _THIN_TORQUE * (1 - dense) + most * dense)

    # Light and heat.

    @property
    def lit_share(self) -> float:
        """Share of the light that the other vanes do not block."""
        full = float(np.interp(self.arm_m / self.width_m, _SHADE_ARM, _SHADE))
        return 1 - (1 - full) * (self.vanes - 1) / 3

    def heat_flows(self, dark_k: Any, bright_k: Any, around: BenchConditions) -> tuple[Array, Array]:
        """Return the net heat flows into the dark and the bright face, W/m^2; zero when steady."""
        te = np.asarray(around.envelope_k, dtype=float)
        p = np.asarray(around.pressure_pa, dtype=float)
        kn, v0 = self.knudsen(p, te), self.molecular_speed(te)
        apart, both = self.heat_coefficients(kn)
        light = np.asarray(around.light) * self.irradiance_w_m2 * self.turn_mean_irradiance * self.lit_share
        mean = both * ((dark_k + bright_k) / (2 * te) - 1)
        difference = apart * (dark_k - bright_k) / te
        through = self.conductance_w_m2_k * (dark_k - bright_k)
        dark = self.dark_absorptance * light - self._emitted(self.dark_emissivity, dark_k, te)
        bright = self.bright_absorptance * light - self._emitted(self.bright_emissivity, bright_k, te)
        return (
            np.asarray(dark - p * v0 * (mean + difference) - through),
            np.asarray(bright - p * v0 * (mean - difference) + through),
        )

    def faces(self, around: BenchConditions) -> tuple[Array, Array]:
        """Return the steady temperatures of the dark and the bright face, K."""
        shape = np.broadcast_shapes(*(np.shape(x) for x in (around.pressure_pa, around.light, around.envelope_k)))
        te = np.broadcast_to(np.asarray(around.envelope_k, dtype=float), shape)
        dark, bright = te + 1.0, te + 0.5
        for _ in range(80):
            f_dark, f_bright = self.heat_flows(dark, bright, around)
            h = 1e-3
            moved_dark = self.heat_flows(dark + h, bright, around)
            moved_bright = self.heat_flows(dark, bright + h, around)
            a, c = (moved_dark[0] - f_dark) / h, (moved_dark[1] - f_bright) / h
            b, d = (moved_bright[0] - f_dark) / h, (moved_bright[1] - f_bright) / h
            step_dark = (d * f_dark - b * f_bright) / (a * d - b * c)
            step_bright = (a * f_bright - c * f_dark) / (a * d - b * c)
            dark, bright = np.maximum(dark - step_dark, 3.0), np.maximum(bright - step_bright, 3.0)
            if max(np.abs(step_dark).max(), np.abs(step_bright).max()) < 1e-7:
                break
        return np.asarray(dark), np.asarray(bright)

    # Torque and motion.

    def torques(self, dark_k: Any, bright_k: Any, around: BenchConditions) -> dict[str, Array]:
        """Return the torque of each cause, N m, without the pivot."""
        te = np.asarray(around.envelope_k, dtype=float)
        p = np.asarray(around.pressure_pa, dtype=float)
        kn = self.knudsen(p, te)
        lever = self.vanes * self.width_m**2 * self.arm_m
        light = np.asarray(around.light) * self.irradiance_w_m2 * self.lit_share * self.turn_mean_push / LIGHT_SPEED
        back = 2 / 3 + self.specular / 3  # of reflected light
        pushed = light * back * (self.bright_absorptance - self.dark_absorptance)
        recoil = (
            self._emitted(self.dark_emissivity, dark_k, te) - self._emitted(self.bright_emissivity, bright_k, te)
        ) * (2 / 3 / LIGHT_SPEED)
        warm = (np.asarray(dark_k) + bright_k) / (2 * te) - 1
        return {
            "thermal force": np.asarray(lever * p * self.force_coefficient(kn) * (np.asarray(dark_k) - bright_k) / te),
            "unequal accommodation": np.asarray(
                lever * p * self.accommodation_coefficient(kn) * self.accommodation_difference * warm
            ),
            "light": np.asarray(lever * (pushed + recoil)),
            "foreign": np.asarray(self.foreign_n_m + 0 * p),
        }

    def resistance(self, around: BenchConditions) -> Array:
        """Return the drag of the gas, N m s: torque per angular speed."""
        p = np.asarray(around.pressure_pa, dtype=float)
        te = np.asarray(around.envelope_k, dtype=float)
        squared = self.arm_m**2 + self.width_m**2 / 12
        area = self.vanes * self.width_m**2
        return np.asarray(area * p * self.drag_coefficient(self.knudsen(p, te)) * squared / self.molecular_speed(te))

    def steady_speed(self, around: BenchConditions) -> Array:
        """Return the steady speed, rad/s; zero if the pivot holds."""
        torque = sum(self.torques(*self.faces(around), around).values(), start=np.zeros(1))
        over = np.sign(torque) * (np.abs(torque) - self.dry_n_m)
        turning = np.where(np.abs(torque) > self.breakaway_n_m, over, 0.0)
        speed = turning / (self.resistance(around) + self.viscous_n_m_s)
        return np.asarray(speed if np.ndim(around.pressure_pa) else speed[0])

    def run(self, time_s: Array, around: Any, start: tuple[float, float, float]) -> Array:
        """Integrate faces and speed through a change.

        Parameters
        ----------
        time_s : array of shape (n,)
            Moments, s, rising.
        around : callable
            Returns the :class:`BenchConditions` at a moment, s.
        start : (float, float, float)
            Dark face, bright face (K) and speed (rad/s) at the first moment.

        Returns
        -------
        array of shape (n, 3)
            Dark face, bright face (K), speed (rad/s). Dry friction is smoothed over 1e-3 rad/s, so that a held rotor
            creeps.
        """

        def rates(t: float, y: Array) -> list[float]:
            now = around(t)
            dark, bright = self.heat_flows(y[0], y[1], now)
            torque = sum(float(one) for one in self.torques(y[0], y[1], now).values())
            friction = self.dry_n_m * np.tanh(y[2] / 1e-3) + (float(self.resistance(now)) + self.viscous_n_m_s) * y[2]
            half = self.heat_capacity_j_m2_k / 2
            return [float(dark) / half, float(bright) / half, (torque - friction) / self.inertia_kg_m2]

        time = np.asarray(time_s, dtype=float)
        solved = solve_ivp(
            rates, (time[0], time[-1]), start, method="LSODA", t_eval=time, rtol=1e-7, atol=[1e-6, 1e-6, 1e-7],
            max_step=max(float(np.diff(time).max()), 0.05),
        )  # fmt: skip
        return np.asarray(solved.y.T)

    def molecular_speed(self, temperature_k: Any) -> Array:
        """Return the most probable speed of a molecule, m/s."""
        mass = self._gas.molar_mass_kg_mol
        return np.asarray(np.sqrt(2 * R * np.asarray(temperature_k, dtype=float) / mass))

    @staticmethod
    def _emitted(emissivity: float, face_k: Any, envelope_k: Array) -> Array:
        return np.asarray(emissivity * Stefan_Boltzmann * (np.asarray(face_k, dtype=float) ** 4 - envelope_k**4))
