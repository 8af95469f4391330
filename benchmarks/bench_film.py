"""The gas drawn: frames a second from one figure that is changed, against a figure made anew for every frame."""

from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

import numpy as np

from edgewind.report.film import GasPicture, draw_gas, gas_field, gas_series, make_film, still_bytes


def _seconds(work: object, times: int) -> float:
    """Median time of the processor for a call, which other programs disturb less; a first one is not counted."""
    assert callable(work)
    work(0)
    taken = []
    for k in range(times):
        begun = time.process_time()
        work(k + 1)
        taken.append(time.process_time() - begun)
    return float(np.median(taken))


def run(full: bool = True) -> list[dict[str, object]]:
    """Draw frames of a strip in both ways, code a film, and read kept fields."""
    count = 12 if full else 4
    rows: list[dict[str, object]] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        numbers = [float(kn) for kn in np.geomspace(3.0, 0.1, 7 if full else 4)]
        begun = time.perf_counter()
        series = gas_series("strip", numbers, cache=folder)
        each = (time.perf_counter() - begun) / len(numbers)
        rows.append({"name": "solve the fields at one Knudsen number by the clock, strip", "value": each, "unit": "s"})
        kept = _seconds(lambda k: gas_field("strip", numbers[0], cache=folder), 5)
        rows.append({"name": "read kept fields, processor time", "value": 1e3 * kept, "unit": "ms", "target": "< 50"})
        route = np.geomspace(2.9, 0.11, count + 1)
        for size in ("page", "1080p", "4K"):
            picture = GasPicture(series, size=size)

            def moved(k: int, picture: GasPicture = picture) -> None:
                picture.show(float(route[k]))
                picture.pixels()

            def anew(k: int, size: str = size) -> None:
                figure = draw_gas(series, knudsen=float(route[k]), size=size)
                figure.canvas.draw()  # type: ignore[no-untyped-call]

            quick, slow = _seconds(moved, count), _seconds(anew, max(3, count // 3))
            rows.append(
                {"name": f"frames drawn a second of processor time, {size}", "value": 1.0 / quick, "unit": "1/s"}
            )
            rows.append(
                {
                    "name": f"a figure made anew, over one that is changed, {size}",
                    "value": slow / quick,
                    "unit": "times",
                }
            )
        picture = GasPicture(series, size="page")
        slider = _seconds(lambda k: picture.png(float(route[k]), effort=1), count)
        rows.append(
            {"name": "slider of a page: PNG, processor time", "value": 1e3 * slider, "unit": "ms", "target": "< 200"}
        )
        slider = _seconds(lambda k: picture.svg(float(route[k])), count)
        rows.append(
            {"name": "slider of a page: SVG, processor time", "value": 1e3 * slider, "unit": "ms", "target": "< 200"}
        )
        still = _seconds(lambda k: still_bytes(series, "png", knudsen=float(route[k]), size="4K"), 3)
        rows.append({"name": "still at 4K from nothing but the fields, processor time", "value": still, "unit": "s"})
        seconds = 2.0 if full else 0.5
        begun = time.perf_counter()
        film = make_film(folder / "gas.mp4", series, seconds=seconds, fps=30)
        rate = film.frames / (time.perf_counter() - begun)
        rows.append({"name": "coded film, frames a second by the clock, 1080p", "value": rate, "unit": "1/s"})
        begun_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        make_film(folder / "short.mp4", series, seconds=0.2, fps=30, size="4K")
        short = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        make_film(folder / "long.mp4", series, seconds=1.5 if full else 0.5, fps=30, size="4K")
        more = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 - short
        rows.append({"name": "largest memory of a film at 4K", "value": max(short, begun_mib), "unit": "MiB"})
        rows.append({"name": "more memory for a longer film", "value": more, "unit": "MiB", "target": "< 50"})
    return rows
