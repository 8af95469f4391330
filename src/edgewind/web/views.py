"""Readings for the pages: plain rows in SI, from the same analysis of signals as in a study."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from edgewind.bench import Bench
from edgewind.book import BookSource, Contents, Part
from edgewind.errors import InputError
from edgewind.gas import regime
from edgewind.report.physics import path_at_one_pascal
from edgewind.report.sparkline import HEIGHT, WIDTH, envelope_path, middle_turns
from edgewind.serialize import to_plain
from edgewind.signals import ExperimentSource, read_experiment

# Traces are read a few at a time, so that a page fills meanwhile.
AT_ONCE = 6
_KEPT = (
    "time", "sweep", "lamp", "gauge_v", "pressure_pa", "pressure_u_pa", "log_pressure_u", "log_pressure_u_common",
    "pressure_flag", "speed_rad_s",
    "speed_u_rad_s", "speed_method", "speed_flags", "leading_face", "lamp_share", "lamp_side", "gas", "changed",
    "condition", "trace", "envelope_k", "note", "exclude", "used", "why_not",
)  # fmt: skip


def part_views(part: Part) -> list[dict[str, Any]]:
    """Return the readings of a part of a book as rows; an unreadable one has its reason and affects no other."""
    if not part.numbers:
        return []
    try:
        rows = _views(part.source)
    except InputError as error:
        if len(part.numbers) == 1:
            rows = [_unread(part, error)]
        else:
            return [row for single in _singles(part) for row in part_views(single)]
    for row, number, made_at in zip(rows, part.numbers, part.made_at, strict=True):
        row |= {"n": number, "made_at": made_at}
    return rows


def source_views(source: ExperimentSource) -> list[dict[str, Any]]:
    """Return every reading of an experiment from any source as rows.

    Raises
    ------
    InputError
        An input that cannot be used.
    """
    return [row | {"n": number} for number, row in enumerate(_views(source), start=1)]


def _views(source: ExperimentSource) -> list[dict[str, Any]]:
    experiment = read_experiment(source)
    path = path_at_one_pascal(experiment.bench)
    width = experiment.bench.rotor.vane_width.value
    return [
        dict(to_plain({name: row[name] for name in _KEPT})) | _rarefaction(row["pressure_pa"], path, width)
        for row in experiment.readings.to_dict("records")
    ]


def _rarefaction(pressure_pa: float, path_at_one_pa: float, width_m: float) -> dict[str, Any]:
    if not (math.isfinite(pressure_pa) and pressure_pa > 0):
        return {"path_m": None, "kn": None, "regime": ""}
    knudsen = path_at_one_pa / pressure_pa / width_m
    return {"path_m": path_at_one_pa / pressure_pa, "kn": knudsen, "regime": str(regime(knudsen))}


def _unread(part: Part, error: InputError) -> dict[str, Any]:
    cells = contents_of(part).cells_now()[0]
    empty: dict[str, Any] = dict.fromkeys(_KEPT)
    empty |= {name: cells.get(name, "") for name in ("time", "sweep", "trace", "note", "exclude")}
    empty |= {"lamp": True, "used": False, "pressure_flag": "", "speed_flags": "", "speed_method": ""}
    why = f"excluded: {cells['exclude']}" if cells.get("exclude") else f"cannot be read: {error.problem}"
    return empty | {"path_m": None, "kn": None, "regime": "", "why_not": why}


def contents_of(part: Part) -> Contents:
    """Return the rows of a part of a book."""
    return part.source.contents


def _singles(part: Part) -> Sequence[Part]:
    """Return each reading of a part by itself."""
    contents, found = contents_of(part), []
    for index, number in enumerate(part.numbers, start=1):
        changes = tuple(replace(change, reading=1) for change in contents.changes if change.reading == index)
        one = replace(contents, readings=(replace(contents.readings[index - 1], number=1),), changes=changes)
        source = BookSource(part.source.book, part.source.name, one)
        found.append(Part(source, (number,), (part.made_at[index - 1],), part.marks))
    return found


def bench_view(bench: Bench) -> dict[str, Any]:
    """Return the data of a bench for the pages: its gas, its characteristic length, its gauge and its units."""
    rotor = bench.rotor
    return {
        "title": bench.experiment.title,
        "gas": bench.gas.gas.name,
        "path_at_one_pa_m": path_at_one_pascal(bench),
        "width_m": rotor.vane_width.value,
        "marks": bench.tachometer.marks,
        "gauge": bench.gauge.kind,
        "signal_v": None
        if bench.gauge.kind == "display"
        else [bench.gauge.signal_low.value, bench.gauge.signal_high.value],
        "level": bench.study.level,
        "units": {"pressure": bench.shown.pressure, "speed": bench.shown.speed},
    }


def trace_picture(part: Part) -> dict[str, Any]:
    """Return the trace of one reading as a path to draw, whole and its middle turns; empty if it has none."""
    experiment = read_experiment(part.source)
    found = experiment.traces.get(0)
    if found is None:
        return {"whole": "", "turns": ""}
    trace = found.trace
    middle = middle_turns(trace.voltage_v, trace.interval_s, found.speed.speed_rad_s)
    return {
        "whole": envelope_path(trace.voltage_v),
        "turns": envelope_path(middle),
        "width": WIDTH,
        "height": HEIGHT,
        "seconds": trace.voltage_v.size * trace.interval_s,
        "turns_seconds": middle.size * trace.interval_s,
    }
