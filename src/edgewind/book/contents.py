"""Snapshot of one experiment of a lab book, without the bytes of its files."""

from __future__ import annotations

from dataclasses import dataclass

from edgewind.book.rows import Amendment, KeptFile, Reading
from edgewind.book.sheet import Sheet, put_together


@dataclass(frozen=True)
class BenchVersion:
    """One version of the `bench.toml` of an experiment, with the reason for it."""

    number: int
    content: bytes
    why: str
    made_at: str
    made_by: str


@dataclass(frozen=True)
class Contents:
    """Snapshot of one experiment, without the bytes of its files."""

    name: str
    sheet: Sheet
    benches: tuple[BenchVersion, ...]
    readings: tuple[Reading, ...]
    changes: tuple[Amendment, ...]
    files: tuple[KeptFile, ...]

    @property
    def bench(self) -> bytes:
        """The present `bench.toml`."""
        return self.benches[-1].content

    def cells_now(self) -> list[dict[str, str]]:
        """Return the cells of every reading with its changes applied."""
        cells = [dict(reading.cells) for reading in self.readings]
        for change in self.changes:
            cells[change.reading - 1][change.cell] = change.after
        return cells

    def traces_now(self) -> dict[str, str]:
        """Return the path of the stored file of each text under ``trace``."""
        found: dict[str, str] = {}
        for reading in self.readings:
            if reading.trace_path is not None:
                found.setdefault(reading.cells["trace"], reading.trace_path)
        for change in self.changes:
            if change.trace_path is not None:
                found.setdefault(change.after, change.trace_path)
        return found

    def table(self) -> str:
        """Return the text of `readings.csv` with every change applied; unchanged rows as written."""
        names = self.sheet.names
        changed: dict[int, dict[str, str]] = {
            reading.number: {name: cell for name, cell in reading.cells.items() if cell and name not in names}
            for reading in self.readings
        }
        for change in self.changes:
            changed[change.reading][change.cell] = change.after
        for reading in self.readings:
            changed[reading.number] = {
                name: after
                for name, after in changed[reading.number].items()
                if after != reading.cells.get(name, "") or (after and name not in names)
            }
        return put_together(self.sheet, [(reading.row, changed[reading.number]) for reading in self.readings])
