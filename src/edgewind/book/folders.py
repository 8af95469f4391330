"""Import of experiment folders into a book and export from it, without loss."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from edgewind.bench import BENCH_FILE
from edgewind.book import rows
from edgewind.book.book import Book
from edgewind.book.checks import HISTORY, check_path, read_bench_bytes
from edgewind.book.contents import BenchVersion
from edgewind.book.errors import BookError
from edgewind.book.history import History, history_files, read_history, undo
from edgewind.book.rows import TraceFile
from edgewind.book.schema import benches
from edgewind.book.sheet import SheetRow, take_apart
from edgewind.errors import InputError
from edgewind.signals import READINGS_FILE, FolderSource, parse_readings
from edgewind.signals.table import decode_table

_OURS = (BENCH_FILE, READINGS_FILE)


@dataclass(frozen=True)
class Imported:
    """Result of an import.

    Attributes
    ----------
    experiment : str
        Name of the experiment in the book.
    readings : int
        Number of imported readings.
    files : int
        Number of imported files.
    left_out : tuple of tuple of str
        Files that were left out, each with the reason.
    """

    experiment: str
    readings: int
    files: int
    left_out: tuple[tuple[str, str], ...]


def import_folder(book: Book, folder: str | Path, name: str | None = None, *, made_by: str = "") -> Imported:
    """Import an experiment folder into a book, completely or not at all.

    Every file is imported, also without a reading that names it; only hidden files and those outside the folder are
    left out, and listed.

    Parameters
    ----------
    book : Book
        Open for writing.
    folder : path
        Holds `bench.toml`, `readings.csv` and traces.
    name : str, optional
        Name of the experiment; default: that of the folder.

    Raises
    ------
    InputError
        Invalid content of the folder, with file and line, or a name that is taken.
    """
    source = FolderSource(Path(folder))
    place = source.place
    bench = _bytes_of(place / BENCH_FILE)
    read_bench_bytes(bench, str(place / BENCH_FILE))
    data = _bytes_of(place / READINGS_FILE)
    label = str(place / READINGS_FILE)
    try:
        table = parse_readings(decode_table(data), file=label)
    except InputError as error:
        raise error.at(file=label) from None
    sheet, written = take_apart(data.decode("utf-8"))
    paths, left_out = _files_of(place)
    meant: dict[int, str] = {}
    for number, (trace, line, exclude) in enumerate(
        zip(table["trace"], table["line"], table["exclude"], strict=True), start=1
    ):
        if not trace:
            continue
        path = source.path_of(str(trace), int(line))
        try:
            source.require(path, str(trace), int(line))
        except InputError:
            if exclude:
                continue
            raise
        if path not in _OURS:
            meant[number] = path
            paths.setdefault(path)
    history = _history(place, paths, bench)
    before = undo(sheet, written, history.changes, label)
    for change in history.changes:
        if change.trace_path is not None and change.trace_path not in paths:
            raise InputError(f"'{change.trace_path}' is not in the folder", file=place / HISTORY)
    left_out = [(path, why) for path, why in left_out if path not in paths]
    numbers = {path: number for number, path in enumerate(paths, start=1)}
    with book.writing() as connection:
        first = history.benches[0]
        experiment = name or source.name
        key = book.insert_experiment(connection, experiment, sheet, first.content, made_by or first.made_by)
        for version in history.benches[1:]:
            values = {name: getattr(version, name) for name in ("number", "content", "why", "made_at", "made_by")}
            rows.insert_row(connection, benches, {"experiment": key, **values})
        for path, number in numbers.items():
            check_path(path, str(place))
            rows.add_file(connection, key, number, TraceFile(path, place.resolve() / path), str(place))
        stamp = rows.now()
        originals = _original_traces(before, written, meant, history, numbers)
        for number, row in enumerate(before, start=1):
            rows.add_reading(
                connection, key, number, row, key=f"{key}-{number}", trace_file=originals.get(number), made_at=stamp,
                made_by=made_by,
            )  # fmt: skip
        for change in history.changes:
            kept = None if change.trace_path is None else numbers[change.trace_path]
            rows.add_change(connection, key, change, kept)
    return Imported(experiment, len(before), len(numbers), tuple(left_out))


def _original_traces(
    before: list[SheetRow], now: list[SheetRow], meant: dict[int, str], history: History, numbers: dict[str, int]
) -> dict[int, int]:
    """Return the number of the file that each reading referred to when it was recorded."""
    found = {}
    for number, (old, new) in enumerate(zip(before, now, strict=True), start=1):
        trace = old.cells.get("trace", "")
        if trace and trace == new.cells.get("trace") and number in meant:
            found[number] = numbers[meant[number]]
        elif trace in numbers:
            found[number] = numbers[trace]
    return found


def _history(place: Path, paths: dict[str, None], bench: bytes) -> History:
    """Read the history of an export, and remove its files from those to store."""
    if HISTORY not in paths:
        return History((), (BenchVersion(1, bench, "", rows.now(), ""),))
    del paths[HISTORY]
    prefix = HISTORY.removesuffix("changes.csv") + "bench-"
    old = {path: _bytes_of(place / path) for path in list(paths) if path.startswith(prefix)}
    try:
        text = _bytes_of(place / HISTORY).decode()
    except UnicodeDecodeError as error:
        raise InputError("this is not UTF-8 text", file=place / HISTORY) from error
    found = read_history(text, bench, old, rows.now(), str(place / HISTORY))
    for path in old:
        del paths[path]
    return found


def _bytes_of(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise InputError("there is no such file", file=path, fix="an experiment folder holds it")
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from error


def _files_of(place: Path) -> tuple[dict[str, None], list[tuple[str, str]]]:
    """Return the paths of all files to store, in order, and those left out with the reason."""
    found, left_out = [], []
    root = place.resolve()
    for path in _walk(root):
        relative = path.relative_to(root).as_posix()
        if any(part.startswith(".") for part in relative.split("/")):
            left_out.append((relative, "hidden"))
        elif path.is_symlink() and not path.resolve().is_relative_to(root):
            left_out.append((relative, "a link out of the folder"))
        elif path.is_symlink() and path.is_dir():
            left_out.append((relative, "a link to a folder"))
        elif not path.is_file():
            left_out.append((relative, "not a plain file"))
        elif relative not in _OURS:
            found.append(relative)
    return dict.fromkeys(sorted(found)), left_out


def _walk(root: Path) -> Iterator[Path]:
    for entry in sorted(os.scandir(root), key=lambda entry: entry.name):
        if entry.is_dir(follow_symlinks=False) and not entry.name.startswith("."):
            yield from _walk(Path(entry.path))
        else:
            yield Path(entry.path)


def export_folder(book: Book, experiment: str, out: str | Path) -> Path:
    """Write an experiment as a folder, completely or not at all, with every file checked against its SHA-256.

    `readings.csv` and `bench.toml` have their present values; earlier ones are in `history/`.

    Parameters
    ----------
    book : Book
        Where from.
    experiment : str
        Its name.
    out : path
        A folder that does not exist yet, or is empty.

    Raises
    ------
    BookError
        No such experiment, a damaged file, or a folder that cannot be created.
    """
    out = Path(out)
    contents = book.contents(experiment)
    try:
        if out.exists() and not (out.is_dir() and not any(out.iterdir())):
            raise BookError("this path already exists", file=out, fix="name a folder that does not exist yet")
        if not out.parent.is_dir():
            raise BookError("its parent folder does not exist", file=out, fix="create that folder first")
        draft = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
    except OSError as error:
        raise BookError(f"cannot be written: {error.strerror}", file=out, fix="name another folder") from error
    try:
        ours = {BENCH_FILE: contents.bench, READINGS_FILE: contents.table().encode(), **history_files(contents)}
        for path, content in ours.items():
            (draft / path).parent.mkdir(parents=True, exist_ok=True)
            (draft / path).write_bytes(content)
        for kept in contents.files:
            check_path(kept.path, book.label)
            (draft / kept.path).parent.mkdir(parents=True, exist_ok=True)
            with (draft / kept.path).open("xb") as stream:
                book.copy_file(experiment, kept.path, stream)
        draft.chmod(0o755)
        draft.replace(out)
    except OSError as error:
        raise BookError(
            f"cannot be written: {error.strerror or error}", file=out, fix="free space or name another folder"
        ) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return out


def export_book(book: Book, out: str | Path) -> list[Path]:
    """Write every experiment of a book as a folder in `out`, which is created."""
    out = Path(out)
    names = book.experiments()
    if not names:
        raise BookError("the book holds no experiment yet", file=book.label)
    if out.exists() and not (out.is_dir() and not any(out.iterdir())):
        raise BookError("this path already exists", file=out, fix="name a folder that does not exist yet")
    try:
        out.mkdir(exist_ok=True)
    except OSError as error:
        raise BookError(f"cannot be made: {error.strerror}", file=out, fix="name another folder") from error
    return [export_folder(book, name, out / name) for name in names]
