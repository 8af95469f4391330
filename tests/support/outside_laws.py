"""Rotors that obey laws written by hand, with the folders that an honest owner would fill in for them.

No formula here is that of the program. They are textbook pieces joined by hand, all from memory: drag of a plate in
free flight and in a dense gas (16 times viscosity, radius and speed, for a disc) joined as p/(1 + p/p1); a push of the
gas p dT/(4 T) in thin gas that falls as 1/p in dense gas, greatest where the mean free path is some tenth of the vane;
and torques that no gas makes. Several laws are those of no candidate mechanism of the program, and several benches are
wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[np.float64]]
ROOM_K = 295.15
# Molar mass, kg/mol, viscosity, Pa s, conductivity, W/(m K), heat taken in free flight, W/(m2 K Pa): rounded.
GASES = {
    "N2": (0.028, 17.6e-6, 0.0257, 1.2), "air": (0.029, 18.3e-6, 0.026, 1.2), "Ar": (0.040, 22.4e-6, 0.0175, 0.65),
    "He": (0.004, 19.7e-6, 0.155, 2.1),
}  # fmt: skip
THERMAL, LIGHT, FOREIGN = "thermal force of the gas", "light pressure", "constant torque from outside"
PIVOT = "pivot or vibration"


@dataclass(frozen=True)
class Rotor:
    """A rotor as it is, whatever its owner states."""

    gas: str
    width_m: float
    arm_m: float
    irradiance_w_m2: float
    conductance_w_m2_k: float
    bright_emissivity: float
    peak_knudsen: float
    dry_share: float
    viscous_share: float

    @property
    def area_m2(self) -> float:
        """Area of the four vanes."""
        return 4 * self.width_m**2

    @property
    def peak_pa(self) -> float:
        """Pressure at which the push of the gas is greatest."""
        mass, viscosity, *_ = GASES[self.gas]
        return float(viscosity * np.sqrt(np.pi * 8.314 * ROOM_K / (2 * mass)) / (self.peak_knudsen * self.width_m))

    def difference_k(self, p: Array) -> Array:
        """Return the temperature of the dark less that of the bright face, under a beam, over a turn.

        Both faces balance light, heat through the vane, infrared (6 W/(m2 K) for a black one) and heat to the gas.
        """
        _, _, conductivity, free = GASES[self.gas]
        gas = free * p / (1 + free * p * self.width_m / (4 * conductivity))
        dark, bright = 6 * 0.93 + gas, 6 * self.bright_emissivity + gas
        across = self.conductance_w_m2_k * (dark + bright) + dark * bright
        return np.asarray(self.irradiance_w_m2 / np.pi * (0.95 * bright - 0.15 * dark) / across)

    def push(self, p: Array) -> Array:
        """Return the torque of the gas by the difference of the faces, N m."""
        return self.area_m2 * self.arm_m * p * self.difference_k(p) / (4 * ROOM_K) / (1 + p / self.peak_pa) ** 2

    def drag(self, p: Array) -> Array:
        """Return the drag of the gas, N m s."""
        mass, viscosity, *_ = GASES[self.gas]
        free = (4 / np.sqrt(np.pi) + np.sqrt(np.pi)) * self.area_m2 / np.sqrt(2 * 8.314 * ROOM_K / mass)
        dense = 4 * 16 * viscosity * self.width_m / np.sqrt(np.pi)
        return np.asarray(self.arm_m**2 * free * p / (1 + free * p / dense))

    @property
    def viscous_n_m_s(self) -> float:
        """Viscous friction of the pivot."""
        return float(self.viscous_share * self.drag(np.array(self.peak_pa)))

    @property
    def top_n_m(self) -> float:
        """Greatest push of the gas."""
        return float(self.push(np.array(self.peak_pa)))


@dataclass(frozen=True)
class Law:
    """A law of motion, what is true of it, and how its readings go wrong.

    Attributes
    ----------
    torque : callable
        Torque of a rotor at true pressures, N m, positive when the bright face leads.
    drive : str
        The candidate mechanism that is the main drive; empty if none is.
    reverses : bool or None
        Whether it turns back in the dark under a chilled envelope; None if the law does not say.
    drag : callable
        Drag of the gas.
    span : tuple of float
        Ends of the sweep over the pressure at which the push of a gas is greatest.
    distorted : callable or None
        What the sweep makes of the speeds, given the place in it from 0 to 1.
    added_pa, shows, noise : float
        True pressure less that at the gauge; indicated over true pressure; true scatter of the speeds.
    stated : callable or None
        The rotor as its owner states it.
    stands_on : callable or None
        Further rows of readings.csv: share of the lamp and speed at a pressure.
    """

    torque: Callable[[Rotor, Array], Array]
    drive: str = ""
    reverses: bool | None = None
    drag: Callable[[Rotor, Array], Array] = Rotor.drag
    span: tuple[float, float] = (1 / 30, 20)
    distorted: Callable[[Array], Array] | None = None
    added_pa: float = 0.0
    shows: float = 1.0
    noise: float = 0.015
    stated: Callable[[Rotor], Rotor] | None = None
    friction: float = 1.0
    lamp_rows: tuple[float, ...] = ()

    def speed(self, rotor: Rotor, p: Array) -> Array:
        """Return the steady speed at true pressures, rad/s."""
        torque = self.torque(rotor, p)
        dry = rotor.dry_share * float(np.abs(torque).max())
        left = np.sign(torque) * np.maximum(np.abs(torque) - dry, 0.0)
        return np.asarray(left / (self.drag(rotor, p) + self.friction * rotor.viscous_n_m_s))


def _constant(rotor: Rotor, p: Array) -> Array:
    return np.full_like(p, 0.6 * rotor.top_n_m)


def _flips(rotor: Rotor, p: Array) -> Array:
    return rotor.push(p) - 0.3 * rotor.top_n_m


def _two(rotor: Rotor, p: Array) -> Array:
    x = np.log(p / rotor.peak_pa)
    shape = 0.25 + np.exp(-0.5 * ((x + 1.8) / 0.6) ** 2) + 0.8 * np.exp(-0.5 * ((x - 1.6) / 0.6) ** 2)
    return np.asarray(8.0 * shape * (rotor.drag(p) + rotor.viscous_n_m_s))


def _light(rotor: Rotor, p: Array) -> Array:
    """Return the torque by radiation pressure: the bright face, which reflects, is pushed harder."""
    return np.full_like(p, -0.7 * rotor.irradiance_w_m2 / np.pi / 3e8 * rotor.area_m2 * rotor.arm_m)


def _rising(rotor: Rotor, p: Array) -> Array:
    return np.asarray(0.5 * rotor.top_n_m * (p / (3 * rotor.peak_pa)) ** 1.5)


LAWS: dict[str, Law] = {
    # what the program should find
    "thermal force": Law(Rotor.push, THERMAL, True),
    "thermal force, pivot for drag": Law(Rotor.push, THERMAL, True, friction=20.0),
    # no force of the gas
    "torque from outside": Law(_constant, FOREIGN, False),
    "torque from outside, dark face leads": Law(lambda r, p: -_constant(r, p), FOREIGN, False),
    "speed independent of the lamp": Law(_constant, FOREIGN, False, lamp_rows=(0.5, 0.0)),
    "flat": Law(lambda r, p: 8.0 * (r.drag(p) + r.viscous_n_m_s), "", False),
    "two maxima": Law(_two, "", None),
    "rises with pressure": Law(_rising, "", False, span=(0.3, 30)),
    "light pressure": Law(_light, LIGHT, False, span=(1e-6, 1e-3), friction=0.01),
    # a force of the gas of a sign or shape that it does not have
    "reversed": Law(lambda r, p: -r.push(p), "", None),
    "sign flips": Law(_flips, "", None),
    "thermal force and as much from outside": Law(lambda r, p: r.push(p) + _constant(r, p), "", None),
    # the thermal force, and readings or a bench that are wrong
    "noise 30 % stated as 2 %": Law(Rotor.push, THERMAL, True, noise=0.3),
    "gauge reads 3 times too high": Law(Rotor.push, THERMAL, True, shows=3.0),
    "lamp fades to half": Law(Rotor.push, THERMAL, True, distorted=lambda t: 1 - 0.5 * t),
    "rotor runs in by 80 %": Law(Rotor.push, THERMAL, True, distorted=lambda t: 1 / 1.8 + (1 - 1 / 1.8) * t),
    "pressure not that of the gauge": Law(Rotor.push, THERMAL, True, added_pa=0.5),
    "helium stated as air": Law(Rotor.push, THERMAL, True, stated=lambda r: replace(r, gas="air")),
    "vanes 1.5 times as large as stated": Law(
        Rotor.push, THERMAL, True, stated=lambda r: replace(r, width_m=r.width_m / 1.5, arm_m=r.arm_m / 1.5)
    ),
    "half the speed in the upper part": Law(Rotor.push, THERMAL, True, distorted=lambda t: np.where(t > 0.6, 0.5, 1.0)),
}  # fmt: skip


def draw(name: str, random: np.random.Generator) -> Rotor:
    """Draw a rotor for a law."""
    gas = "He" if name.startswith("helium") else str(random.choice(list(GASES)))
    width = float(random.choice([0.010, 0.012, 0.016, 0.020]))
    return Rotor(
        gas, width, width * float(random.uniform(1.4, 2.0)), float(random.choice([400, 700, 1100])),
        float(np.exp(random.uniform(np.log(15), np.log(60)))), float(random.uniform(0.35, 0.8)),
        float(random.uniform(0.08, 0.25)),
        *(float(np.exp(random.uniform(np.log(low), np.log(10 * low)))) for low in (0.003, 0.03)),
    )  # fmt: skip


def true_optima(law: Law, rotor: Rotor, p: Array) -> list[float]:
    """Return the pressures of the maxima of the speed inside a range, those that rise by 3 % above both sides."""
    grid = np.geomspace(p.min(), p.max(), 800)
    speed = np.abs(law.speed(rotor, grid))
    tops = [k for k in range(1, 799) if speed[k] >= speed[k - 1] and speed[k] > speed[k + 1]]
    return [
        float(grid[k]) for k in tops
        if speed[: k + 1].min() < 0.97 * speed[k] and speed[k:].min() < 0.97 * speed[k]
    ]  # fmt: skip


def write(folder: Path, name: str, random: np.random.Generator) -> tuple[Rotor, Array]:
    """Write the folder of an experiment; return its rotor and the true pressures of its sweep."""
    law, rotor = LAWS[name], draw(name, random)
    own = law.stated(rotor) if law.stated else rotor
    p = np.geomspace(law.span[0] * rotor.peak_pa, law.span[1] * rotor.peak_pa, 14)
    speed = law.speed(rotor, p)
    if law.distorted:
        speed = speed * law.distorted(np.linspace(0, 1, p.size))
    face = "bright" if speed[int(np.argmax(np.abs(speed)))] > 0 else "dark"
    optional = []
    if random.uniform() < 0.5:
        seen = own.bright_emissivity + 0.05 * float(random.standard_normal())
        optional.append(f'bright_emissivity = "{seen:.3f} +/- 0.05"')
    if random.uniform() < 0.5:
        optional.append(f'vane_conductance = "{_near(own.conductance_w_m2_k, 0.3, random)} +/- 30 % W/(m^2 K)"')
    mm = 1e3 * own.width_m
    room = 2.5e3 * (own.arm_m + own.width_m / 2)
    lines = [
        "# INVENTED DATA, made by a law written by hand. Nothing here was measured.",
        "[experiment]", f'title = "Invented: {name}"',
        "[gas]", f'species = "{own.gas}"', 'temperature = "22 +/- 1 degC"',
        "[chamber]", f'width = "{room:.0f} mm"', f'height = "{room:.0f} mm"',
        "[rotor]", "vanes = 4", f'vane_width = "{mm:.2f} +/- 0.1 mm"', f'vane_height = "{mm:.2f} +/- 0.1 mm"',
        'vane_thickness = "0.1 mm"', f'arm = "{1e3 * own.arm_m:.1f} +/- 0.3 mm"',
        'dark_absorptance = "0.95 +/- 0.02"', 'bright_absorptance = "0.15 +/- 0.03"',
        'dark_emissivity = "0.93 +/- 0.03"', f'leading_face = "{face}"', *optional,
        "[light]", 'arrangement = "beam"', f'irradiance = "{_near(own.irradiance_w_m2, 0.1, random)} +/- 10 % W/m^2"',
        "[gauge]", 'kind = "display"', 'principle = "diaphragm"', 'transfer_uncertainty = "5 %"',
        "[tachometer]", "marks = 4",
    ]  # fmt: skip
    gauge = law.shows * float(np.exp(0.05 * random.standard_normal()))
    rows = ["pressure [Pa],pressure uncertainty [%],speed [rad/s],speed uncertainty [rad/s],lamp"]

    def note(at: float, true_speed: float, lamp: str) -> None:
        seen = true_speed * (1 + law.noise * float(random.standard_normal()))
        shown = max(at - law.added_pa, 0.02 * at) * gauge * float(np.exp(0.01 * random.standard_normal()))
        u = max(min(law.noise, 0.02) * abs(seen), 1e-3)
        rows.append(f"{shown:.5g},1,{seen:+.5g},{u:.3g},{lamp}")

    for at, value in zip(p, speed, strict=True):
        note(float(at), float(value), "on")
    for lamp in law.lamp_rows:  # the law does not depend on the lamp
        note(float(p[7]), float(speed[7]), "off" if lamp == 0 else f"{lamp:g}")
    folder.mkdir(parents=True)
    (folder / "bench.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return rotor, p


def _near(value: float, relative: float, random: np.random.Generator) -> str:
    """Return a value as its owner states it, off by its stated uncertainty times a normal draw."""
    return f"{value * float(np.exp(relative * random.standard_normal())):.4g}"
