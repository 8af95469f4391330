"""Search of the next rotor: vane, arm, number of vanes and gas for several goals, and the trade between them.

Designs are drawn by NSGA-II (K. Deb and others, IEEE Trans. Evol. Comput. 6, 182, 2002) and evaluated by the forward
model; the result is the set of designs of which none is better in every goal.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from edgewind.bench import Bench
from edgewind.compiled import need_compiled
from edgewind.errors import InputError
from edgewind.extras import need
from edgewind.frozen_model import FrozenModel
from edgewind.gas import GasState, find_gas
from edgewind.plan.sized import CLEARANCE
from edgewind.rotor import RotorParameters, parameters_of, response_of
from edgewind.rotor.drives import NAMES
from edgewind.rotor.optimum import highest_places
from edgewind.rotor.parameters import gas_numbers
from edgewind.rotor.speed_kernel import DRIVE_PLACES, flat, steady_speeds, table_arrays

Array = NDArray[np.float64]

# Defaults of unstated keys of bench.toml.
DEFAULT_THICKNESS_M, DEFAULT_DRY_N_M = 1e-4, 1e-11
# Least distance of the inner edge of a vane from the axis, m, for a hub.
HUB_M = 3e-3
# Dry friction of a tip in a cup grows as the load to this power: the radius of Hertz's contact goes as its cube root
# (K. L. Johnson, Contact Mechanics, 1985, section 4.2), and torque as load times radius.
FRICTION_POWER = 4 / 3
# Scatter of a speed, relative and of the greatest, by which two curves are distinguished.
_SCATTER, _FLOOR, _READINGS = 0.02, 0.01, 20
_DECADES, _POINTS = 4.0, 64
# Value of a goal for a design that cannot be built.
_WORST = 1e30
_HELD = "its pivot holds it"


class RotorDesign(FrozenModel):
    """A design: vanes, square or not, from the sheet of the bench, on arms, in a gas."""

    vane_width_m: float = Field(description="Width of a vane, m.")
    vane_height_m: float = Field(description="Height of a vane, m.")
    vane_thickness_m: float = Field(description="Thickness of the sheet, m.")
    arm_m: float = Field(description="Distance from the axis to the middle of a vane, m.")
    vanes: int = Field(description="Number of vanes.")
    gas: str = Field(description="Name of the gas.")


@dataclass(frozen=True)
class Evaluation:
    """A design with its values by the forward model.

    Attributes
    ----------
    built : RotorDesign
        The design.
    values : dict of str to float
        Each goal's value in its own unit.
    pressure_pa : float
        Pressure at which it turns fastest, Pa.
    speed_rad_s : float
        Speed there, rad/s.
    torque_n_m : float
        Greatest torque of all drives, N m.
    spin_up_s : float
        Moment of inertia over drag where it turns fastest, s.
    problems : tuple of str
        Why it cannot be built or does not turn; empty for a good design.
    """

    built: RotorDesign
    values: dict[str, float]
    pressure_pa: float
    speed_rad_s: float
    torque_n_m: float
    spin_up_s: float
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Goal:
    """A goal for a rotor.

    Attributes
    ----------
    key : str
        Name on the command line.
    words : str
        The goal in words.
    unit : str
        Unit of its value.
    most : bool
        Whether more is better.
    value : callable
        From pressures (n,), the rows speed, torque, drag (3, n), the rotor, and the task.
    """

    key: str
    words: str
    unit: str
    most: bool
    value: Callable[[Array, Array, RotorParameters, DesignSpace], float]


def _fastest(pressure: Array, rows: Array, rotor: RotorParameters, task: DesignSpace) -> float:
    return float(rows[0].max())


def _light(pressure: Array, rows: Array, rotor: RotorParameters, task: DesignSpace) -> float:
    """Return the least irradiance that starts it: torque is proportional to the light, within a few per cent."""
    best = float(np.max(rows[1]))
    return float(rotor.irradiance_w_m2 * rotor.pivot_breakaway_n_m / best) if best > 0 else _WORST


def _quick(pressure: Array, rows: Array, rotor: RotorParameters, task: DesignSpace) -> float:
    return float(rotor.moment_of_inertia_kg_m2 / rows[2][int(np.argmax(rows[0]))])


def _test(pressure: Array, rows: Array, rotor: RotorParameters, task: DesignSpace) -> float:
    """Return the distance between the curves of two mechanisms of free strength, in standard deviations."""
    first, second = (task.alone(rotor, pressure, key) for key in task.between)
    return separation(first, second)


GOALS: dict[str, Goal] = {
    goal.key: goal
    for goal in (
        Goal("fastest", "greatest speed", "rad/s", True, _fastest),
        Goal("light", "least light that starts it", "W/m^2", False, _light),
        Goal("quick", "shortest spin-up", "s", False, _quick),
        Goal("test", "two mechanisms apart", "standard deviations", True, _test),
    )
}


def separation(first: Array, second: Array) -> float:
    """Return the distance of two curves over even readings, in standard deviations, with the second scaled to fit.

    ``sqrt(20/n sum (f - k s)^2 / u^2)`` with the best ``k >= 0`` and ``u^2 = (0.02 f)^2 + (0.01 max f)^2``, over the n
    places where the first stands above a twentieth of its maximum: 20 readings there.

    Examples
    --------
    >>> curve = np.array([1.0, 2.0, 1.0])
    >>> separation(curve, 3 * curve), separation(curve, -curve) > 80
    (0.0, True)
    """
    top = float(np.max(np.abs(first)))
    if top == 0:
        return 0.0
    f = np.asarray(first) / top * np.sign(first[np.argmax(np.abs(first))])
    s = np.asarray(second) / top * np.sign(first[np.argmax(np.abs(first))])
    here = f > 0.05
    f, s = f[here], s[here]
    weight = 1 / ((_SCATTER * f) ** 2 + _FLOOR**2)
    power = float(np.sum(weight * s * s))
    strength = max(float(np.sum(weight * f * s)) / power, 0.0) if power > 0 else 0.0
    left = float(np.mean(weight * (f - strength * s) ** 2))
    return float(np.sqrt(_READINGS * left)) if left > 1e-18 else 0.0


@dataclass(frozen=True, eq=False)
class DesignSpace:
    """The bench in numbers, and the ranges that can be built."""

    bench: Bench
    goals: tuple[Goal, ...]
    between: tuple[str, str]
    ranges: dict[str, tuple[float, float]]
    square: bool
    gases: tuple[str, ...]

    @cached_property
    def base(self) -> RotorParameters:
        """The present rotor in numbers."""
        return parameters_of(self.bench)

    @cached_property
    def thickness(self) -> float:
        """Thickness of its vanes, m; a usual one where the bench gives none."""
        return float(self.base.vane_thickness_m) or DEFAULT_THICKNESS_M

    @cached_property
    def _weight(self) -> tuple[float, float]:
        """Surface density of the sheet, kg/m^2, and moment of inertia without the vanes, kg m^2."""
        base = self.base
        density = base.heat_capacity_j_m2_k / self.bench.rotor.vane_specific_heat.value
        vanes = base.vanes * density * base.vane_area_m2 * base.mean_square_arm_m2
        return float(density), max(float(base.moment_of_inertia_kg_m2 - vanes), 0.0)

    def own(self) -> RotorDesign:
        """Return the present rotor as a design."""
        base, species = self.base, self.bench.gas.species
        gas = species if isinstance(species, str) else self.gases[0]
        return RotorDesign(
            vane_width_m=float(base.vane_width_m),
            vane_height_m=float(base.vane_height_m),
            vane_thickness_m=self.thickness,
            arm_m=float(base.arm_m),
            vanes=base.vanes,
            gas=gas,
        )

    def rotor(self, built: RotorDesign) -> RotorParameters:
        """Return the rotor with the bench's sheet, paint, lamp and chamber; conductance, mass, friction follow."""
        base, own = self.base, self.own()
        thicker = built.vane_thickness_m / own.vane_thickness_m
        density, hub = self._weight
        sized = base.with_(
            vane_width_m=built.vane_width_m, vane_height_m=built.vane_height_m, arm_m=built.arm_m, vanes=built.vanes
        )
        mass = density * thicker * sized.vane_area_m2
        heavier = built.vanes * mass / (own.vanes * density * base.vane_area_m2)
        dry = float(base.pivot_dry_n_m) or DEFAULT_DRY_N_M
        breakaway = max(float(base.pivot_breakaway_n_m), dry)
        friction = heavier**FRICTION_POWER
        return base.with_(
            vanes=built.vanes, vane_width_m=built.vane_width_m, vane_height_m=built.vane_height_m,
            vane_thickness_m=built.vane_thickness_m if base.vane_thickness_m else 0.0, arm_m=built.arm_m,
            vane_conductance_w_m2_k=base.vane_conductance_w_m2_k / thicker,
            heat_capacity_j_m2_k=base.heat_capacity_j_m2_k * thicker,
            pivot_dry_n_m=dry * friction, pivot_breakaway_n_m=breakaway * friction,
            moment_of_inertia_kg_m2=built.vanes * mass * sized.mean_square_arm_m2 + hub, **self._numbers_of(built.gas),
        )  # fmt: skip

    def _numbers_of(self, gas: str) -> dict[str, float]:
        own = self.bench.gas
        return gas_numbers(GasState(find_gas(gas) if gas in self.gases else own.gas, 1.0, own.temperature.value))

    def misfits(self, built: RotorDesign) -> dict[str, float]:
        """Return the excess of a design over each limit; zero or less is allowed."""
        reach = built.arm_m + built.vane_width_m / 2
        return {
            "the vanes reach the wall of the chamber": 2 * reach
            / ((1 - CLEARANCE) * self.bench.chamber.width.value) - 1,
            "the vanes are as high as the chamber": built.vane_height_m
            / ((1 - CLEARANCE) * self.bench.chamber.height.value) - 1,
            "the vanes leave no room for a hub": (HUB_M - (built.arm_m - built.vane_width_m / 2)) / HUB_M,
        }  # fmt: skip

    def table(self, rotor: RotorParameters) -> tuple[Any, float]:
        """Return the gas response of a rotor, as input of the kernel, and its least Knudsen number."""
        response = response_of(rotor)
        return table_arrays(response), response.least_knudsen

    def alone(self, rotor: RotorParameters, pressure: Array, drive: str) -> Array:
        """Return the speed if one drive alone acted and the pivot had no friction, rad/s."""
        numbers = flat(rotor)
        for key, place in DRIVE_PLACES.items():
            numbers[place] = float(key == drive)
        rows = steady_speeds(pressure, numbers, *self.table(rotor)[0])
        return np.asarray(rows[1] / rows[2])

    def judge(self, built: RotorDesign) -> Evaluation:
        """Evaluate a design by the forward model."""
        problems = [words for words, beyond in self.misfits(built).items() if beyond > 0]
        worst = {goal.key: -_WORST if goal.most else _WORST for goal in self.goals}
        if problems:
            return Evaluation(built, worst, 0.0, 0.0, 0.0, 0.0, tuple(problems))
        rotor = self.rotor(built)
        table, least = self.table(rotor)
        top = float(rotor.knudsen(1.0)) / least / 1.01
        pressure = np.geomspace(top / 10**_DECADES, top, _POINTS)
        rows = steady_speeds(pressure, flat(rotor), *table)
        sense = np.sign(rows[1][np.argmax(np.abs(rows[1]))])
        rows = np.stack([sense * rows[0], sense * rows[1], rows[2]])
        best = int(np.argmax(rows[0]))
        if rows[0][best] <= 0:
            return Evaluation(built, worst, 0.0, 0.0, float(rows[1].max()), 0.0, (_HELD,))
        values = {goal.key: goal.value(pressure, rows, rotor, self) for goal in self.goals}
        place = float(np.exp(highest_places(np.log(pressure), rows[:1])[0]))
        spin = float(rotor.moment_of_inertia_kg_m2 / rows[2][best])
        return Evaluation(built, values, place, float(rows[0][best]), float(rows[1].max()), spin, ())


def pareto_front(values: Array) -> NDArray[np.bool_]:
    """Return of each row, all columns to be maximised, whether no other row is as good in all and better in one.

    Examples
    --------
    >>> pareto_front(np.array([[1.0, 3.0], [2.0, 2.0], [1.0, 2.0]])).tolist()
    [True, True, False]
    """
    rows = np.asarray(values, dtype=float)
    as_good = np.all(rows[None, :, :] >= rows[:, None, :], axis=2)
    better = np.any(rows[None, :, :] > rows[:, None, :], axis=2)
    return np.asarray(~np.any(as_good & better, axis=1))


@dataclass(frozen=True, eq=False)
class RotorSearch:
    """Result of a search; see :func:`search_rotor`.

    Attributes
    ----------
    bench : Bench
        The bench.
    goals : tuple of Goal
        The goals.
    between : tuple of str
        Keys of the two drives that the goal `test` distinguishes.
    ranges : dict of str to tuple of float
        Least and greatest value of each chosen size, in SI.
    gases : tuple of str
        Gases available.
    front : tuple of Evaluation
        Designs of which none is better in every goal, sorted by the first goal, the best first.
    others : tuple of Evaluation
        All other designs that can be built and turn.
    own : Evaluation
        The present rotor, evaluated alike.
    tried : int
        Number of designs that were tried.
    seed : int
        Seed of the search; the same seed tries the same designs.
    """

    bench: Bench
    goals: tuple[Goal, ...]
    between: tuple[str, str]
    ranges: dict[str, tuple[float, float]]
    gases: tuple[str, ...]
    front: tuple[Evaluation, ...]
    others: tuple[Evaluation, ...]
    own: Evaluation
    tried: int
    seed: int

    def picked(self, most: int = 8) -> tuple[Evaluation, ...]:
        """Return a few designs of the front, spread along it: the best for each goal, and others far from those."""
        if len(self.front) <= most:
            return self.front
        values = _scaled(np.array([[one.values[goal.key] for goal in self.goals] for one in self.front]))
        taken = list(dict.fromkeys(int(k) for k in self.best_of.values()))
        while len(taken) < most:
            far = np.min(np.linalg.norm(values[:, None] - values[None, taken], axis=2), axis=1)
            taken.append(int(np.argmax(far)))
        return tuple(self.front[k] for k in sorted(set(taken)))

    @cached_property
    def _space(self) -> DesignSpace:
        return _task(self.bench, tuple(goal.key for goal in self.goals), self.between, self.ranges, self.gases)

    def rotors(self, designs: Iterable[Evaluation]) -> list[RotorParameters]:
        """Return designs as input of the forward model."""
        return [self._space.rotor(one.built) for one in designs]

    def judged_anew(self) -> RotorSearch:
        """Return the search with front and present rotor evaluated again, after one of them was solved."""
        good = [self._space.judge(one.built) for one in self.front]
        front, others = _front([one for one in (*good, *self.others) if not one.problems], self.goals)
        return replace(self, front=front, others=others, own=self._space.judge(self._space.own()))

    @property
    def best_of(self) -> dict[str, int]:
        """Place in the front of the best design for each goal."""
        found = {}
        for goal in self.goals:
            values = [one.values[goal.key] for one in self.front]
            found[goal.key] = int(np.argmax(values) if goal.most else np.argmin(values))
        return found

    @property
    def better_than_own(self) -> int:
        """Designs of the front that are better than the present rotor in every goal."""
        return sum(
            all(
                (one.values[goal.key] > self.own.values[goal.key]) == goal.most
                and one.values[goal.key] != self.own.values[goal.key]
                for goal in self.goals
            )
            for one in self.front
        )


def _scaled(values: Array) -> Array:
    """Logarithms of positive values, each column over its range."""
    logs = np.log(np.maximum(values, 1e-30))
    span = np.ptp(logs, axis=0)
    return np.asarray((logs - logs.min(axis=0)) / np.where(span > 0, span, 1.0))


def ranges_of(bench: Bench, given: Mapping[str, tuple[float, float]] | None = None) -> dict[str, tuple[float, float]]:
    """Return the ranges that can be built: given ones, then those of ``[workshop]``, then half to twice the present
    rotor.

    Raises
    ------
    InputError
        A range of an unknown size, or one that does not ascend.
    """
    rotor, shop = bench.rotor, bench.workshop
    thickness = DEFAULT_THICKNESS_M if rotor.vane_thickness is None else rotor.vane_thickness.value
    found: dict[str, tuple[float, float]] = {
        "vane_width": (rotor.vane_width.value / 2, 2 * rotor.vane_width.value),
        "vane_thickness": (thickness / 2, 2 * thickness),
        "arm": (rotor.arm.value / 2, 2 * rotor.arm.value),
        "vanes": (2.0, 8.0),
    }
    for name in ("vane_width", "vane_height", "vane_thickness", "arm", "vanes"):
        ends = None if shop is None else getattr(shop, name)
        if ends is not None:
            low, high = (float(end if name == "vanes" else end.value) for end in ends)
            found[name] = (low, high)
    for name, (low, high) in (given or {}).items():
        if name not in ("vane_width", "vane_height", "vane_thickness", "arm", "vanes"):
            raise InputError(
                f"'{name}' cannot be searched for", fix="use vane_width, vane_height, vane_thickness, arm or vanes"
            )
        if not 0 < low <= high or (name == "vanes" and not 1 <= low <= high <= 64):
            raise InputError(f"{name} from {low:g} to {high:g}", fix="give the least first, above zero")
        found[name] = (float(low), float(high))
    return found


def search_rotor(
    bench: Bench,
    goals: Sequence[str],
    *,
    ranges: Mapping[str, tuple[float, float]] | None = None,
    gases: Sequence[str] | None = None,
    between: tuple[str, str] = ("thermal_force", "light_pressure"),
    trials: int = 600,
    seed: int = 1,
) -> RotorSearch:
    """Search for the best rotors for some goals.

    Parameters
    ----------
    bench : Bench
        The bench: lamp, chamber, sheet, pivot.
    goals : sequence of str
        One or more keys of :data:`GOALS`.
    ranges : mapping, optional
        From the least to the greatest, m: ``{"vane_width": (6e-3, 20e-3)}``; over those of ``[workshop]``.
    gases : sequence of str, optional
        Gases available; those of ``[workshop]``, or that of the bench, where absent.
    between : tuple of str
        The two drives that the goal ``test`` distinguishes, keys of :data:`edgewind.rotor.DRIVES`.
    trials, seed : int
        Designs to try; the same seed tries the same ones.

    Raises
    ------
    InputError
        An unknown goal, gas or drive, or no design that can be built and turns.
    """
    optuna = need("optuna", extra="search", purpose="to search for the next rotor")
    need_compiled("to search for the next rotor")
    wanted = tuple(dict.fromkeys(goals))
    for key in wanted:
        if key not in GOALS:
            raise InputError(f"there is no goal '{key}'", fix=f"use {', '.join(GOALS)}")
    if not wanted:
        raise InputError("no goal was given", fix=f"give one or more of {', '.join(GOALS)}")
    if len(set(between)) != 2 or any(key not in NAMES for key in between):
        raise InputError(f"{' and '.join(between)} cannot be distinguished", fix=f"name two of {', '.join(NAMES)}")
    if trials < 50:
        raise InputError(f"{trials} designs are too few", fix="try 50 or more")
    task = _task(bench, wanted, between, ranges, gases)
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    judged: list[Evaluation] = []

    def ask(trial: Any) -> tuple[float, ...]:
        built = _drawn(trial, task)
        found = task.judge(built)
        judged.append(found)
        for limit, beyond in task.misfits(built).items():
            trial.set_constraint(limit, beyond)
        trial.set_constraint(_HELD, 1.0 if _HELD in found.problems else 0.0)
        return tuple(found.values[goal.key] for goal in task.goals)

    sampler = optuna.samplers.NSGAIISampler(population_size=min(60, trials // 4), seed=seed)
    study = optuna.create_study(
        directions=["maximize" if goal.most else "minimize" for goal in task.goals], sampler=sampler
    )
    for corner in _corners(task):
        study.enqueue_trial(corner)
    study.optimize(ask, n_trials=trials)
    good = [one for one in judged if not one.problems]
    if not good:
        why = max((one.problems[0] for one in judged), key=[one.problems[0] for one in judged].count)
        raise InputError(f"none of {trials} designs can be built and turns: {why}", fix="widen the ranges")
    good = list({one.built: one for one in good}.values())
    front, others = _front(good, task.goals)
    return RotorSearch(
        bench, task.goals, between, task.ranges, task.gases, front, others, task.judge(task.own()), trials, seed
    )


def _front(good: Sequence[Evaluation], goals: Sequence[Goal]) -> tuple[tuple[Evaluation, ...], tuple[Evaluation, ...]]:
    """Return the designs of which none is better in every goal, the best for the first goal first, and the others."""
    signs = np.array([1.0 if goal.most else -1.0 for goal in goals])
    values = signs * np.array([[one.values[goal.key] for goal in goals] for one in good])
    on_front = pareto_front(values)
    front = [one for one, first in zip(good, on_front, strict=True) if first]
    front.sort(key=lambda one: -signs[0] * one.values[goals[0].key])
    return tuple(front), tuple(one for one, first in zip(good, on_front, strict=True) if not first)


def _task(
    bench: Bench,
    goals: tuple[str, ...],
    between: tuple[str, str],
    ranges: Mapping[str, tuple[float, float]] | None,
    gases: Sequence[str] | None,
) -> DesignSpace:
    span = ranges_of(bench, ranges)
    available = tuple(gases or ())
    if not available and bench.workshop is not None and bench.workshop.gases is not None:
        available = bench.workshop.gases
    if not available:
        species = bench.gas.species
        if not isinstance(species, str):
            raise InputError("the gas of the bench is a mixture", key="gas.species", fix="name gases with --gases")
        available = (species,)
    for name in available:
        find_gas(name)
    return DesignSpace(bench, tuple(GOALS[key] for key in goals), between, span, "vane_height" not in span, available)


def _corners(task: DesignSpace) -> list[dict[str, Any]]:
    """Return the designs at the ends of all ranges as starts: the best for a single goal often lies there."""
    free = {name: ends for name, ends in task.ranges.items() if ends[0] < ends[1]}
    found: list[dict[str, Any]] = []
    for k, ends in enumerate(itertools.product(*free.values())):
        chosen: dict[str, Any] = {
            name: int(end) if name == "vanes" else end for name, end in zip(free, ends, strict=True)
        }
        if len(task.gases) > 1:
            chosen["gas"] = task.gases[k % len(task.gases)]
        found.append(chosen)
    return found


def _drawn(trial: Any, task: DesignSpace) -> RotorDesign:
    """Let the sampler choose a design."""

    def length(name: str) -> float:
        low, high = task.ranges[name]
        return float(trial.suggest_float(name, low, high, log=True)) if high > low else low

    width = length("vane_width")
    low, high = (int(end) for end in task.ranges["vanes"])
    return RotorDesign(
        vane_width_m=width,
        vane_height_m=width if task.square else length("vane_height"),
        vane_thickness_m=length("vane_thickness"),
        arm_m=length("arm"),
        vanes=int(trial.suggest_int("vanes", low, high)) if high > low else low,
        gas=str(trial.suggest_categorical("gas", list(task.gases))) if len(task.gases) > 1 else task.gases[0],
    )
