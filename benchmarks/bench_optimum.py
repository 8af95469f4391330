"""The optimum: coverage and width of its interval, and false findings in sweeps without a maximum.

Every sweep is invented from its seed, so the figures repeat exactly. EDGEWIND_SHAPES sets the number of sweeps of each
class of shapes, EDGEWIND_SHAPES_FIRST the first seed. Kernel and basis functions of the curve were chosen on others.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from multiprocessing import get_context
from typing import Any

import numpy as np
from curve_shapes import CLASSES, SCATTERED_DESIGNS, SCATTERED_TOP, scattered_sweep, sweep_of
from measured import Row, row, spent
from scipy.stats import norm
from support.sweeps import (
    OPEN_SHAPES,
    PEAKED_SHAPES,
    Bench,
    Example,
    Truth,
    open_example,
    peaked_example,
    take_readings,
)

from edgewind.evidence.curve import fit_curve
from edgewind.evidence.optimum import Optimum, alternates, find_optimum
from edgewind.evidence.sweep_data import SweepData
from edgewind.rotor.optimum import highest_places

PEAKED_SEED, OPEN_SEED, LAG_SEED, SCATTERED_SEED = 20_000, 40_000, 60_000, 90_000
SCATTERED_NOISE = (0.30, 0.15, 0.10)
SHAPE_COUNT = int(os.environ.get("EDGEWIND_SHAPES", "200"))
SHAPE_SEED = int(os.environ.get("EDGEWIND_SHAPES_FIRST", "70000"))


def oracle_width(example: Example, common: float, level: float = 0.90) -> float:
    """Return the width in ln(pressure) of an interval that uses the true family of curves.

    Cramér-Rao bound of the place of the maximum in a least-squares fit of place, width, skew and height, with the
    actual noise of the speeds and of the pressures, and a common uncertainty added.
    """
    truth, data, bench = example.truth, example.data, example.bench
    parameters = ("place", "width", "skew", "top")
    x = data.log_pressure

    def derivative(name: str) -> Any:
        step = 1e-4 * (truth.top if name == "top" else 1.0)
        above, below = (replace(truth, **{name: getattr(truth, name) + sign * step}) for sign in (1, -1))
        return (above.speed(x) - below.speed(x)) / (2 * step)

    jacobian = np.column_stack([derivative(name) for name in parameters])
    floor = (0.005 if bench.proportional else bench.noise) * truth.top
    speed_sd = np.hypot(floor, bench.noise * truth.speed(x)) if bench.proportional else floor
    sd = np.hypot(speed_sd, bench.pressure_noise * jacobian[:, 0])
    weighted = jacobian / np.broadcast_to(sd, x.shape)[:, None]
    place_sd = np.sqrt(np.linalg.pinv(weighted.T @ weighted)[0, 0])
    return float(2 * norm.ppf(0.5 + level / 2) * np.hypot(place_sd, common))


def study_peaked(seed: int) -> Row:
    """Study one sweep with a maximum."""
    example = peaked_example(seed)
    optimum = find_optimum(example.data)
    low, high = np.quantile(np.log(optimum.draws_pa), (0.05, 0.95))
    return {
        "shape": example.truth.shape,
        "noise": example.bench.noise,
        "readings": example.bench.readings,
        "sweeps": example.bench.sweeps,
        "understated": example.bench.understated,
        "found": optimum.found,
        "holds": bool(low <= example.truth.place <= high),
        "width": float(high - low),
        "oracle": oracle_width(example, example.bench.common),
        "own_width": _own_width(optimum),
        "own_oracle": oracle_width(example, 0.0),
        "differ": optimum.sweeps is not None and optimum.sweeps.verdict == "differ",
    }


def _own_width(optimum: Optimum) -> float:
    """Return the width in ln(pressure) of the 90 % interval by the curve alone, without the common uncertainty."""
    assert optimum.curve is not None
    places = highest_places(optimum.curve.log_pressure, optimum.curve.draws)
    return float(np.ptp(np.quantile(places, (0.05, 0.95))))


def study_open(seed: int) -> Row:
    """Study one sweep without a maximum inside its range."""
    example = open_example(seed)
    optimum = find_optimum(example.data)
    low, high = example.truth.speed([example.bench.low, example.bench.high])
    end = "high" if high > low else "low"
    right = ("flat within noise",) if low == high else (f"peak at the {end} edge", f"no clear fall at the {end} edge")
    return {"shape": example.truth.shape, "found": optimum.found, "right": optimum.reason in right}


def study_scattered(design: str, noise: float, seed: int) -> Row:
    """Study one sweep whose readings scatter by several times what they state."""
    optimum = find_optimum(scattered_sweep(design, noise, seed))
    low, high = optimum.interval_pa or (np.nan, np.nan)
    holds = bool(low <= np.exp(SCATTERED_TOP) <= high)
    return {
        "design": design,
        "noise": noise,
        "false": (optimum.found and not holds) or optimum.reason.startswith("peak at"),
        "right": holds,
    }


def study_lagging(seed: int) -> Row:
    """Study an up and a down sweep whose gauge lags: slightly on even seeds, strongly on odd ones."""
    random = np.random.default_rng([seed, 3])
    lag = random.uniform(0.02, 0.08) if seed % 2 == 0 else random.uniform(0.4, 0.6)
    truth = Truth("balance", random.uniform(-1, 1), random.uniform(0.5, 0.9), 0.0, 10.0)
    bench = Bench(readings=32, sweeps=2, noise=0.02, lag=lag)
    optimum = find_optimum(take_readings(truth, bench, random))
    low, high = np.quantile(np.log(optimum.draws_pa), (0.05, 0.95))
    return {
        "little": seed % 2 == 0,
        "found": optimum.found,
        "holds": bool(low <= truth.place <= high),
        "drift": optimum.reason == "drift between sweeps",
    }


def study_shape(name: str, seed: int) -> Row:
    """Study the maximum of one sweep of a class by the curve alone, whether or not a study would claim it."""
    data, top, side = sweep_of(name, seed)
    began = time.process_time()
    curve = fit_curve(data)
    seconds = time.process_time() - began
    places = highest_places(curve.log_pressure, curve.draws)
    low, lower, middle, upper, high = np.quantile(places, (0.05, 0.25, 0.5, 0.75, 0.95))
    return {
        "class": name,
        "bias": float(side * (middle - top)),
        "bias_in_sd": float(side * (middle - top) / places.std()),
        "holds": bool(low <= top <= high),
        "holds_50": bool(lower <= top <= upper),
        "width": float(high - low),
        "refused": alternates(data),
        "seconds": seconds,
    }


def shape_rows(studied: list[Row]) -> list[Row]:
    """Return bias towards the gentler side, to which smoothing shifts a maximum, coverage and width of each class."""
    rows: list[Row] = []
    for name in CLASSES:
        own = [one for one in studied if one["class"] == name]
        if not own:
            continue
        bias = np.array([one["bias"] for one in own])
        for about, value, unit, target in (
            (
                "bias to the gentler side, mean",
                float(np.mean([one["bias_in_sd"] for one in own])),
                "sd",
                "-0.25 to 0.25",
            ),
            ("the same, of the pressure", 100 * float(bias.mean()), "%", ""),
            ("error of the pressure, root mean square", 100 * float(np.sqrt(np.mean(bias**2))), "%", ""),
            ("50 % intervals that hold the truth", percent(own, "holds_50"), "%", ""),
            ("90 % intervals that hold the truth", percent(own, "holds"), "%", "86 to 95"),
            ("mean width of them in ln(pressure)", float(np.mean([one["width"] for one in own])), "1", ""),
        ):
            rows.append(row(f"shape {name}: {about}", round(value, 3), unit, target))
    rows.append(row("shapes: taken for readings that alternate", percent(studied, "refused"), "%", "1 or less"))
    seconds = float(np.mean([one["seconds"] for one in studied]))
    return [*rows, row("shapes: processor time of a curve, mean", round(seconds, 3), "s", "")]


def seconds_per_study(readings: int, repeats: int) -> float:
    """Return the least processor time, s, of curve and optimum of an up and a down sweep."""
    data: SweepData = take_readings(
        Truth("balance", 0.0, 0.8, 0.0, 10.0), Bench(readings=readings, sweeps=2), np.random.default_rng(0)
    )
    return min(spent(lambda: find_optimum(data), repeats, time.process_time))


def percent(rows: Sequence[Row], key: str, keep: Callable[[Row], bool] = lambda row: True) -> float:
    """Return the percentage of the rows kept in which `key` is true; nan if there are none."""
    kept = [row[key] for row in rows if keep(row)]
    return 100.0 * float(np.mean(kept)) if kept else float("nan")


def _strata(peaked: list[Row]) -> dict[str, Callable[[Row], bool]]:
    noises = {"1 to 2 %": (0.01, 0.02), "2 to 5 %": (0.02, 0.05), "5 to 10 %": (0.05, 0.11)}
    counts = {"16 to 23": (16, 24), "24 to 31": (24, 32), "32 to 40": (32, 41)}
    return (
        {f"shape {shape}": lambda row, shape=shape: row["shape"] == shape for shape in PEAKED_SHAPES}
        | {f"noise {name}": lambda row, at=at: at[0] <= row["noise"] < at[1] for name, at in noises.items()}
        | {f"readings {name}": lambda row, at=at: at[0] <= row["readings"] < at[1] for name, at in counts.items()}
        | {f"sweeps {number}": lambda row, number=number: row["sweeps"] == number for number in (1, 2)}
        | {"noise understated twofold": lambda row: row["understated"] > 1}
    )


def run(full: bool = True) -> list[Row]:
    """Measure coverage, false findings, reasons, widths and time; small counts unless `full`."""
    count = 200 if full else 20
    with get_context("spawn").Pool(2) as pool:
        peaked = pool.map(study_peaked, range(PEAKED_SEED, PEAKED_SEED + count), chunksize=5)
        empty = pool.map(study_open, range(OPEN_SEED, OPEN_SEED + count), chunksize=5)
        lagging = pool.map(study_lagging, range(LAG_SEED, LAG_SEED + count // 2), chunksize=5)
        scattered = pool.starmap(
            study_scattered,
            [
                (design, noise, SCATTERED_SEED + seed)
                for design in SCATTERED_DESIGNS
                for noise in SCATTERED_NOISE
                for seed in range(60 if full else 4)
            ],
            chunksize=5,
        )
        seeds = range(SHAPE_SEED, SHAPE_SEED + (SHAPE_COUNT if full else 4))
        shaped = pool.starmap(study_shape, [(name, seed) for name in CLASSES for seed in seeds], chunksize=5)
    found = [row for row in peaked if row["found"]]
    rows: list[Row] = []

    def note(name: str, value: float, unit: str = "%", target: str = "") -> None:
        rows.append(row(name, round(value, 3), unit, target))

    note("optimum: 90 % intervals that hold the truth", percent(found, "holds"), target="84 to 96")
    for name, keep in _strata(found).items():
        note(f"optimum: intervals that hold the truth, {name}", percent(found, "holds", keep))
    note("optimum: maxima found, of peaked sweeps", percent(peaked, "found"), target="90 or more")
    note("optimum: no maximum claimed, of monotone or flat sweeps", 100 - percent(empty, "found"), target="95 or more")
    for shape in OPEN_SHAPES:
        note(f"optimum: right reason, {shape}", percent(empty, "right", lambda row, s=shape: row["shape"] == s))
    ratio = float(np.median([row["width"] / row["oracle"] for row in found]))
    note("optimum: width over that of a fit of the true family, median", ratio, "1", "below 2")
    ratio = float(np.median([row["own_width"] / row["own_oracle"] for row in found]))
    note("optimum: the same, without the common uncertainty", ratio, "1", "below 3")
    note("optimum: median width in ln(pressure)", float(np.median([row["width"] for row in found])), "1")
    two = [row for row in peaked if row["sweeps"] == 2]
    note("sweeps: reported as different although they are not", percent(two, "differ"), target="3 or less")
    little, much = ([row for row in lagging if row["little"] is small] for small in (True, False))
    note("sweeps: small lag, maximum found", percent(little, "found"), target="90 or more")
    note("sweeps: small lag, interval holds the truth", percent(little, "holds"), target="84 or more")
    note("sweeps: large lag, called drift between sweeps", percent(much, "drift"), target="90 or more")
    for design in SCATTERED_DESIGNS:
        for noise in SCATTERED_NOISE:
            own = [row for row in scattered if row["design"] == design and row["noise"] == noise]
            name = f"scatter {100 * noise:g} % stated as 2 %, {design}"
            note(f"{name}: interval that misses, or edge", percent(own, "false"), target="10 or less")
            note(f"{name}: interval that holds the truth", percent(own, "right"))
    for readings, target in ((40, "below 1"), (320, "below 5")):
        seconds = seconds_per_study(readings, 5 if full else 1)
        note(f"optimum: processor time of curve and optimum of {readings} readings", seconds, "s", target)
    return rows + shape_rows(shaped)
