"""Creation of an experiment from the pages."""

from __future__ import annotations

import re
from typing import Any

import tomlkit

from edgewind.bench import parse_bench
from edgewind.bench.form import FIELDS, reading_titles, write_field
from edgewind.book import Book
from edgewind.errors import InputError
from edgewind.template import template_text
from edgewind.units import parse_unit
from edgewind.web.errors import FieldError

_STATED = ("channel", "interval", "marks")


def template_bench() -> str:
    """Return the commented initial `bench.toml`, without observations of a particular rotor."""
    text = write_field(template_text(), "rotor.leading_face", "not observed")
    return write_field(text, "rotor.vane_conductance", "")


def with_title(text: str, name: str) -> str:
    """Return a `bench.toml` with the name of its experiment as title, if the title is still that of the template."""
    title = re.search(r"^title = .*$", template_text(), re.MULTILINE)
    assert title is not None
    return text.replace(title[0], f"title = {tomlkit.string(name).as_string()}", 1)


def titles_for(bench_text: str, pressure_unit: str, speed_unit: str) -> tuple[str, ...]:
    """Return the titles of a table that takes typed readings and traces alike.

    Parameters
    ----------
    bench_text : str
        The `bench.toml`: a display gauge takes pressures, any other takes volts.
    pressure_unit, speed_unit : str
        Units of the typed numbers.

    Raises
    ------
    FieldError
        An invalid bench, or a unit of another quantity.
    """
    try:
        bench = parse_bench(bench_text)
    except InputError as error:
        if error.key in FIELDS:
            raise FieldError(error.key.replace(".", "-"), error.problem, fix=error.fix) from error
        raise FieldError("bench", str(error), line=error.line) from error
    for field, unit, kind in (
        ("pressure_unit", pressure_unit, "pressure"),
        ("speed_unit", speed_unit, "angular speed"),
    ):
        try:
            parse_unit(unit, kind)
        except InputError as error:
            raise FieldError(field, error.problem, fix=error.fix) from error
    return reading_titles(bench.gauge.kind == "display", pressure_unit, speed_unit)


def state_key(book: Book, experiment: str, key: str, value: str) -> None:
    """State a guessed property of a trace in the description of the bench; comments and order stay.

    Parameters
    ----------
    book : Book
        Open for writing.
    experiment : str
        Its name.
    key : {"channel", "interval", "marks"}
        Key of ``[tachometer]``.
    value : str
        The channel by name, the interval such as ``1 ms``, or the number of marks.

    Raises
    ------
    InputError
        Another key, or an invalid value.
    """
    if key not in _STATED:
        raise InputError(f"'{key}' cannot be stated here", fix=f"choose one of {', '.join(_STATED)}")
    text = book.contents(experiment).bench.decode("utf-8-sig")
    document = tomlkit.parse(text)
    section: Any = document["tachometer"]
    section[key] = int(value) if key == "marks" and value.isdecimal() else value
    book.revise_bench(
        experiment,
        tomlkit.dumps(document).encode(),
        f"the {key} of the traces stated as {value}",
        made_by="at the pages",
    )
