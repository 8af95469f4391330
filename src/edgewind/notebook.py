"""The verbs of a notebook: `import edgewind`, then `edgewind.study(...)`, `predict`, `respond`, `trace`, `next`, `new`.

Each is the command of that name, by the same code. Its result displays itself, holds tables of pandas or xarray, and
saves the same files as the command. `edgewind.study` lives in :mod:`edgewind.study`.
"""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from edgewind.errors import InputError
from edgewind.extras import need
from edgewind.serialize import to_plain

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure

    from edgewind.kinetics import Response
    from edgewind.plan import Plan
    from edgewind.rotor import Prediction
    from edgewind.signals import TraceReading


class Shown(ABC):
    """A result with a display in a notebook and a method to save it in a folder."""

    def figure(self) -> Figure | None:
        """Return the figure of the command's ``--plot``; None if there is nothing to draw."""
        from edgewind.report.show import drawn

        return drawn(self._draw)

    def save(self, folder: str | Path) -> Path:
        """Write table, figure and the JSON of the command into a new or empty folder, and return it.

        Raises
        ------
        InputError
            The folder is not empty, or cannot be written.
        """
        from edgewind.report.show import figure_bytes
        from edgewind.template import check_new

        folder = check_new(folder)
        name = type(self).__name__.lower()
        contents = {"json": (json.dumps(self._plain(), indent=1, ensure_ascii=False) + "\n").encode()}
        contents["csv"] = self.table.to_csv(index=False, lineterminator="\n").encode()
        contents |= {kind: found for kind in ("svg", "png") if (found := figure_bytes(self._draw, kind)) is not None}
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for kind, content in contents.items():
                (folder / f"{name}.{kind}").write_bytes(content)
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", file=folder) from error
        return folder

    @property
    @abstractmethod
    def table(self) -> pd.DataFrame:
        """The result as a table, SI, the unit in the name of each column."""

    @property
    def _main(self) -> pd.DataFrame:
        """The columns of the table that fit the width of a notebook."""
        return self.table

    @abstractmethod
    def _lines(self) -> list[str]: ...

    @abstractmethod
    def _draw(self, palette: Any, size: Any) -> Figure | None: ...

    @abstractmethod
    def _plain(self) -> Any: ...

    def __repr__(self) -> str:
        return "\n".join(self._lines())

    def _repr_html_(self) -> str:
        from edgewind.report.show import figure_html, page_html, table_html

        title, *lines = self._lines()
        return page_html(title, lines, figure_html(self._draw, title), table_html(self._main))


@dataclass(frozen=True, repr=False)
class Predicted(Shown):
    """Result of :func:`predict`; `prediction` is the :class:`edgewind.rotor.Prediction`."""

    prediction: Prediction
    start: str
    readings: pd.DataFrame | None = None

    @property
    def table(self) -> pd.DataFrame:
        """Speed, torque, drag and temperatures against pressure, SI."""
        return self.prediction.table

    @property
    def _main(self) -> pd.DataFrame:
        return self.table[["pressure_pa", "knudsen", "speed_rad_s", "torque_n_m", "drag_n_m_s", "t_hot_k", "t_cold_k"]]

    def to_xarray(self) -> xr.Dataset:
        """Return the table over the pressure, with units as attributes."""
        return _with_units(self.table, "pressure_pa")

    def _lines(self) -> list[str]:
        from edgewind.rotor.words import answer_lines

        title = f"{self.prediction.bench.experiment.title}: predicted from first principles"
        return [title, *([self.start] if self.start else []), *answer_lines(self.prediction)]

    def _draw(self, palette: Any, size: Any) -> Figure | None:
        from edgewind.report.figures.prediction import draw_prediction
        from edgewind.report.figures.shown import show_in

        return show_in(draw_prediction(self.prediction, palette, size, self.readings), self.prediction.bench.shown)

    def _plain(self) -> Any:
        return to_plain(self.prediction.to_result())


def predict(
    bench: str | Path,
    pressures: str = "0.02Pa:20Pa:40",
    *,
    changes: Mapping[str, str] | None = None,
    fit: bool = True,
) -> Predicted:
    """Predict the speed curve of a rotor from first principles.

    Parameters
    ----------
    bench : path
        A `bench.toml`, or its folder.
    pressures : str
        Lowest, highest and number, or a list: ``"1 Pa, 7 mTorr"``.
    changes : mapping of str to str, optional
        What if, by key of `bench.toml`.
    fit : bool
        Whether to start from the values that readings beside the bench, if any, make most probable.

    Raises
    ------
    InputError
        An impossible bench, pressure or change.

    Examples
    --------
    >>> import edgewind, tempfile
    >>> folder = edgewind.new(tempfile.mkdtemp() + "/my-bench")
    >>> found = edgewind.predict(folder, "0.3Pa:30Pa:9", fit=False)
    >>> found.table[["pressure_pa", "speed_rad_s"]].shape
    (9, 2)
    >>> larger = edgewind.predict(folder, fit=False, changes={"rotor.vane_width": "16 mm"})
    >>> larger.prediction.speed.pressure_pa < found.prediction.speed.pressure_pa
    True
    """
    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.evidence.fitted_bench import FittedBench, fitted_bench
    from edgewind.evidence.predicted import with_model_error
    from edgewind.pressures import parse_pressures
    from edgewind.rotor import predict_whole
    from edgewind.signals import READINGS_FILE, read_experiment

    path = Path(bench)
    file = path / BENCH_FILE if path.is_dir() else path
    wanted, start = parse_pressures(pressures), FittedBench(read_bench(file), {})
    if fit and (file.parent / READINGS_FILE).is_file():
        start = fitted_bench(read_experiment(file.parent))
    found = predict_whole(start.bench, wanted, changes=dict(changes or {}), parameters=start.parameters)
    return Predicted(with_model_error(found, level=start.bench.study.level), start.sentence, start.readings)


@dataclass(frozen=True, repr=False)
class Responses(Shown):
    """Result of :func:`respond`; `responses` are the :class:`edgewind.kinetics.Response` of each Knudsen number."""

    responses: tuple[Response, ...]

    @property
    def table(self) -> pd.DataFrame:
        """Coefficients and their errors, dimensionless, a row for each Knudsen number."""
        errors = [{f"{name}_error": error for name, error in one.errors.items()} for one in self.responses]
        rows = [one.row() | error for one, error in zip(self.responses, errors, strict=True)]
        return pd.DataFrame(rows).drop(columns=["errors", "reached"])

    @property
    def _main(self) -> pd.DataFrame:
        return self.table.filter(regex="^(?!.*_error$)")

    def to_xarray(self) -> xr.Dataset:
        """Return the table over the Knudsen number."""
        return _with_units(self.table, "knudsen")

    def _lines(self) -> list[str]:
        first = self.responses[0]
        return [f"Response of the gas to a {first.shape}: force, drag and heat coefficients"]

    def _draw(self, palette: Any, size: Any) -> Figure | None:
        from edgewind.report.figures.response import draw_responses

        return draw_responses(self.responses, palette, size)

    def _plain(self) -> Any:
        return to_plain([one.row() for one in self.responses])


def respond(
    shape: str = "strip",
    knudsen: str | Sequence[float] = "10,1,0.1",
    *,
    room: float | Sequence[float] = 4.0,
    accommodation: float = 1.0,
    tolerance: float = 1e-3,
) -> Responses:
    """Compute force, drag and heat of a vane in the gas.

    Parameters
    ----------
    shape : str
        ``strip``, ``square``, ``rectangle``, ``diamond`` or ``disc``.
    knudsen : str or sequence of float
        Mean free path over the width of the vane: a list, or low, high and number, ``"0.01:100:25"``.
    room : float or sequence of float
        Sides of the closed room over the width of the vane.
    accommodation : float
        Diffuse share of all walls, 0 to 1.
    tolerance : float
        Relative error to reach.

    Raises
    ------
    InputError
        An impossible shape, number or room.

    Examples
    --------
    >>> import edgewind
    >>> found = edgewind.respond("strip", [1.0], tolerance=0.02)
    >>> print(round(float(found.to_xarray()["thermal_force"].sel(knudsen=1.0)), 2))
    0.22
    """
    from edgewind.kinetics import parse_knudsen, respond_curve

    numbers = parse_knudsen(knudsen if isinstance(knudsen, str) else ",".join(f"{kn:.17g}" for kn in knudsen))
    sides = room if isinstance(room, int | float) else [float(side) for side in room]
    answers = respond_curve(shape, numbers, room=sides, accommodation=accommodation, tolerance=tolerance)
    return Responses(tuple(answers))


@dataclass(frozen=True, repr=False)
class TraceSpeed(Shown):
    """Result of :func:`trace`; `reading` is the :class:`edgewind.signals.TraceReading`."""

    reading: TraceReading

    @property
    def table(self) -> pd.DataFrame:
        """Speed, turns, flags and properties of the file, in one row."""
        speed, read = self.reading.speed, self.reading.trace
        return pd.DataFrame([{
            "speed_rad_s": speed.speed_rad_s, "speed_u_rad_s": speed.speed_u_rad_s, "turns": speed.turns,
            "flags": ", ".join(speed.flags), "direction": self.reading.direction.sense, "channel": read.channel,
            "interval_s": read.interval_s, "samples": read.samples, "notes": "; ".join(read.notes),
        }])  # fmt: skip

    def to_xarray(self) -> xr.DataArray:
        """Return the voltage over time."""
        arrays = need("xarray", extra="notebook", purpose="for labelled arrays")
        read = self.reading.trace
        time = arrays.Variable("time_s", read.time_s, {"units": "s"})
        found: xr.DataArray = arrays.DataArray(read.voltage_v, {"time_s": time}, name="voltage_v", attrs={"units": "V"})
        return found

    def _lines(self) -> list[str]:
        from edgewind.formatting import RPM_PER_RAD_S, format_measured

        speed = self.reading.speed
        if speed.method == "none":
            return ["No signal of a turning rotor in this trace", *self.reading.trace.notes]
        rpm = format_measured(RPM_PER_RAD_S * speed.speed_rad_s, RPM_PER_RAD_S * speed.speed_u_rad_s, "rpm")
        flags = f"Flags: {', '.join(speed.flags) or 'none'}"
        return [f"Speed {rpm}, by {speed.method}", flags, *self.reading.trace.notes]

    def _draw(self, palette: Any, size: Any) -> Figure | None:
        from edgewind.report.figures.trace import draw_trace

        return None if self.reading.picture else draw_trace(self.reading.trace, self.reading.speed, palette, size)

    def _plain(self) -> Any:
        return to_plain(self.reading.row())


def trace(file: str | Path, marks: int = 1, *, channel: str | None = None, interval: str | None = None) -> TraceSpeed:
    """Measure the speed in one oscilloscope trace, sound or clip, with uncertainty and flags.

    Parameters
    ----------
    file : path
        A trace exported by an oscilloscope, a sound file, or a clip.
    marks : int
        Pulses a turn.
    channel, interval : str, optional
        If the file does not state them: name or number of the channel, sample interval such as ``"0.1 ms"``.

    Raises
    ------
    InputError
        A file that cannot be read.

    Examples
    --------
    >>> import edgewind, tempfile
    >>> import numpy as np
    >>> file = tempfile.mkdtemp() + "/trace.csv"
    >>> time = np.arange(0, 4, 1e-3)
    >>> pulses = (np.sin(2 * np.pi * 5 * time) > 0.9) + 0.01 * np.random.default_rng(1).standard_normal(time.size)
    >>> np.savetxt(file, np.c_[time, pulses], delimiter=",", header="time [s],voltage [V]", comments="")
    >>> print(round(edgewind.trace(file, marks=1).reading.speed.speed_rad_s, 1))
    31.4
    """
    from edgewind import units
    from edgewind.signals import Tachometry, measure_file

    seconds = None if interval is None else units.parse_quantity(interval, "time")
    return TraceSpeed(measure_file(file, Tachometry(marks, channel, seconds)))


@dataclass(frozen=True, repr=False)
class NextReadings(Shown):
    """Result of :func:`next` for one experiment; `plan` is the :class:`edgewind.plan.Plan`."""

    plan: Plan

    @property
    def table(self) -> pd.DataFrame:
        """The pressures to measure, in order."""
        return pd.DataFrame(self._plain()["next"])

    def _lines(self) -> list[str]:
        from edgewind.plan.text import deliberate_lines, plan_lines

        return [f"What to measure next with {self.plan.name}", *plan_lines(self.plan), *deliberate_lines(self.plan)]

    def _draw(self, palette: Any, size: Any) -> Figure | None:
        from edgewind.report.figures.plan import draw_plan
        from edgewind.report.figures.shown import show_in

        figure = draw_plan(self.plan, palette, size)
        return None if figure is None else show_in(figure, self.plan.shown)

    def _plain(self) -> Any:
        return self.plan.to_dict()


def next(path: str | Path, *, batch: int = 1, target_interval: str | None = None) -> NextReadings:
    """Choose the next pressures to measure, and say when to stop.

    Parameters
    ----------
    path : path
        An experiment folder, or a lab book with one experiment.
    batch : int
        Number of readings to choose.
    target_interval : str, optional
        Wanted width of the interval: ``"10%"`` of the pressure, or ``"0.1 Pa"``.

    Raises
    ------
    InputError
        An input that cannot be used, or several experiments at `path`.

    Examples
    --------
    >>> import edgewind, tempfile
    >>> folder = edgewind.new(tempfile.mkdtemp() + "/my-bench")
    >>> edgewind.next(folder).table["pressure_pa"].between(0.01, 100).all()
    np.True_
    """
    from edgewind.study import plan_next

    plans = plan_next(path, batch=batch, target=target_interval)
    if len(plans) != 1:
        raise InputError(f"one experiment is needed, and this holds {len(plans)}", file=path, fix="name one of them")
    return NextReadings(plans[0])


def new(folder: str | Path) -> Path:
    """Make the folder of an experiment: a commented `bench.toml`, and readings of an invented rotor.

    Raises
    ------
    InputError
        The folder is not empty, or cannot be created.
    """
    from edgewind.template import write_template

    return write_template(folder)[0].parent


def _with_units(table: pd.DataFrame, over: str) -> xr.Dataset:
    """Return a table as a dataset over one of its columns; units from the ends of column names."""
    need("xarray", extra="notebook", purpose="for labelled arrays")
    found = table.select_dtypes("number").set_index(over).to_xarray()
    for name, column in found.variables.items():
        unit = unit_of(str(name))
        if unit:
            column.attrs["units"] = unit
    return found


_UNITS = {"_rad_s": "rad/s", "_n_m_s": "N m s", "_n_m": "N m", "_pa": "Pa", "_k": "K", "_m": "m", "_s": "s"}


def unit_of(name: str) -> str:
    """Return the unit at the end of the name of a column; empty if there is none."""
    return _UNITS[max((end for end in _UNITS if name.endswith(end)), key=len)] if name.endswith(tuple(_UNITS)) else ""
