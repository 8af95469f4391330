"""The description of a bench by questions and answers: the same fields as the form of the pages, at a terminal."""

from __future__ import annotations

import re
from collections.abc import Callable

from edgewind.bench.faces import FACES
from edgewind.bench.form import FIELDS, GAUGES, GROUPS, BenchField, read_fields, write_field, write_gauge
from edgewind.bench.load import parse_bench
from edgewind.errors import InputError
from edgewind.formatting import NUMBER

Ask = Callable[[str], str]
Say = Callable[[str], None]

_QUANTITY = re.compile(rf"({NUMBER})\s*(\D.*)?")
# For a count, a choice or a text the value of the template is the default; a quantity has none.
_OFFERED = ("count", "choice", "text")
_FACE_OF = {"rotor.dark_absorptance": "dark", "rotor.bright_absorptance": "bright"}


def describe_bench(text: str, ask: Ask, say: Say) -> str:
    """Return a `bench.toml` with the answer in every field of the form; comments stay.

    Parameters
    ----------
    text : str
        The `bench.toml` to begin with. Its counts and choices are offered, its quantities are examples only.
    ask : callable
        Asks a question and returns the answer.
    say : callable
        Shows a line.

    Raises
    ------
    InputError
        The answers do not make a valid bench, for a reason outside the fields of the form.
    """
    say("A quantity takes its unit, and may take its uncertainty: 12.0 mm, 12.0 +/- 0.2 mm, 1.2 +/- 5 % N m.")
    say("Enter takes the value in [brackets], or leaves an optional value unknown. Ctrl-C ends without writing.")
    title = ask("Title of the experiment: ").strip() or "My rotor"
    text = re.sub(r'^title = ".*"$', lambda _: f"title = {_quoted(title)}", text, count=1, flags=re.MULTILINE)
    shown = read_fields(text)
    for field in FIELDS.values():
        if field.kind not in _OFFERED and field.optional:
            text = write_field(text, field.key, "")
    for group, fields in GROUPS.items():
        say(f"\n{group}")
        if group == "Gauge and tachometer":
            text = write_gauge(text, _choose(ask, say, "Gauge", list(GAUGES)))
            shown = read_fields(text)
        stated: set[str] = set()
        for field in fields:
            # The kind of gauge implies its principle; a factor is asked for at the end, if the gas needs one.
            if field.key in stated or field.key in ("gauge.principle", "gauge.gas_factor"):
                continue
            if field.key in _FACE_OF:
                text, known = _face(text, _FACE_OF[field.key], ask, say)
                stated |= known
                if field.key in stated:
                    continue
            text = _answer(text, field, shown.get(field.key, ""), ask, say)
    while True:
        try:
            parse_bench(text)
            return text
        except InputError as error:
            if error.key not in FIELDS:
                raise
            say(f"  {error.problem}" + (f"; {error.fix}" if error.fix else ""))
            text = _answer(text, FIELDS[error.key], "", ask, say)


def _answer(text: str, field: BenchField, shown: str, ask: Ask, say: Say) -> str:
    """Ask for one field until the entry is valid, and return the text with it."""
    # Observations of the rotor of the template are no defaults for another rotor.
    if field.key == "rotor.leading_face" or (field.kind == "choice" and not shown):
        offered = field.choices[0]
    else:
        offered = shown if field.kind in _OFFERED or field.key == "gauge.transfer_uncertainty" else ""
    hints = f" ({', '.join(field.choices)})" if field.kind == "choice" else ""
    if offered:
        hints += f" [{offered}]"
    else:
        hints += f" (such as {field.example}{', Enter: unknown' if field.optional else ''})"
    if field.help:
        say(f"  {field.help}")
    while True:
        value = ask(f"{field.label}{hints}: ").strip() or offered
        if not value and not field.optional:
            say("  This is needed. A guess with a wide uncertainty is better than none, such as one of 50 %.")
            continue
        if field.choices and field.kind == "choice" and value not in field.choices:
            say(f"  '{value}' is not one of: {', '.join(field.choices)}")
            continue
        try:
            changed = write_field(text, field.key, value)
            if value:
                _see(changed, field.key)
            if value and field.kind in ("quantity", "number") and field.key != "gauge.transfer_uncertainty":
                changed = write_field(text, field.key, _with_uncertainty(value, ask))
                _see(changed, field.key)
        except InputError as error:
            say(f"  {error.problem}" + (f"; {error.fix}" if error.fix else ""))
            continue
        return changed


def _with_uncertainty(value: str, ask: Ask) -> str:
    """Ask for the uncertainty of a quantity that was typed without one; 12 mm and 2 % make 12 +/- 2 % mm."""
    plain = _QUANTITY.fullmatch(value)
    if plain is None or "+/-" in value or "±" in value or "(" in value.partition(" ")[0]:
        return value
    number, unit = plain.group(1), (plain.group(2) or "").strip()
    known = ask("  known to within (one standard deviation, such as 2 %; Enter: exact): ").strip()
    if not known:
        return value
    spread = _QUANTITY.fullmatch(known)
    if spread is None:
        return f"{number} +/- {known}"  # refused below, with the right form
    size, of = spread.group(1), (spread.group(2) or "").strip()
    if of == "%":
        return f"{number} +/- {size} % {unit}".strip()
    if of and of != unit:
        return f"{number} {unit} +/- {size} {of}"
    return f"{number} +/- {size} {unit}".strip()


def _see(text: str, key: str) -> None:
    """Raise the error of one key; errors of other keys are raised at the end."""
    try:
        parse_bench(text)
    except InputError as error:
        if error.key == key:
            raise


def _face(text: str, face: str, ask: Ask, say: Say) -> tuple[str, set[str]]:
    """Ask for the material of a face; return the text with its known properties, and their keys."""
    names = [one.name for one in FACES]
    answer = _choose(ask, say, f"The {face} face is of", [*names, "something else, whose numbers you type"], last=True)
    if answer not in names:
        return text, set()
    chosen = FACES[names.index(answer)]
    say(f"  {chosen.source}")
    known = {f"rotor.{face}_absorptance": chosen.absorptance, f"rotor.{face}_emissivity": chosen.emissivity}
    for key, value in known.items():
        if value:
            text = write_field(text, key, value)
    return text, {key for key, value in known.items() if value}


def _choose(ask: Ask, say: Say, question: str, names: list[str], *, last: bool = False) -> str:
    """Ask for one of several by its number."""
    for number, name in enumerate(names, start=1):
        say(f"  {number}  {name}")
    offered = len(names) if last else 1
    while True:
        answer = ask(f"{question} [{offered}]: ").strip() or str(offered)
        if answer.isascii() and answer.isdigit() and 1 <= int(answer) <= len(names):
            return names[int(answer) - 1]
        if answer in names:
            return answer
        say(f"  Type a number from 1 to {len(names)}.")


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
