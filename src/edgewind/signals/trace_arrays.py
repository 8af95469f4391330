"""Readers of traces as arrays (.npy, .npz, MAT files and HDF5) that verify every statement of the file."""

from __future__ import annotations

import math
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from os import PathLike
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.extras import need
from edgewind.signals.trace_header import StatedInterval
from edgewind.signals.trace_table import Table, TraceColumn, checked_size, too_large

if TYPE_CHECKING:
    from edgewind.runner import LocalRunner

FloatArray = NDArray[np.float64]
AnyArray = NDArray[np.generic]

ARRAY_SUFFIXES = (".npz", ".npy", ".mat", ".h5", ".hdf5", ".hdf")
UNIT_SUFFIX = re.compile(r"^(?P<name>.+?)_(?P<unit>s|ms|us|ns|v|mv|uv|V|mV|uV)$")
INTERVAL_NAME = re.compile(
    r"^((t|time|sample|sampling|x)?_?(interval|increment|inc|step|period)|delta_?[tx]|d[tx]|ts)(_(?P<unit>s|ms|us|ns))?$",
    re.I,
)
RATE_NAME = re.compile(
    r"^(fs|sr|rate|(sample|sampling)_?(rate|frequency|freq)|frame_?rate)(_(?P<unit>hz|khz|mhz))?$", re.I
)
TIME_FIRST = re.compile(r"^(.*/)?(t|time|times|x)(_(s|ms|us|ns))?$", re.I)
OF_SOUND_CARD = 1 / 32768
"""Volts to one step of a sound card, where full scale is taken as one: archives of before 2026-11 say no more of it."""
IN_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9, "sec": 1.0, "second": 1.0, "seconds": 1.0}
IN_HERTZ = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "1/s": 1.0}
HDF5_SIGNATURE = b"\x89HDF\r\n\x1a\n"
LARGEST_FILE = 1 << 44
MOST_MEMORY = 4_000_000_000
"""Bytes that the process which reads MAT and HDF5 may ask for."""
MOST_DATASETS = 1000
MOST_COLUMNS = 64
MOST_LISTED = 6


@dataclass(frozen=True)
class Stored:
    """An array of a file.

    Attributes
    ----------
    values : array
        As stored.
    unit : str
        Unit that the file states beside it, empty where it states none.
    interval_s : float or None
        Sample interval that the file states beside it.
    """

    values: AnyArray
    unit: str = ""
    interval_s: float | None = None


def read_arrays(path: str | PathLike[str], max_bytes: int) -> Table:
    """Read the arrays of a file of numbers, by its suffix and its first bytes.

    Vectors of one length are columns: that called t or time is time, the others are channels. A single number called
    dt, interval or the like is the sample interval, one called fs or sample_rate its inverse; one called coupled, not
    zero, says that a sound card recorded the trace. Nothing else is guessed.

    Parameters
    ----------
    path : path
        The file: .npz or .npy, .mat of any version from 4 on, .h5 or .hdf5.
    max_bytes : int
        Most bytes that its arrays may take.

    Raises
    ------
    InputError
        It is none of these, is damaged or too large, or holds no vectors of numbers.
    MissingExtraError
        It is HDF5, and the package that reads it is not installed.
    """
    checked_size(path, LARGEST_FILE)
    suffix = Path(path).suffix.lower()
    with Path(path).open("rb") as stream:
        begin = stream.read(520)
    if suffix == ".npz":
        return _table_of(_npz(path, max_bytes), "archive")
    if suffix == ".npy":
        return _npy(path, max_bytes)
    if HDF5_SIGNATURE in (begin[:8], begin[512:520]):
        need("h5py", extra="hdf5", purpose="to read HDF5 and MAT 7.3 files")
        return _table_of(_read_apart(_hdf5, path, max_bytes), "file")
    if suffix == ".mat":
        checked_size(path, max_bytes)
        return _table_of(_read_apart(_mat, path, max_bytes), "file")
    raise InputError("this is not an HDF5 file", fix="save it again, or export the trace as CSV")


def _read_apart(
    reader: Callable[[str, int], dict[str, Stored]], path: str | PathLike[str], max_bytes: int
) -> dict[str, Stored]:
    """Run a reader in a process of its own and return its result.

    The libraries that read MAT and HDF5 are compiled, and a damaged file can end the process that they run in: that
    must not be a recorder or a server of pages.
    """
    from edgewind.runner import JobFailedError

    try:
        found: dict[str, Stored] = _reading_process().submit(reader, str(path), max_bytes).result()
    except JobFailedError as error:
        raise InputError(f"the file makes its reader fail ({error})", fix="copy or save it again") from None
    return found


@cache
def _reading_process() -> LocalRunner:
    from edgewind.runner import LocalRunner

    return LocalRunner(1, attempts=1)


def _limit_memory() -> None:
    """Limit the memory of this process, if the system supports it."""
    try:
        import resource

        _, most = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, most))
    except (ImportError, ValueError, OSError):
        return


def _npz(path: str | PathLike[str], max_bytes: int) -> dict[str, Stored]:
    """Return the arrays of a NumPy archive; arrays of objects are refused, never unpickled."""
    checked_size(path, max_bytes)
    try:
        with zipfile.ZipFile(path) as archive:
            members = [member for member in archive.infolist() if member.filename.endswith(".npy")]
            total = sum(member.file_size for member in archive.infolist())
            if total > max_bytes:
                raise too_large(f"{total / 1e6:.0f} MB unpacked", max_bytes)
            return {name: Stored(array) for name, array in (_member(archive, m) for m in members)}
    except InputError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError, RuntimeError) as error:
        raise InputError(f"this is not a sound .npz archive ({error})", fix="save it again with numpy.savez") from None


def _member(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> tuple[str, AnyArray]:
    name = member.filename.removesuffix(".npy")
    with archive.open(member) as stream:
        return name, _array(stream, name, member.file_size)


def _array(stream: IO[bytes], name: str, most: int) -> AnyArray:
    """Return one array in NumPy's format, its size checked before memory is taken for it."""
    try:
        version = np.lib.format.read_magic(stream)
        if version == (1, 0):
            shape, fortran, dtype = np.lib.format.read_array_header_1_0(stream)
        else:
            shape, fortran, dtype = np.lib.format.read_array_header_2_0(stream)
    except Exception as error:  # the header is evaluated as Python text: anything may come out of a damaged one
        raise InputError(f"array '{name}' has a damaged header ({error})", fix="save it again") from None
    kinds = [dtype] if dtype.names is None else [dtype[field] for field in dtype.names]
    if dtype.hasobject or any(kind.kind not in "biuf" for kind in kinds):
        raise InputError(
            f"array '{name}' holds {dtype}, not numbers", fix="save plain integer or floating-point arrays"
        )
    wanted = math.prod(shape) * dtype.itemsize
    if min(shape, default=1) < 0 or wanted > most:
        raise InputError(f"array '{name}' is cut short or its header states a wrong shape", fix="save it again")
    content = stream.read(wanted)
    if len(content) != wanted:
        raise InputError(f"array '{name}' is cut short", fix="copy the file again")
    flat = np.frombuffer(content, dtype=dtype)
    return flat.reshape(shape, order="F" if fortran else "C")


def _npy(path: str | PathLike[str], max_bytes: int) -> Table:
    """Return the columns of one array of NumPy: those of a matrix, or the fields of records under their names."""
    size = checked_size(path, max_bytes)
    with Path(path).open("rb") as stream:
        array = _array(stream, "", size)
    if array.dtype.names is not None:
        flat = array.ravel()
        records: Any = flat
        return _table_of({field: Stored(np.ascontiguousarray(records[field])) for field in array.dtype.names}, "file")
    grid = array.reshape(-1, 1) if array.ndim == 1 else array
    if grid.ndim != 2 or not grid.size or grid.shape[1] > MOST_COLUMNS:
        raise InputError(
            f"the array has the shape {array.shape}", fix="save one of a sample a row, and a column a channel"
        )
    return Table(tuple(_column(str(i + 1), Stored(grid[:, i]), named=False) for i in range(grid.shape[1])))


def _mat(path: str, max_bytes: int) -> dict[str, Stored]:
    """Return the numeric variables of a MAT file of version 4 or 5, read by SciPy."""
    from scipy.io import loadmat, whosmat

    _limit_memory()
    _check_unpacked(Path(path).read_bytes(), max_bytes)
    try:
        found = whosmat(path)
        numeric = [
            (name, shape) for name, shape, kind in found if re.fullmatch(r"u?int\d+|single|double|logical", kind)
        ]
        total = sum(8 * math.prod(shape) for _, shape in numeric)
        if total > max_bytes:
            raise too_large(f"{total / 1e6:.0f} MB unpacked", max_bytes)
        read = loadmat(path, variable_names=[name for name, _ in numeric])
    except InputError:
        raise
    except Exception as error:  # SciPy's reader fails on damaged files with errors of any kind
        raise InputError(
            f"this is not a sound MAT file ({error})", fix="save it again, or export the trace as CSV"
        ) from None
    arrays = {name: np.asarray(read[name]) for name, _ in numeric if name in read}
    return {name: Stored(array) for name, array in arrays.items() if array.dtype.kind in "biuf"}


def _check_unpacked(content: bytes, max_bytes: int) -> None:
    """Refuse a MAT file of version 5 whose packed elements unpack to more than is allowed."""
    order = {b"IM": "<", b"MI": ">"}.get(content[126:128])
    place, left = 128, max_bytes
    while order and place + 8 <= len(content):
        kind, size = struct.unpack_from(f"{order}II", content, place)
        if kind == 15:  # miCOMPRESSED
            unpacker, packed = zlib.decompressobj(), content[place + 8 : place + 8 + size]
            try:
                while packed and left >= 0:
                    left -= len(unpacker.decompress(packed, 1 << 20))
                    packed = unpacker.unconsumed_tail
            except zlib.error:
                return  # damaged: the reader says so
            if left < 0:
                raise too_large(f"more than {max_bytes / 1e6:.0f} MB unpacked", max_bytes)
        place += 8 + size


def _hdf5(path: str, max_bytes: int) -> dict[str, Stored]:
    """Return the numeric datasets of an HDF5 file, with the unit and interval of their attributes.

    Links out of the file are not followed, and datasets that lie in other files are left alone.
    """
    library = need("h5py", extra="hdf5", purpose="to read HDF5 and MAT 7.3 files")
    _limit_memory()
    found: dict[str, Stored] = {}
    left = [max_bytes]

    def look(name: str, item: Any) -> None:
        if not isinstance(item, library.Dataset) or item.dtype.kind not in "biuf" or item.size in (None, 0):
            return
        if item.is_virtual or item.external or name.startswith("#refs#") or len(found) == MOST_DATASETS:
            return
        left[0] -= int(item.size) * 8
        if left[0] < 0:
            raise too_large(f"more than {max_bytes / 1e6:.0f} MB unpacked", max_bytes)
        found[name] = Stored(np.asarray(item[()]), *_attributes(item.attrs))

    try:
        with library.File(path, "r") as file:
            file.visititems(look)
            for name, value in _plain_attributes(file.attrs).items():
                if name not in found and np.size(value) == 1 and np.asarray(value).dtype.kind in "iuf":
                    found[name] = Stored(np.asarray(value))
    except InputError:
        raise
    except Exception as error:  # the library fails on damaged files with errors of any kind
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise InputError(f"this is not a sound HDF5 file ({reason})", fix="copy or save it again") from None
    return found


def _plain_attributes(attributes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the attributes that can be read."""
    found = {}
    for name in list(attributes)[:MOST_DATASETS]:
        try:
            found[str(name)] = attributes[name]
        except (OSError, TypeError, ValueError, KeyError):
            continue
    return found


def _attributes(attributes: Mapping[str, Any]) -> tuple[str, float | None]:
    """Return the unit and the sample interval that the attributes of a dataset state; empty and None without."""
    unit, interval = "", None
    for name, value in _plain_attributes(attributes).items():
        if re.fullmatch(r"units?", name, re.I):
            unit = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
        elif np.size(value) == 1 and np.asarray(value).dtype.kind in "iuf":
            stated = _stated(name, np.asarray(value))
            interval = stated.seconds if stated is not None and stated.sure else interval
    return unit.strip()[:20], interval


def _stated(name: str, value: AnyArray, unit: str = "") -> StatedInterval | None:
    """Return the sample interval that a single number states by its name; None for any other number.

    Raises
    ------
    InputError
        It is called an interval or a rate, and cannot be one.
    """
    last = name.rsplit("/", 1)[-1]
    rate, interval = RATE_NAME.match(last), INTERVAL_NAME.match(last)
    found = rate or interval
    if found is None:
        return None
    number = float(np.asarray(value, dtype=np.float64).ravel()[0])
    stated = (unit or found["unit"] or ("hz" if rate else "s")).lower()
    factor = (IN_HERTZ if rate else IN_SECONDS).get(stated)
    if factor is None:
        raise InputError(f"the unit of '{name}' is '{stated}'", column=name, fix="give it in seconds, or a rate in Hz")
    number *= factor
    if not (math.isfinite(number) and number > 0 and math.isfinite(1 / number)):
        raise InputError(f"'{name}' is {number}", column=name, fix="give a positive number")
    return StatedInterval(1 / number if rate else number, True, f"{name} = {number:g}", rate is not None)


def _table_of(arrays: dict[str, Stored], what: str) -> Table:
    """Sort the arrays of a file into columns and a sample interval.

    Raises
    ------
    InputError
        There are no vectors, or it is open which of several belong together, or which interval holds.
    """
    stated: dict[str, StatedInterval] = {}
    columns: list[TraceColumn] = []
    coupled = False
    for name, stored in arrays.items():
        array = stored.values
        if array.size == 1:
            number = array.ravel()[0]
            told = number if name == "coupled" else name == "scale_v" and number == OF_SOUND_CARD
            coupled = coupled or bool(told)
            one = _stated(name, array, stored.unit)
            if one is not None:
                stated[name] = one
            continue
        if array.ndim == 2 and 1 in array.shape:
            array = array.ravel()
        if array.ndim == 1:
            columns.append(_column(name, Stored(array, stored.unit)))
        elif array.ndim == 2:
            # a sample a row, or a sample a column: a trace has more samples than channels
            grid = array if array.shape[0] >= array.shape[1] else array.T
            if grid.shape[1] <= MOST_COLUMNS:
                columns.extend(
                    _column(f"{name}[{i + 1}]", Stored(grid[:, i], stored.unit)) for i in range(grid.shape[1])
                )
        if stored.interval_s is not None:
            stated[name] = StatedInterval(stored.interval_s, True, f"an attribute of '{name}'")
    if not columns:
        raise InputError(
            f"the {what} holds no one-dimensional array of numbers", fix="save arrays such as time_s and voltage_v"
        )
    columns, notes = _of_one_length(columns)
    columns.sort(key=lambda column: not TIME_FIRST.match(column.name))
    intervals = [one.seconds for one in stated.values()]
    if intervals and max(intervals) > 1.001 * min(intervals):
        told = ", ".join(one.said for one in list(stated.values())[:MOST_LISTED])
        raise InputError(f"the {what} states different sample intervals: {told}", fix="state it: --interval '1 ms'")
    first = next(iter(stated.values()), None)
    return Table(tuple(columns), None if first is None else first.seconds, notes, stated=first, coupled=coupled)


def _of_one_length(columns: list[TraceColumn]) -> tuple[list[TraceColumn], tuple[str, ...]]:
    """Return the columns as long as the time, or all where there is none; those far shorter are left out, with a note.

    Raises
    ------
    InputError
        They differ in length, and none is a time that tells which belong together.
    """
    lengths = {column.name: column.values.size for column in columns}
    if len(set(lengths.values())) == 1:
        return columns, ()
    times = {column.values.size for column in columns if TIME_FIRST.match(column.name)}
    longest = max(lengths.values())
    others = [name for name, length in lengths.items() if length != longest]
    small = all(lengths[name] < max(0.05 * longest, 2) for name in others)
    if not small and times != {longest}:
        told = ", ".join(f"'{name}' {length}" for name, length in list(lengths.items())[:MOST_LISTED])
        raise InputError(f"the arrays differ in length: {told}", fix="save arrays of one length")
    listed = ", ".join(f"'{name}'" for name in others[:MOST_LISTED])
    note = f"arrays of another length left out: {listed}{', ...' if len(others) > MOST_LISTED else ''}"
    return [column for column in columns if column.values.size == longest], (note,)


def _column(name: str, stored: Stored, *, named: bool = True) -> TraceColumn:
    """Return an array as a column, its unit taken from its name where nothing else states one.

    Raises
    ------
    InputError
        No number of it is finite.
    """
    with np.errstate(over="ignore"):
        values = np.ascontiguousarray(stored.values, dtype=np.float64)
    if not np.isfinite(values).any():
        raise InputError(f"element 0 is {values[0]}, and none is a finite number", column=name, fix="leave it out")
    parts = UNIT_SUFFIX.match(name)
    if parts and not stored.unit:
        return TraceColumn(parts["name"], parts["unit"], values, named)
    return TraceColumn(name, stored.unit, values, named)
