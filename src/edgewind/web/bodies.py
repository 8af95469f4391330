"""Bodies of requests: a model for each form, with validation."""

from __future__ import annotations

from typing import Annotated, Any, TypeVar

from anyio import from_thread
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError
from starlette.requests import Request

from edgewind.errors import InputError
from edgewind.web.errors import FieldError

MOST_TEXT = 2000
Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=MOST_TEXT)]
Name = Annotated[str, StringConstraints(strip_whitespace=True, max_length=200)]
Slug = Annotated[str, StringConstraints(strip_whitespace=True, max_length=400)]
Short = Annotated[str, StringConstraints(strip_whitespace=True, max_length=60)]
_Body = TypeVar("_Body", bound="Body")


class Body(BaseModel):
    """A JSON object that a page sends; further keys, such as those of other fields of its form, are ignored."""

    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)


class BookChoice(Body):
    """The book that a form names: one that exists, or a new one."""

    book: Name = ""
    new_book: Name = ""


class TypedReading(Body):
    """A reading typed at the bench; numbers are texts, as typed."""

    key: Short = ""
    pressure: Text = ""
    pressure_as: Short = ""
    speed: Text = ""
    speed_as: Short = "speed"
    lamp: Short = "on"
    leading_face: Short = ""
    sweep: Text = ""
    envelope: Text = ""
    gas: Short = ""
    changed: Text = ""
    note: Text = ""
    drop: Short = ""
    sure: bool = False

    def typed(self) -> dict[str, str]:
        """Return the sent fields, without key, dropped file and confirmation."""
        return {
            name: str(value)
            for name, value in self.model_dump(exclude={"key", "drop", "sure"}, exclude_unset=True).items()
        }


class StatedKey(Body):
    """A key of the tachometer to state in the description of the bench."""

    key: Short
    value: Short


class ReadingChange(Body):
    """A change of a reading, with its reason."""

    reading: int
    why: Text = ""

    def reason(self) -> str:
        """Return the reason on one line.

        Raises
        ------
        FieldError
            It is empty.
        """
        text = " ".join(self.why.split())
        if not text:
            raise FieldError("why", "No reason was given", fix="write why, in a few words")
        return text


class Exclusion(ReadingChange):
    """A reading to exclude, or to use again."""

    undo: bool = False


class CellCorrection(ReadingChange):
    """A cell of a reading to correct."""

    cell: Short = ""
    value: Text = ""


class NewExperiment(BookChoice):
    """An experiment to begin."""

    name: Name = ""
    bench: Annotated[str, StringConstraints(max_length=200_000)] = ""
    pressure_unit: Short = "Pa"
    speed_unit: Short = "rpm"


class BenchText(Body):
    """A description of a bench, and fields of its form to write into it."""

    bench: Annotated[str, StringConstraints(max_length=200_000)]
    changes: dict[str, Text] = Field(default_factory=dict)
    gauge: Text = ""


class Import(BookChoice):
    """A folder to import into a book."""

    folder: Slug = ""
    name: Name = ""


class SweepForm(BookChoice):
    """A sweep to prepare."""

    folder: Slug = ""
    name: Name = ""
    pressures: Text = ""
    up_and_down: Short = ""
    coast_downs: Short = "0"
    adaptive: Short = "0"
    target: Short = ""
    resume: bool = False


class SweepCommand(Body):
    """A command to a running sweep."""

    text: Text = ""
    run: Short = ""
    of: int | None = None


class ExperimentChoice(Body):
    """An experiment of the catalog."""

    slug: Slug
    experiment: Name


class StudyOrder(Body):
    """A study to make."""

    of: list[ExperimentChoice] = Field(min_length=1)
    fit: bool = False


class FilmOrder(Body):
    """A film to make."""

    shape: Short = "rotor"
    drive: Short = "thermal"
    quantity: Short = "temperature"
    theme: Short = "light"
    size: Short = "1080p"
    seconds: Short = "12"
    mark: Short = ""


class IntervalOrder(Body):
    """Intervals of both optima to compute, with some values of the bench changed."""

    slug: Slug
    experiment: Name
    study: Short = ""
    changes: dict[str, Short] = Field(default_factory=dict)


def body_of(request: Request, model: type[_Body]) -> _Body:
    """Return the body of a request, checked; called from the thread of an endpoint that is a plain function.

    Raises
    ------
    FieldError
        A field has the wrong type or is too long.
    InputError
        It is not a JSON object.
    """
    content = from_thread.run(request.body)
    try:
        return model.model_validate_json(content)
    except ValidationError as error:
        raise _explain(error.errors(include_url=False, include_context=True)[0]) from None


def _explain(found: Any) -> InputError:
    where, kind = [str(part) for part in found["loc"]], found["type"]
    if kind in ("json_invalid", "model_type", "dict_type") and not where:
        return InputError("The body of the request is not a JSON object", fix="use the pages")
    limit = found.get("ctx", {}).get("max_length", MOST_TEXT)
    problem = {
        "string_type": "must be text",
        "string_too_long": f"must be text of at most {limit} characters",
        "int_type": "must be a whole number",
        "missing": "is missing",
        "too_short": "must name at least one",
    }.get(kind, found["msg"])
    name = where[0] if where else ""
    return FieldError(name, f"'{name}' {problem}", fix="use the pages")
