"""A study of a scaling claim: how many rotors and sweeps distinguish one power of the size from another.

Each candidate rotor is predicted by the forward model. Sweeps of it are simulated and analysed like real ones, in
processes; claimed optima, their errors and stated uncertainties are resampled in simulated studies, each with its own
rotors. A study rejects a claim by those intervals alone, without other knowledge of the scatter.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.plan.dwell import bench_times, sweep_steps
from edgewind.plan.exponent_test import exponent_weights, mean_of_sweeps
from edgewind.plan.sized import SizedRotor, sized_rotor
from edgewind.plan.sweep_errors import Calibration, Trials, calibrate, read_trials, standing

Array = NDArray[np.float64]

MODEL = "model"
DEFAULT_EXPONENTS = (-2.0, -1.0, -0.5, 0.0)
# A sweep extends by this factor below the lowest and above the highest optimum of all claims.
REACH = 5.0
_GAS_CHANGE_S = 900.0
_MOST_ROTORS, _MOST_SWEEPS = 5, 4
# A claim nearer than this to the exponent of the model need not be distinguished when designs are ranked.
_ALIKE = 0.2
# Sufficient least power: the design with the fewest rotors that reaches it is recommended.
ENOUGH = 0.9
# Parts of the simulated sweeps that are left out in turn for the uncertainty of a power.
_PARTS = 6


@dataclass(frozen=True)
class Settings:
    """Settings of a study.

    Attributes
    ----------
    days : float
        Days available.
    hours_a_day : float
        Hours of work a day.
    changeover_h : float
        Time to vent, change the rotor and pump again, h.
    readings : int
        Readings in a sweep.
    noise : float
        Relative scatter of a speed.
    level : float
        Confidence at which a claim is rejected.
    trials : int
        Sweeps of each candidate in each gas that are simulated and analysed in full.
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
    trials: int = 40
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
                raise InputError(f"a study cannot be planned with {what}", fix=fix)

    @property
    def hours(self) -> float:
        """Available time, h."""
        return self.days * self.hours_a_day


@dataclass(frozen=True)
class Design:
    """A design: widths, number of rotors, number of sweeps.

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
class DesignPower:
    """A design with its power.

    Attributes
    ----------
    design : Design
        The design.
    power : dict of str to dict of str to float
        Probability to reject the second claim if the first is true.
    exponent_u : float
        Standard uncertainty that the exponent would have.
    least_power : float
        Least probability in `power`, over claims that have to be distinguished.
    least_power_u : float or None
        Standard uncertainty of `least_power`, from the number of simulated sweeps; None if not computed.
    """

    design: Design
    power: dict[str, dict[str, float]]
    exponent_u: float
    least_power: float
    least_power_u: float | None = None


def _pressures(rotor: SizedRotor, low: float, high: float, readings: int) -> Array:
    """Return the pressures of a sweep, Pa: evenly spaced in the logarithm, within the range of the curve."""
    least, most = np.exp(rotor.curve.log_grid[0]), np.exp(rotor.curve.log_grid[-1])
    return np.geomspace(max(low / REACH, least), min(high * REACH, most), readings)


@dataclass(frozen=True, eq=False)
class ScalingStudy:
    """A planned study; see :func:`plan_scaling_study`.

    Attributes
    ----------
    bench : Bench
        The bench.
    settings : Settings
        Settings of the study.
    widths_m : tuple of float
        Widths of the vane that are compared, m.
    gases : tuple of str
        Gases that are compared.
    rotors : dict of (float, str) to SizedRotor
        Each size in each gas.
    pressures : dict of (float, str) to ndarray
        Pressures of the sweep of each, Pa.
    trials : dict of (float, str) to Trials
        Simulated and analysed sweeps of each.
    calibration : dict of (float, str) to Calibration
        Errors of the analysis of one sweep of each.
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
    trials: dict[tuple[float, str], Trials]
    calibration: dict[tuple[float, str], Calibration]
    sweep_s: dict[tuple[float, str], float]
    exponents: dict[str, float]
    left_out: tuple[str, ...]

    def log_place(self, claim: str, width_m: float, gas: str) -> float:
        """Return ln(pressure of the optimum) by a claim; power laws pass through the middle of the model's sizes."""
        if claim == MODEL:
            return float(np.log(self.rotors[width_m, gas].pressure_pa))
        middle = float(np.mean(np.log(self.widths_m)))
        level = float(np.mean([np.log(self.rotors[w, gas].pressure_pa) for w in self.widths_m]))
        return level + self.exponents[claim] * float(np.log(width_m) - middle)

    def hours(self, widths_m: Sequence[float], rotors: int, sweeps: int) -> float:
        """Return the time of a design, h."""
        each = [
            self.settings.changeover_h
            + (len(self.gases) - 1) * _GAS_CHANGE_S / 3600
            + sum(sweeps * self.sweep_s[w, g] for g in self.gases) / 3600
            for w in widths_m
        ]
        return float(rotors * sum(each))

    @cached_property
    def designs(self) -> tuple[Design, ...]:
        """Balanced designs that fit the time, from two sizes up."""
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
        """Pairs of true and rival claims to distinguish: all given ones, and that of the model from distant ones."""
        names = list(self.exponents)
        return tuple(
            (a, b)
            for a, b in itertools.permutations(names, 2)
            if MODEL not in (a, b) or abs(self.exponents[a] - self.exponents[b]) > _ALIKE
        )

    def study_errors(self, design: Design, studies: int, seed: int, truth: str) -> tuple[Array, Array]:
        """Draw the errors of the sweeps of simulated studies for a true claim.

        Returns
        -------
        error : array of shape (studies, sizes, rotors, gases)
            Error of ln(pressure of the optimum), mean over the sweeps that showed one.
        variance : array of the same shape
            Its variance as the analysis states it, without the scatter between rotors; infinite if no sweep showed one.
        """
        random = np.random.default_rng([seed, 19, len(design.widths_m), design.rotors, design.sweeps])
        shape = (studies, len(design.widths_m), design.rotors, len(self.gases))
        errors, variances = np.empty(shape), np.empty(shape)
        made = random.standard_normal(shape[:3])
        for i, width in enumerate(design.widths_m):
            for g, gas in enumerate(self.gases):
                rotor, pressures = self.rotors[width, gas], self.pressures[width, gas]
                off = rotor.rotor_scatter * made[:, i]
                claimed = self.log_place(truth, width, gas) - float(np.log(rotor.pressure_pa))
                out = standing(rotor.curve, pressures, self.settings.noise, claimed + off)
                error, u = self.calibration[width, gas].draw(out, design.sweeps, random)
                mean, variances[:, i, :, g] = mean_of_sweeps(error, u)
                errors[:, i, :, g] = off + mean
        return errors, variances

    def power_of(self, design: Design, *, studies: int | None = None, seed: int | None = None) -> DesignPower:
        """Return the power of a design: the probability to reject each claim if another is true."""
        number = self.settings.studies if studies is None else studies
        start = self.settings.seed if seed is None else seed
        table: dict[str, dict[str, float]] = {}
        exponent_u = 1e9
        for truth in self.exponents:
            errors, variances = self.study_errors(design, number, start, truth)
            rivals = [rival for rival in self.exponents if rival != truth]
            rejected, u = self.rejected(design, errors, variances, truth, rivals)
            table[truth] = dict(zip(rivals, rejected.mean(axis=0).tolist(), strict=True))
            if truth == MODEL and np.isfinite(u).any():
                exponent_u = float(np.median(u[np.isfinite(u)]))
        least = min((table[a][b] for a, b in self.pairs), default=0.0)
        return DesignPower(design, table, exponent_u, least)

    def rejected(
        self, design: Design, errors: Array, variances: Array, truth: str, rivals: Sequence[str]
    ) -> tuple[NDArray[np.bool_], Array]:
        """Return whether each study rejects each rival, by the difference of the exponents.

        Returns
        -------
        rejected : array of bool, shape (studies, rivals)
            Two-sided, at the level of the settings; never if fewer than two sizes showed an optimum.
        u : array of shape (studies,)
            Standard uncertainty of the exponent as each study states it: from the stated uncertainties of its sweeps
            and the scatter between rotors that the model expects. See :func:`exponent_weights`.
        """
        scatter = np.array([[self.rotors[w, g].rotor_scatter for g in self.gases] for w in design.widths_m])
        weights, u = exponent_weights(np.log(np.array(design.widths_m)), variances, scatter)
        limit = float(ndtri(0.5 + self.settings.level / 2))
        seen = (weights * errors).sum(axis=(1, 2, 3))
        found = []
        for rival in rivals:
            apart = np.array(
                [
                    [self.log_place(truth, w, g) - self.log_place(rival, w, g) for g in self.gases]
                    for w in design.widths_m
                ]
            )
            found.append(np.abs(seen + np.einsum("knrg,ng->k", weights, apart)) > limit * u)
        return np.array(found).T.reshape(u.size, len(rivals)), u

    def with_doubt(self, rated: DesignPower) -> DesignPower:
        """Add the uncertainty of the least power: jackknife over parts of the simulated sweeps."""
        if rated.least_power_u is not None:
            return rated
        least = []
        for part in range(_PARTS):
            try:
                fewer = calibrate([one.without(part, _PARTS) for one in self.trials.values()])
            except InputError:
                return rated
            left = replace(self, calibration=dict(zip(self.trials, fewer, strict=True)))
            least.append(left.power_of(rated.design).least_power)
        return replace(rated, least_power_u=float(np.sqrt((_PARTS - 1) * np.var(least))))

    @cached_property
    def rated(self) -> tuple[DesignPower, ...]:
        """All designs that fit the time, by greatest least power, then fewest rotors, then shortest time."""
        rough = [self.power_of(design, studies=min(1000, self.settings.studies)) for design in self.designs]
        order = sorted(
            rough,
            key=lambda one: (
                -round(one.least_power, 2), one.design.rotors * len(one.design.widths_m), one.design.hours
            ),
        )  # fmt: skip
        return tuple(order)

    @cached_property
    def best(self) -> DesignPower | None:
        """The recommended design, evaluated with all studies; None if none fits the time.

        The fewest rotors, then the fewest hours, whose least power is enough (:data:`ENOUGH`): of three sizes or more
        if possible, since two sizes cannot show a curvature. If none is enough, the most powerful.
        """
        if not self.rated:
            return None
        enough = [one for one in self.rated if one.least_power >= ENOUGH]
        wide = [one for one in enough if len(one.design.widths_m) > 2]
        if not enough:
            return self.with_doubt(self.power_of(self.rated[0].design))
        least = min(wide or enough, key=lambda one: (one.design.rotors * len(one.design.widths_m), one.design.hours))
        return self.with_doubt(self.power_of(least.design))

    @property
    def scatter(self) -> float:
        """Mean scatter of ln(pressure of the optimum) between rotors of the same design."""
        return float(np.mean([rotor.rotor_scatter for rotor in self.rotors.values()]))

    @property
    def sweep_u(self) -> float:
        """Stated standard uncertainty of ln(pressure of the optimum) from one sweep, mean over the rotors."""
        return float(np.mean([one.u for one in self.calibration.values()]))

    @property
    def sweep_sd(self) -> float:
        """Actual scatter of ln(pressure of the optimum) from one sweep, mean over the rotors."""
        return float(np.mean([one.sd * one.u for one in self.calibration.values()]))

    @property
    def found_share(self) -> float:
        """Share of the simulated sweeps that showed an optimum."""
        return float(np.mean([one.found_share for one in self.calibration.values()]))

    @property
    def others(self) -> tuple[DesignPower, ...]:
        """The best design for each number of rotors, fewest first."""
        found: dict[int, DesignPower] = {}
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
    """Plan a study of how the best pressure depends on the size of the vane.

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
        Number of processes; the result does not depend on it.

    Raises
    ------
    InputError
        Fewer than two widths, an impossible rotor, or sweeps that show no optimum.
    """
    chosen = settings or Settings()
    widths = tuple(sorted({float(width) for width in widths_m}))
    if len(widths) < 2:
        raise InputError("one width cannot show a power law", fix="give two or more, such as '8 mm,12 mm,20 mm'")
    if not exponents:
        raise InputError("no claims were given", fix="give exponents, such as -1,0")
    named = tuple(gases) if gases else (_own_gas(bench),)
    rotors = {(w, g): sized_rotor(bench, w, g, seed=chosen.seed) for w in widths for g in named}
    claims = {f"{n:g}": float(n) for n in exponents} | {MODEL: _model_exponent(rotors, widths, named)}
    plan = ScalingStudy(bench, chosen, widths, named, rotors, {}, {}, {}, {}, claims, ())
    left_out, reach = [], []
    for key, rotor in rotors.items():
        places = [np.exp(plan.log_place(claim, *key)) for claim in claims]
        low, high = np.log([min(places), max(places)]) - np.log(rotor.pressure_pa)
        reach.append((float(low) - 2 * rotor.rotor_scatter, float(high) + 2 * rotor.rotor_scatter))
        plan.pressures[key] = _pressures(rotor, min(places), max(places), chosen.readings)
        if float(np.exp(rotor.curve.log_grid[-1])) < 2 * max(places):
            left_out.append(f"{1e3 * key[0]:g} mm in {key[1]}: the response of the gas ends close above some claims")
        plan.sweep_s[key] = sweep_steps(bench_times(rotor.bench), plan.pressures[key][::-1])[-1].ends_s
        if not np.isfinite(plan.sweep_s[key]):
            raise InputError(
                f"the leak contaminates the gas at {plan.pressures[key][0]:.2g} Pa", key="vacuum.leak",
                fix="find the leak, or leave out the widest vanes",
            )  # fmt: skip
    curves = [rotor.curve for rotor in rotors.values()]
    read = read_trials(
        curves, list(plan.pressures.values()), reach, chosen.noise, chosen.trials, chosen.seed, processes
    )
    plan.trials.update(zip(rotors, read, strict=True))
    plan.calibration.update(zip(rotors, calibrate(read), strict=True))
    return replace(plan, left_out=tuple(left_out))


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
