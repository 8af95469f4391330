"""An experiment folder turned into physical readings: `bench.toml`, `readings.csv` and the traces it names."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import BENCH_FILE, Bench, Component, read_bench
from edgewind.errors import InputError
from edgewind.files import sha256_of
from edgewind.signals.by_hand import STOPWATCH_U_S
from edgewind.signals.changes import Change, parse_moments
from edgewind.signals.columns import COLUMNS
from edgewind.signals.conditions import usual_envelope_k, with_conditions
from edgewind.signals.measure import TraceReading, measure_speed
from edgewind.signals.pressure import PressureReadings, pressure_from_display, pressure_from_volts
from edgewind.signals.readings import READINGS_FILE, read_readings
from edgewind.signals.recent import Recent
from edgewind.signals.runs import Run, is_run, read_run, words_of
from edgewind.signals.speed_estimate import SET_ASIDE_FLAGS
from edgewind.signals.trace_run import run_of_trace

if TYPE_CHECKING:
    import pandas as pd

_NOTED_UNDER = "under 'lamp', 'envelope temperature' or 'pressure'"
# A lamp that goes off within this share of a trace from its beginning, and nothing else, makes it a coast-down.
COAST_BEGINS = 0.02
# Speeds found in traces, up to 32 MB of samples.
_MEASURED = Recent[TraceReading](most=4_000_000)


@dataclass(frozen=True)
class InputFile:
    """A file that the study read.

    Attributes
    ----------
    path : str
        Path of the file, relative to the experiment folder.
    sha256 : str
        SHA-256 of the file.
    size : int
        Bytes.
    """

    path: str
    sha256: str
    size: int


@dataclass(frozen=True)
class Experiment:
    """An experiment folder in physical quantities.

    Attributes
    ----------
    name : str
        Name of the folder.
    folder : Path
        Where it is.
    bench : Bench
        The apparatus.
    readings : DataFrame
        One row a reading, in the order of `readings.csv`, with the columns of
        :data:`edgewind.signals.columns.COLUMNS`.
    traces : dict of int to TraceReading
        By row of `readings`.
    budget : tuple of Component
        Lines of the pressure's uncertainty budget, one value a reading (nan where a line does not apply).
    inputs : tuple of InputFile
        Every file read.
    runs : dict of int to Run
        Runs through a change, by row of `readings`.
    """

    name: str
    folder: Path
    bench: Bench
    readings: pd.DataFrame
    traces: dict[int, TraceReading]
    budget: tuple[Component, ...]
    inputs: tuple[InputFile, ...]
    runs: dict[int, Run] = field(default_factory=dict)

    @property
    def used(self) -> pd.DataFrame:
        """The readings that the response curve is made from: those at the usual conditions."""
        return self.readings[self.readings["used"]]

    @property
    def usable(self) -> pd.DataFrame:
        """The readings whose pressure and speed can be used, under any conditions."""
        return self.readings[self.readings["usable"]]


class ExperimentSource(Protocol):
    """Source of an experiment: a folder, or one experiment of a lab book."""

    @property
    def name(self) -> str:
        """Name of the experiment."""

    @property
    def place(self) -> Path:
        """Its location, for messages."""

    def bench(self) -> Bench:
        """Return the apparatus."""

    def readings(self, stopwatch_u_s: float = STOPWATCH_U_S) -> pd.DataFrame:
        """Return the table of readings, as :func:`read_readings` gives it."""

    def path_of(self, trace: str, line: int) -> str:
        """Return the path of a trace that a reading names, relative to the folder.

        Raises
        ------
        InputError
            It is not a file name, or lies outside the folder; names `line`.
        """

    def input_file(self, relative: str) -> InputFile:
        """Return path, size and checksum of a file that the study read."""

    def label(self, relative: str) -> str:
        """Return the name of a file in messages."""

    def require(self, relative: str, trace: str, line: int) -> None:
        """Check that the trace which a reading names is there."""

    def opened(self, relative: str) -> AbstractContextManager[Path]:
        """Give a path at which the content of a file can be read."""


def read_experiment(
    folder: str | Path | ExperimentSource, *, on_trace: Callable[[int, int], None] | None = None
) -> Experiment:
    """Read an experiment and turn volts into pressures and traces into speeds.

    Parameters
    ----------
    folder : path or ExperimentSource
        Holds `bench.toml`, `readings.csv` and the traces that the readings name; or an experiment of a lab book.
    on_trace : callable, optional
        Called with (traces done, traces in all) after each trace.

    Raises
    ------
    InputError
        An input that cannot be used; names file, line and column or key.
    """
    source: ExperimentSource = FolderSource(Path(folder)) if isinstance(folder, str | Path) else folder
    bench = source.bench()
    table = source.readings(bench.tachometer.stopwatch_uncertainty.value)
    inputs = [source.input_file(BENCH_FILE), source.input_file(READINGS_FILE)]

    try:
        pressures = _pressures_by_gas(table, bench)
    except InputError as error:
        raise error.at(file=source.label(READINGS_FILE)) from None
    named = {
        row: source.path_of(str(name), int(line))
        for row, (name, line) in enumerate(zip(table["trace"], table["line"], strict=True))
        if name
    }
    traces: dict[int, TraceReading] = {}
    runs: dict[int, Run] = {}
    notes, lines = [str(note) for note in table["note"]], [int(line) for line in table["line"]]
    for done, (row, path) in enumerate(named.items(), start=1):
        try:
            source.require(path, str(table.at[row, "trace"]), lines[row])
            inputs.append(source.input_file(path))
            found = _read_trace(source, inputs[-1], bench)
            if isinstance(found, TraceReading):
                changes = _changes(source, table, row)
                if _through_changes(changes, found, float(table["lamp_share"].to_numpy(float)[row])):
                    found = run_of_trace(
                        found.trace, bench.tachometer.marks, changes, places=bench.tachometer.mark_places,
                        face=str(table.at[row, "leading_face"]),
                    )  # fmt: skip
            if isinstance(found, Run):
                runs[row] = found
            else:
                traces[row] = found
        except InputError as error:
            if not table.at[row, "exclude"]:
                raise
            notes[row] = f"{notes[row]} (trace not read: {error.problem})".strip()
        if on_trace is not None:
            on_trace(done, len(named))
    table = _with_pressures(table.assign(note=notes), pressures)
    readings = with_conditions(_with_speeds(table, traces, bench), bench)
    envelope_k = usual_envelope_k(readings, bench)
    for row, run in runs.items():
        envelope, share = (float(readings[name].to_numpy(float)[row]) for name in ("envelope_k", "lamp_share"))
        runs[row] = run.with_conditions(
            lamp_share=share, envelope_k=envelope if math.isfinite(envelope) else envelope_k
        )
        words = words_of(runs[row]) or f"nothing changed; note what was in {named[row]}, {_NOTED_UNDER}"
        readings.loc[row, ["speed_method", "condition"]] = ["run", f"run: {words}"]
    readings = _with_use(readings)[[column.name for column in COLUMNS]]
    return Experiment(
        source.name, source.place, bench, readings, traces, pressures.budget, tuple(dict.fromkeys(inputs)), runs
    )


def _changes(source: ExperimentSource, table: pd.DataFrame, row: int) -> tuple[Change, ...]:
    """Return the changes, with times, that a row states for its trace."""
    try:
        return parse_moments(str(table.at[row, "changed"]))
    except InputError as error:
        line = int(table["line"].to_numpy(int)[row])
        raise error.at(file=source.label(READINGS_FILE), line=line, column="changed") from None


def _through_changes(changes: tuple[Change, ...], reading: TraceReading, share: float) -> bool:
    """Return whether a trace has changes beyond a lamp that goes off at its beginning, which is a coast-down."""
    first = changes[0] if changes else None
    if first is None:
        return False
    begins = first.what == "lamp" and first.value == 0 and first.time_s <= COAST_BEGINS * reading.trace.duration_s
    return not (begins and len(changes) == 1 and share == 0)


@dataclass(frozen=True)
class FolderSource:
    """An experiment folder, as :func:`read_experiment` reads it.

    Raises
    ------
    InputError
        There is no folder there.
    """

    place: Path

    def __post_init__(self) -> None:
        if not self.place.is_dir():
            raise InputError(
                "there is no such folder", file=self.place, fix="name a folder with bench.toml and readings.csv"
            )

    @property
    def name(self) -> str:
        """Name of the folder."""
        return self.place.resolve().name

    def bench(self) -> Bench:
        """Return the apparatus that `bench.toml` describes."""
        return read_bench(self.place / BENCH_FILE)

    def readings(self, stopwatch_u_s: float = STOPWATCH_U_S) -> pd.DataFrame:
        """Return the table in `readings.csv`."""
        return read_readings(self.place / READINGS_FILE, stopwatch_u_s=stopwatch_u_s)

    def path_of(self, trace: str, line: int) -> str:
        """Return the path of a trace, with links followed."""
        return _trace_path(self.place, trace, line).relative_to(self.place.resolve()).as_posix()

    def input_file(self, relative: str) -> InputFile:
        """Return the size and SHA-256 of a file."""
        path = self.place / relative
        return InputFile(relative, sha256_of(path), path.stat().st_size)

    def label(self, relative: str) -> str:
        """Return the path itself."""
        return str(self.place / relative)

    def require(self, relative: str, trace: str, line: int) -> None:
        """Check that the file is there."""
        if not (self.place / relative).is_file():
            problem, fix = f"there is no file '{trace}' in the folder", "name a trace such as traces/007.csv"
            raise _at_trace(InputError(problem, fix=fix), self.place, line)

    @contextmanager
    def opened(self, relative: str) -> Iterator[Path]:
        """Return the file itself."""
        yield self.place.resolve() / relative


def _trace_path(folder: Path, name: str, line: int) -> Path:
    """Return the resolved path of a trace, which must lie inside the folder."""
    try:
        path = (folder / name).resolve()
        inside = path.is_relative_to(folder.resolve())
        path.exists()  # raises where the name itself cannot be
    except (OSError, RuntimeError, ValueError) as error:  # too long a name, a loop of links, a strange byte
        problem, fix = f"'{name[:80]}' is not a file name ({error})", "name a file in the folder"
        raise _at_trace(InputError(problem, fix=fix), folder, line) from error
    if not inside:
        problem, fix = f"'{name}' lies outside the experiment folder", "copy the trace into the folder"
        raise _at_trace(InputError(problem, fix=fix), folder, line)
    return path


def _at_trace(error: InputError, folder: Path, line: int) -> InputError:
    return error.at(file=folder / READINGS_FILE, line=line, column="trace")


def _read_trace(source: ExperimentSource, file: InputFile, bench: Bench) -> TraceReading | Run:
    """Return a run or the speed in a trace; the one found before if content and tachometer are the same."""
    label, kind = source.label(file.path), "".join(PurePath(file.path).suffixes).lower()
    key = file.sha256, kind, repr(bench.tachometer)
    with source.opened(file.path) as path:  # once, and always: a book copies it out and finds whether it is damaged
        reading = _MEASURED.get(key)
        if reading is None:
            if is_run(path):
                return read_run(path, source=label)
            reading = measure_speed(path, bench.tachometer, source=label)
            if reading.picture is None:  # clips are large
                _MEASURED.put(key, reading, reading.trace.samples)
    return replace(reading, trace=replace(reading.trace, source=label))


def _pressures_by_gas(table: pd.DataFrame, bench: Bench) -> PressureReadings:
    """Return the pressures of all rows, each with the gas factor of its row."""
    gases = [str(gas) for gas in table["gas"]]
    if not any(gases):
        return _pressures(table, bench)
    parts: list[tuple[NDArray[np.bool_], PressureReadings]] = []
    for gas in dict.fromkeys(gases):
        rows = np.array([other == gas for other in gases])
        of = bench.with_gas(gas) if gas else bench
        try:
            parts.append((rows, _pressures(table[rows], of)))
        except InputError as error:
            raise error.at(line=int(table["line"].to_numpy()[rows][0]), column="gas") from None
    names = dict.fromkeys((line.name, line.common) for _, part in parts for line in part.budget)

    def joined(values: Callable[[PressureReadings], Any], *, of: type = float) -> NDArray[Any]:
        whole: NDArray[Any] = np.empty(len(gases), dtype=of)
        for rows, part in parts:
            whole[rows] = values(part)
        return whole

    return PressureReadings(
        pressure_pa=joined(lambda part: part.pressure_pa),
        log_u=joined(lambda part: part.log_u),
        log_u_common=joined(lambda part: part.log_u_common),
        flags=tuple(joined(lambda part: np.array(part.flags, dtype=object), of=object)),
        budget=tuple(
            Component(name, joined(lambda part, name=name: _line(part, name)), common)  # type: ignore[misc]
            for name, common in names
        ),
    )


def _pressures(table: pd.DataFrame, bench: Bench) -> PressureReadings:
    """Return the pressures of all rows, from volts if there is a voltage, else from the display."""
    volts, shown = table["gauge_v"].to_numpy(float), table["pressure_pa"].to_numpy(float)
    typed = ~np.isnan(shown)
    _check_signal(table, bench)
    if not typed.any():
        return pressure_from_volts(volts, bench)
    with np.errstate(divide="ignore", invalid="ignore"):
        displayed = pressure_from_display(shown, table["pressure_u_pa"].to_numpy(float) / shown, bench)
    if typed.all():
        return displayed
    converted = pressure_from_volts(volts, bench)
    names = dict.fromkeys((line.name, line.common) for line in (*converted.budget, *displayed.budget))
    budget = tuple(
        Component(name, np.where(typed, _line(displayed, name), _line(converted, name)), common)
        for name, common in names
    )
    return PressureReadings(
        pressure_pa=np.where(typed, displayed.pressure_pa, converted.pressure_pa),
        log_u=np.where(typed, displayed.log_u, converted.log_u),
        log_u_common=np.where(typed, displayed.log_u_common, converted.log_u_common),
        flags=tuple(d if t else c for t, d, c in zip(typed, displayed.flags, converted.flags, strict=True)),
        budget=budget,
    )


def _check_signal(table: pd.DataFrame, bench: Bench) -> None:
    """Refuse voltages of a gauge that is said to have only a display."""
    volts = table["gauge_v"].notna().to_numpy()
    if volts.any() and bench.gauge.kind == "display":
        raise InputError(
            "this is a voltage, and the gauge of bench.toml is a display, which gives none",
            line=int(table["line"].to_numpy()[volts][0]),
            column="gauge",
            fix="type the pressure under 'pressure [mTorr]', or describe the gauge's output in [gauge]",
        )


def _line(pressures: PressureReadings, name: str) -> NDArray[np.float64]:
    found = [line.log_u for line in pressures.budget if line.name == name]
    return found[0] if found else np.full(pressures.pressure_pa.shape, np.nan)


def _with_pressures(table: pd.DataFrame, pressures: PressureReadings) -> pd.DataFrame:
    empty = table["gauge_v"].isna() & table["pressure_pa"].isna()
    return table.assign(
        pressure_pa=pressures.pressure_pa,
        pressure_u_pa=pressures.pressure_pa * np.hypot(pressures.log_u, pressures.log_u_common),
        log_pressure_u=pressures.log_u,
        log_pressure_u_common=pressures.log_u_common,
        pressure_flag=np.where(empty, "", pressures.flags),
    )


def _with_speeds(table: pd.DataFrame, traces: dict[int, TraceReading], bench: Bench) -> pd.DataFrame:
    speed, u = table["speed_rad_s"].to_numpy(float).copy(), table["speed_u_rad_s"].to_numpy(float).copy()
    flags, faces = [""] * len(table), [str(face) for face in table["leading_face"]]
    counted = np.isfinite(table["turns"].to_numpy(float))
    methods = [
        ("counted" if by_hand else "typed") if math.isfinite(value) else ""
        for value, by_hand in zip(speed, counted, strict=True)
    ]
    for row, reading in traces.items():
        found = reading.speed
        speed[row] = found.speed_rad_s
        u[row] = math.hypot(found.speed_u_rad_s, bench.tachometer.timebase_uncertainty.value * found.speed_rad_s)
        flags[row], methods[row] = " ".join(found.flags), found.method
        if not faces[row] and reading.direction.sense:
            faces[row] = "bright" if reading.direction.sense > 0 else "dark"
    return table.assign(speed_rad_s=speed, speed_u_rad_s=u, speed_flags=flags, speed_method=methods, leading_face=faces)


def _with_use(table: pd.DataFrame) -> pd.DataFrame:
    """Return for each reading whether it is usable, whether the curve uses it, and why not."""
    reasons = [_why_not(row) for row in table.to_dict("records")]
    elsewhere = [
        reason or (condition if condition == "lamp off" else f"another condition: {condition}" if condition else "")
        for reason, condition in zip(reasons, table["condition"], strict=True)
    ]
    return table.assign(
        usable=[not reason for reason in reasons], used=[not reason for reason in elsewhere], why_not=elsewhere
    )


def _why_not(row: Mapping[Hashable, Any]) -> str:
    """Return why a reading cannot be used under any conditions; empty if it can."""
    if row["exclude"]:
        return f"excluded: {row['exclude']}"
    if row["pressure_flag"]:
        return f"gauge {row['pressure_flag']}"
    bad = [flag for flag in str(row["speed_flags"]).split() if flag in SET_ASIDE_FLAGS]
    if bad:
        return f"trace {', '.join(bad)}"
    if row["speed_method"] == "run":
        return str(row["condition"])
    return "" if math.isfinite(row["speed_rad_s"]) else "no speed"
