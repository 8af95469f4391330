"""Reader of RIFF WAVE sound that verifies its header."""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_table import Table, TraceColumn

FloatArray = NDArray[np.float64]

WAV_PCM, WAV_FLOAT, WAV_EXTENSIBLE = 1, 3, 0xFFFE


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
    columns = tuple(
        TraceColumn(str(i + 1), "V", np.ascontiguousarray(grid[:, i]), named=False) for i in range(channels)
    )
    return Table(columns, 1 / rate, notes)


def _wav_chunks(content: bytes) -> tuple[bytes, bytes]:
    """Return the format chunk and the data chunk; a data chunk longer than the file is read to the end."""
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
