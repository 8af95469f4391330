"""Sound of a sensor in a microphone socket: WAVE by its own reader, others by libsndfile, in bounded memory."""

from __future__ import annotations

from dataclasses import replace
from os import PathLike
from pathlib import Path

import numpy as np

from edgewind.errors import EdgewindError, InputError
from edgewind.extras import need
from edgewind.signals.trace_table import Table, TraceColumn, checked_size
from edgewind.signals.wave_file import read_wav

SOUND_SUFFIXES = (".wav", ".flac", ".ogg", ".aif", ".aiff")
MOST_BYTES = 60_000_000
"""Bytes read of a file of any size: two minutes of 96 kHz stereo in 24 bits."""
MOST_SAMPLES = 20_000_000
MOST_ANALYSED = 4_000_000
"""Samples of a channel beyond which neighbours are averaged: a rotor is far slower than sound."""
LARGEST = 1 << 44


def read_sound(path: str | PathLike[str]) -> Table:
    """Return the channels of a sound file, up to a limit of memory.

    At most `MOST_BYTES` are read, whatever the header states, and also of a sparse file.

    Raises
    ------
    InputError
        The file is not sound, or holds none.
    MissingExtraError
        It is not WAVE, and the package that reads it is not installed.
    """
    size = checked_size(path, LARGEST)
    if Path(path).suffix.lower() == ".wav":
        with Path(path).open("rb") as stream:
            content = stream.read(MOST_BYTES)
        table = _thinned(read_wav(content))
        if size <= MOST_BYTES:
            return table
        seconds = table.columns[0].values.size * (table.interval_s or 0.0)
        return _with_note(table, f"the first {seconds:.4g} s of a large file are read")
    library = need("soundfile", extra="sound", purpose="to read sound other than .wav")
    try:
        with library.SoundFile(str(path)) as sound:
            rate, channels = int(sound.samplerate), int(sound.channels)
            if not (rate > 0 and 1 <= channels <= 64):
                raise InputError(f"the sound file says {channels} channels at {rate} Hz", fix="export it again")
            most = MOST_SAMPLES // channels
            data = np.asarray(sound.read(most, dtype="float64", always_2d=True))
            more = sound.frames > len(data) == most
    except EdgewindError:
        raise
    except (RuntimeError, OSError, ValueError, TypeError) as error:  # libsndfile's errors are of RuntimeError
        raise InputError(f"this is not sound that can be decoded ({error})", fix="export it as .wav or .flac") from None
    if not data.size or not np.all(np.isfinite(data)):
        raise InputError("the sound file holds no samples", fix="record again")
    columns = tuple(
        TraceColumn(str(i + 1), "V", np.ascontiguousarray(data[:, i]), named=False) for i in range(channels)
    )
    table = _thinned(Table(columns, 1 / rate, ("full scale of the sound file is taken as one volt",)))
    return _with_note(table, f"the first {len(data) / rate:.4g} s of a large file are read") if more else table


def _with_note(table: Table, note: str) -> Table:
    return replace(table, notes=(*table.notes, note))


def _thinned(table: Table) -> Table:
    """Return a long recording with neighbouring samples averaged, and a note."""
    count = table.columns[0].values.size
    together = -(-count // MOST_ANALYSED)
    if together == 1 or table.interval_s is None:
        return table
    whole = count // together * together
    columns = tuple(
        replace(column, values=column.values[:whole].reshape(-1, together).mean(axis=1)) for column in table.columns
    )
    thinned = replace(table, columns=columns, interval_s=table.interval_s * together)
    return _with_note(thinned, f"means over {together} samples of a long recording are used")
