"""Storage of a reading with its notes: on the disk, then in the book, then in an event."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from edgewind.book import Book, BookError, DamagedBookError, FullBookError, LockedBookError
from edgewind.live.devices import RawTrace
from edgewind.live.rig import Rig
from edgewind.live.run_table import RunTable
from edgewind.live.spool import RunJournal, Spool, Spooled, npz_of
from edgewind.live.step import Taken
from edgewind.live.sweep_log import JOIN, SweepLog, attach_notes
from edgewind.live.sweep_request import Step

_STORE_TRIES, _STORE_REST_S = 5, 1.0


class Store:
    """Stores the readings of a sweep and the notes that belong to them.

    Parameters
    ----------
    turns : mapping of int to int
        Number of readings of each step in the book.
    rest : callable
        Waits for some seconds while the gauge is polled.
    """

    def __init__(
        self, rig: Rig, book: Book, experiment: str, log: SweepLog, spool: Spool, turns: Mapping[int, int],
        rest: Callable[[float], None],
    ) -> None:  # fmt: skip
        self._rig, self._book, self._experiment = rig, book, experiment
        self._log, self._spool, self._rest = log, spool, rest
        self._turns = dict(turns)

    def journal(self, step: Step, *, signed: bool) -> RunJournal:
        """Begin to write the rows of a run to the disk.

        Raises
        ------
        InputError
            The disk cannot be written.
        """
        turn = self._turns.get(step.number, 0) + 1
        return self._spool.journal(
            self._experiment, self._log.key(step, turn), self._path(step, turn, "runs", "csv"), signed=signed
        )

    def _path(self, step: Step, turn: int, kind: str, suffix: str) -> str:
        return f"{kind}/{self._log.id}/{step.number:04d}-{turn}.{suffix}"

    def store(self, step: Step, taken: Taken) -> None:
        """Store a reading; when this returns, it survives a power failure.

        Raises
        ------
        InputError
            The disk or the book cannot be written; the message states where the reading is.
        """
        state, commands = self._rig.state, self._rig.commands
        cells, recorded = dict(taken[0]), taken[1]
        state.phase("storing", step.words)
        # counted here and not in the book, which may be disconnected: the reading must still reach the disk
        turn = self._turns.get(step.number, 0) + 1
        notes = commands.take_notes()
        cells["note"] = JOIN.join(part for part in (cells.get("note", ""), *(text for text, _ in notes)) if part)
        cells = self._rig.columns.fitting(cells)
        key = self._log.key(step, turn)
        kind, suffix = ("runs", "csv") if isinstance(recorded, RunTable) else ("traces", "npz")
        path = self._path(step, turn, kind, suffix)
        content = None if recorded is None else _bytes_of(recorded)
        spooled = self._spool.put(self._experiment, key, cells, content, path)
        number = self._into_book(spooled)
        if "note" not in cells:  # the table has no such title, but a change of the reading can hold the value
            self._attach(notes)
        _forget(notes)
        self._turns[step.number] = turn
        commands.stored(step, number)
        state.set(last_reading=number)
        self._spool.remove(spooled)
        status = state.status
        state.tell(
            "stored",
            f"reading {number}: {step.words}",
            reading=number,
            key=key,
            step_kind=step.kind,
            step=step.number,
            pressure_pa=status.pressure_pa,
            speed_rad_s=status.speed_rad_s,
            time=cells.get("time", ""),
            gauge=cells.get("gauge", cells.get("pressure", "")),
            path=path if recorded is not None else "",
        )

    def attach_notes(self) -> None:
        """Attach notes that came after the last reading to that reading."""
        notes = self._rig.commands.take_notes()
        self._attach(notes)
        _forget(notes)

    def _attach(self, notes: list[tuple[str, Path]]) -> None:
        if notes:
            attach_notes(self._book, self._experiment, self._log.id, [text for text, _ in notes])

    def _into_book(self, spooled: Spooled) -> int:
        """Store in the book, with retries if it is locked or its server disconnected; the spool keeps it meanwhile."""
        for left in range(_STORE_TRIES - 1, -1, -1):
            try:
                return spooled.into(self._book)
            except (FullBookError, DamagedBookError) as error:
                raise self._kept_in_spool(error) from error
            except BookError as error:
                if not left:
                    raise self._kept_in_spool(error) from error
                said = "locked" if isinstance(error, LockedBookError) else "unreachable"
                self._rig.state.tell(
                    "retry", f"the book is {said}: {error} ({left} more tries; the reading is on the disk)"
                )
                self._rest(_STORE_REST_S)
        raise AssertionError("not reached")

    def _kept_in_spool(self, error: BookError) -> BookError:
        return type(error)(
            error.problem,
            file=error.file,
            fix=f"{error.fix or 'try again'}; this reading lies in {self._spool.folder} and goes into the book when "
            "the same command is given again",
        )


def _bytes_of(recorded: RawTrace | RunTable) -> bytes:
    return npz_of(recorded) if isinstance(recorded, RawTrace) else recorded.to_csv()


def _forget(notes: Iterable[tuple[str, Path]]) -> None:
    for _, file in notes:
        file.unlink(missing_ok=True)
