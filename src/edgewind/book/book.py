"""The lab book: experiments with readings and raw traces, added and corrected by further rows, never altered."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import BinaryIO, Self

from sqlalchemy import Connection, Engine, select, text
from sqlalchemy.exc import IntegrityError

from edgewind.book import rows
from edgewind.book.checks import check_name, check_path, check_place, check_titles, clean, read_bench_bytes
from edgewind.book.connect import (
    Address,
    begin_reading,
    begin_writing,
    is_unique_violation,
)
from edgewind.book.contents import BenchVersion, Contents
from edgewind.book.errors import BookError, DamagedBookError, as_book_errors
from edgewind.book.rows import Amendment, TraceFile
from edgewind.book.schema import benches, changes, columns, experiments, files, readings
from edgewind.book.sheet import Sheet, SheetRow, new_sheet, put_together, row_of
from edgewind.errors import InputError
from edgewind.signals import parse_readings

LIVE_TITLES = (
    "time", "gauge [V]", "trace", "leading face", "lamp", "lamp side", "sweep", "envelope temperature [degC]", "gas",
    "changed", "note", "exclude",
)  # fmt: skip
# Titles that a reading may have besides those of its experiment: text without a unit.
ADDED_TITLES = ("leading face", "lamp", "lamp side", "gas", "changed", "note", "exclude")


class Book:
    """An open lab book; see :func:`open_book`. It is safe between the threads of a program."""

    def __init__(self, address: Address, engine: Engine, *, write: bool, older: bool = False) -> None:
        self._address, self._engine, self._write, self.older = address, engine, write, older

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the book; a SQLite book is one file again once its last user has closed it."""
        self._engine.dispose()

    @property
    def label(self) -> str:
        """Its name in messages."""
        return self._address.label

    @property
    def name(self) -> str:
        """Name of the file or of the database."""
        return self._address.name

    def identity(self, experiment: str) -> str:
        """Return an identifier of an experiment, unique among all books and independent of the book's path or URL.

        The same for every program on this machine; a copy of the book has another.

        Raises
        ------
        BookError
            No such experiment.
        """
        with self.reading() as connection:
            key = self._find(connection, experiment)
            if self._address.path is not None:
                found = self._address.path.stat()
                return f"file {found.st_dev}:{found.st_ino} {key}"
            row = connection.execute(
                text(
                    "SELECT current_setting('port'), oid, current_schema() FROM pg_database "
                    "WHERE datname = current_database()"
                )
            ).one()
        return " ".join(map(str, ("postgresql", *row, key)))

    def must_be_writable(self) -> None:
        """Check that this user may add readings, without adding any and without waiting for others.

        Raises
        ------
        BookError
            The book is read-only.
        """
        check_place(self._address, write=True, make=False)
        if self._address.path is None:
            with self.reading() as connection:
                may = connection.execute(text("SELECT has_table_privilege('readings', 'INSERT')")).scalar()
            if not may:
                raise BookError(
                    "this book is read-only",
                    file=self.label,
                    fix="ask the administrator of the database for write permission",
                )

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Return a connection to a snapshot of the book, independent of later writes."""
        with as_book_errors(self.label), begin_reading(self._engine) as connection, connection.begin():
            yield connection.execution_options(**{rows.OLDER: self.older})

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Return a connection whose changes are committed together at the end of the block, or not at all."""
        if not self._write:
            raise BookError("the book was opened for reading", file=self.label, fix="open it with write=True")
        with as_book_errors(self.label), begin_writing(self._engine) as connection, connection.begin():
            yield connection

    # Contents

    def experiments(self) -> list[str]:
        """Return the names of the experiments, in order."""
        with self.reading() as connection:
            return sorted(str(name) for name in connection.execute(select(experiments.c.name)).scalars())

    def contents(self, experiment: str) -> Contents:
        """Return everything about an experiment except the bytes of its files."""
        try:
            with self.reading() as connection:
                return self._contents(connection, self._find(connection, experiment), experiment)
        except InputError as error:
            raise error.at(file=self.label) from error

    def find_by_key(self, experiment: str, key: str) -> int | None:
        """Return the number of the reading with a key; None if there is none."""
        with self.reading() as connection:
            owner = self._find(connection, experiment)
            where = (readings.c.experiment == owner) & (readings.c.key == key)
            found = connection.execute(select(readings.c.number).where(where)).scalar()
        return None if found is None else int(found)

    def copy_file(self, experiment: str, path: str, stream: BinaryIO) -> None:
        """Write the bytes of a kept file to a stream, checked against its SHA-256 as they go.

        Raises
        ------
        BookError
            There is no such file, or it is damaged.
        """
        with self.reading() as connection:
            key = self._find(connection, experiment)
            kept = list(rows.read_files(connection, key, files.c.path == path).values())
            if not kept:
                raise BookError(f"'{experiment}' holds no file '{path}'", file=self.label)
            rows.copy_file(connection, key, kept[0], stream, self.label)

    def find(self, connection: Connection, experiment: str) -> str:
        """Return the key of an experiment in the tables."""
        return self._find(connection, experiment)

    def sheet(self, connection: Connection, key: str) -> Sheet:
        """Return the format of the table of an experiment, by its key."""
        return self._sheet(connection, key)

    def _find(self, connection: Connection, experiment: str, *, lock: bool = False) -> str:
        query = select(experiments.c.id).where(experiments.c.name == experiment)
        # In PostgreSQL writers of one experiment wait for each other here; in SQLite at their beginning.
        found = connection.execute(query.with_for_update() if lock else query).scalar()
        if found is None:
            names = connection.execute(select(experiments.c.name).order_by(experiments.c.name)).scalars().all()
            there = f"it holds {', '.join(map(str, names))}" if names else "it holds none yet"
            raise BookError(f"there is no experiment '{experiment}'", file=self.label, fix=there)
        return str(found)

    def _sheet(self, connection: Connection, key: str) -> Sheet:
        found = connection.execute(select(experiments).where(experiments.c.id == key)).mappings().one()
        row = rows.whole(experiments, found)
        heads = rows.stored_rows(connection, columns, key)
        named = tuple((str(head["title"]), str(head["unit"])) for head in heads)
        return Sheet(row["delimiter"], row["newline"], row["before_titles"], row["titles"], named)

    def _contents(self, connection: Connection, key: str, name: str) -> Contents:
        kept = rows.read_files(connection, key)
        versions = rows.stored_rows(connection, benches, key)
        contents = Contents(
            name,
            self._sheet(connection, key),
            tuple(
                BenchVersion(row["number"], bytes(row["content"]), row["why"], row["made_at"], row["made_by"])
                for row in versions
            ),
            tuple(rows.stored_readings(connection, key, kept)),
            tuple(rows.read_changes(connection, key, kept)),
            tuple(kept.values()),
        )
        counted = {
            "bench": [version.number for version in contents.benches],
            "reading": [reading.number for reading in contents.readings],
            "change": [change.number for change in contents.changes],
        }
        for what, numbers in counted.items():
            for expected, number in enumerate(numbers, start=1):
                if number != expected:
                    raise DamagedBookError(f"{what} {expected} of '{name}' is missing", fix="run `edgewind check`")
        if not contents.benches:
            raise DamagedBookError(f"the bench of '{name}' is missing", fix="run `edgewind check`")
        return contents

    # Additions

    def add_experiment(
        self, name: str, bench: bytes, titles: Sequence[str] = LIVE_TITLES, *, made_by: str = ""
    ) -> None:
        """Begin an experiment with its `bench.toml` and the titles, with units, of its readings.

        Raises
        ------
        InputError
            An invalid bench or titles, or a name that is taken.
        """
        read_bench_bytes(bench, f"{self.label} ({name}): bench.toml")
        sheet = new_sheet(titles)
        check_titles(sheet, self.label)
        with self.writing() as connection:
            self.insert_experiment(connection, name, sheet, bench, made_by)

    def insert_experiment(
        self, connection: Connection, name: str, sheet: Sheet, bench: bytes, made_by: str, made_at: str | None = None
    ) -> str:
        """Add an experiment within a transaction; return its key in the tables."""
        check_name(name, self.label)
        key, made_at = uuid.uuid4().hex, made_at or rows.now()
        stamp = {"made_at": made_at, "made_by": made_by}
        try:
            rows.insert_row(
                connection,
                experiments,
                {
                    "id": key,
                    "name": name,
                    "delimiter": sheet.delimiter,
                    "newline": sheet.newline,
                    "before_titles": sheet.before_titles,
                    "titles": sheet.titles,
                    **stamp,
                },
            )
        except IntegrityError as error:
            if not is_unique_violation(error):
                raise
            raise BookError(
                f"there is an experiment '{name}' already", file=self.label, fix="give it another name"
            ) from None
        rows.add_columns(connection, key, sheet)
        rows.insert_row(connection, benches, {"experiment": key, "number": 1, "content": bench, "why": "", **stamp})
        return key

    def record(
        self,
        experiment: str,
        cells: Mapping[str, str],
        trace: TraceFile | None = None,
        *,
        key: str | None = None,
        made_by: str = "",
    ) -> int:
        """Add a reading and its raw trace, both or neither; when this returns, they survive a power failure.

        Parameters
        ----------
        experiment : str
            Its name.
        cells : mapping of str to str
            Text by title, in the units of the experiment: ``{"gauge": "3.269", "lamp": "on"}``. Those of
            :data:`ADDED_TITLES` are allowed even if the experiment has no such title.
        trace : TraceFile, optional
            The raw trace; ``cells["trace"]`` is then its path.
        key : str, optional
            An identifier by the caller, at most 64 characters: a reading with an existing key is not added again, so
            that a call with a lost answer can be repeated.
        made_by : str
            Who or what recorded it.

        Returns
        -------
        int
            Number of the reading, counted from one.

        Raises
        ------
        InputError
            An invalid cell, or a trace whose path is taken; nothing is stored then.
        BookError
            The book cannot be written; nothing is stored then.
        """
        cells = {title: clean(title, cell) for title, cell in cells.items()}
        if trace is not None:
            if cells.get("trace", trace.path) != trace.path:
                raise InputError(f"the cell names '{cells['trace']}', and the trace is '{trace.path}'", column="trace")
            cells["trace"] = trace.path
        key = key or uuid.uuid4().hex
        if len(key) > 64 or not key.isprintable():
            raise InputError(f"'{key[:80]}' is not a key", fix="use up to 64 printable characters")
        with self.writing() as connection:
            owner = self._find(connection, experiment, lock=True)
            there = connection.execute(
                select(readings).where((readings.c.experiment == owner) & (readings.c.key == key))
            ).mappings()
            for row in there:
                if any(row[name] != value for name, value in rows.cell_values(cells).items()):
                    raise BookError(f"another reading has the key '{key}'", file=self.label, fix="use a new key")
                return int(row["number"])
            sheet = self._sheet(connection, owner)
            new = row_of(sheet, cells)
            self._check_reading(connection, owner, sheet, new, 0)
            number = rows.next_number(connection, readings, owner)
            kept = self._keep(connection, owner, trace)
            if kept is None and cells.get("trace"):
                kept = self._kept(connection, owner, cells["trace"])
            rows.add_reading(
                connection, owner, number, new, key=key, trace_file=kept, made_at=rows.now(), made_by=made_by
            )
        return number

    def correct(
        self,
        experiment: str,
        reading: int,
        cell: str,
        value: str,
        why: str,
        trace: TraceFile | None = None,
        *,
        made_by: str = "",
    ) -> int:
        """Correct a cell of a reading, with the reason; the recorded reading is unchanged.

        Parameters
        ----------
        experiment, reading
            Which: its name, and the number of the reading.
        cell, value : str
            Title and right text, in the units of the experiment. A ``trace`` is the path of a kept file.
        why : str
            The reason.
        trace : TraceFile, optional
            A file to store with it, whose path is `value`.

        Returns
        -------
        int
            Number of the change.

        Raises
        ------
        InputError
            No such reading or title, no reason, or a reading that would be invalid after it.
        """
        return self.change(experiment, reading, {cell: value}, why, trace, made_by=made_by)

    def change(
        self,
        experiment: str,
        reading: int,
        cells: Mapping[str, str],
        why: str,
        trace: TraceFile | None = None,
        *,
        made_by: str = "",
    ) -> int:
        """Correct several cells of a reading at once; see :meth:`correct`. Returns the number of the last change."""
        if not why.strip():
            raise InputError("no reason is given", fix="state it in a few words")
        cells = {cell: clean(cell, value) for cell, value in cells.items()}
        clean("why", why)
        with self.writing() as connection:
            owner = self._find(connection, experiment, lock=True)
            contents = self._contents(connection, owner, experiment)
            if not 1 <= reading <= len(contents.readings):
                raise BookError(
                    f"'{experiment}' has no reading {reading}", file=self.label,
                    fix=f"it has {len(contents.readings)}",
                )  # fmt: skip
            for cell in cells:
                if cell not in (*contents.sheet.names, *ADDED_TITLES):
                    known = ", ".join(dict.fromkeys((*contents.sheet.names, *ADDED_TITLES)))
                    raise InputError(f"the table of '{experiment}' has no '{cell}'", file=self.label, fix=known)
            now = contents.cells_now()[reading - 1]
            self._check_reading(connection, owner, contents.sheet, row_of(contents.sheet, {**now, **cells}), reading)
            kept = self._keep(connection, owner, trace)
            number = len(contents.changes)
            for cell, value in cells.items():
                number += 1
                file = None
                if cell == "trace" and value:
                    file = kept if kept is not None else self._kept(connection, owner, value)
                change = Amendment(
                    number, reading, cell, now.get(cell, ""), value, why.strip(), None, rows.now(), made_by
                )  # fmt: skip
                rows.add_change(connection, owner, change, file)
        return number

    def exclude(self, experiment: str, reading: int, why: str, *, made_by: str = "") -> int:
        """Exclude a reading with a reason; studies show it and do not use it."""
        return self.correct(experiment, reading, "exclude", " ".join(why.split()), why, made_by=made_by)

    def reinstate(self, experiment: str, reading: int, why: str, *, made_by: str = "") -> int:
        """Withdraw an exclusion with a reason."""
        return self.correct(experiment, reading, "exclude", "", why, made_by=made_by)

    def revise_bench(self, experiment: str, bench: bytes, why: str, *, made_by: str = "") -> int:
        """Add a description of the apparatus; the earlier one stays in the book. Return the number of the version."""
        if not why.strip():
            raise InputError("no reason is given", fix="state it in a few words")
        read_bench_bytes(bench, f"{self.label} ({experiment}): bench.toml")
        with self.writing() as connection:
            owner = self._find(connection, experiment, lock=True)
            number = rows.next_number(connection, benches, owner)
            stamp = {"why": why.strip(), "made_at": rows.now(), "made_by": made_by}
            rows.insert_row(connection, benches, {"experiment": owner, "number": number, "content": bench, **stamp})
        return number

    def keep_file(self, experiment: str, file: TraceFile) -> bool:
        """Store a file beside the readings, such as the plan of a sweep.

        Returns
        -------
        bool
            Whether it is new; False if a file of that path with the same bytes already exists.

        Raises
        ------
        BookError
            Another file has that path, or the book cannot be written.
        """
        with self.writing() as connection:
            owner = self._find(connection, experiment, lock=True)
            number = rows.find_file(connection, owner, file.path)
            if number is not None and isinstance(file.content, bytes):
                there = b"".join(rows.read_pieces(connection, owner, number))
                if there == file.content:
                    return False
            self._keep(connection, owner, file)
        return True

    def _keep(self, connection: Connection, owner: str, trace: TraceFile | None) -> int | None:
        if trace is None:
            return None
        check_path(trace.path, self.label)
        taken = rows.file_in_the_way(connection, owner, trace.path)
        if taken is not None:
            raise BookError(f"a file '{taken}' is already in the book", file=self.label, fix="give it another path")
        number = rows.next_number(connection, files, owner)
        return rows.add_file(connection, owner, number, trace, self.label).number

    def _kept(self, connection: Connection, owner: str, path: str) -> int:
        number = rows.find_file(connection, owner, path)
        if number is None:
            raise BookError(f"no trace '{path}' is kept", file=self.label, column="trace", fix="give its bytes with it")
        return number

    def _check_reading(self, connection: Connection, owner: str, sheet: Sheet, row: SheetRow, changed: int) -> None:
        """Check that the row is valid, and that no other has its time."""
        cells = {name: cell for name, cell in row.cells.items() if cell}
        extra: Mapping[str, str] = {
            name: cells[name] for name in ADDED_TITLES if name in cells and name not in sheet.names
        }
        unknown = [name for name in cells if name not in sheet.names and name not in extra]
        if unknown:
            names = ", ".join(sheet.names)
            raise InputError(f"the table has no '{unknown[0]}'", file=self.label, fix=f"it has {names}")
        plain = Sheet(sheet.delimiter, "\n", "", sheet.titles, sheet.columns)
        written = put_together(plain, [(row_of(plain, {n: cells.get(n, "") for n in sheet.names}), extra)])
        try:
            parse_readings(written, file=self.label)
        except InputError as error:
            error.line = None
            raise
        if cells.get("time") and self._time_is_taken(connection, owner, cells["time"], changed):
            raise InputError(
                f"a reading of the time '{cells['time']}' already exists", file=self.label, column="time",
                fix="give each reading its own time",
            )  # fmt: skip

    def _time_is_taken(self, connection: Connection, owner: str, time: str, but: int) -> bool:
        """Return whether another reading has that time, with the changes of the book."""
        of_time = (changes.c.experiment == owner) & (changes.c.cell == "time")
        numbers = set(
            connection.execute(
                select(readings.c.number).where((readings.c.experiment == owner) & (readings.c.time == time))
            ).scalars()
        ) | set(connection.execute(select(changes.c.reading).where(of_time & (changes.c.after == time))).scalars())
        latest: dict[int, str] = {}
        for change in connection.execute(select(changes).where(of_time).order_by(changes.c.number)):
            latest[change.reading] = change.after
        return any(number != but and latest.get(number, time) == time for number in numbers)
