"""A study of a scaling claim: how many rotors and sweeps tell one power of the size from another.

Each candidate rotor is predicted by the forward model. Sweeps of it are simulated and read by the same analysis as real
ones, in processes; what that analysis errs by is drawn again and again in simulated studies, each with its own rotors.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from edgewind.bench import Bench
from edgewind.errors import EdgewindError, InputError
from edgewind.evidence import SweepData, find_optimum
from edgewind.plan.dwell import bench_times, sweep_steps
from edgewind.plan.sized import (
    CONDUCTANCE_ALIKE,
    EMISSIVITY_ALIKE,
    LENGTHS_ALIKE,
    Curve,
    SizedRotor,
    sized_rotor,
)

Array = NDArray[np.float64]

MODEL = "model"
DEFAULT_EXPONENTS = (-2.0, -1.0, -0.5, 0.0)
# A sweep reaches this factor below the lowest and above the highest pressure that any claim gives its optimum.
REACH = 5.0
# Scatter of ln(pressure) of single readings; what all readings share moves every rotor alike and drops out.
_PRESSURE_NOISE = 0.01
_GAS_CHANGE_S = 900.0
_MOST_ROTORS, _MOST_SWEEPS = 5, 4
# Where the model's own exponent is nearer than this to a claim, the two need not be told apart when designs are ranked.
_ALIKE = 0.2
# A least chance of this much is enough: the design with the fewest rotors that reaches it is taken.
ENOUGH = 0.9


@dataclass(frozen=True)
class Settings:
    """How a study is made.

    Attributes
    ----------
    days : float
        Days at hand.
    hours_a_day : float
        Hours of work a day.
    changeover_h : float
        Time to vent, change the rotor and pump again, h.
    readings : int
        Readings in a sweep.
    noise : float
        Relative scatter of a speed.
    level : float
        Confidence with which a claim is given up.
    trials : int
        Sweeps of each candidate that are simulated and read by the whole analysis.
    studies : int
        Simulated studies behind each power.
    seed : int
        Seed of all draws.
    """

    days: float = 2.0
    hours_a_day: float = 8.0
    changeover_h: float = 1.0
    readings: int = 14
    noise: float = 0.02
    level: float = 0.95
    trials: int = 12
    studies: int = 4000
    seed: int = 1

    def __post_init__(self) -> None:
        checks = (
            (self.days > 0 and np.isfinite(self.days), f"{self.days:g} days", "give a number of days above zero"),
            (0 < self.hours_a_day <= 24, f"{self.hours_a_day:g} hours a day", "give 1 to 24 hours"),
            (self.changeover_h >= 0, f"a changeover of {self.changeover_h:g} h", "give zero or more hours"),
            (8 <= self.readings <= 200, f"{self.readings} readings a sweep", "give 8 to 200"),
            (0 < self.noise < 1, f"a scatter of {self.noise:g}", "give a share between 0 and 1, such as 0.02"),
            (0.5 < self.level < 1, f"a level of {self.level:g}", "give a level between 0.5 and 1, such as 0.95"),
            (self.trials >= 4, f"{self.trials} trials", "give 4 or more"),
            (self.studies >= 100, f"{self.studies} studies", "give 100 or more"),
        )
        for good, what, fix in checks:
            if not good:
                raise InputError(f"{what} cannot be planned with", fix=fix)

    @property
    def hours(self) -> float:
        """All the time there is, h."""
        return self.days * self.hours_a_day


@dataclass(frozen=True, eq=False)
class Calibration:
    """What the analysis of one simulated sweep errs by, from whole analyses.

    Attributes
    ----------
    found_share : float
        Share of simulated sweeps in which an optimum was claimed.
    bias, sd : float
        Mean and standard deviation of ln(found / true pressure).
    errors : array of shape (k,)
        Standardised errors, drawn again in the simulated studies.
    """

    found_share: float
    bias: float
    sd: float
    errors: Array


@dataclass(frozen=True)
class Design:
    """Which rotors, how many, how often.

    Attributes
    ----------
    widths_m : tuple of float
        Widths of the vane, m.
    rotors : int
        Rotors of each size.
    sweeps : int
        Sweeps of each rotor in each gas.
    hours : float
        Time that the design takes with its changeovers, h.
    """

    widths_m: tuple[float, ...]
    rotors: int
    sweeps: int
    hours: float


@dataclass(frozen=True, eq=False)
class Rated:
    """A design with its power.

    Attributes
    ----------
    design : Design
        The design.
    power : dict of str to dict of str to float
        Chance to give up the second claim where the first holds.
    exponent_u : float
        Standard uncertainty that the exponent would have.
    least_power : float
        Least of the chances in `power`, of claims that have to be told apart.
    """

    design: Design
    power: dict[str, dict[str, float]]
    exponent_u: float
    least_power: float

    def as_plain(self) -> dict[str, Any]:
        """Plain data.

        Returns
        -------
        widths_m : as in Design
        rotors_of_each_size : int
            Rotors of each size.
        sweeps_of_each_rotor_and_gas : int
            Sweeps of each rotor in each gas.
        hours : as in Design
        exponent_u, least_power, power : as in Rated
        """
        return {
            "widths_m": list(self.design.widths_m),
            "rotors_of_each_size": self.design.rotors,
            "sweeps_of_each_rotor_and_gas": self.design.sweeps,
            "hours": self.design.hours,
            "exponent_u": self.exponent_u,
            "least_power": self.least_power,
            "power": self.power,
        }


def _pressures(rotor: SizedRotor, low: float, high: float, readings: int) -> Array:
    """Pressures of a sweep, Pa: even in the logarithm, within what the curve covers."""
    least, most = np.exp(rotor.curve.log_grid[0]), np.exp(rotor.curve.log_grid[-1])
    return np.geomspace(max(low / REACH, least), min(high * REACH, most), readings)


def simulated_sweep(
    curve: Curve, pressure_pa: Array, noise: float, random: np.random.Generator, shift: float = 0.0
) -> SweepData:
    """Take a sweep of a rotor whose optimum lies at ``exp(shift)`` times that of the model.

    The speed scatters by `noise` of itself and by a tenth of that of the greatest speed; the pressure by 1 % a reading.
    """
    true_pressure = pressure_pa * np.exp(_PRESSURE_NOISE * random.standard_normal(pressure_pa.size))
    speed = curve.speed_at(true_pressure, shift)
    spread = noise * np.hypot(speed, 0.1 * curve.speed_rad_s)
    return SweepData(
        pressure_pa,
        np.full(pressure_pa.size, _PRESSURE_NOISE),
        speed + spread * random.standard_normal(speed.size),
        spread,
    )


def optimum_error(curve: Curve, data: SweepData, shift: float = 0.0, seed: int = 0) -> float:
    """Error of the whole analysis of a sweep in ln(pressure of the optimum); nan where it claims none."""
    found = find_optimum(data, seed=seed)
    if found.pressure_pa is None:
        return float("nan")
    return float(np.log(found.pressure_pa / curve.pressure_pa) - shift)


def _one_trial(job: tuple[Curve, Array, float, tuple[int, ...]]) -> float:
    curve, pressure, noise, seed = job
    random = np.random.default_rng(list(seed))
    return optimum_error(curve, simulated_sweep(curve, pressure, noise, random), seed=int(seed[-1]))


def calibrate(
    rotors: Sequence[SizedRotor], pressures: Sequence[Array], settings: Settings, processes: int | None = None
) -> list[Calibration]:
    """Simulate and read sweeps of each rotor; the same numbers whatever the number of processes.

    Parameters
    ----------
    rotors, pressures : sequences of one length
        Rotors, and the pressures of their sweeps.
    settings : Settings
        Noise, number of trials, seed.
    processes : int, optional
        How many to use; as many as there are cores where absent.
    """
    jobs = [
        (rotor.curve, pressure, settings.noise, (settings.seed, 7, which, trial))
        for which, (rotor, pressure) in enumerate(zip(rotors, pressures, strict=True))
        for trial in range(settings.trials)
    ]
    workers = min(processes or os.cpu_count() or 1, len(jobs))
    if workers < 2:
        errors = np.array([_one_trial(job) for job in jobs])
    else:
        with ProcessPoolExecutor(workers) as pool:
            errors = np.array(list(pool.map(_one_trial, jobs, chunksize=max(1, len(jobs) // (4 * workers)))))
    by_rotor = errors.reshape(len(rotors), settings.trials)
    # Curves of one make are alike but for their place, so their spreads are pooled where single ones are few.
    spreads = np.array([np.nanstd(row, ddof=1) if np.isfinite(row).sum() > 3 else np.nan for row in by_rotor])
    if not np.isfinite(spreads).any():
        raise InputError(
            "the simulated sweeps show no optimum", fix="ask for more readings a sweep, or for less scatter"
        )
    pooled = float(np.sqrt(np.nanmean(spreads**2)))
    bias = _shrunk(by_rotor, pooled)
    found = []
    for row, own, shift in zip(by_rotor, spreads, bias, strict=True):
        good = row[np.isfinite(row)]
        sd = float(np.sqrt((own**2 + pooled**2) / 2)) if np.isfinite(own) else pooled
        scale = own if np.isfinite(own) and own > 0 else sd
        standard = (good - good.mean()) / scale if good.size > 3 else np.array([-1.0, 1.0])
        found.append(Calibration(float(good.size / row.size), float(shift), sd, standard))
    return found


def _shrunk(by_rotor: Array, pooled: float) -> Array:
    """Mean error of each row, drawn to the mean of all so far as chance alone sets rows apart (empirical Bayes)."""
    counts = np.isfinite(by_rotor).sum(axis=1)
    sums = np.nansum(by_rotor, axis=1)
    means = np.where(counts > 0, sums / np.maximum(counts, 1), 0.0)
    middle = float(sums.sum() / max(counts.sum(), 1))
    chance = pooled**2 / np.maximum(counts, 1)
    apart = max(float(np.var(means, ddof=1) - chance.mean()), 0.0) if means.size > 1 else 0.0
    share = apart / (apart + chance)
    return np.asarray(middle + np.where(counts > 0, share, 0.0) * (means - middle))


@dataclass(frozen=True, eq=False)
class ScalingStudy:
    """A planned study; see :func:`plan_scaling_study`.

    Attributes
    ----------
    bench : Bench
        The bench.
    settings : Settings
        How the study is made.
    widths_m : tuple of float
        Widths of the vane that are weighed, m.
    gases : tuple of str
        Gases that are weighed.
    rotors : dict of (float, str) to SizedRotor
        Each size in each gas.
    pressures : dict of (float, str) to ndarray
        Pressures of the sweep of each, Pa.
    calibration : dict of (float, str) to Calibration
        What the analysis of one sweep of each errs by.
    sweep_s : dict of (float, str) to float
        Length of the sweep of each, s.
    exponents : dict of str to float
        Exponent of each claim, by its name.
    left_out : tuple of str
        Sizes and gases that were left out, with the reason.
    """

    bench: Bench
    settings: Settings
    widths_m: tuple[float, ...]
    gases: tuple[str, ...]
    rotors: dict[tuple[float, str], SizedRotor]
    pressures: dict[tuple[float, str], Array]
    calibration: dict[tuple[float, str], Calibration]
    sweep_s: dict[tuple[float, str], float]
    exponents: dict[str, float]
    left_out: tuple[str, ...]

    def log_place(self, claim: str, width_m: float, gas: str) -> float:
        """Give ln(pressure of the optimum) by a claim; power laws pass through the middle of the model's sizes."""
        if claim == MODEL:
            return float(np.log(self.rotors[width_m, gas].pressure_pa))
        middle = float(np.mean(np.log(self.widths_m)))
        level = float(np.mean([np.log(self.rotors[w, gas].pressure_pa) for w in self.widths_m]))
        return level + self.exponents[claim] * float(np.log(width_m) - middle)

    def hours(self, widths_m: Sequence[float], rotors: int, sweeps: int) -> float:
        """Time of a design, h."""
        each = [
            self.settings.changeover_h
            + (len(self.gases) - 1) * _GAS_CHANGE_S / 3600
            + sum(sweeps * self.sweep_s[w, g] for g in self.gases) / 3600
            for w in widths_m
        ]
        return float(rotors * sum(each))

    @cached_property
    def designs(self) -> tuple[Design, ...]:
        """Every balanced design that fits the time, from two sizes up."""
        found = []
        for count in range(2, len(self.widths_m) + 1):
            for widths in itertools.combinations(self.widths_m, count):
                for rotors, sweeps in itertools.product(range(1, _MOST_ROTORS + 1), range(1, _MOST_SWEEPS + 1)):
                    hours = self.hours(widths, rotors, sweeps)
                    if hours <= self.settings.hours:
                        found.append(Design(widths, rotors, sweeps, hours))
        return tuple(found)

    @cached_property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Claims to be told apart, each as truth and as rival: all given, and the model's from those far off."""
        names = list(self.exponents)
        return tuple(
            (a, b)
            for a, b in itertools.permutations(names, 2)
            if MODEL not in (a, b) or abs(self.exponents[a] - self.exponents[b]) > _ALIKE
        )

    def study_errors(self, design: Design, studies: int, seed: int) -> tuple[Array, Array]:
        """Draw what simulated studies err by.

        Returns
        -------
        errors : array of shape (studies, sizes, rotors, gases)
            Error of ln(pressure of the optimum), mean over the sweeps in which one was found; nan without any.
        counts : array of the same shape
            Sweeps in which one was found.
        """
        random = np.random.default_rng([seed, 19, len(design.widths_m), design.rotors, design.sweeps])
        shape = (studies, len(design.widths_m), design.rotors, len(self.gases))
        errors, counts = np.empty(shape), np.empty(shape)
        made = random.standard_normal(shape[:3])
        for i, width in enumerate(design.widths_m):
            for g, gas in enumerate(self.gases):
                told = self.calibration[width, gas]
                drawn = random.choice(told.errors, (studies, design.rotors, design.sweeps))
                # A little smoothing keeps few trials from being seen as few values.
                drawn = (drawn + 0.3 * random.standard_normal(drawn.shape)) / np.sqrt(1 + 0.3**2)
                seen = random.random(drawn.shape) < told.found_share
                count = seen.sum(axis=2)
                mean = np.where(count > 0, np.sum(drawn * seen, axis=2) / np.maximum(count, 1), np.nan)
                errors[:, i, :, g] = told.bias + told.sd * mean + self.rotors[width, gas].rotor_scatter * made[:, i]
                counts[:, i, :, g] = count
        return errors, counts

    def power_of(self, design: Design, *, studies: int | None = None, seed: int | None = None) -> Rated:
        """Rate a design: the chance to give up each claim where another holds."""
        number = self.settings.studies if studies is None else studies
        errors, counts = self.study_errors(design, number, self.settings.seed if seed is None else seed)
        table: dict[str, dict[str, float]] = {}
        for truth in self.exponents:
            table[truth] = {}
            for rival in self.exponents:
                if rival != truth:
                    table[truth][rival] = float(np.mean(self.given_up(design, errors, counts, truth, rival)))
        slope_u = self._exponent_u(design, errors, counts)
        least = min((table[a][b] for a, b in self.pairs), default=0.0)
        return Rated(design, table, slope_u, least)

    def given_up(self, design: Design, errors: Array, counts: Array, truth: str, rival: str) -> NDArray[np.bool_]:
        """Whether each study gives up `rival`: its best slope along the way from rival to truth is too far from zero.

        Notes
        -----
        Each rotor counts once, with the mean of its gases, after each gas has lost its mean; its variance is that
        between rotors and that of its sweeps. The test is two-sided at the level of the settings.
        """
        way = np.array(
            [[self.log_place(truth, w, g) - self.log_place(rival, w, g) for g in self.gases] for w in design.widths_m]
        )
        slope, slope_u = self._slope(design, errors + way[None, :, None, :], counts, way.mean(axis=1))
        limit = float(norm.ppf(0.5 + self.settings.level / 2))
        with np.errstate(invalid="ignore"):
            return np.asarray(np.abs(slope) > limit * slope_u)

    def _slope(self, design: Design, seen: Array, counts: Array, along: Array) -> tuple[Array, Array]:
        """Weighted slope of each study's rotors along `along`, shape (sizes,), and its standard uncertainty."""
        good = counts > 0
        number = np.maximum(good.sum(axis=(1, 2), keepdims=True), 1)
        seen = seen - np.where(good, seen, 0.0).sum(axis=(1, 2), keepdims=True) / number
        gases = good.sum(axis=3)
        mean = np.where(gases > 0, np.where(good, seen, 0.0).sum(axis=3) / np.maximum(gases, 1), 0.0)
        scatter = np.array([np.mean([self.rotors[w, g].rotor_scatter for g in self.gases]) for w in design.widths_m])
        sweep = np.array([[self.calibration[w, g].sd for g in self.gases] for w in design.widths_m])
        of_sweeps = np.where(good, sweep[None, :, None, :] ** 2 / np.maximum(counts, 1), 0.0).sum(axis=3)
        variance = scatter[None, :, None] ** 2 + of_sweeps / np.maximum(gases, 1) ** 2
        weight = np.where(gases > 0, 1 / np.maximum(variance, 1e-12), 0.0)
        x = np.broadcast_to(along[None, :, None], mean.shape)
        total = np.maximum(weight.sum(axis=(1, 2)), 1e-300)
        centre = (weight * x).sum(axis=(1, 2)) / total
        x = x - centre[:, None, None]
        spread = (weight * x**2).sum(axis=(1, 2))
        told = spread > 1e-9
        slope = np.where(told, (weight * x * mean).sum(axis=(1, 2)) / np.where(told, spread, 1.0), 0.0)
        return slope, np.where(told, 1 / np.sqrt(np.where(told, spread, 1.0)), np.inf)

    def _exponent_u(self, design: Design, errors: Array, counts: Array) -> float:
        """Standard deviation of the exponent over the studies in which two sizes showed an optimum."""
        slope, slope_u = self._slope(design, errors, counts, np.log(np.array(design.widths_m)))
        told = np.isfinite(slope_u)
        return float(np.std(slope[told])) if told.sum() > 1 else 1e9

    @cached_property
    def rated(self) -> tuple[Rated, ...]:
        """All designs that fit, the best first: greatest least power, then fewest rotors, then shortest."""
        rough = [self.power_of(design, studies=min(1000, self.settings.studies)) for design in self.designs]
        order = sorted(
            rough,
            key=lambda one: (
                -round(one.least_power, 2), one.design.rotors * len(one.design.widths_m), one.design.hours
            ),
        )  # fmt: skip
        return tuple(order)

    @cached_property
    def best(self) -> Rated | None:
        """The design to take, rated with all studies; None where nothing fits the time.

        The fewest rotors, then the fewest hours, whose least power is enough (:data:`ENOUGH`): of three sizes or more
        if any such design is, since two sizes cannot show that the law bends. Where none is enough, the most powerful.
        """
        if not self.rated:
            return None
        enough = [one for one in self.rated if one.least_power >= ENOUGH]
        wide = [one for one in enough if len(one.design.widths_m) > 2]
        if not enough:
            return self.power_of(self.rated[0].design)
        least = min(wide or enough, key=lambda one: (one.design.rotors * len(one.design.widths_m), one.design.hours))
        return self.power_of(least.design)

    @property
    def scatter(self) -> float:
        """Mean scatter of ln(pressure of the optimum) between rotors made alike."""
        return float(np.mean([rotor.rotor_scatter for rotor in self.rotors.values()]))

    @property
    def sweep_u(self) -> float:
        """Mean standard deviation of ln(pressure of the optimum) from one sweep."""
        return float(np.mean([told.sd for told in self.calibration.values()]))

    @property
    def held(self) -> tuple[str, ...]:
        """What must be the same for all rotors."""
        return (
            "one sheet for all vanes: paint, thickness, the same batch of both",
            "the inner edge of every vane at the same distance from the axis",
            "lamp, its distance and its window; chamber, and where the rotor sits in it",
            "one gauge, with one zero taken each morning; the same bottle of gas",
            "the same pivot, or pivots of one make; the rotor hung plumb",
        )

    @property
    def modelled(self) -> tuple[str, ...]:
        """What changes with size all the same, and is in the model's own claim."""
        return (
            "mass and moment of inertia, and so the dwell at each pressure",
            "drag of the gas, which grows faster than the drive; the pivot's share shrinks with size",
            "temperature of the faces, since gas cools a wide vane less for each square centimetre",
            "the share of the thermal force at the edge",
            "the room: a wide vane sees its walls nearer",
        )

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the plan takes for granted."""
        s = self.settings
        return (
            f"A speed scatters by {100 * s.noise:g} % and a sweep has {s.readings} readings; one sweep then gives ln "
            f"of the best pressure within {self.sweep_u:.3f} (one standard deviation, itself known to "
            f"{100 / np.sqrt(2 * s.trials * len(self.rotors)):.0f} %, from {s.trials} whole analyses a rotor).",
            f"Rotors made alike differ by {self.scatter:.3f} in ln of the best pressure, by the forward model (lengths "
            f"{100 * LENGTHS_ALIKE:g} %, vane conductance {100 * CONDUCTANCE_ALIKE:g} %, emissivities "
            f"{EMISSIVITY_ALIKE:g}, pivots as bench.toml states).",
            "What the gauge has wrong is the same at all pressures that count, so that it moves all rotors alike.",
            "The shape of the curve is the model's whatever the claim: a claim moves it along ln p and no more.",
            f"A claim is given up at the {100 * s.level:g} % level, two-sided, the scatter being known beforehand.",
        )

    @property
    def falsified_by(self) -> tuple[str, ...]:
        """What would show the plan to be wrong."""
        return (
            f"Two rotors of one size and make whose best pressures differ by more than a factor "
            f"{np.exp(3 * np.sqrt(2) * np.hypot(self.scatter, self.sweep_u)):.2f}: then they are not alike.",
            "Two gases that give exponents further apart than their uncertainties: then size is not all that changed.",
            "A local exponent that differs between the small and the large pair of sizes: then no power law holds.",
            "Sweeps repeated on one rotor that scatter more than one sweep is said to.",
        )

    def as_plain(self) -> dict[str, Any]:
        """The plan as plain data with stable keys, SI.

        Returns
        -------
        widths_m, gases, settings : as in ScalingStudy
        claims : dict of str to float
            Exponent of each claim, by its name; `model` is that of the forward model.
        rotors : list of SizedRotor
            Each size in each gas, by the forward model.
        sweeps : list of dict
            The sweep of each size in each gas, and what its analysis errs by.
        sweeps[].width_m, sweeps[].gas : as in SizedRotor
        sweeps[].low_pa : float
            Lowest pressure of the sweep, Pa.
        sweeps[].high_pa : float
            Highest pressure of the sweep, Pa.
        sweeps[].readings : int
            Readings in the sweep.
        sweeps[].sweep_s : float
            Length of the sweep, s.
        sweeps[].found_share : as in Calibration
        sweeps[].log_pressure_u : float
            Standard deviation of ln(found / true pressure) from one sweep.
        sweeps[].log_pressure_bias : float
            Mean of ln(found / true pressure) from one sweep.
        rotor_scatter_log_pressure : float
            Mean scatter of ln(pressure of the optimum) between rotors made alike.
        design : Rated or None
            The design to take; null where none fits the time.
        other_designs : list of Rated
            The best design for each number of rotors, fewest first.
        left_out, held, modelled, assumptions, falsified_by : as in ScalingStudy
        """
        best = self.best
        return {
            "widths_m": list(self.widths_m),
            "gases": list(self.gases),
            "settings": vars(self.settings),
            "claims": dict(self.exponents),
            "rotors": [rotor.as_plain() for rotor in self.rotors.values()],
            "sweeps": [
                {
                    "width_m": w,
                    "gas": g,
                    "low_pa": float(self.pressures[w, g][0]),
                    "high_pa": float(self.pressures[w, g][-1]),
                    "readings": int(self.pressures[w, g].size),
                    "sweep_s": self.sweep_s[w, g],
                    "found_share": self.calibration[w, g].found_share,
                    "log_pressure_u": self.calibration[w, g].sd,
                    "log_pressure_bias": self.calibration[w, g].bias,
                }
                for w, g in self.rotors
            ],
            "rotor_scatter_log_pressure": self.scatter,
            "design": None if best is None else best.as_plain(),
            "other_designs": [one.as_plain() for one in self.others],
            "left_out": list(self.left_out),
            "held": list(self.held),
            "modelled": list(self.modelled),
            "assumptions": list(self.assumptions),
            "falsified_by": list(self.falsified_by),
        }

    @property
    def others(self) -> tuple[Rated, ...]:
        """The best design for each number of rotors, fewest first."""
        found: dict[int, Rated] = {}
        for one in self.rated:
            found.setdefault(one.design.rotors * len(one.design.widths_m), one)
        return tuple(found[count] for count in sorted(found))


def plan_scaling_study(
    bench: Bench,
    widths_m: Sequence[float],
    gases: Sequence[str] | None = None,
    *,
    settings: Settings | None = None,
    exponents: Sequence[float] = DEFAULT_EXPONENTS,
    processes: int | None = None,
) -> ScalingStudy:
    """Plan a study that tells how the best pressure goes with the size of the vane.

    Parameters
    ----------
    bench : Bench
        The bench; its rotor gives everything but the size.
    widths_m : sequence of float
        Two or more candidate widths, m.
    gases : sequence of str, optional
        Gases; that of the bench where absent.
    settings : Settings, optional
        Time, readings, scatter, level, seed.
    exponents : sequence of float
        Claims: n in ``p proportional to width**n``. That of the model is added.
    processes : int, optional
        How many to use; the result does not depend on it.

    Raises
    ------
    InputError
        Fewer than two widths, a rotor that cannot be, or sweeps that show no optimum.
    """
    chosen = settings or Settings()
    widths = tuple(sorted({float(width) for width in widths_m}))
    if len(widths) < 2:
        raise InputError(f"{len(widths)} width shows no law", fix="give two or more, such as '8 mm,12 mm,20 mm'")
    if not exponents:
        raise InputError("no claims were given", fix="give exponents, such as -1,0")
    named = tuple(gases) if gases else (_own_gas(bench),)
    rotors = {(w, g): sized_rotor(bench, w, g, seed=chosen.seed) for w in widths for g in named}
    claims = {f"{n:g}": float(n) for n in exponents} | {MODEL: _model_exponent(rotors, widths, named)}
    plan = ScalingStudy(bench, chosen, widths, named, rotors, {}, {}, {}, claims, ())
    left_out = []
    for key, rotor in rotors.items():
        places = [np.exp(plan.log_place(claim, *key)) for claim in claims]
        plan.pressures[key] = _pressures(rotor, min(places), max(places), chosen.readings)
        if float(np.exp(rotor.curve.log_grid[-1])) < 2 * max(places):
            left_out.append(f"{1e3 * key[0]:g} mm in {key[1]}: the response of the gas ends close above some claims")
        plan.sweep_s[key] = sweep_steps(bench_times(rotor.bench), plan.pressures[key][::-1])[-1].ends_s
        if not np.isfinite(plan.sweep_s[key]):
            raise InputError(
                f"the leak spoils the gas at {plan.pressures[key][0]:.2g} Pa", key="vacuum.leak",
                fix="find the leak, or leave out the widest vanes",
            )  # fmt: skip
    calibrated = calibrate(list(rotors.values()), list(plan.pressures.values()), chosen, processes)
    plan.calibration.update(zip(rotors, calibrated, strict=True))
    return ScalingStudy(
        bench, chosen, widths, named, rotors, plan.pressures, plan.calibration, plan.sweep_s, claims, tuple(left_out)
    )


def _own_gas(bench: Bench) -> str:
    species = bench.gas.species
    if not isinstance(species, str):
        raise InputError("the gas of the bench is a mixture", key="gas.species", fix="name gases with --gases")
    return species


def _model_exponent(
    rotors: dict[tuple[float, str], SizedRotor], widths: tuple[float, ...], gases: tuple[str, ...]
) -> float:
    x = np.log(widths) - np.mean(np.log(widths))
    slopes = [x @ np.log([rotors[w, g].pressure_pa for w in widths]) / (x @ x) for g in gases]
    return float(np.mean(slopes))


def brute_force_power(study: ScalingStudy, design: Design, truth: str, rival: str, studies: int, seed: int) -> float:
    """Power by simulating every sweep of every study and reading it by the whole analysis; slow, for a check.

    Parameters
    ----------
    study, design
        The plan and the design.
    truth, rival : str
        The claim that holds and the one to be given up.
    studies, seed : int
        Number of studies and their seed.

    Raises
    ------
    EdgewindError
        A claim that the plan does not know.
    """
    for claim in (truth, rival):
        if claim not in study.exponents:
            raise EdgewindError(f"there is no claim '{claim}'")
    shape = (studies, len(design.widths_m), design.rotors, len(study.gases))
    errors, counts = np.full(shape, np.nan), np.zeros(shape)
    for k in range(studies):
        random = np.random.default_rng([seed, 23, k])
        for i, width in enumerate(design.widths_m):
            for r in range(design.rotors):
                made = random.standard_normal()
                for g, gas in enumerate(study.gases):
                    rotor = study.rotors[width, gas]
                    claimed = study.log_place(truth, width, gas) - float(np.log(rotor.pressure_pa))
                    shift = claimed + rotor.rotor_scatter * made
                    found = []
                    for _ in range(design.sweeps):
                        data = simulated_sweep(
                            rotor.curve, study.pressures[width, gas], study.settings.noise, random, shift
                        )
                        found.append(optimum_error(rotor.curve, data, claimed, seed=k))
                    good = [error for error in found if np.isfinite(error)]
                    counts[k, i, r, g] = len(good)
                    errors[k, i, r, g] = np.mean(good) if good else np.nan
    return float(np.mean(study.given_up(design, errors, counts, truth, rival)))
