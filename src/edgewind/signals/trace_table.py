"""Result of all readers of traces, named columns of numbers; and the loading of file bytes."""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_header import StatedInterval

FloatArray = NDArray[np.float64]


def _no_lines(row: int) -> int | None:
    return None


def _no_stamps(row: int) -> str:
    return ""


@dataclass(frozen=True, eq=False)
class TraceColumn:
    """One column of numbers.

    Attributes
    ----------
    name, unit : str
        As the file writes them, without brackets; the unit is empty where there is none.
    values : array of float
        In that unit.
    named : bool
        Whether the name is the file's own rather than a number given by the reader.
    stamped : bool
        Whether the values are date-time stamps, in seconds from the first.
    field : int
        Number of the column in its file, counted from one; zero where the format has none.
    """

    name: str
    unit: str
    values: FloatArray
    named: bool = True
    stamped: bool = False
    field: int = 0


@dataclass(frozen=True)
class Table:
    """Columns of one file, all of one length.

    Attributes
    ----------
    columns : tuple of TraceColumn
        In the order of the file.
    interval_s : float or None
        Sample interval, where a header or the format says it.
    notes : tuple of str
        Assumptions of the reader.
    volts_note : str or None
        Why values without a unit are taken as volts, where the format has a reason of its own.
    line_of : callable
        Line in the file, counted from one, of a row counted from zero; None where there are no lines.
    stamp_of : callable
        Date-time stamp, as the file writes it, of a row counted from zero; empty where there is none.
    stamp_step_s : float
        Value of the last digit of the stamps, seconds; zero if there are none.
    stated : StatedInterval or None
        The stated interval, its wording, and whether its unit was stated.
    time_unit : str
        Unit of time that a header states for the whole table.
    unused : tuple of str
        Header lines that were not understood.
    coupled : bool
        Whether a sound card recorded it: a capacitor kept the steady voltage out.
    """

    columns: tuple[TraceColumn, ...]
    interval_s: float | None = None
    notes: tuple[str, ...] = ()
    volts_note: str | None = None
    line_of: Callable[[int], int | None] = _no_lines
    stamp_of: Callable[[int], str] = _no_stamps
    stamp_step_s: float = 0.0
    stated: StatedInterval | None = None
    time_unit: str = ""
    unused: tuple[str, ...] = ()
    coupled: bool = False


def checked_size(path: str | PathLike[str], max_bytes: int) -> int:
    """Return the size of a file after checking that it is one and that it is not too large."""
    try:
        place = Path(path)
        if place.is_dir():
            raise InputError("this is a folder", fix="name a trace file in it")
        if not place.exists():
            raise InputError("there is no such file", fix="check the name and the folder")
        if not place.is_file():
            raise InputError("this is not a plain file", fix="name a trace file")
        size = place.stat().st_size
    except (OSError, ValueError) as error:
        raise InputError(f"the file cannot be opened ({error})", fix="check its name and permissions") from None
    if size == 0:
        raise InputError("the file is empty", fix="export the trace again")
    if size > max_bytes:
        raise too_large(f"{size / 1e6:.0f} MB", max_bytes)
    return size


def load_bytes(path: str | PathLike[str], max_bytes: int) -> bytes:
    """Return the content of a file, unpacked if its name ends in .gz; never more than `max_bytes` are held."""
    checked_size(path, max_bytes)
    packed = Path(path).name.lower().endswith(".gz")
    try:
        with gzip.open(path, "rb") if packed else Path(path).open("rb") as stream:
            content = stream.read(max_bytes + 1)
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise InputError(f"the gzip data are damaged ({error})", fix="copy or pack the file again") from None
    except OSError as error:
        raise InputError(f"the file cannot be read ({error})", fix="check its permissions") from None
    if len(content) > max_bytes:
        raise too_large(f"more than {max_bytes / 1e6:.0f} MB unpacked", max_bytes)
    if not content:
        raise InputError("the file is empty", fix="export the trace again")
    return content


def too_large(size: str, max_bytes: int) -> InputError:
    """Return the error for a trace beyond the limit."""
    return InputError(
        f"the trace is {size}, the limit is {max_bytes / 1e6:.0f} MB",
        fix="cut a shorter stretch (a few hundred turns are plenty), sample more slowly, or raise max_bytes",
    )
