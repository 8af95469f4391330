"""Storing a reading: on the disk first, then in the book, with patience for a book that is away."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from edgewind.book import Book, BookError, DamagedBookError, FullBookError, LockedBookError
from edgewind.live.columns import Columns
from edgewind.live.commands import Commands
from edgewind.live.events import SweepState
from edgewind.live.spool import Spool, Spooled
from edgewind.live.sweep_log import JOIN, SweepLog, attach_notes
from edgewind.live.sweep_request import Step
from edgewind.live.taking import Taken

_STORE_TRIES, _STORE_REST_S = 5, 1.0


class Storing:
    """Stores the readings of a sweep and the notes that belong to them.

    Parameters
    ----------
    turns : mapping of int to int
        How many readings of each step the book has.
    rest : callable
        Waits for some seconds with the gauge watched.
    """

    def __init__(
        self,
        book: Book,
        experiment: str,
        columns: Columns,
        log: SweepLog,
        spool: Spool,
        board: SweepState,
        commands: Commands,
        turns: Mapping[int, int],
        rest: Callable[[float], None],
    ) -> None:
        self._book, self._experiment, self._columns = book, experiment, columns
        self._log, self._spool = log, spool
        self._board, self._commands, self._rest = board, commands, rest
        self._turns = dict(turns)

    def store(self, step: Step, taken: Taken) -> None:
        """Store a reading; when this returns it outlives a pulled plug.

        Raises
        ------
        InputError
            The disk or the book does not take it; the message says where it is.
        """
        cells, trace = taken
        self._board.phase("storing", step.words)
        # counted here and not in the book, which may be away just now: the reading has to reach the disk all the same
        turn = self._turns.get(step.number, 0) + 1
        notes = self._commands.take_notes()
        cells["note"] = JOIN.join(part for part in (cells.get("note", ""), *(text for text, _ in notes)) if part)
        cells = self._columns.fitting(cells)
        key = self._log.key(step, turn)
        path = f"traces/{self._log.id}/{step.number:04d}-{turn}.npz"
        spooled = self._spool.put(self._experiment, key, cells, trace, path)
        number = self._into_book(spooled)
        if "note" not in cells:  # the table has no such title, but a change of the reading may hold what it cannot
            self._leave(notes)
        _forget(notes)
        self._turns[step.number] = turn
        self._commands.stored(step, number)
        self._board.set(last_reading=number)
        self._spool.remove(spooled)
        status = self._board.status
        self._board.tell(
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
            path=path if trace is not None else "",
        )

    def attach_notes(self) -> None:
        """Give notes that came after the last reading to that reading."""
        notes = self._commands.take_notes()
        self._leave(notes)
        _forget(notes)

    def _leave(self, notes: list[tuple[str, Path]]) -> None:
        if notes:
            attach_notes(self._book, self._experiment, self._log.id, [text for text, _ in notes])

    def _into_book(self, spooled: Spooled) -> int:
        """Record, with patience for a book that is locked or a server that is away; the spool keeps it meanwhile."""
        for left in range(_STORE_TRIES - 1, -1, -1):
            try:
                return spooled.into(self._book)
            except (FullBookError, DamagedBookError) as error:
                raise self._kept_in_spool(error) from error
            except BookError as error:
                if not left:
                    raise self._kept_in_spool(error) from error
                said = "locked" if isinstance(error, LockedBookError) else "not to be reached"
                told = f"the book is {said}: {error} ({left} more tries; the reading is on the disk)"
                self._board.tell("retry", told)
                self._rest(_STORE_REST_S)
        raise AssertionError("not reached")

    def _kept_in_spool(self, error: BookError) -> BookError:
        return type(error)(
            error.problem,
            file=error.file,
            fix=f"{error.fix or 'try again'}; this reading lies in {self._spool.folder} and goes into the book when "
            "the same command is given again",
        )


def _forget(notes: Iterable[tuple[str, Path]]) -> None:
    for _, file in notes:
        file.unlink(missing_ok=True)
