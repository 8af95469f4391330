"""Pictures of the gas round a rotor or a vane: shipped fields, or fields computed once beside the server."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from edgewind.errors import InputError
from edgewind.report import film
from edgewind.web.errors import FieldError
from edgewind.web.jobs import Jobs, PageJob
from edgewind.web.work import compute_gas

# The rotor from above, which is completely shipped, and lone vanes.
ROTOR = "rotor"
SHAPES = {
    ROTOR: "a rotor of four, from above", "strip": "a long strip", "square": "a square",
    "diamond": "a square on its corner", "disc": "a disc",
}  # fmt: skip
_MOST_PICTURES = 8


def choices() -> dict[str, Any]:
    """Return the choices, in words."""
    return {
        "shapes": SHAPES,
        "drives": {key: drive.title for key, drive in film.DRIVES.items()},
        "quantities": {key: quantity.words for key, quantity in film.QUANTITIES.items()},
        "rotor_drives": [key for key in film.DRIVES if film.shipped_rotor_fields(key)],
        "sizes": {
            key: f"{key}, {size[0]} by {size[1]}" + (", for a phone" if size[1] > size[0] else "")
            for key, size in film.SIZES.items()
            if key != "page"
        },
    }


def check_ways(ways: Mapping[str, str]) -> None:
    """Check that all choices exist.

    Raises
    ------
    InputError
        Names one that does not exist.
    """
    for table, name in (
        (film.DRIVES, "drive"),
        (film.QUANTITIES, "quantity"),
        (film.SIZES, "size"),
        (film.THEMES, "theme"),
    ):
        if name in ways:
            film.option_of(table, ways[name], name)
    with _beside_its_field():
        film.mark_of(ways.get("mark", ""))
    if ways.get("shape", ROTOR) not in SHAPES:
        raise InputError(f"'{ways['shape']}' is not a shape on these pages", key="shape", fix=", ".join(SHAPES))
    if ways.get("shape", ROTOR) == ROTOR and not film.shipped_rotor_fields(ways.get("drive", "thermal")):
        title = film.DRIVES[ways["drive"]].title
        raise InputError(f"'{title}' is not computed for a whole rotor", key="drive", fix="choose a lone vane")


class GasPictures:
    """Fields of the gas by shape and drive, and pictures of them; safe between threads."""

    def __init__(self, jobs: Jobs) -> None:
        self._jobs, self._lock, self._drawing = jobs, threading.Lock(), threading.Lock()
        self._series: dict[tuple[str, str], film.GasSeries] = {}
        self._pictures: OrderedDict[tuple[Any, ...], film.GasPicture | film.RotorPicture] = OrderedDict()

    def state(self, shape: str, drive: str) -> dict[str, Any]:
        """Return the computed Knudsen numbers, and start the computation of the others."""
        check_ways({"shape": shape, "drive": drive})
        if shape == ROTOR:
            found = sorted(float(field.knudsen) for field in film.shipped_rotor_fields(drive))
            return {"state": "done", "solved": found, "all": found, "problem": ""}
        every = sorted(float(kn) for kn in film.standard_knudsen(shape))
        if len(film.shipped_fields(shape, drive)) == len(every):
            return {"state": "done", "solved": every, "all": every, "problem": ""}
        job = self._job(shape, drive)
        view = job.to_dict()
        view.pop("result", None)
        return view | {"solved": sorted(job.part), "all": every}

    def picture(self, ways: Mapping[str, str], knudsen: float) -> tuple[bytes, str]:
        """Return a picture for the page as PNG, with its alternative text.

        Raises
        ------
        InputError
            An invalid choice, or a Knudsen number beyond those computed so far.
        """
        check_ways(ways)
        quantity, theme, drive = (
            ways.get(name, other)
            for name, other in (("quantity", "temperature"), ("theme", "light"), ("drive", "thermal"))
        )
        of = film.shipped_rotor_fields(drive) if _is_rotor(ways) else self._of(ways)
        size = "vertical" if ways.get("size") == "vertical" else "page"
        mark = ways.get("mark", "")
        key = (id(of), drive, quantity, theme, size, mark)
        with self._lock:
            drawn = self._pictures.pop(key, None)
        if drawn is None:
            with self._drawing, _beside_its_field():
                drawn = film.picture_of(of, quantity=quantity, theme=theme, size=size, mark=film.mark_of(mark))
        with self._lock:
            self._pictures[key] = drawn
            while len(self._pictures) > _MOST_PICTURES:
                self._pictures.popitem(last=False)
        with self._drawing:  # a figure cannot be drawn by two threads at the same time
            return drawn.png(knudsen), drawn.alt()

    def still(self, ways: Mapping[str, str], knudsen: float) -> tuple[bytes, str]:
        """Return a picture to save, and its kind, ``png`` or ``svg``."""
        check_ways(ways)
        kind = ways.get("kind", "png")
        if kind not in ("png", "svg"):
            raise InputError(f"'{kind}' is not an image type of this page", fix="png or svg")
        drive = ways.get("drive", "thermal")
        how: dict[str, Any] = {
            "size": ways.get("size", "1080p"), "theme": ways.get("theme", "light"),
            "quantity": ways.get("quantity", "temperature"), "mark": film.mark_of(ways.get("mark", "")),
        }  # fmt: skip
        of = film.shipped_rotor_fields(drive) if _is_rotor(ways) else self._of(ways)
        with self._drawing, _beside_its_field():
            return film.still_bytes(of, kind, knudsen=knudsen, **how), kind

    def _job(self, shape: str, drive: str) -> PageJob:
        return self._jobs.ask(("gas", shape, drive), compute_gas, lambda out: (shape, drive))

    def _of(self, ways: Mapping[str, str]) -> film.GasSeries:
        """Return the fields computed so far; reading stored ones takes milliseconds."""
        shape, drive = ways["shape"], ways.get("drive", "thermal")
        ready = film.shipped_fields(shape, drive)
        solved = [field.knudsen for field in ready] or sorted(self._job(shape, drive).part)
        if not solved:
            raise InputError("the gas is not computed yet", fix="wait for the first Knudsen number")
        with self._lock:
            series = self._series.get((shape, drive))
        if series is None or len(series.knudsen) != len(solved):
            series = film.gas_series(shape, solved, drive=drive)
            with self._lock:
                self._series[shape, drive] = series
        return series


@contextmanager
def _beside_its_field() -> Iterator[None]:
    try:
        yield
    except InputError as error:
        if error.key == "mark":
            raise FieldError("mark", error.problem, fix=error.fix) from None
        raise


def _is_rotor(ways: Mapping[str, str]) -> bool:
    return ways.get("shape", ROTOR) == ROTOR
