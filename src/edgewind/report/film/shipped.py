"""Shipped fields of the gas for the usual cases of a film, for immediate pictures.

Each moment of a field is stored as whole numbers of 13 bits, in 4096ths of its greatest value, as differences along
lines of cells across: far finer than the 256 steps of a colour. Coefficients and stresses are stored unchanged.
"""

from __future__ import annotations

import json
import lzma
from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from edgewind.report.film.field import SCALARS, GasField

STEPS = 4095
_SMALL = ("x", "y", "stress")


def shipped_fields(shape: str, drive: str) -> tuple[GasField, ...]:
    """Return the shipped fields of a shape in its usual room, the densest gas first; empty if there are none.

    Parameters
    ----------
    shape : str
        Name of the shape of the vane.
    drive : str
        ``thermal``, ``flow`` or ``warm``.
    """
    place = files("edgewind.report.film") / "fields" / f"{shape}-{drive}.fields"
    return _read(Path(str(place))) if place.is_file() else ()


def shipped_field(shape: str, drive: str, knudsen: float) -> GasField | None:
    """Return the shipped field at a Knudsen number, or None where there is none."""
    known = shipped_fields(shape, drive)
    return next((field for field in known if abs(field.knudsen / knudsen - 1) < 1e-9), None)


@lru_cache(maxsize=8)
def _read(place: Path) -> tuple[GasField, ...]:
    return tuple(unpack(place.read_bytes()))


def pack(fields: Sequence[GasField]) -> bytes:
    """Return fields in the form in which they are shipped."""
    parts: list[dict[str, Any]] = []
    blobs: list[bytes] = []
    for field in sorted(fields, key=lambda one: one.knudsen):
        sizes = np.abs(field.moments).max(axis=(1, 2))
        steps = np.where(sizes > 0, sizes / STEPS, 1.0)
        whole = np.round(field.moments / steps[:, None, None]).astype("<i2")
        blob = np.diff(whole, axis=2, prepend=0).astype("<i2").tobytes()
        blobs.append(blob)
        part = {name: getattr(field, name) for name in SCALARS}
        part |= {name: [float(f"{value:.9g}") for value in getattr(field, name)] for name in _SMALL}
        part |= {"room": field.room, "accommodation": field.accommodation, "steps": steps.tolist()}
        parts.append(part | {"cells": list(field.moments.shape[1:])})
    head = json.dumps(parts).encode()
    content = len(head).to_bytes(4, "little") + head + b"".join(blobs)
    return lzma.compress(content, preset=9 | lzma.PRESET_EXTREME)


def unpack(content: bytes) -> list[GasField]:
    """Return the fields of a shipped file."""
    whole = lzma.decompress(content)
    start = 4 + int.from_bytes(whole[:4], "little")
    found = []
    for part in json.loads(whole[4:start]):
        shape = (6, *part.pop("cells"))
        end = start + 2 * int(np.prod(shape))
        numbers = np.cumsum(np.frombuffer(whole[start:end], "<i2").reshape(shape).astype(np.int64), axis=2)
        moments = numbers * np.array(part.pop("steps"))[:, None, None]
        start = end
        arrays: dict[str, Any] = {name: np.array(part.pop(name)) for name in _SMALL}
        room, accommodation = (tuple(part.pop(name)) for name in ("room", "accommodation"))
        found.append(GasField(**part, **arrays, room=room, accommodation=accommodation, moments=moments))
    return found
