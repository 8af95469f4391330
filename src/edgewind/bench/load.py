"""Reading of `bench.toml` with located errors, and writing that keeps the owner's comments."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import BaseModel, ValidationError
from tomlkit.exceptions import ParseError, TOMLKitError

from edgewind.bench.fields import FieldProblem
from edgewind.bench.gauges import GAUGES
from edgewind.bench.schema import Bench
from edgewind.errors import InputError
from edgewind.files import write_whole

BENCH_FILE = "bench.toml"
_MOST_BYTES = 1_000_000
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
# A line that opens a section or sets a key; rows of a table over several lines match neither.
_HEADER = re.compile(r"\s*\[\[?([\w.\s\"'-]+)\]\]?\s*(?:#|$)")
_ENTRY = re.compile(r"\s*([\w.\s\"'-]+?)\s*=")


def read_bench(path: str | Path) -> Bench:
    """Read and check a `bench.toml`.

    Raises
    ------
    InputError
        The file is missing, is not TOML, or a key is unknown, missing, or has an impossible value; the message
        names file, line, key, value and what would be right.
    """
    path = Path(path)
    text = read_settings_text(path)
    return parse_bench(text, file=str(path))


def read_settings_text(path: Path) -> str:
    """Return the text of a settings file, UTF-8 with or without a byte order mark."""
    try:
        if not path.is_file():
            raise InputError("there is no such file", file=path, fix="make one with `edgewind new`")
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("this is too large for a description of a bench", file=path, fix="give a bench.toml")
        with path.open(encoding="utf-8-sig", newline="") as stream:
            return stream.read()
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte {error.start + 1} is not UTF-8 text", file=path, fix="save the file as UTF-8 text"
        ) from error
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from error


def parse_bench(text: str, *, file: str = BENCH_FILE) -> Bench:
    """Check the text of a `bench.toml`; see :func:`read_bench`."""
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError):  # slower, and it says which line is wrong and why
        table = _table_or_fault(text, file)
    try:
        return Bench.model_validate(table)
    except ValidationError as error:
        raise _explain(error, table, text, file) from error


def _table_or_fault(text: str, file: str) -> dict[str, Any]:
    try:
        table: dict[str, Any] = tomlkit.parse(text).unwrap()
    except ParseError as error:
        if _open_quote(text, error.line):
            raise InputError(
                "the quote opened on this line is not closed",
                file=file,
                line=error.line,
                fix="end the text with the same quote",
            ) from error
        raise InputError(
            f"not valid TOML ({str(error).partition(' at line')[0]})",
            file=file,
            line=error.line,
            fix="write key = 'value' under a [section]",
        ) from error
    except (TOMLKitError, RecursionError, ValueError) as error:
        raise InputError(f"not valid TOML ({error})", file=file, fix="write key = 'value' under a [section]") from error
    return table


def _open_quote(text: str, line: int) -> bool:
    """Whether a line opens a quote that it does not close; comments and triple quotes left out."""
    lines = text.splitlines()
    content = lines[line - 1] if 0 < line <= len(lines) else ""
    quote = ""
    for sign, before in zip(content, " " + content, strict=False):
        if quote:
            if sign == quote and not (quote == '"' and before == "\\"):
                quote = ""
        elif sign == "#":
            break
        elif sign in "\"'":
            quote = sign
    return bool(quote) and '"""' not in content and "'''" not in content


def _explain(error: ValidationError, table: Mapping[str, Any], text: str, file: str) -> InputError:
    """Turn the first of pydantic's findings into an InputError; unknown keys first, since they explain the rest."""
    findings = sorted(error.errors(), key=lambda finding: finding["type"] != "extra_forbidden")
    finding = findings[0]
    key = _key_of(finding["loc"], table, missing=finding["type"] == "missing")
    cause = finding.get("ctx", {}).get("error")
    if isinstance(cause, FieldProblem):
        found = cause.error.at(key=key or None)
        return found.at(file=file, line=_line_of(found.key or key, text))
    line = _line_of(key, text)
    if finding["type"] == "extra_forbidden":
        known = _known_keys(finding["loc"][:-1], table)
        near = difflib.get_close_matches(str(finding["loc"][-1]), known, n=1, cutoff=0.4)
        hint = f"did you mean '{near[0]}'? " if near else ""
        return InputError("unknown key", file=file, line=line, key=key, fix=f"{hint}known keys are {', '.join(known)}")
    if finding["type"] == "missing":
        section = ".".join(str(part) for part in finding["loc"][:-1])
        where = f"add it to [{section}]" if section else f"add a section [{key}]"
        return InputError(
            "this key is missing",
            file=file,
            line=_line_of(section, text),
            key=key,
            fix=f"{where}; `edgewind new` shows all",
        )
    message = finding["msg"][0].lower() + finding["msg"][1:]
    return InputError(f"{finding['input']!r} cannot be used", file=file, line=line, key=key, fix=message)


def _key_of(place: tuple[int | str, ...], table: Mapping[str, Any], *, missing: bool) -> str:
    """Dotted key as in the file, without the types that pydantic adds."""
    parts, here = [], table
    for part in place:
        if not isinstance(here, Mapping) or not (part in here or missing):
            break
        parts.append(str(part))
        here = here.get(str(part), {})
    return ".".join(parts)


def _known_keys(section: tuple[int | str, ...], table: Mapping[str, Any]) -> list[str]:
    """Keys of the model at `section`."""
    model: type[BaseModel] = Bench
    for part in section:
        if part == "gauge":
            gauge = table.get("gauge")
            kind = gauge.get("kind") if isinstance(gauge, Mapping) else None
            model = GAUGES.get(str(kind), GAUGES["linear"])
            continue
        annotation = model.model_fields[str(part)].annotation
        choices = [annotation, *getattr(annotation, "__args__", ())]
        model = next(choice for choice in choices if isinstance(choice, type) and issubclass(choice, BaseModel))
    return list(model.model_fields)


def _line_of(key: str, text: str) -> int | None:
    """Line of a dotted key in TOML written the usual way, or None."""
    current = ""
    for number, line in enumerate(text.splitlines(), start=1):
        header, entry = _HEADER.match(line), _ENTRY.match(line)
        if header:
            current = re.sub(r"[\s\"']", "", header[1])
            found = current
        elif entry:
            name = re.sub(r"[\s\"']", "", entry[1])
            found = f"{current}.{name}" if current else name
        else:
            continue
        if found == key:
            return number
    section = key.rpartition(".")[0]
    return _line_of(section, text) if section else None


def write_to_bench(path: str | Path, section: str, values: Mapping[str, str | float]) -> None:
    """Set keys of one section of a `bench.toml`, keeping every comment and the order of its owner.

    The result is checked and then replaces the old file in one step; an invalid result leaves the old file unchanged.

    Parameters
    ----------
    path : path
        The `bench.toml`.
    section : str
        Dotted name of the section, made where it is missing: ``"gauge.correction"``.
    values : mapping
        Keys and their new values.

    Raises
    ------
    InputError
        The file cannot be read, or would not be valid afterwards.
    """
    path = Path(path)
    text = read_settings_text(path)
    parse_bench(text, file=str(path))
    document = tomlkit.parse(text)
    table: Any = document
    for part in section.split("."):
        if part not in table:
            table[part] = tomlkit.table()
        table = table[part]
        if not isinstance(table, dict):
            raise InputError(f"'{section}' is not a section", file=path, fix="name a section")
    for key, value in values.items():
        table[key] = value
    changed = tomlkit.dumps(document)
    if "\r\n" in text:
        changed = re.sub(r"\r?\n", "\r\n", changed)
    parse_bench(changed, file=str(path))
    try:
        mark = _BYTE_ORDER_MARK if path.read_bytes().startswith(_BYTE_ORDER_MARK) else b""
        write_whole(path, mark + changed.encode())
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=path) from error
