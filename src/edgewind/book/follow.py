"""Reading of a book that other programs write: its progress, and its new rows only."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from sqlalchemy import Select, Table, func, select

from edgewind.book import rows
from edgewind.book.book import Book
from edgewind.book.contents import BenchVersion, Contents
from edgewind.book.errors import BookError, DamagedBookError
from edgewind.book.schema import benches, changes, experiments, files, readings
from edgewind.book.source import BookSource


@dataclass(frozen=True)
class Marks:
    """Progress of an experiment: numbers of its last reading, change and bench."""

    readings: int
    changes: int
    benches: int


def marks(book: Book) -> dict[str, Marks]:
    """Return the progress of every experiment of a book, by name; fast enough for many calls a second.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from importlib.resources import files
    >>> from edgewind.book import open_book
    >>> bench = (files("edgewind.bench") / "template_files" / "bench.toml").read_bytes()
    >>> with TemporaryDirectory() as folder, open_book(folder + "/lab.book", make=True) as book:
    ...     book.add_experiment("rotor", bench, ["time [s]", "pressure [Pa]", "speed [rpm]"])
    ...     first = book.record("rotor", {"time": "0", "pressure": "1.2", "speed": "12.0"})
    ...     marks(book)
    {'rotor': Marks(readings=1, changes=0, benches=1)}
    """
    with book.reading() as connection:
        found = connection.execute(_how_far())
        return {str(name): Marks(*(int(number or 0) for number in numbers)) for name, *numbers in found}


@lru_cache(maxsize=1)
def _how_far() -> Select[tuple[Any, ...]]:
    """Return the query, built once: building it takes longer than the answer."""

    def last(table: Table) -> Any:
        # One lookup in the primary key for each experiment, for any number of rows.
        return select(func.max(table.c.number)).where(table.c.experiment == experiments.c.id).scalar_subquery()

    return select(experiments.c.name, last(readings), last(changes), last(benches)).order_by(experiments.c.name)


@dataclass(frozen=True)
class Part:
    """Some readings of an experiment, as an experiment of their own.

    Attributes
    ----------
    source : BookSource
        These readings with their changes applied, in order.
    numbers : tuple of int
        Their numbers in the book.
    made_at : tuple of str
        When each was stored, ISO, UTC.
    marks : Marks
        Progress of the experiment at the time of reading.
    """

    source: BookSource
    numbers: tuple[int, ...]
    made_at: tuple[str, ...]
    marks: Marks


def read_part(
    book: Book, experiment: str, *, after: int = 0, changed_after: int | None = None, most: int | None = None
) -> Part:
    """Read the readings after number `after`, and those with a change after number `changed_after`, and no others.

    Parameters
    ----------
    book : Book
        The book.
    experiment : str
        Its name.
    after : int
        Number of the last known reading.
    changed_after : int, optional
        Number of the last known change; by default changes of older readings are not read.
    most : int, optional
        Largest number of new readings.

    Raises
    ------
    BookError
        No such experiment.
    DamagedBookError
        A row that is missing or does not match its checksum.
    """
    try:
        with book.reading() as connection:
            key = book.find(connection, experiment)
            new = readings.c.number > after
            if most is not None:
                new = new & (readings.c.number <= after + most)
            if changed_after is not None:
                newer = (changes.c.experiment == key) & (changes.c.number > changed_after)
                new = new | readings.c.number.in_(select(changes.c.reading).where(newer))
            mine = select(readings.c.number).where((readings.c.experiment == key) & new)
            meant = [
                select(table.c.trace_file).where((table.c.experiment == key) & column.in_(mine))
                for table, column in ((readings, readings.c.number), (changes, changes.c.reading))
            ]
            kept = rows.read_files(connection, key, files.c.number.in_(meant[0]) | files.c.number.in_(meant[1]))
            found = rows.stored_readings(connection, key, kept, new)
            place = {reading.number: index for index, reading in enumerate(found, start=1)}
            made = rows.read_changes(connection, key, kept, changes.c.reading.in_(mine))
            last = [
                connection.execute(select(func.max(table.c.number)).where(table.c.experiment == key)).scalar()
                for table in (readings, changes, benches)
            ]
            bench = rows.stored_rows(connection, benches, key, benches.c.number == last[2])
            sheet = book.sheet(connection, key)
    except BookError as error:
        raise error.at(file=book.label) from error
    if not bench:
        raise DamagedBookError(f"the bench of '{experiment}' is missing", file=book.label, fix="run `edgewind check`")
    version = BenchVersion(
        bench[0]["number"], bytes(bench[0]["content"]), bench[0]["why"], bench[0]["made_at"], bench[0]["made_by"]
    )
    contents = Contents(
        experiment,
        sheet,
        (version,),
        tuple(replace(reading, number=place[reading.number]) for reading in found),
        tuple(replace(change, reading=place[change.reading]) for change in made),
        tuple(kept.values()),
    )
    return Part(
        BookSource(book, experiment, contents),
        tuple(place),
        tuple(reading.made_at for reading in found),
        Marks(*(int(number or 0) for number in last)),
    )


def changes_of(book: Book, experiment: str, numbers: Collection[int] | None = None) -> list[rows.Amendment]:
    """Return the changes of an experiment, in order; only of some readings if `numbers` is given."""
    with book.reading() as connection:
        key = book.find(connection, experiment)
        where = [] if numbers is None else [changes.c.reading.in_(list(numbers))]
        made = rows.stored_rows(connection, changes, key, *where)
        wanted = [row["trace_file"] for row in made if row["trace_file"] is not None]
        kept = rows.read_files(connection, key, files.c.number.in_(wanted)) if wanted else {}
        return rows.read_changes(connection, key, kept, *where)
