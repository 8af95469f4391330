"""How an experiment that is begun on the pages is set up."""

from __future__ import annotations

from importlib.resources import files

from edgewind.bench import BENCH_FILE, parse_bench
from edgewind.errors import InputError
from edgewind.units import parse_unit
from edgewind.web.errors import FieldError


def template_bench() -> str:
    """Return the commented `bench.toml` that `edgewind new` writes."""
    return (files("edgewind.bench") / "template_files" / BENCH_FILE).read_text(encoding="utf-8")


def titles_for(bench_text: str, pressure_unit: str, speed_unit: str) -> tuple[str, ...]:
    """Return the titles of a table that takes typed readings and traces alike.

    Parameters
    ----------
    bench_text : str
        The `bench.toml`: a gauge read off its display takes pressures, any other takes volts.
    pressure_unit, speed_unit : str
        Units that the numbers will be typed in.

    Raises
    ------
    FieldError
        A bench that cannot be read, or a unit of something else.
    """
    try:
        bench = parse_bench(bench_text)
    except InputError as error:
        raise FieldError("bench", str(error), line=error.line) from error
    for field, unit, kind in (
        ("pressure_unit", pressure_unit, "pressure"),
        ("speed_unit", speed_unit, "angular speed"),
    ):
        try:
            parse_unit(unit, kind)
        except InputError as error:
            raise FieldError(field, error.problem, fix=error.fix) from error
    display = (f"pressure [{pressure_unit}]", "pressure uncertainty [%]")
    pressure = display if bench.gauge.kind == "display" else ("gauge [V]", *display)
    speed = ("trace", f"speed [{speed_unit}]", f"speed uncertainty [{speed_unit}]")
    return ("time", *pressure, *speed, "lamp", "sweep", "envelope temperature [degC]", "note", "exclude")
