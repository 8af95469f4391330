"""Form of a run through a change: its fields are converted to a plan, or to an error of a field."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TypeVar

from edgewind.errors import InputError
from edgewind.live import PlannedChange, RunPlan, SweepRequest, parse_envelope
from edgewind.units import parse_quantity
from edgewind.web.bodies import BookChoice, Name, Short, Slug, Text
from edgewind.web.errors import FieldError

_T = TypeVar("_T")
# Changes by the choice of the form.
CHOICES = {
    "reversal": "lamp off, then the envelope",
    "lamp off": "lamp off",
    "lamp on": "lamp on",
    "envelope": "the envelope, with the lamp unchanged",
    "other": "something else",
    "mine": "a change by hand, noted by its button",
}


class RunForm(BookChoice):
    """A run to prepare."""

    folder: Slug = ""
    name: Name = ""
    pressure: Short = ""
    what: Short = "mine"
    when: Short = ""
    envelope: Short = ""
    other: Text = ""
    duration: Short = ""
    lamp_first: Short = "on"
    speed_from: Short = "tachometer"
    envelope_first: Short = ""


def run_from_form(form: RunForm) -> SweepRequest:
    """Return the run of a form.

    Raises
    ------
    FieldError
        A field that cannot be used.
    """
    if form.what not in CHOICES:
        raise FieldError("what", f"'{form.what}' is not one of the changes", fix="choose one")
    if form.lamp_first not in ("on", "off"):
        raise FieldError("lamp_first", f"'{form.lamp_first}' is not a state of the lamp", fix="choose on or off")
    if form.speed_from not in ("tachometer", "typed"):
        raise FieldError("speed_from", f"'{form.speed_from}' is not a source of speeds", fix="choose one")
    pressure = _read("pressure", form.pressure, lambda text: _size(text, "pressure", "2 Pa"), 0.0)
    duration = _read("duration", form.duration, lambda text: _size(text, "time", "10 min"), 0.0)
    first = _read("envelope_first", form.envelope_first, parse_envelope, 0.0)
    try:
        return SweepRequest((), run=RunPlan(
            pressure, duration, _changes(form), form.lamp_first, form.speed_from == "typed", first
        ))  # fmt: skip
    except FieldError:
        raise
    except InputError as error:
        field = "duration" if "run" in error.problem else "when"
        raise FieldError(field, error.problem, fix=error.fix) from error


def _changes(form: RunForm) -> tuple[PlannedChange, ...]:
    if form.what == "mine":
        return ()
    after_s = _read("when", form.when, lambda text: _size(text, "time", "30 s"), 0.0)
    if form.what == "other":
        words = " ".join(form.other.split())
        if not words:
            raise FieldError("other", "The change is not stated", fix="write it, such as: gas let in")
        if any(sign in words for sign in ",;") or re.search(r"\sat\s", words):
            raise FieldError("other", "A change is one thing, in a few words", fix="leave out commas and times")
        return (PlannedChange(after_s, other=words[:120]),)
    if form.what.startswith("lamp"):
        lamp = form.what.removeprefix("lamp ")
        if lamp == form.lamp_first:
            raise FieldError("lamp_first", f"The lamp is {lamp} before it is switched {lamp}", fix="choose the other")
        return (PlannedChange(after_s, lamp=lamp),)
    if not form.envelope:
        raise FieldError("envelope", "The temperature is not stated", fix="write -20 degC")
    envelope = PlannedChange(None, envelope_k=_read("envelope", form.envelope, parse_envelope, 0.0))
    if form.what == "envelope":
        return (PlannedChange(after_s, envelope_k=envelope.envelope_k),)
    if form.lamp_first == "off":
        raise FieldError("lamp_first", "The lamp is off before it is switched off", fix="choose on")
    return (PlannedChange(after_s, lamp="off"), envelope)


def _read(field: str, text: str, read: Callable[[str], _T], empty: _T) -> _T:
    if not text:
        return empty
    try:
        return read(text)
    except InputError as error:
        raise FieldError(field, error.problem, fix=error.fix) from error


def _size(text: str, kind: str, example: str) -> float:
    """Read a positive quantity; a time without a unit is in seconds."""
    plain = f"{text} s" if kind == "time" and not re.search("[A-Za-zµ]", text) else text
    value = float(parse_quantity(plain, kind))
    if not value > 0:
        raise InputError(f"'{text}' must be above zero", fix=f"write {example}")
    return value
