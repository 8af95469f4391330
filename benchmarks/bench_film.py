"""Drawing of the gas: frames per second with one updated figure, against a new figure for every frame."""

from __future__ import annotations

import itertools
import resource
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from measured import Row, row, spent

from edgewind.report.film import GasPicture, gas_field, gas_series, make_film, still_bytes


def _seconds(work: Callable[[int], object], times: int) -> float:
    """Return the median processor time of a call, s; a first call is not counted."""
    work(0)
    numbers = itertools.count(1)
    return statistics.median(spent(lambda: work(next(numbers)), times, time.process_time))


def run(full: bool = True) -> list[Row]:
    """Draw frames of a strip in both ways, encode a film, and read stored fields."""
    count = 12 if full else 4
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        numbers = [float(kn) for kn in np.geomspace(3.0, 0.1, 7 if full else 4)]
        begun = time.perf_counter()
        series = gas_series("strip", numbers, cache=folder)
        each = (time.perf_counter() - begun) / len(numbers)
        rows.append(row("solve the fields at one Knudsen number, elapsed time, strip", each, "s"))
        kept = _seconds(lambda k: gas_field("strip", numbers[0], cache=folder), 5)
        rows.append(row("read stored fields, processor time", 1e3 * kept, "ms", "< 50"))
        route = np.geomspace(2.9, 0.11, count + 1)
        for size in ("page", "1080p", "4K"):
            picture = GasPicture(series, size=size)

            def moved(k: int, picture: GasPicture = picture) -> None:
                picture.show(float(route[k]))
                picture.pixels()

            def drawn_anew(k: int, size: str = size) -> None:
                anew = GasPicture(series, size=size)
                anew.show(float(route[k]))
                anew.pixels()

            quick, slow = _seconds(moved, count), _seconds(drawn_anew, max(3, count // 3))
            rows.append(row(f"frames drawn per second of processor time, {size}", 1.0 / quick, "1/s"))
            rows.append(row(f"time of a new figure over that of an updated one, {size}", slow / quick, "times"))
        picture = GasPicture(series, size="page")
        slider = _seconds(lambda k: picture.png(float(route[k]), effort=1), count)
        rows.append(row("slider of a page: PNG, processor time", 1e3 * slider, "ms", "< 200"))
        slider = _seconds(lambda k: picture.svg(float(route[k])), count)
        rows.append(row("slider of a page: SVG, processor time", 1e3 * slider, "ms", "< 200"))
        still = _seconds(lambda k: still_bytes(series, "png", knudsen=float(route[k]), size="4K"), 3)
        rows.append(row("still at 4K from the fields, processor time", still, "s"))
        seconds = 2.0 if full else 0.5
        begun = time.perf_counter()
        film = make_film(folder / "gas.mp4", series, seconds=seconds, fps=30)
        rate = film.frames / (time.perf_counter() - begun)
        rows.append(row("encoded film, frames per second of elapsed time, 1080p", rate, "1/s"))
        begun_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        make_film(folder / "short.mp4", series, seconds=0.2, fps=30, size="4K")
        short = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        make_film(folder / "long.mp4", series, seconds=1.5 if full else 0.5, fps=30, size="4K")
        more = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 - short
        rows.append(row("greatest memory of a film at 4K", max(short, begun_mib), "MiB"))
        rows.append(row("additional memory for a longer film", more, "MiB", "< 50"))
    return rows
