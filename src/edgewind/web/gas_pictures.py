"""Pictures of the gas round a vane: its fields are computed once beside the server, and drawn here."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

from edgewind.errors import InputError
from edgewind.report.film import (
    DRIVES,
    QUANTITIES,
    SIZES,
    THEMES,
    GasPicture,
    GasSeries,
    choose,
    gas_series,
    shipped_fields,
    standard_knudsen,
    still_bytes,
)
from edgewind.web.jobs import Jobs, PageJob
from edgewind.web.work import compute_gas

SHAPES = {"strip": "a long strip", "square": "a square", "diamond": "a square on its corner", "disc": "a disc"}
_MOST_PICTURES = 8


def choices() -> dict[str, Any]:
    """Return what can be chosen, in words."""
    return {
        "shapes": SHAPES,
        "drives": {key: drive.title for key, drive in DRIVES.items()},
        "quantities": {key: quantity.words for key, quantity in QUANTITIES.items()},
        "sizes": {key: f"{key}, {size[0]} by {size[1]}" for key, size in SIZES.items() if key != "page"},
    }


def check_ways(ways: Mapping[str, str]) -> None:
    """See that all that was chosen is there to choose.

    Raises
    ------
    InputError
        Names what is not.
    """
    for table, name in ((DRIVES, "drive"), (QUANTITIES, "quantity"), (SIZES, "size"), (THEMES, "theme")):
        if name in ways:
            choose(table, ways[name], name)
    if ways.get("shape", "strip") not in SHAPES:
        raise InputError(f"'{ways['shape']}' is no shape on these pages", key="shape", fix=", ".join(SHAPES))


class GasPictures:
    """Fields of the gas by shape and drive, and pictures of them; safe between threads."""

    def __init__(self, jobs: Jobs) -> None:
        self._jobs, self._lock = jobs, threading.Lock()
        self._series: dict[tuple[str, str], GasSeries] = {}
        self._pictures: OrderedDict[tuple[Any, ...], GasPicture] = OrderedDict()

    def state(self, shape: str, drive: str) -> dict[str, Any]:
        """Say how much of the gas is computed; what is not is begun."""
        check_ways({"shape": shape, "drive": drive})
        every = sorted(float(kn) for kn in standard_knudsen(shape))
        if len(shipped_fields(shape, drive)) == len(every):
            return {"state": "done", "solved": every, "all": every, "problem": ""}
        job = self._job(shape, drive)
        view = job.to_dict()
        view.pop("result", None)
        return view | {"solved": sorted(job.part), "all": every}

    def picture(self, ways: Mapping[str, str], knudsen: float) -> tuple[bytes, str]:
        """Return a picture for the page as PNG, and what it shows in words.

        Raises
        ------
        InputError
            A choice that is none, or a Knudsen number beyond what is computed so far.
        """
        check_ways(ways)
        series = self._of(ways)
        quantity, theme = ways.get("quantity", "temperature"), ways.get("theme", "light")
        key = (id(series), quantity, theme)
        with self._lock:
            drawn = self._pictures.pop(key, None)
        if drawn is None:
            drawn = GasPicture(series, quantity=quantity, theme=theme, size="page")
        with self._lock:
            self._pictures[key] = drawn
            while len(self._pictures) > _MOST_PICTURES:
                self._pictures.popitem(last=False)
        return drawn.png(knudsen), drawn.alt(knudsen)

    def still(self, ways: Mapping[str, str], knudsen: float) -> tuple[bytes, str]:
        """Return a picture to keep, and its kind, ``png`` or ``svg``."""
        check_ways(ways)
        kind = ways.get("kind", "png")
        if kind not in ("png", "svg"):
            raise InputError(f"'{kind}' is not an image type of this page", fix="png or svg")
        content = still_bytes(
            self._of(ways), kind, knudsen=knudsen, size=ways.get("size", "1080p"), theme=ways.get("theme", "light"),
            quantity=ways.get("quantity", "temperature"), drive=ways.get("drive", "thermal"),
        )  # fmt: skip
        return content, kind

    def _job(self, shape: str, drive: str) -> PageJob:
        return self._jobs.ask(("gas", shape, drive), compute_gas, lambda out: (shape, drive))

    def _of(self, ways: Mapping[str, str]) -> GasSeries:
        """The fields that are computed so far; reading what is kept takes milliseconds."""
        shape, drive = ways.get("shape", "strip"), ways.get("drive", "thermal")
        ready = shipped_fields(shape, drive)
        solved = [field.knudsen for field in ready] or sorted(self._job(shape, drive).part)
        if not solved:
            raise InputError("the gas is not computed yet", fix="wait for the first Knudsen number")
        with self._lock:
            series = self._series.get((shape, drive))
        if series is None or len(series.knudsen) != len(solved):
            series = gas_series(shape, solved, drive=drive)
            with self._lock:
                self._series[shape, drive] = series
        return series
