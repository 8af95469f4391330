"""Files dropped on a page: unpacked safely, measured, and held until the user stores or discards them.

Only the bytes of a file are trusted: the unpacked bytes of an archive are counted, names are only displayed, and
programs are refused under any name.
"""

from __future__ import annotations

import base64
import hashlib
import io
import math
import re
import secrets
import shutil
import stat
import tempfile
import threading
import zipfile
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO, Any

from edgewind.bench import Bench
from edgewind.errors import EdgewindError, InputError
from edgewind.report.sparkline import HEIGHT, WIDTH, envelope_path, middle_turns
from edgewind.serialize import to_plain
from edgewind.signals.measure import Picture, measure_speed
from edgewind.signals.trace import SUFFIXES
from edgewind.signals.video import VIDEO_SUFFIXES
from edgewind.web.tables import read_workbook, rows_of_table

# Limits: bytes of one file, and of all held files; files in an archive, and its expansion.
MOST_FILE = 256_000_000
_MOST_ASIDE = 2_000_000_000
_MOST_ITEMS = 500
_MOST_MEMBERS = 300
_MOST_UNPACKED = 1_000_000_000
_MOST_RATIO = 200
_BLOCK = 1 << 20
# Frames of the mean picture of a clip.
_MOST_MEAN = 400
_PROGRAMS = {
    b"MZ": "a Windows program", b"\x7fELF": "a program", b"\xcf\xfa\xed\xfe": "a program",
    b"\xce\xfa\xed\xfe": "a program", b"\xca\xfe\xba\xbe": "a program", b"#!": "a script",
}  # fmt: skip
_TABLES = (".csv", ".tsv", ".txt")


@dataclass(frozen=True)
class Dropped:
    """A dropped file, or one from a dropped archive.

    Attributes
    ----------
    id : str
        Its name on the page; empty if it was refused or is a table.
    name : str
        Name of the file, for display.
    kind : {"trace", "table", "refused"}
        What it was taken for.
    problem : str
        Why it was refused.
    details : dict
        Of a trace: speed, flags, channel, interval and a drawing; of a clip also the mean frame with its patches. Of a
        table: its rows.
    path : Path or None
        File with the bytes of a trace.
    """

    id: str
    name: str
    kind: str
    problem: str = ""
    details: dict[str, Any] = field(default_factory=dict)
    path: Path | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return it for a page."""
        return {"id": self.id, "name": self.name, "kind": self.kind, "problem": self.problem} | self.details


class DroppedFiles:
    """The latest dropped files; safe between threads, one file measured at a time."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="edgewind-dropped-"))
        self._lock, self._busy = threading.Lock(), threading.Lock()
        self._kept: OrderedDict[str, Dropped] = OrderedDict()

    def place(self) -> Path:
        """Return the path for the bytes of the next file."""
        return self._folder / secrets.token_hex(8)

    def take(self, path: Path, name: str, bench: Bench) -> list[Dropped]:
        """Measure a file, or every file of an archive; unusable ones have a reason.

        Parameters
        ----------
        path : Path
            Its bytes, in the folder of this object; it is removed unless it is a trace.
        name : str
            Its original name.
        bench : Bench
            Its tachometer determines how traces are read.
        """
        with self._busy:
            name = _shown(name)
            if name.lower().endswith(".zip"):
                try:
                    return [one for inside, inner in self._unpacked(path) for one in self._one(inner, inside, bench)]
                except InputError as error:
                    return [Dropped("", name, "refused", _reason(error))]
                finally:
                    path.unlink(missing_ok=True)
            return list(self._one(path, name, bench))

    def get(self, key: str) -> Dropped:
        """Return a dropped trace.

        Raises
        ------
        InputError
            It has been discarded.
        """
        with self._lock:
            found = self._kept.get(key)
        if found is None or found.path is None or not found.path.exists():
            raise InputError("This file has been discarded", fix="drop it again")
        return found

    def forget(self, key: str) -> None:
        """Remove a stored or discarded file."""
        with self._lock:
            found = self._kept.pop(key, None)
        if found is not None and found.path is not None:
            found.path.unlink(missing_ok=True)

    def close(self) -> None:
        """Remove everything."""
        shutil.rmtree(self._folder, ignore_errors=True)

    def _one(self, path: Path, name: str, bench: Bench) -> Iterator[Dropped]:
        try:
            yield self._measured(path, name, bench)
        except (EdgewindError, OSError, UnicodeError) as error:
            path.unlink(missing_ok=True)
            yield Dropped("", name, "refused", _reason(error))

    def _measured(self, path: Path, name: str, bench: Bench) -> Dropped:
        with path.open("rb") as file:
            start = file.read(4)
        for mark, what in _PROGRAMS.items():
            if start.startswith(mark):
                raise InputError(f"this is {what}, not a recording", fix="drop traces, sound, clips or tables")
        if not start:
            raise InputError("the file is empty", fix="export it again")
        suffix = PurePosixPath(name.lower()).suffix
        if suffix == ".xlsx":
            rows = read_workbook(path)
        elif suffix in _TABLES and (found := rows_of_table(path)) is not None:
            rows = found
        else:
            return self._trace(path, name, bench)
        path.unlink(missing_ok=True)
        return Dropped("", name, "table", details=rows)

    def _trace(self, path: Path, name: str, bench: Bench) -> Dropped:
        known = (*SUFFIXES, *VIDEO_SUFFIXES)
        ending = next((one for one in sorted(known, key=len, reverse=True) if name.lower().endswith(one)), None)
        if ending is None:
            kinds = ", ".join(dict.fromkeys((*known, ".xlsx", ".zip")))
            raise InputError("this kind of file cannot be read", fix=f"drop one of {kinds}")
        kept = path.with_name(path.name + ending)
        path.rename(kept)
        try:
            reading = measure_speed(kept, bench.tachometer, source=name)
        except BaseException:
            kept.unlink(missing_ok=True)
            raise
        trace, speed = reading.trace, reading.speed
        whole, turns = trace.voltage_v, middle_turns(trace.voltage_v, trace.interval_s, speed.speed_rad_s)
        found = speed.speed_rad_s if speed.speed_rad_s is not None and math.isfinite(speed.speed_rad_s) else None
        direction = getattr(reading, "direction", None)
        details: dict[str, Any] = to_plain({
            "speed_rad_s": found, "speed_u_rad_s": speed.speed_u_rad_s, "flags": list(speed.flags),
            "notes": list(trace.notes), "channel": trace.channel, "channels": list(getattr(trace, "channels", ())),
            "interval_s": trace.interval_s, "samples": int(whole.size), "seconds": whole.size * trace.interval_s,
            "leading_face": {1: "bright", -1: "dark"}.get(getattr(direction, "sense", 0), ""),
            "whole": envelope_path(whole), "turns": envelope_path(turns) if turns.size else "", "width": WIDTH,
            "height": HEIGHT, "turns_seconds": turns.size * trace.interval_s,
        })  # fmt: skip
        if reading.picture is not None:
            details["picture"] = _clip_view(reading.picture)
        dropped = Dropped(secrets.token_hex(8), name, "trace", details=details, path=kept)
        self._keep(dropped)
        return dropped

    def _keep(self, dropped: Dropped) -> None:
        with self._lock:
            self._kept[dropped.id] = dropped
            sizes = {key: one.path.stat().st_size for key, one in self._kept.items() if one.path and one.path.exists()}
            while len(self._kept) > 1 and (len(self._kept) > _MOST_ITEMS or sum(sizes.values()) > _MOST_ASIDE):
                key, oldest = self._kept.popitem(last=False)
                sizes.pop(key, None)
                if oldest.path is not None:
                    oldest.path.unlink(missing_ok=True)

    def _unpacked(self, path: Path) -> Iterator[tuple[str, Path]]:
        """Yield each file of an archive, unpacked into a file of our own; all members are checked first."""
        try:
            archive = zipfile.ZipFile(path)
        except (zipfile.BadZipFile, OSError) as error:
            raise InputError(f"this is not a ZIP that can be read ({error})", fix="pack it again") from None
        with archive:
            members = [member for member in archive.infolist() if not member.is_dir()]
            check_members(members, path.stat().st_size)
            left = _MOST_UNPACKED
            for member in members:
                name = PurePosixPath(member.filename)
                if name.name.startswith(".") or "__MACOSX" in name.parts:
                    continue
                out = self.place()
                try:
                    with archive.open(member) as source, out.open("wb") as sink:
                        left -= copy_counted(source, sink, min(left, MOST_FILE))
                except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError) as error:
                    out.unlink(missing_ok=True)
                    raise InputError(f"'{_shown(member.filename)}' cannot be unpacked ({error})") from None
                except InputError:
                    out.unlink(missing_ok=True)
                    raise
                yield _shown(member.filename), out


def check_members(members: list[zipfile.ZipInfo], packed: int) -> None:
    """Check that an archive holds only files inside itself, and that its expansion is limited.

    Raises
    ------
    InputError
        Names the member and its fault.
    """
    if len(members) > _MOST_MEMBERS:
        raise InputError(f"the ZIP holds {len(members)} files", fix=f"drop up to {_MOST_MEMBERS} at once")
    for member in members:
        name = member.filename
        parts = PurePosixPath(name.replace("\\", "/")).parts
        if name.startswith(("/", "\\")) or ".." in parts or re.match(r"[A-Za-z]:", name) or "\0" in name:
            raise InputError(f"the path '{_shown(name)}' leads out of the ZIP", fix="pack the files alone")
        if stat.S_ISLNK(member.external_attr >> 16):
            raise InputError(f"'{_shown(name)}' is a link", fix="pack the file itself")
        if name.lower().endswith(".zip"):
            raise InputError(f"'{_shown(name)}' is a ZIP within the ZIP", fix="unpack it first")
    grown = sum(member.file_size for member in members)
    if grown > _MOST_UNPACKED or grown > _MOST_RATIO * max(packed, 1):
        raise InputError(
            f"the ZIP would unpack to {grown / 1e6:,.0f} MB from {packed / 1e6:.3g} MB",
            fix=f"pack recordings only, up to {_MOST_UNPACKED // 1_000_000} MB",
        )


def copy_counted(source: IO[bytes], sink: IO[bytes], most: int) -> int:
    """Copy a stream, and return its length; the length stated in an archive is not trusted.

    Raises
    ------
    InputError
        It is longer than `most`.
    """
    done = 0
    while block := source.read(_BLOCK):
        done += len(block)
        if done > most:
            raise InputError(f"a file in the ZIP is larger than {most / 1e6:.0f} MB", fix="drop it alone, shortened")
        sink.write(block)
    return done


def book_path(name: str, content: Path) -> str:
    """Return the path of a dropped file in a book: its own name, with a digest of its bytes."""
    digest = hashlib.sha256()
    with content.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", PurePosixPath(name.replace("\\", "/")).name).strip("-.") or "trace"
    return f"traces/{digest.hexdigest()[:10]}-{plain[-80:]}"


def _clip_view(picture: Picture) -> dict[str, Any]:
    """Return the mean frame of a clip as a PNG to embed, and the patches to draw on it, in pixels of the clip."""
    from matplotlib.image import imsave

    from edgewind.report.plot_clip import patch_outlines

    clip = picture.clip
    height, width = clip.frames.shape[1:]
    content = io.BytesIO()
    imsave(content, clip.frames[:_MOST_MEAN].mean(axis=0), cmap="gray", format="png")
    rings, lines = patch_outlines(picture)
    left, top = clip.corner
    return {
        "png": "data:image/png;base64," + base64.b64encode(content.getvalue()).decode("ascii"),
        "box": [left, top, width * clip.scale, height * clip.scale],
        "rings": [_path(outline) for outline in rings],
        "lines": [_path(outline) for outline in lines],
    }


def _path(outline: Any) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in zip(*outline, strict=True))


def _shown(name: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in name)[:160] or "a file without a name"


def _reason(error: BaseException) -> str:
    if isinstance(error, InputError):
        return f"{error.problem}; {error.fix}" if error.fix else error.problem
    return str(error)
