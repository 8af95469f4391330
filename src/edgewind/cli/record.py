"""The command `edgewind record`."""

from __future__ import annotations

import queue
import re
import signal
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console

from edgewind.cli.base import AsJson, app, indented, print_json
from edgewind.cli.keys import Keys
from edgewind.errors import EdgewindError, InputError
from edgewind.formatting import RPM_PER_RAD_S, format_number

if TYPE_CHECKING:
    from edgewind.bench import Bench
    from edgewind.live import DeviceCheck, Status, Sweep, SweepRequest, Unfinished
    from edgewind.shown_units import ShownUnits

_HELP = (
    "Keys: p pause or resume, s skip this step, r repeat the last reading, n note, f leading face, "
    "c changed on purpose, q stop; in a run: l lamp, e envelope, v speed, x end of the run"
)
_TYPED = {
    "n": ("note", "note: "),
    "f": ("face", "which face leads from now on (bright, dark, not observed; Enter: not stated): "),
    "c": ("changed", "changed on purpose from now on (Enter: nothing): "),
    "l": ("lamp", "lamp from now on (on, off, or a share such as 50 %): "),
    "e": ("envelope", "temperature of the envelope from now on, in degC: "),
    "v": ("speed", "speed, in rpm (+ bright face leads, - dark face leads): "),
}
_EMPTY = ("face", "changed")
_COMMANDS = {"s": "skip", "r": "repeat", "q": "stop", "x": "end"}
_LOUD = (
    "prompt",
    "change",
    "stored",
    "skipped",
    "trouble",
    "retry",
    "proposal",
    "interlock",
    "note",
    "command",
    "safe",
)


@app.command()
def record(
    bench: Annotated[Path, typer.Argument(help="Folder with the bench.toml.")],
    book: Annotated[
        str | None, typer.Argument(help="Lab book: a file, made if it does not exist, or postgresql://…")
    ] = None,
    pressures: Annotated[
        str | None, typer.Option(help="First, last and number: 0.02Pa:20Pa:12; or a list: '0.1 Pa, 1 Pa'.")
    ] = None,
    up_and_down: Annotated[bool, typer.Option("--up-and-down", help="Repeat the pressures in reverse order.")] = False,
    coast_downs: Annotated[
        int, typer.Option(help="Number of pressures that are followed by a coast-down, lamp off.")
    ] = 0,
    run: Annotated[
        str | None,
        typer.Option(
            help="Run through a change, after the sweep or alone: '2 Pa, lamp off at 30 s, envelope to -20 degC at "
            "standstill'."
        ),
    ] = None,
    reversal: Annotated[
        str | None,
        typer.Option(
            help="Record the run in which the lamp goes off and the envelope is then chilled: '2 Pa, -20 degC'."
        ),
    ] = None,
    adaptive: Annotated[
        bool, typer.Option("--adaptive", help="Choose each pressure from the readings so far, between first and last.")
    ] = False,
    most: Annotated[int, typer.Option(help="Most readings of an adaptive sweep.")] = 40,
    target_interval: Annotated[
        str, typer.Option(help="Interval of the optimum at which an adaptive sweep ends: '10%' or '0.1 Pa'.")
    ] = "",
    name: Annotated[str | None, typer.Option(help="Name of the experiment; default: name of the folder.")] = None,
    resume: Annotated[
        bool | None,
        typer.Option("--resume/--new-sweep", help="Resume the unfinished sweep, or abandon it."),
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Print the plan; move, open and write nothing.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Begin without asking.")] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Query every instrument once; move and write nothing.")
    ] = False,
    remote: Annotated[
        bool,
        typer.Option(
            "--remote", help="Read nothing from the terminal: other programs steer the sweep and answer its questions."
        ),
    ] = False,
    by: Annotated[
        str, typer.Option(hidden=True, help="Name of who began the sweep, shown on the pages.")
    ] = "edgewind record",
    identity: Annotated[
        str | None, typer.Option(hidden=True, help="Identifier of this recorder, 16 hexadecimal digits.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Record a sweep: set each pressure, wait until steady, take the trace, store it.

    The same command resumes an interrupted sweep. At a terminal: p pauses and resumes, s skips the current step, r
    repeats the last reading, n takes a note, f states which face leads, c states what is changed on purpose from now
    on, q stops. In a run: l switches the lamp or notes that you switched it, e does the same for the envelope, c
    notes another change, v takes a typed speed, x ends the run. The pages that the same user serves on this machine
    (edgewind serve) show the sweep and steer it as well; their commands are printed here.
    """
    from edgewind.live import (
        SweepRequest,
        check_request,
        parse_reversal,
        parse_run,
        parse_targets,
        prepare,
        read_plan,
        unfinished,
    )

    described = read_plan(bench)
    if check:
        _print_check(described, as_json=as_json)
        return
    if book is None:
        raise InputError("no lab book is named", fix="edgewind record FOLDER BOOK --pressures 0.02Pa:20Pa:12")
    if identity is not None and not re.fullmatch("[0-9a-f]{16}", identity):
        raise InputError(
            f"'{identity[:40]}' is not an identity of a recorder", fix="16 hexadecimal digits, or leave it out"
        )
    request = None
    if run is not None and reversal is not None:
        raise InputError("--run and --reversal are both given", fix="give --run or --reversal")
    through = parse_run(run) if run is not None else parse_reversal(reversal) if reversal is not None else None
    if pressures is not None or through is not None:
        request = SweepRequest(
            () if pressures is None else parse_targets(pressures),
            up_and_down,
            coast_downs,
            most if adaptive else 0,
            target_interval,
            through,
        )
        check_request(request, described, str(bench / "bench.toml"))
    elif resume is not True:
        raise InputError("no pressures were given", fix="add --pressures 0.02Pa:20Pa:12, --run or --resume")
    waiting = unfinished(bench, book, name)
    if dry_run:
        _print_plan(described, request, waiting, as_json=as_json)
        return
    console = Console(stderr=as_json, highlight=False)
    _show_start(console, described, request, waiting)
    if not (yes or remote):
        _ask_to_begin()
    sweep = prepare(bench, book, request, name=name, resume=resume)
    try:
        _run(sweep, console, described.shown, remote=remote, made_by=by, identity=identity)
        status = sweep.status()
        if as_json:
            print_json(sweep_result(sweep, status))
    finally:
        sweep.close()
    if status.phase == "failed":
        raise _Failed(f"{status.problem}; once this is corrected, the same command resumes the sweep")


class _Failed(EdgewindError):
    pass


def _show_start(console: Console, bench: Any, request: Any, waiting: list[Any]) -> None:
    from edgewind.live import cautions_of, moves_of

    units = bench.shown
    console.print(f"{bench.experiment.title}", markup=False, soft_wrap=True)
    if request is not None:
        console.print(indented(units.text(_words(request))), markup=False, soft_wrap=True)
    for one in waiting:
        console.print(f"  Unfinished: {one.id}, {one.done} of {one.total} steps done.", markup=False, soft_wrap=True)
    console.print("What will move:", markup=False, soft_wrap=True)
    for move in moves_of(bench) or ("Nothing: you will be asked to set the valve and the lamp by hand.",):
        console.print(indented(units.text(move)), markup=False, soft_wrap=True)
    console.print("Cautions:", markup=False, soft_wrap=True)
    for caution in cautions_of(bench, None if request is None else request.run):
        console.print(indented(units.text(caution)), markup=False, soft_wrap=True)


def _words(request: Any) -> str:
    if not request.pressures_pa:
        return f"{request.steps()[0].words[:1].upper()}{request.steps()[0].words[1:]}."
    low, high = (f"{format_number(p, 3)} Pa" for p in (min(request.pressures_pa), max(request.pressures_pa)))
    if request.adaptive:
        until = f", until the interval of the optimum is {request.target}" if request.target else ""
        return f"Up to {request.adaptive} readings between {low} and {high}, each chosen from those before{until}."
    steps = request.steps()
    readings, downs = (sum(step.kind == kind for step in steps) for kind in ("reading", "coast-down"))
    last = f" Last, {steps[-1].words}." if steps[-1].kind == "run" else ""
    return f"{readings} readings and {downs} coast-downs between {low} and {high}.{last}"


def _ask_to_begin() -> None:
    if not sys.stdin.isatty():
        raise InputError("not a terminal: cannot ask for confirmation", fix="add --yes to confirm")
    if input("Type yes to begin: ").strip().lower() not in ("y", "yes"):
        raise InputError("not begun", fix="nothing has moved")


def _print_plan(bench: Any, request: Any, waiting: list[Any], *, as_json: bool) -> None:
    if request is None:
        if not waiting:
            raise InputError("no sweep is unfinished", fix="give --pressures 0.02Pa:20Pa:12")
        request = waiting[-1].request
    if as_json:
        print_json(_plan(bench, request, waiting))
        return
    _show_start(Console(highlight=False), bench, request, waiting)
    print("Plan:")
    for step in request.steps():
        print(f"  {step.number:>3}  {bench.shown.text(step.words)}")
    if request.adaptive:
        print(indented("The pressures are chosen during the sweep."))
    print("Dry run: nothing was moved, opened or written.")


def _plan(bench: Bench, request: SweepRequest, waiting: list[Unfinished]) -> dict[str, Any]:
    """Return the JSON output of the plan of a sweep.

    Returns
    -------
    moves : list of str
        Devices that the program would move, in words.
    cautions : list of str
        Cautions for the sweep.
    steps : list of dict
        The steps in their order; of an adaptive sweep, those known in advance.
    steps[].number, steps[].kind, steps[].pressure_pa, steps[].direction : as in edgewind.live.sweep_request.Step
    steps[].changes : list of str
        Changes in a run, in order; empty in other steps.
    adaptive : int
        Most readings of an adaptive sweep; zero for given pressures.
    target_interval : str or None
        Interval of the optimum at which an adaptive sweep ends, as written; null without one.
    unfinished : list of dict
        Sweeps of this bench that were begun in the book and not ended.
    unfinished[].sweep : str
        Name of the sweep.
    unfinished[].done : int
        Number of steps that are done.
    unfinished[].total : int
        Number of steps in all.
    """
    from edgewind.live import cautions_of, moves_of

    keys = ("number", "kind", "pressure_pa", "direction")
    return {
        "moves": list(moves_of(bench)),
        "cautions": list(cautions_of(bench, request.run)),
        "steps": [
            {key: getattr(step, key) for key in keys}
            | {"changes": [] if step.run is None else [change.words for change in step.run.changes]}
            for step in request.steps()
        ],
        "adaptive": request.adaptive,
        "target_interval": request.target or None,
        "unfinished": [{"sweep": one.id, "done": one.done, "total": one.total} for one in waiting],
    }


def _print_check(bench: Bench, *, as_json: bool) -> None:
    from edgewind.live import check_devices

    found = check_devices(bench)
    if as_json:
        print_json(_checked(found))
        return
    if not found:
        print("The bench.toml names no instruments: everything is read and set by hand.")
    for one in found:
        print(f"{one.role:<12} {one.address}")
        print(
            indented(
                bench.shown.text(one.problem or "; ".join(filter(None, (one.identity, one.reading))) or "it answers")
            )
        )
    print("Nothing was moved or written.")


def _checked(found: list[DeviceCheck]) -> dict[str, Any]:
    """Return the JSON output of the answers of the instruments.

    Returns
    -------
    devices : list of dict
        The instruments that the bench.toml names.
    devices[].role, devices[].address, devices[].identity : as in edgewind.live.device_check.DeviceCheck
    devices[].reading, devices[].problem : as in edgewind.live.device_check.DeviceCheck
    """
    return {"devices": found}


def _run(
    sweep: Sweep, console: Console, units: ShownUnits, *, remote: bool, made_by: str, identity: str | None
) -> None:
    """Start the sweep and serve it until it ends."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from edgewind.live import ControlSocket

    events: queue.Queue[Any] = queue.Queue()
    columns = (
        TextColumn("{task.fields[done]}/{task.fields[all]}"),
        BarColumn(bar_width=20),
        TimeElapsedColumn(),
        TextColumn("{task.description}"),
    )
    with ExitStack() as stack:
        for number in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):  # the last one is of Windows
            which = getattr(signal, number, None)
            if which is not None and not (number == "SIGHUP" and signal.getsignal(which) == signal.SIG_IGN):
                stack.callback(signal.signal, which, signal.signal(which, lambda *_: sweep.stop()))
        keys = None if remote else stack.enter_context(Keys(sys.stdin))
        if keys is not None and keys.live:
            console.print(_HELP, markup=False, soft_wrap=True)
        try:
            stack.enter_context(ControlSocket(sweep, made_by, run=identity))
        except InputError as error:
            if remote:
                raise
            console.print(f"No page can steer this sweep: {error}", markup=False, soft_wrap=True)
        stack.callback(sweep.subscribe(events.put))
        bar = stack.enter_context(
            Progress(*columns, console=console, transient=True, disable=remote or not console.is_terminal)
        )  # fmt: skip
        task = bar.add_task("", total=1, done=0, all=0)
        sweep.start()
        while True:
            ended = sweep.join(0.1)
            while not events.empty():
                event = events.get()
                if event.kind in _LOUD and event.text:
                    console.print(f"{event.time[11:19]}  {_loud(event, units)}", markup=False, soft_wrap=True)
            status = sweep.status()
            bar.update(
                task,
                description=_line(status, units),
                completed=status.done,
                total=max(status.total, 1),
                done=status.done,
                all=status.total,
            )
            if ended:
                break
            if keys is None:
                continue
            try:
                _obey(sweep, status, keys, bar, units)
            except InputError as error:
                console.print(f"not done: {error}", markup=False, soft_wrap=True)
    status = sweep.status()
    resume = "; run the same command to resume" if status.phase == "stopped" else ""
    said = units.text(f"{status.phase}: {status.problem or status.message}") + resume
    console.print(said, markup=False, soft_wrap=True)


def _obey(sweep: Any, status: Any, keys: Keys, bar: Any, units: ShownUnits) -> None:
    if status.question:
        bar.stop()
        # a page may answer first
        text = keys.line(f"{units.text(status.question)} ", still=lambda: _asks(sweep, status.asked))
        bar.start()
        if text is None:  # the input has ended
            sweep.stop()
        elif _asks(sweep, status.asked):
            word = {"s": "skip", "skip": "skip", "q": "stop", "quit": "stop"}.get(text.strip().lower())
            sweep.command(word) if word else sweep.command("answer", text, of=status.asked)
        else:
            bar.console.print("This question is closed: a page answered it, or the sweep continued.", soft_wrap=True)
        sweep.join(0.1)
        return
    key = keys.key()
    if key in _TYPED:
        name, prompt = _TYPED[key]
        bar.stop()
        text = keys.line(prompt)
        bar.start()
        if text is not None and (text.strip() or name in _EMPTY):
            sweep.command(name, text)
    elif key == "p":
        sweep.command("resume" if status.phase == "paused" else "pause")
    elif key in _COMMANDS:
        sweep.command(_COMMANDS[key])


def _asks(sweep: Any, number: int) -> bool:
    status = sweep.status()
    return bool(status.question) and status.asked == number


def _loud(event: Any, units: ShownUnits) -> str:
    if event.kind in ("note", "command"):  # as typed
        return f"{event.kind}: {event.text}"
    if event.kind != "stored":
        return units.text(f"{event.kind}: {event.text}")
    data = event.data
    pressure = "" if data["pressure_pa"] is None else f" {format_number(data['pressure_pa'], 4)} Pa"
    speed = "" if data["speed_rad_s"] is None else f", {format_number(RPM_PER_RAD_S * data['speed_rad_s'], 4)} rpm"
    return units.text(f"stored {event.text};{pressure}{speed}")


def _line(status: Any, units: ShownUnits) -> str:
    parts = [status.phase]
    if status.step is not None:
        parts.append(status.step.words)
    if status.pressure_flag:
        parts.append(f"gauge {status.pressure_flag}")
    elif status.pressure_pa is not None:
        parts.append(f"{format_number(status.pressure_pa, 3)} Pa")
    if status.speed_rad_s is not None:
        parts.append(f"{format_number(RPM_PER_RAD_S * status.speed_rad_s, 3)} rpm")
    if status.valve_v is not None:
        parts.append(f"valve {status.valve_v:.3f} V")
    if status.time_left_s is not None:
        minutes, seconds = divmod(round(status.time_left_s), 60)
        parts.append(f"about {minutes}:{seconds:02} left")
    return units.text(" · ".join(parts))


def sweep_result(sweep: Sweep, status: Status) -> dict[str, Any]:
    """Return the JSON output of a finished sweep, SI.

    Returns
    -------
    experiment : str
        Name of the experiment in the book.
    sweep : str
        Name of the sweep.
    resumed : bool
        Whether it resumed an unfinished sweep.
    phase : {"finished", "stopped", "failed"}
        How it ended.
    why : str
        How it ended, in words.
    problem : str
        The problem; empty if there was none.
    done : int
        Number of steps that are done.
    total : int
        Number of steps in all.
    stored : list of dict
        Readings that were stored in this run.
    stored[].reading : int
        Number of the reading in the book.
    stored[].key : str
        Key of the reading in the book, so that it is never stored twice.
    stored[].step_kind : {"reading", "coast-down", "run"}
        Kind of its step.
    stored[].step : int
        Number of its step.
    stored[].pressure_pa : float or None
        Last pressure of the gauge, Pa; null if it gave none.
    stored[].speed_rad_s : float or None
        Speed in its trace, rad/s; null if none was found.
    stored[].time : str
        Time at which it was taken, UTC.
    stored[].gauge : str
        Answer of the gauge as written into the book.
    stored[].path : str
        Path of its trace in the book; empty without a trace.
    skipped : list of dict
        Steps that were skipped in this run.
    skipped[].step : int
        Number of the step.
    skipped[].why : str
        Why it was skipped.
    """
    events = sweep.history()
    return {
        "experiment": sweep.experiment,
        "sweep": sweep.id,
        "resumed": sweep.resumed,
        "phase": status.phase,
        "why": status.message,
        "problem": status.problem,
        "done": status.done,
        "total": status.total,
        "stored": [dict(event.data) for event in events if event.kind == "stored"],
        "skipped": [dict(event.data) for event in events if event.kind == "skipped"],
    }
