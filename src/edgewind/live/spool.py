"""Readings before their storage in the book: on disk first, removed once the book has them.

A reading is two files, its trace and then its cells with the checksum of the trace; each is written to a temporary
file, synced and renamed, so that a reading is in the spool completely or not at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import math
import os
import secrets
import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Any

import numpy as np

from edgewind.book import Book, TraceFile
from edgewind.errors import InputError
from edgewind.files import write_whole
from edgewind.live.devices import RawTrace
from edgewind.live.file_lock import LockedError, lock_file
from edgewind.live.run_table import RunRow

MADE_BY = "edgewind record"
_NOTE = ".note"
_RUN = ".run"


@dataclass(frozen=True)
class Spooled:
    """A reading in the spool."""

    experiment: str
    key: str
    cells: Mapping[str, str]
    trace_path: str | None
    trace_file: Path | None
    described: Path

    def into(self, book: Book) -> int:
        """Store it in the book, only once for repeated calls."""
        trace = None
        if self.trace_path is not None and self.trace_file is not None:
            trace = TraceFile(self.trace_path, self.trace_file)
        return book.record(self.experiment, self.cells, trace, key=self.key, made_by=MADE_BY)


@dataclass(frozen=True)
class SpooledNote:
    """A note in the spool, with its sweep and its file."""

    experiment: str
    sweep: str
    text: str
    file: Path


@dataclass(frozen=True)
class CutOffRun:
    """A run that its recorder could not end: experiment and key, its cells, and its rows so far."""

    experiment: str
    key: str
    cells: Mapping[str, str]
    path: str
    signed: bool
    moments: tuple[RunRow, ...]
    file: Path


class RunJournal:
    """The rows of a run while it is recorded, each written to the disk immediately.

    Raises
    ------
    InputError
        It cannot be written.
    """

    def __init__(self, file: Path, about: Mapping[str, Any]) -> None:
        self.file = file
        try:
            self._stream = file.open("wb")
        except OSError as error:
            raise _unwritten(error, file.parent, "run") from error
        self.say(about)

    def add(self, moment: RunRow) -> None:
        """Write a row to the disk."""
        self.say({"moment": asdict(moment) | {"speed_rad_s": _finite(moment.speed_rad_s), "speed_u_rad_s": _finite(
            moment.speed_u_rad_s)}})  # fmt: skip

    def say(self, about: Mapping[str, Any]) -> None:
        """Write properties of the run to the disk; a later value of the same key replaces an earlier one."""
        try:
            self._stream.write(json.dumps(about, allow_nan=False).encode() + b"\n")
            self._stream.flush()
            os.fsync(self._stream.fileno())
        except OSError as error:
            raise _unwritten(error, self.file.parent, "run") from error

    def close(self, *, remove: bool = False) -> None:
        """Close it; its content stays on the disk until it is removed."""
        with contextlib.suppress(OSError):
            self._stream.close()
        if remove:
            self.file.unlink(missing_ok=True)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _unwritten(error: OSError, folder: Path, what: str) -> InputError:
    return InputError(
        f"the {what} cannot be written ({error.strerror or error})", file=folder,
        fix="free some space and start again; the rows written so far are then stored in the book",
    )  # fmt: skip


class Spool:
    """A folder for readings and notes that the book does not have yet.

    Raises
    ------
    InputError
        The folder cannot be written, or another recorder uses it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock: IO[bytes] | None = None
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._take_lock()
            write_whole(folder / "probe", b"x" * 4096)
            (folder / "probe").unlink()
        except OSError as error:
            raise InputError(
                f"nothing can be written here ({error.strerror or error})",
                file=folder,
                fix="check its permissions and the free space; readings are stored here until they are in the book",
            ) from error

    def _take_lock(self) -> None:
        try:
            self._lock = lock_file(self.folder / "lock")
        except LockedError:
            raise InputError(
                "another recorder is using this bench", file=self.folder, fix="stop it first, or wait for it"
            ) from None

    def close(self) -> None:
        """Release the spool for another recorder."""
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def put(self, experiment: str, key: str, cells: Mapping[str, str], content: bytes | None, path: str) -> Spooled:
        """Write a reading to the disk; when this returns, it survives a power failure.

        Parameters
        ----------
        experiment, key : str
            Its experiment, and the key that identifies it in the book.
        cells : mapping of str to str
            Its cells.
        content : bytes or None
            Its trace or the table of its run.
        path : str
            Path of that in the book.

        Raises
        ------
        InputError
            It cannot be written; the spool is unchanged.
        """
        name = key.replace("/", "-")
        described = self.folder / f"{name}.json"
        about = {
            "experiment": experiment,
            "key": key,
            "cells": dict(cells),
            "trace": None if content is None else path,
            "sha256": "" if content is None else hashlib.sha256(content).hexdigest(),
        }
        try:
            if content is not None:
                write_whole(described.with_suffix(PurePosixPath(path).suffix), content)
            write_whole(described, json.dumps(about).encode())
        except OSError as error:
            for left in self.folder.glob(f"{name}*"):
                if left.suffix != _RUN:
                    with contextlib.suppress(OSError):
                        left.unlink()
            raise InputError(
                f"the reading cannot be written ({error.strerror or error})",
                file=self.folder,
                fix="free some space and start again: it will be taken again, and all earlier readings are complete",
            ) from error
        (self.folder / f"{name}{_RUN}").unlink(missing_ok=True)  # its rows are in the table now
        found = self._read(described)
        assert found is not None
        return found

    def put_note(self, experiment: str, sweep: str, text: str) -> Path:
        """Write a note to the disk until its reading exists; return its file.

        Raises
        ------
        InputError
            It cannot be written.
        """
        file = self.folder / f"{time.time_ns()}-{secrets.token_hex(4)}{_NOTE}"
        try:
            write_whole(file, json.dumps({"experiment": experiment, "sweep": sweep, "text": text}).encode())
        except OSError as error:
            raise InputError(
                f"the note cannot be written ({error.strerror or error})", file=self.folder, fix="free some space"
            ) from error
        return file

    def journal(self, experiment: str, key: str, path: str, *, signed: bool) -> RunJournal:
        """Begin to write the rows of a run to the disk.

        Raises
        ------
        InputError
            It cannot be written.
        """
        about = {"experiment": experiment, "key": key, "path": path, "signed": signed}
        return RunJournal(self.folder / f"{key.replace('/', '-')}{_RUN}", about)

    def cut_off(self) -> Iterator[CutOffRun]:
        """Return the unfinished runs of a killed recorder, without a partly written row."""
        for file in sorted(self.folder.glob(f"[!.]*{_RUN}")):
            about: dict[str, Any] = {}
            moments: list[RunRow] = []
            try:
                for line in file.read_bytes().split(b"\n"):
                    try:
                        said = json.loads(line)
                    except ValueError:
                        continue
                    if "moment" in said:
                        row: dict[str, Any] = said["moment"]
                        row |= {name: math.nan for name in ("speed_rad_s", "speed_u_rad_s") if row[name] is None}
                        moments.append(RunRow(**row))
                    else:
                        about |= said
                yield CutOffRun(
                    about["experiment"], about["key"], about.get("cells", {}), about["path"], about["signed"],
                    tuple(moments), file,
                )  # fmt: skip
            except (OSError, KeyError, TypeError, AttributeError):
                continue

    def notes(self) -> Iterator[SpooledNote]:
        """Return, in order, the notes of a recorder that was killed before it stored a reading with them."""
        for file in sorted(self.folder.glob(f"[!.]*{_NOTE}")):
            try:
                about = json.loads(file.read_bytes())
                yield SpooledNote(about["experiment"], about["sweep"], about["text"], file)
            except (OSError, ValueError, KeyError, TypeError):
                continue

    def entries(self) -> Iterator[Spooled]:
        """Return the complete readings in the spool; incomplete ones were never acknowledged and are left out."""
        for described in sorted(self.folder.glob("[!.]*.json")):
            found = self._read(described)
            if found is not None:
                yield found

    def remove(self, spooled: Spooled) -> None:
        """Remove a reading that the book has."""
        spooled.described.unlink(missing_ok=True)
        if spooled.trace_file is not None:
            spooled.trace_file.unlink(missing_ok=True)

    def clear_broken(self) -> None:
        """Remove partly written files of a killed recorder."""
        whole = {entry.described.stem for entry in self.entries()}
        for file in self.folder.iterdir():
            if file.name == "lock" or file.stem in whole:
                continue
            if file.name.startswith(".") or file.suffix in (".npz", ".csv") or file.name == "probe":
                file.unlink(missing_ok=True)

    def _read(self, described: Path) -> Spooled | None:
        try:
            about: dict[str, Any] = json.loads(described.read_bytes())
            trace_file = None
            if about["trace"] is not None:
                trace_file = described.with_suffix(PurePosixPath(about["trace"]).suffix)
            if trace_file is not None:
                with trace_file.open("rb") as stream:
                    if hashlib.file_digest(stream, "sha256").hexdigest() != about["sha256"]:
                        return None
            return Spooled(about["experiment"], about["key"], about["cells"], about["trace"], trace_file, described)
        except (OSError, ValueError, KeyError, TypeError):
            return None


def npz_of(trace: RawTrace) -> bytes:
    """Return the bytes of a trace as a NumPy archive that `edgewind trace` reads.

    It holds volts to the last bit, the interval, and scale and offset, from which the numbers of the oscilloscope
    follow: ``(tachometer_v - offset_v) / scale_v``. For a sound card ``coupled`` is one.
    """
    stream = io.BytesIO()
    of_sound: dict[str, Any] = {"coupled": np.float64(1)} if trace.coupled else {}
    np.savez_compressed(
        stream,
        tachometer_v=trace.trace().voltage_v,
        interval_s=np.float64(trace.interval_s),
        scale_v=np.float64(trace.scale),
        offset_v=np.float64(trace.offset),
        **of_sound,
    )
    return stream.getvalue()
