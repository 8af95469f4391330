"""Traces held as numbers: NumPy archives and sound files, read without trusting what they say of themselves."""

from __future__ import annotations

import math
import re
import struct
import zipfile
import zlib
from os import PathLike

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_table import Column, Table, size_of, too_large

FloatArray = NDArray[np.float64]

UNIT_SUFFIX = re.compile(r"^(?P<name>.+?)_(?P<unit>s|ms|us|ns|v|mv|uv|V|mV|uV)$")
INTERVAL_NAME = re.compile(r"^(interval|sample_?interval|dt|ts|period|sample_?period)(_s)?$", re.I)
RATE_NAME = re.compile(r"^(fs|rate|sample_?rate|sampling_?rate|sample_?frequency)(_hz)?$", re.I)
TIME_FIRST = re.compile(r"^(t|time|times|x)$", re.I)

WAV_PCM, WAV_FLOAT, WAV_EXTENSIBLE = 1, 3, 0xFFFE


def read_npz(path: str | PathLike[str], max_bytes: int) -> Table:
    """Read the arrays of a NumPy archive; arrays of objects are refused, never unpickled."""
    size_of(path, max_bytes)
    try:
        with zipfile.ZipFile(path) as archive:
            members = [member for member in archive.infolist() if member.filename.endswith(".npy")]
            total = sum(member.file_size for member in archive.infolist())
            if total > max_bytes:
                raise too_large(f"{total / 1e6:.0f} MB unpacked", max_bytes)
            arrays = {m.filename.removesuffix(".npy"): _array(archive, m) for m in members}
    except InputError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError, RuntimeError) as error:
        raise InputError(f"this is not a sound .npz archive ({error})", fix="save it again with numpy.savez") from None
    return _table_of(arrays)


def _array(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> NDArray[np.generic]:
    """Return one array of an archive, its size checked before memory is taken for it."""
    name = member.filename.removesuffix(".npy")
    with archive.open(member) as stream:
        try:
            version = np.lib.format.read_magic(stream)
            if version == (1, 0):
                shape, fortran, dtype = np.lib.format.read_array_header_1_0(stream)
            else:
                shape, fortran, dtype = np.lib.format.read_array_header_2_0(stream)
        except Exception as error:  # the header is evaluated as Python text: anything may come out of a damaged one
            raise InputError(f"array '{name}' has a damaged header ({error})", fix="save it again") from None
        if dtype.hasobject or dtype.kind not in "biuf":
            raise InputError(
                f"array '{name}' holds {dtype}, not numbers", fix="save plain integer or floating-point arrays"
            )
        wanted = math.prod(shape) * dtype.itemsize
        if min(shape, default=1) < 0 or wanted > member.file_size:
            raise InputError(f"array '{name}' is cut short or its header lies about its shape", fix="save it again")
        content = stream.read(wanted)
    if len(content) != wanted:
        raise InputError(f"array '{name}' is cut short", fix="copy the file again")
    flat = np.frombuffer(content, dtype=dtype)
    return flat.reshape(shape, order="F" if fortran else "C")


def _table_of(arrays: dict[str, NDArray[np.generic]]) -> Table:
    """Sort the arrays of an archive into columns and a sample interval."""
    interval: float | None = None
    columns: list[Column] = []
    for name, array in arrays.items():
        if array.size == 1 and (INTERVAL_NAME.match(name) or RATE_NAME.match(name)):
            number = float(np.asarray(array, dtype=np.float64).ravel()[0])
            if not (math.isfinite(number) and number > 0 and math.isfinite(1 / number)):
                raise InputError(f"'{name}' is {number}", column=name, fix="give a positive number")
            interval = 1 / number if RATE_NAME.match(name) else number
        elif array.ndim == 1 and array.size:
            columns.append(_column(name, array))
        elif array.ndim == 2 and array.size and array.shape[1] <= 64:
            columns.extend(_column(f"{name}[{i + 1}]", array[:, i]) for i in range(array.shape[1]))
    if not columns:
        raise InputError(
            "the archive holds no one-dimensional array of numbers", fix="save arrays such as time_s and voltage_v"
        )
    columns.sort(key=lambda column: not TIME_FIRST.match(column.name))
    lengths = {column.name: column.values.size for column in columns}
    if len(set(lengths.values())) > 1:
        told = ", ".join(f"'{name}' {length}" for name, length in lengths.items())
        raise InputError(f"the arrays differ in length: {told}", fix="save arrays of one length")
    return Table(tuple(columns), interval)


def _column(name: str, array: NDArray[np.generic]) -> Column:
    with np.errstate(over="ignore"):
        values = np.ascontiguousarray(array, dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(values))
    if bad.size:
        raise InputError(
            f"element {bad[0]} is {values[bad[0]]}, not a finite number", column=name, fix="leave such samples out"
        )
    parts = UNIT_SUFFIX.match(name)
    return Column(parts["name"], parts["unit"], values) if parts else Column(name, "", values)


def read_wav(content: bytes) -> Table:
    """Read a RIFF WAVE file: integers of 8, 16, 24 or 32 bits, or floating point of 32 or 64.

    Layout: Multimedia Programming Interface and Data Specifications 1.0, IBM and Microsoft, 1991. Full scale of the
    integers is taken as one volt.
    """
    if len(content) < 12 or content[:4] != b"RIFF" or content[8:12] != b"WAVE":
        raise InputError("this is not a WAVE sound file", fix="record as RIFF/WAVE, PCM")
    layout, data = _wav_chunks(content)
    if len(layout) < 16:
        raise InputError("the sound file has no complete format chunk", fix="export it again")
    kind, channels, rate, _, _, bits = struct.unpack_from("<HHIIHH", layout)
    if kind == WAV_EXTENSIBLE and len(layout) >= 26:
        kind = struct.unpack_from("<H", layout, 24)[0]
    if not (1 <= channels <= 64 and rate > 0):
        raise InputError(f"the sound file says {channels} channels at {rate} Hz", fix="export it again")
    if (kind, bits) not in {
        (WAV_PCM, 8),
        (WAV_PCM, 16),
        (WAV_PCM, 24),
        (WAV_PCM, 32),
        (WAV_FLOAT, 32),
        (WAV_FLOAT, 64),
    }:
        raise InputError(
            f"the sound is coded as format {kind} of {bits} bits", fix="export PCM of 8, 16, 24 or 32 bits, or float"
        )
    samples = _wav_samples(data[: len(data) // (channels * bits // 8) * (channels * bits // 8)], kind, bits)
    if samples.size == 0:
        raise InputError("the sound file holds no samples", fix="record again")
    if not np.all(np.isfinite(samples)):
        raise InputError("the sound file holds numbers that are not finite", fix="record again")
    grid = samples.reshape(-1, channels)
    notes = ("full scale of the sound file is taken as one volt",) if kind == WAV_PCM else ()
    columns = tuple(Column(str(i + 1), "V", np.ascontiguousarray(grid[:, i]), named=False) for i in range(channels))
    return Table(columns, 1 / rate, notes)


def _wav_chunks(content: bytes) -> tuple[bytes, bytes]:
    """Return the format chunk and the data chunk; a data chunk that promises too much is read to the end."""
    layout, data, place = b"", b"", 12
    while place + 8 <= len(content):
        name, size = content[place : place + 4], int.from_bytes(content[place + 4 : place + 8], "little")
        if name == b"fmt ":
            layout = content[place + 8 : place + 8 + size]
        elif name == b"data" and not data:
            data = content[place + 8 : place + 8 + size]
        place += 8 + size + size % 2
    return layout, data


def _wav_samples(data: bytes, kind: int, bits: int) -> FloatArray:
    """Return the samples of the data chunk, integers scaled to full scale one."""
    if kind == WAV_FLOAT:
        return np.frombuffer(data, dtype=f"<f{bits // 8}").astype(np.float64)
    if bits == 8:  # the one width that the format stores without a sign
        return (np.frombuffer(data, dtype=np.uint8).astype(np.float64) - 128) / 128
    if bits == 24:
        bytes_ = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3)
        wide = np.zeros((len(bytes_), 4), dtype=np.uint8)
        wide[:, 1:] = bytes_
        return wide.view("<i4").ravel() / 2.0**31
    return np.frombuffer(data, dtype=f"<i{bits // 8}") / 2.0 ** (bits - 1)
