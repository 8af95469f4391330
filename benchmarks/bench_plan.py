"""Readings that an adaptive sweep needs against an evenly spaced one, and the coverage of its interval.

On each invented bench the width of the interval of an evenly spaced log sweep of 24 readings is the target. The
adaptive sweep continues, by the same rules as ``edgewind record --adaptive``, until its interval is as narrow. Every
bench comes from its seed, so the figures repeat exactly.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from multiprocessing import get_context

import numpy as np
from measured import Row, row, spent
from support.adaptive import EVEN, MOST, binomial_interval, race
from support.sweeps import Bench, Truth, take_readings

from edgewind.plan import propose

SEED = 80_000


def seconds_per_proposal(repeats: int) -> float:
    """Return the least processor time of one proposal from 30 readings, the optimum included, s."""
    truth, bench = Truth("balance", 0.0, 0.8, 0.0, 10.0), Bench(readings=30)
    data = take_readings(truth, bench, np.random.default_rng(0))
    return min(spent(lambda: propose(data, target="5%"), repeats, time.process_time))


def run(full: bool = True) -> list[Row]:
    """Compare both sweeps on 100 benches, on eight unless `full`."""
    count = 100 if full else 8
    with get_context("spawn").Pool(2) as pool:
        told = pool.map(race, range(SEED, SEED + count), chunksize=1)
    raced = [row for row in told if row is not None]
    rows: list[Row] = []

    def note(name: str, value: float, unit: str = "1", target: str = "") -> None:
        rows.append(row(name, round(float(value), 3), unit, target))

    note("plan: benches on which the even sweep of 24 finds an optimum", len(raced), "")
    for key, words in (("first", "first interval as narrow"), ("stop", "confirmed by one more reading")):
        ratio = np.array([row.get(key, MOST + 1) for row in raced]) / EVEN
        note(f"plan: readings over those of the even sweep, {words}, median", np.median(ratio), target="0.6 or less")
        note(f"plan: the same, mean ({MOST + 1} readings if never reached)", ratio.mean())
        note("plan: the same, 10th percentile", np.quantile(ratio, 0.1))
        note("plan: the same, 90th percentile", np.quantile(ratio, 0.9))
        note("plan: benches with a ratio of 0.6 or less", 100 * np.mean(ratio <= 0.6), "%")
        there = [row for row in raced if key in row]
        hits = sum(row[f"{key} holds"] for row in there)
        low, high = binomial_interval(hits, len(there))
        note(f"plan: 90 % intervals that hold the truth, {words}", 100 * hits / len(there), "%", "holds 90")
        note("plan: its 95 % binomial interval, lower", low, "%")
        note("plan: its 95 % binomial interval, upper", high, "%")
        error = np.median([row[f"{key} error"] for row in there]) / np.median([row["even error"] for row in there])
        note(f"plan: error of the optimum over that of the even sweep, {words}, median", error)
    held = np.mean([row["even holds"] for row in raced])
    note("plan: intervals of the even sweep that hold the truth", 100 * held, "%")
    expected = np.concatenate([row["expected"] for row in raced])
    narrowed = np.concatenate([row["narrowed"] for row in raced])
    note("plan: width after one reading over before, expected, geometric mean", np.exp(expected.mean()))
    note("plan: width after one reading over before, observed, geometric mean", np.exp(narrowed.mean()))
    note(
        "plan: processor time of one proposal from 30 readings", seconds_per_proposal(5 if full else 1), "s", "below 1"
    )
    return rows
