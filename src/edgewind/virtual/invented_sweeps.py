"""Random invented rotors with their stated values, their readings and their true values."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from edgewind.virtual.hidden_rotor import BenchConditions, Deviation, HiddenRotor

Array = NDArray[np.float64]
_GASES = (("N2", 1.0), ("air", 1.0), ("Ar", 0.0))
_ROOM_K = 295.15
_CHAMBER = 2.5  # width and height of a chamber over the distance of a vane's outer edge from the axis
# The range of drawn deviations and of true optima, Knudsen number and pascal.
_KNUDSEN = (0.01, 100.0)
# Knudsen numbers up to which the law of the walls changes the force of unequal accommodation over the thermal force. In
# free flight both are closed forms.
_WALL_LAW = (0.01, 0.1)
_GAUGE_PA = (1e-3, 100.0)
_TRUTH_PA, _OPTIMUM_PA = (3e-3, 100.0), (0.03, 20.0)
# A sweep reaches so far from its middle. It ends where the rotor is again as fast as this share of its maximum.
_REACH, _LEAST_REACH, _AGAIN = 20.0, 1.5, 0.9


@dataclass(frozen=True)
class Sizes:
    """Sizes of the deviations of a drawn rotor from the model.

    Attributes
    ----------
    deviation : float
        Largest hidden deviation of force, drag and heat, in ln. The force of unequal accommodation has that of the
        thermal force, which shape and neighbours cause, and one of its own in dense gas, for the law of the walls.
    accommodation_difference : float
        Largest difference of the faces, in size.
    foreign : float
        Largest torque from outside, over the greatest torque of the gas.
    gauge : float
        Standard deviation of the error of the gauge, in ln, as stated.
    scatter : float
        Relative standard deviation of a speed from reading to reading.
    """

    deviation: float = 0.25
    accommodation_difference: float = 0.1
    foreign: float = 0.2
    gauge: float = 0.05
    scatter: float = 0.015


@dataclass(frozen=True)
class Truth:
    """True values of an invented rotor.

    Attributes
    ----------
    speed_optimum_pa, torque_optimum_pa : float
        Pressures of greatest speed and of greatest torque of the gas by the difference of the faces, Pa.
    main_drive : str
        The cause of the greatest share of the torque at the pressure of greatest speed.
    foreign_share : float
        Share of the torque there, in size, that is not due to the thermal force.
    shares : mapping of str to float
        Share of each cause there, in size.
    drive_optimum_pa : float
        Pressure of greatest torque of all drives together, Pa: the optimum of force in a study.
    """

    speed_optimum_pa: float
    torque_optimum_pa: float
    main_drive: str
    foreign_share: float
    shares: Mapping[str, float] = field(default_factory=dict)
    drive_optimum_pa: float = float("nan")


def draw_rotor(random: np.random.Generator, sizes: Sizes = Sizes()) -> HiddenRotor:
    """Draw an invented rotor."""
    species, inner = _GASES[random.integers(len(_GASES))]
    width = float(random.uniform(0.008, 0.022))
    arm = width * float(random.uniform(1.25, 2.0))
    vanes = int(random.choice([2, 4]))
    deviation = [
        Deviation.draw(sizes.deviation * random.uniform(), *_KNUDSEN, random) for _ in ("force", "drag", "heat")
    ]
    bright = float(random.uniform(0.08, 0.3))
    room = _CHAMBER * (arm + width / 2)
    rotor = HiddenRotor(
        species=species, internal_heat=inner, vanes=vanes, width_m=width, arm_m=arm,
        chamber_width_m=room, chamber_height_m=room,
        irradiance_w_m2=float(random.uniform(400, 1400)),
        dark_absorptance=float(random.uniform(0.9, 0.97)), bright_absorptance=bright,
        dark_emissivity=float(random.uniform(0.88, 0.96)), bright_emissivity=float(random.uniform(0.05, 0.9)),
        conductance_w_m2_k=float(np.exp(random.uniform(np.log(8), np.log(100)))),
        heat_capacity_j_m2_k=float(random.uniform(150, 400)), accommodation=float(random.uniform(0.82, 1.0)),
        accommodation_difference=float(random.uniform(-1, 1) * sizes.accommodation_difference),
        specular=float(random.uniform(0, 0.5)), inertia_kg_m2=vanes * 0.3 * width**2 * arm**2 * 1.3,
        force=deviation[0], drag=deviation[1], heat=deviation[2],
        gauge=Deviation.stated(sizes.gauge, *_GAUGE_PA, random),
    )  # fmt: skip
    around = BenchConditions(np.geomspace(1e-2, 50, 60), 1.0, _ROOM_K)
    greatest = float(rotor.torques(*rotor.faces(around), around)["thermal force"].max())
    dry = greatest * float(np.exp(random.uniform(np.log(0.004), np.log(0.08))))
    drag = float(rotor.resistance(BenchConditions(1.0)))
    wall_law = Deviation.draw(sizes.deviation * random.uniform(), *_WALL_LAW, random, bumps=1)
    return replace(
        rotor, uneven=rotor.force + wall_law, dry_n_m=dry, breakaway_n_m=dry,
        viscous_n_m_s=drag * float(random.uniform(0, 0.02)),
        foreign_n_m=float(random.uniform(-1, 1) * sizes.foreign * greatest),
    )  # fmt: skip


def truth_of(rotor: HiddenRotor, between_pa: tuple[float, float] = _TRUTH_PA) -> Truth:
    """Return the true values of an invented rotor under full light, its optima those between two pressures."""
    around = BenchConditions(np.geomspace(*between_pa, 2000), 1.0, _ROOM_K)
    parts = rotor.torques(*rotor.faces(around), around)
    place = int(np.argmax(np.abs(rotor.steady_speed(around))))
    there = {name: float(part[place]) for name, part in parts.items()}
    main = max(there, key=lambda name: abs(there[name]))
    whole = sum(abs(torque) for torque in there.values())
    return Truth(
        float(around.pressure_pa[place]),
        float(around.pressure_pa[int(np.argmax(parts["thermal force"]))]),
        main,
        1 - abs(there["thermal force"]) / whole,
        {name: abs(torque) / whole for name, torque in there.items()},
        float(around.pressure_pa[int(np.argmax(np.abs(sum(parts.values()))))]),
    )


def bench_text(
    rotor: HiddenRotor,
    random: np.random.Generator,
    *,
    leading_face: str = "bright",
    states_everything: bool | None = None,
) -> str:
    """Return a `bench.toml` with correct uncertainties: each value deviates by its stated uncertainty times a normal
    draw.

    Parameters
    ----------
    rotor : HiddenRotor
        The rotor.
    random : numpy.random.Generator
        Generator of these deviations.
    leading_face : {"bright", "dark"}
        Observed leading face.
    states_everything : bool, optional
        Whether conductance and bright emissivity are stated; default: each with probability 1/2.
    """

    def stated(value: float, relative: float) -> tuple[float, float]:
        u = relative * abs(value)
        return value + u * float(random.standard_normal()), u

    def number(value: float, relative: float, unit: str, scale: float = 1.0) -> str:
        shown, u = stated(value * scale, relative)
        return f"{shown:.5g} +/- {u:.2g} {unit}".strip()

    def length(value_m: float, u_mm: float) -> str:
        return f"{1e3 * value_m + u_mm * float(random.standard_normal()):.2f} +/- {u_mm:g} mm"

    def share(value: float, u: float) -> str:
        return f"{min(max(value + u * float(random.standard_normal()), 0.01), 0.99):.3f} +/- {u:g}"

    optional = []
    if states_everything or (states_everything is None and random.uniform() < 0.5):
        optional.append(f'vane_conductance = "{number(rotor.conductance_w_m2_k, 0.3, "W/(m^2 K)")}"')
    if states_everything or (states_everything is None and random.uniform() < 0.5):
        optional.append(f'bright_emissivity = "{share(rotor.bright_emissivity, 0.05)}"')
    room = _CHAMBER * (rotor.arm_m + rotor.width_m / 2)
    wide, tall = rotor.chamber_width_m or room, rotor.chamber_height_m or room
    gauge_scale, room_c = 0.05, 22.0 + 0.5 * float(random.standard_normal())
    lines = [
        "# INVENTED DATA, from a generator of random rotors. Nothing here was measured.",
        "[experiment]", 'title = "Invented rotor"',
        "[gas]", f'species = "{rotor.species}"', f'temperature = "{room_c:.2f} +/- 0.5 degC"',
        "[chamber]", f'width = "{1e3 * wide:.1f} mm"', f'height = "{1e3 * tall:.1f} mm"',
        "[rotor]", f"vanes = {rotor.vanes}",
        f'vane_width = "{length(rotor.width_m, 0.1)}"', f'vane_height = "{length(rotor.width_m, 0.1)}"',
        'vane_thickness = "0.1 mm"', f'arm = "{length(rotor.arm_m, 0.3)}"',
        f'dark_absorptance = "{share(rotor.dark_absorptance, 0.02)}"',
        f'bright_absorptance = "{share(rotor.bright_absorptance, 0.04)}"',
        f'dark_emissivity = "{share(rotor.dark_emissivity, 0.03)}"', f'leading_face = "{leading_face}"', *optional,
        f'moment_of_inertia = "{number(rotor.inertia_kg_m2, 0.08, "kg m^2")}"',
        "[light]", 'arrangement = "beam"', f'irradiance = "{number(rotor.irradiance_w_m2, 0.1, "W/m^2")}"',
        "[gauge]", 'kind = "display"', 'principle = "diaphragm"',
        f'transfer_uncertainty = "{100 * gauge_scale:g} %"',
        "[tachometer]", "marks = 4",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def readings_text(rotor: HiddenRotor, pressures_pa: Array, random: np.random.Generator, scatter: float = 0.015) -> str:
    """Return the `readings.csv` of an invented sweep under full light, speeds typed with their sign."""
    around = BenchConditions(np.asarray(pressures_pa, dtype=float), 1.0, _ROOM_K)
    speed = rotor.steady_speed(around) * (1 + scatter * random.standard_normal(len(pressures_pa)))
    shown = around.pressure_pa * rotor.gauge(around.pressure_pa) * np.exp(0.01 * random.standard_normal(speed.shape))
    out = io.StringIO()
    out.write("# INVENTED DATA, from a generator of random rotors. Nothing here was measured.\n")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["pressure [Pa]", "pressure uncertainty [%]", "speed [rad/s]", "speed uncertainty [rad/s]", "lamp"])
    for p, s in zip(shown, speed, strict=True):
        table.writerow([f"{p:.5g}", "1", f"{s:+.5g}", f"{max(scatter * abs(s), 1e-3):.3g}", "on"])
    return out.getvalue()


def _pressures(rotor: HiddenRotor, random: np.random.Generator) -> Array | None:
    """Return the pressures of a sweep about a maximum of the speed; None where there is none in reach of the bench.

    A torque from outside makes a rotor fastest in the thinnest gas, forwards or backwards, however small it is. The
    sweep is then about the maximum in denser gas, and ends above the pressures at which the rotor is as fast again.
    """
    pressure = np.geomspace(*_TRUTH_PA, 2000)
    speed = rotor.steady_speed(BenchConditions(pressure, 1.0, _ROOM_K))
    speed = speed * (np.sign(speed[pressure > _OPTIMUM_PA[0]].sum()) or 1.0)
    inside = (pressure[1:-1] > _OPTIMUM_PA[0]) & (pressure[1:-1] < _OPTIMUM_PA[1]) & (speed[1:-1] > 0)
    tops = 1 + np.flatnonzero(inside & (speed[1:-1] > speed[:-2]) & (speed[1:-1] >= speed[2:]))
    if not tops.size:
        return None
    top = int(tops[np.argmax(speed[tops])])
    size = np.abs(speed) / speed[top]
    ends = []
    for side in (size[: top + 1][::-1], size[top:]):
        fallen = int(np.argmax(side < _AGAIN)) or side.size  # past the maximum itself
        again = np.flatnonzero((side > 1.0) | ((side > _AGAIN) & (np.arange(side.size) > fallen)))
        ends.append(int(again[0]) - 1 if again.size else side.size - 1)
    begin, end = top - ends[0], top + ends[1]
    middle = pressure[top] * float(np.exp(random.uniform(-0.7, 0.7)))
    low, high = max(middle / _REACH, pressure[begin]), min(middle * _REACH, pressure[end])
    return np.geomspace(low, high, 14) if low < pressure[top] / _LEAST_REACH and high > pressure[top] else None


def invented_sweep(folder: Path, random: np.random.Generator) -> tuple[HiddenRotor, Truth]:
    """Write the folder of an invented experiment, and return its rotor and truth, for benchmarks and tests of claims.

    The pressures run from about a twentieth to about twenty times that of greatest speed, evenly spaced in the
    logarithm, or over the part of it in which no other is as fast. Rotors that do not turn, or whose optimum lies at an
    end of the range of the bench, are drawn again.
    """
    sizes = Sizes()
    while True:
        rotor = draw_rotor(random, sizes)
        pressures = _pressures(rotor, random)
        if pressures is None:
            continue
        truth = truth_of(rotor, (float(pressures[0]), float(pressures[-1])))
        speeds = rotor.steady_speed(BenchConditions(pressures, 1.0, _ROOM_K))
        if (np.abs(speeds) > 0.02).sum() >= 11 and abs(speeds).max() > 0.5:
            break
    leading = "bright" if speeds[int(np.argmax(np.abs(speeds)))] > 0 else "dark"
    folder.mkdir(parents=True)
    (folder / "bench.toml").write_text(bench_text(rotor, random, leading_face=leading), encoding="utf-8")
    (folder / "readings.csv").write_text(readings_text(rotor, pressures, random, sizes.scatter), encoding="utf-8")
    return rotor, truth
