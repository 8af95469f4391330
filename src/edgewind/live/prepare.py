"""Preparation of a sweep: book, experiment, plan, and readings left by an earlier recorder. Nothing moves here."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from edgewind.bench import BENCH_FILE, Bench, parse_bench
from edgewind.bench.instruments import InstrumentsSection
from edgewind.bench.load import read_settings_text
from edgewind.book import Book, NoBookError, open_book
from edgewind.clock import Clock
from edgewind.errors import InputError
from edgewind.live.columns import sweep_columns, titles_of
from edgewind.live.instruments import Instruments, check_limits, connect
from edgewind.live.run_plan import RunPlan, celsius
from edgewind.live.run_table import RunTable
from edgewind.live.spool import MADE_BY, CutOffRun, Spool
from edgewind.live.strategy import AdaptiveStrategy, Strategy
from edgewind.live.sweep import Sweep
from edgewind.live.sweep_log import SweepLog, Unfinished, abandon, attach_notes, new_id, unfinished_of
from edgewind.live.sweep_request import SweepRequest

SPOOL = ".spool"


def unfinished(folder: str | Path, book: str | Path, name: str | None = None) -> list[Unfinished]:
    """Return the unfinished sweeps of a bench in a book, the latest last; none without a book."""
    place = Path(folder)
    try:
        opened = open_book(book)
    except NoBookError:
        return []
    with opened:
        experiment = name or place.resolve().name
        return unfinished_of(opened, experiment) if experiment in opened.experiments() else []


def read_plan(folder: str | Path) -> Bench:
    """Read the `bench.toml` of a folder and check that everything it moves has limits.

    Raises
    ------
    InputError
        It cannot be used, or it moves something without limits.
    """
    path = Path(folder) / BENCH_FILE
    bench = parse_bench(read_settings_text(path), file=str(path))
    try:
        check_limits(bench)
    except InputError as error:
        raise error.at(file=str(path)) from None
    channel = bench.tachometer.channel
    if bench.instruments is not None and bench.instruments.tachometer is not None and str(channel or "").isdigit():
        raise InputError(
            "a trace that is recorded holds one channel, and its number cannot choose among several",
            file=str(path), key="tachometer.channel", fix="leave it out for a bench that is recorded",
        )  # fmt: skip
    return bench


def prepare(
    folder: str | Path,
    book: str | Path,
    request: SweepRequest | None,
    *,
    name: str | None = None,
    resume: bool | None = None,
    strategy: Strategy | None = None,
    instruments: Callable[[Bench], Instruments] | None = None,
    spool: Path | None = None,
    clock: Clock | None = None,
) -> Sweep:
    """Prepare a sweep; nothing moves.

    The book and the experiment are created if missing; readings that an earlier recorder left in the spool are stored
    in the book first.

    Parameters
    ----------
    folder : path
        Holds the `bench.toml`.
    book : path or str
        The lab book.
    request : SweepRequest or None
        The request; None only with ``resume=True``, to resume any unfinished sweep.
    name : str, optional
        Name of the experiment; default: that of the folder.
    resume : bool, optional
        True: resume the unfinished sweep. False: begin a new one, and abandon unfinished ones. None: resume an
        unfinished sweep of the same request, or begin if there is none.
    strategy : Strategy, optional
        Chooses the pressures of an adaptive sweep; default: :class:`edgewind.live.AdaptiveStrategy`.
    instruments : callable, optional
        Makes the instruments of a bench; default: :func:`edgewind.live.connect`.
    spool : path, optional
        Folder of readings that the book does not have yet; default: `.spool` beside the `bench.toml`.
    clock : Clock, optional
        Clock of the sweep; default: that of the machine.

    Raises
    ------
    InputError
        The bench, the request, the book or the spool cannot be used; the message states the remedy.

    Returns
    -------
    Sweep
        To be closed, whether started or not.
    """
    place = Path(folder)
    bench = read_plan(place)
    content = (place / BENCH_FILE).read_bytes()
    experiment = name or place.resolve().name
    if request is not None:
        check_request(request, bench, str(place / BENCH_FILE))
        request = _by_hand(request, bench)
    opened = open_book(book, make=True)
    kept: Spool | None = None
    try:
        kept = Spool(spool if spool is not None else _spool_of(place, opened))
        _take_up(opened, experiment, bench, content)
        _recover(kept, opened)
        contents = opened.contents(experiment)
        columns = sweep_columns(bench, contents.sheet.columns, f"{opened.label} ({experiment})")
        found = _choose(opened, experiment, request, resume)
        if found is None:
            assert request is not None
            log = SweepLog(opened, experiment, new_id(request))
            log.keep("plan", {"request": request.plain()})
        else:
            request, log = found.request, SweepLog(opened, experiment, found.id)
            check_request(request, bench, str(place / BENCH_FILE))  # the limits may have changed since it was begun
        if request.adaptive and strategy is None:
            low, high = min(request.pressures_pa), max(request.pressures_pa)
            strategy = AdaptiveStrategy(bench, low, high, request.adaptive, request.target)
        return Sweep(
            bench=bench,
            book=opened,
            experiment=experiment,
            columns=columns,
            request=request,
            log=log,
            spool=kept,
            instruments=connect(bench, clock) if instruments is None else instruments(bench),
            strategy=strategy,
            resumed=found is not None,
            clock=clock,
        )
    except BaseException:
        if kept is not None:
            kept.close()
        opened.close()
        raise


def check_request(request: SweepRequest, bench: Bench, file: str) -> None:
    """Check that the limits allow a request.

    Raises
    ------
    InputError
        A pressure lies above the limit, or a temperature outside the range of the thermostat.
    """
    limits = bench.limits
    run = request.run
    highest = max((*request.pressures_pa, 0.0 if run is None else run.pressure_pa))
    if run is not None:
        _check_run(run, bench, file)
    if limits is not None and limits.pressure_above is not None and highest >= limits.pressure_above.value:
        raise InputError(
            f"{highest:g} Pa is asked for, and the limit is {limits.pressure_above.value:g} Pa",
            file=file,
            key="limits.pressure_above",
            fix="ask for lower pressures",
        )


def _by_hand(request: SweepRequest, bench: Bench) -> SweepRequest:
    """Return a request whose run has typed speeds if no tachometer is connected."""
    if request.run is None or (bench.instruments is not None and bench.instruments.tachometer is not None):
        return request
    return replace(request, run=replace(request.run, typed=True))


def _check_run(run: RunPlan, bench: Bench, file: str) -> None:
    section = bench.instruments or InstrumentsSection()
    if section.valve is not None and not run.pressure_pa:
        raise InputError(
            "a run needs a pressure where a valve is connected: it is closed at first", file=file,
            key="instruments.valve", fix="write the pressure of the run, such as 2 Pa",
        )  # fmt: skip
    thermostat = section.thermostat
    for change in run.changes:
        if thermostat is None or change.envelope_k is None:
            continue
        low, high = thermostat.low.value, thermostat.high.value
        if not low <= change.envelope_k <= high:
            raise InputError(
                f"{celsius(change.envelope_k)} is asked for, and the thermostat may be set from {celsius(low)} to "
                f"{celsius(high)}",
                file=file, key="instruments.thermostat.low", fix="ask for a temperature within its range",
            )  # fmt: skip


def _spool_of(place: Path, book: Book) -> Path:
    mark = hashlib.sha256(book.label.encode()).hexdigest()[:12]
    return place / SPOOL / mark


def _take_up(book: Book, experiment: str, bench: Bench, content: bytes) -> None:
    if experiment not in book.experiments():
        book.add_experiment(experiment, content, titles_of(bench), made_by=MADE_BY)
    elif book.contents(experiment).bench != content:
        book.revise_bench(experiment, content, "the bench.toml with which recording was resumed", made_by=MADE_BY)


def _recover(spool: Spool, book: Book) -> None:
    for entry in spool.entries():
        entry.into(book)
        spool.remove(entry)
    for run in spool.cut_off():
        _recover_run(run, spool, book)
    for note in spool.notes():
        attach_notes(book, note.experiment, note.sweep, [note.text])
        note.file.unlink(missing_ok=True)
    spool.clear_broken()


def _recover_run(run: CutOffRun, spool: Spool, book: Book) -> None:
    """Store the run of a killed recorder in the book, as far as it was recorded."""
    if run.moments and book.find_by_key(run.experiment, run.key) is None:
        table = RunTable(run.signed, list(run.moments))
        made = ", then ".join(one.note for one in run.moments if one.note)
        cells = {**run.cells, **({"changed": made} if made else {}), "note": "cut off: its recorder was killed"}
        if not table.is_readable:
            cells["exclude"] = "too few speeds for a run"
        entry = spool.put(run.experiment, run.key, cells, table.to_csv(), run.path)
        entry.into(book)
        spool.remove(entry)
    run.file.unlink(missing_ok=True)


def _choose(book: Book, experiment: str, request: SweepRequest | None, resume: bool | None) -> Unfinished | None:
    waiting = unfinished_of(book, experiment)
    if resume is False:
        abandon(book, experiment, waiting, "a new sweep was begun in its place")
        if request is None:
            raise InputError("no pressures were given", fix="give --pressures 0.02Pa:20Pa:12")
        return None
    if not waiting:
        if request is None:
            raise InputError(
                f"no sweep of '{experiment}' is unfinished", file=book.label, fix="give --pressures 0.02Pa:20Pa:12"
            )
        return None
    same = [one for one in waiting if request is None or one.request == request]
    if same:
        return same[-1]
    stands = f"{waiting[-1].done} of {waiting[-1].total} done"
    if resume:
        raise InputError(
            f"the unfinished sweep of '{experiment}' is of other pressures ({stands})",
            file=book.label,
            fix="leave out --pressures to resume it",
        )
    raise InputError(
        f"a sweep of '{experiment}' with other pressures is unfinished ({stands})",
        file=book.label,
        fix="resume it with --resume and without --pressures, or begin a new one with --new-sweep",
    )
