"""Write the reference pages of the manual from the code itself: commands, keys, functions, checks and timings."""

from __future__ import annotations

import importlib
import json
import os
import re
import tempfile
import types
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

import click
import numpy as np
import typer
from growth import growth_section
from json_keys import entries, path_of
from json_runs import EXAMPLES, Example, printed_by, set_out, walk
from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from edgewind.bench import GAUGES, Bench
from edgewind.bench.fields import QuantityNote
from edgewind.cli import app
from edgewind.units import KINDS, Measured

ROOT = Path(__file__).parent.parent
EXAMPLE = ROOT / "examples" / "two-rotors"
PUBLISHED = ROOT / "build" / "published"
TIMINGS = Path(__file__).parent / "performance.json"
TITLES = {
    "growth": "How cost grows",
    "plan_time": "Plan: time and rotors",
    "book": "Lab book",
    "web": "Pages",
    "gpu": "GPU",
}
ROOMS = ("gas", "bench", "signals", "kinetics", "rotor", "evidence", "plan", "report", "book", "live", "virtual", "web")
UNITS = {
    "pa": "Pa", "k": "K", "m": "m", "s": "s", "m3": "1/m^3", "m_s": "m/s", "pa_s": "Pa s", "rad_s": "rad/s",
    "n_m": "N m", "n_m_s": "N m s", "kg_m2": "kg m^2", "w_m2": "W/m^2", "w_m2_k": "W/(m^2 K)", "w_m_k": "W/(m K)",
    "rad_s2": "rad/s^2", "v": "V", "m2": "m^2", "n": "N", "hz": "Hz", "w": "W",
    "m3_s": "m^3/s", "l_s": "l/s", "h": "h", "bits": "bit", "1_s": "1/s", "kg": "kg",
}  # fmt: skip


def write_all(folder: Path) -> None:
    """Write every generated page into `folder`."""
    folder.mkdir(exist_ok=True)
    pages = {
        "commands": commands(), "bench-toml": bench_keys(), "json": json_keys(), "validation": validation(),
        "performance": performance(), "functions": functions(folder),
    }  # fmt: skip
    for name, text in pages.items():
        _write(folder / f"{name}.md", text)


def _write(path: Path, text: str) -> None:
    """Write a page only if it changed, so that a build repeats only that."""
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        path.write_text(text, encoding="utf-8")


def _cell(text: str) -> str:
    plain = " ".join(text.split()).replace("|", "\\|")
    return re.sub(r"(`[^`]*`)|<", lambda found: found[1] or "\\<", plain)  # code is shown as it stands


def _table(titles: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(titles) + " |", "| " + " | ".join("---" for _ in titles) + " |"]
    return "\n".join(lines + ["| " + " | ".join(_cell(cell) for cell in row) + " |" for row in rows]) + "\n"


# Commands


def commands() -> str:
    """Describe every command with its arguments and options."""
    group = typer.main.get_command(app)
    assert isinstance(group, click.Group) or hasattr(group, "list_commands")
    context = click.Context(group, info_name="edgewind")  # type: ignore[arg-type]
    parts = [
        "# Commands\n\nExit status: 0 done; 2 input that cannot be used, with a message that names file, line or key; "
        "130 stopped by Ctrl-C. Every quantity takes a unit.\n"
    ]
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        inner = click.Context(command, info_name=name, parent=context)
        given = [one for one in command.get_params(inner) if one.param_type_name == "argument"]
        places = [str(one.metavar or one.name).upper() for one in given]
        words = [place if one.required else f"[{place}]" for one, place in zip(given, places, strict=True)]
        usage = " ".join(["edgewind", name, "[OPTIONS]", *words])
        rows = []
        for one in command.get_params(inner):
            if "--help" in one.opts:
                continue
            shown = (
                ", ".join([*one.opts, *one.secondary_opts])
                if one.param_type_name == "option"
                else str(one.metavar or one.name).upper()
            )
            default = "" if one.default in (None, False, ()) or callable(one.default) else str(one.default)
            need = "required" if one.required else default and f"default {default}"
            rows.append((f"`{shown}`", getattr(one, "help", None) or "", str(need or "")))
        parts.append(f"## edgewind {name}\n\n{command.help or ''}\n\n    {usage}\n\n{_table(('', 'what', ''), rows)}")
    return "\n".join(parts)


# bench.toml


def bench_keys() -> str:
    """Describe every key of `bench.toml`."""
    parts = [
        "# Keys of bench.toml\n\nEvery quantity takes a unit and may take a standard uncertainty: "
        '`"12 mm"`, `"12.0(1) mm"`, `"12.0 +/- 0.1 mm"`, `"1.2 +/- 5 %"`. Unknown keys '
        "are errors. Defaults are in SI. `edgewind new FOLDER` writes a commented file to start from.\n"
    ]
    for name, field in Bench.model_fields.items():
        if name == "gauge":
            parts += [_section(f'gauge, kind = "{kind}"', gauge) for kind, gauge in GAUGES.items()]
            continue
        model = _model_of(field.annotation)
        if model is not None:
            heading = f"{name}.NAME" if get_origin(_bare(field.annotation)) is dict else name
            parts.append(_section(heading, model))
    return "\n".join(parts)


def bench_sentences(model: type[BaseModel]) -> dict[str, str]:
    """Return the descriptions of the keys of a section, from *Attributes* of its docstring and of its base classes."""
    said: dict[str, str] = {}
    for one in reversed(model.__mro__):
        said |= {name: entry.text for name, entry in entries(one, "Attributes").items()} if one.__doc__ else {}
    return said


def _section(heading: str, model: type[BaseModel]) -> str:
    rows, inner, said = [], [], bench_sentences(model)
    for key, field in model.model_fields.items():
        nested = _model_of(field.annotation)
        if nested is not None:
            inner.append(_section(f"{heading.split(',')[0]}.{key}", nested))
            continue
        default = "required" if field.is_required() else _shown(field.default)
        rows.append((f"`{key}`", _markdown(said[key]), _kind(field), default))
    about = (model.__doc__ or "").strip().split("\n    Attributes")[0]
    about = re.sub(r"\n {4}", "\n", about).replace("``", "`")
    table = _table(("key", "what it is", "takes", "default"), rows) + "\n" if rows else ""
    return f"## [{heading}]\n\n{about}\n\n{table}" + "\n".join(inner)


def _bare(kind: Any) -> Any:
    """Take `None` out of an optional type."""
    if get_origin(kind) in (Union, types.UnionType):
        rest = [one for one in get_args(kind) if one is not type(None)]
        if len(rest) == 1:
            return rest[0]
    return kind


def _model_of(kind: Any) -> type[BaseModel] | None:
    bare = _bare(kind)
    for one in (bare, *get_args(bare)):
        if isinstance(one, type) and issubclass(one, BaseModel):
            return one
    return None


def _kind(field: Any) -> str:
    notes = [note for note in field.metadata if isinstance(note, QuantityNote)]
    for one in get_args(field.annotation):
        notes += [note for note in getattr(one, "__metadata__", ()) if isinstance(note, QuantityNote)]
    if notes:
        note = notes[0]
        bounds = [
            f"{words} {bound:g}"
            for words, bound in (("above", note.above), ("at least", note.least), ("at most", note.most))
            if bound is not None
        ]
        return f'{note.kind}, such as `"{KINDS[note.kind].example}"`' + (
            f"; {', '.join(bounds)} in SI" if bounds else ""
        )
    bare = _bare(field.annotation)
    if get_origin(bare) is Literal:
        return "one of " + ", ".join(f'`"{choice}"`' for choice in get_args(bare))
    if bare is Measured:
        return "quantity"
    names = {str: "text", int: "whole number", float: "number", bool: "true or false"}
    if bare in names:
        return names[bare]
    parts = get_args(bare) if get_origin(bare) in (Union, types.UnionType) else ()
    return " or ".join(names.get(one, "table" if get_origin(one) is dict else "list") for one in parts) or "list"


def _shown(default: Any) -> str:
    if default is None or default is PydanticUndefined or default == "":
        return "none"
    if isinstance(default, Measured):
        return f"{default.value:g} ± {default.u:g}" if default.u else f"{default.value:g}"
    return str(default)


# JSON


def json_keys() -> str:
    """List the keys that each command prints with `--json`: what each is, and what it is for the example."""
    group = typer.main.get_command(app)
    order = group.list_commands(click.Context(group))
    with tempfile.TemporaryDirectory() as folder:
        set_out(Path(folder))
        told = {one.command: _section_of(one, printed_by(one, Path(folder))) for one in EXAMPLES}
    opening = (
        "# Keys of the JSON output\n\nSI, with the unit in the key; `u` is a standard uncertainty. `[]` marks each "
        "item of a list, `*` a name that depends on the data, `null` a missing value. *Here* is the value that the "
        "command above the table prints for the invented example, the first of a list; empty if it prints none.\n"
    )
    return "\n".join([opening, *(told[name] for name in sorted(told, key=order.index))])


def _section_of(example: Example, output: Any) -> str:
    values = list(walk(output))
    rows = []
    for key in example.described(whole=False):
        told = (value for parts, value in values if len(parts) == len(key.parts) and key.matches(parts))
        here = next((value for value in told if value is not None), None)
        shown = "" if here is None or isinstance(here, dict) else _here(here)
        what = _markdown(key.sentence) + ("" if key.keys_at is None else f" Keys as in {_at(key.keys_at)}.")
        rows.append((f"`{key.path}`", what, ", ".join(filter(None, (key.holds, _unit(key.path)))), shown))
    words = " ".join(f'"{word}"' if " " in word else word for word in example.words)
    note = f"{example.note}\n\n" if example.note else ""
    table = _table(("key", "what it is", "holds", "here"), rows)
    return (
        f"## edgewind {example.command}\n\n    edgewind {words} --json\n\n{note}:::{{container}} keys\n\n{table}\n:::\n"
    )


def _at(parts: tuple[str, ...]) -> str:
    return f"`{path_of(parts)}`" if parts else "one experiment alone, above"


def _here(value: Any) -> str:
    text = f"{value:.4g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "…"


def _markdown(text: str) -> str:
    """Write the text of a docstring as the manual does."""
    text = re.sub(r":\w+:`~?([^`]+)`", r"`\1`", text).replace("``", "`")
    return re.sub(r"\b(?:None|nan)\b", "`null`", text).replace(" null ", " `null` ")


def _unit(path: str) -> str:
    parts = path.rsplit(".", 1)[-1].replace("[]", "").removesuffix("_interval").split("_")
    for start in range(1, len(parts)):
        if (suffix := "_".join(parts[start:])) in UNITS:
            return UNITS[suffix]
    return ""


# Public functions


def functions(folder: Path) -> str:
    """Write a page a room for its public names, and the list of them."""
    index = [
        "# Public functions\n\nBy room, from the inside out. What a room does not list is not public.\n",
        "```{toctree}",
        ":maxdepth: 1",
    ]
    for room in ROOMS:
        try:
            module = importlib.import_module(f"edgewind.{room}")
        except ModuleNotFoundError:
            continue
        lines = [
            f"# edgewind.{room}\n",
            f"{(module.__doc__ or '').strip()}\n",
            "```{eval-rst}",
            f".. currentmodule:: edgewind.{room}",
            "",
        ]
        for name in sorted(module.__all__):
            what = getattr(module, name)
            if isinstance(what, type):
                lines += [f".. autoclass:: {name}", "   :members:", ""]
            elif callable(what):
                lines += [f".. autofunction:: {name}", ""]
            else:
                lines += [f".. autodata:: {name}", "   :no-value:", ""]
        _write(folder / f"functions-{room}.md", "\n".join([*lines, "```"]) + "\n")
        index.append(f"functions-{room}")
    return "\n".join([*index, "```"]) + "\n"


# Checks against the world outside


def validation() -> str:
    """List every comparison with a published value that the tests have made."""
    lines = [
        json.loads(line)
        for path in sorted(PUBLISHED.glob("*.jsonl"))
        for line in path.read_text(encoding="utf-8").splitlines()
    ]
    if not lines and os.environ.get("EDGEWIND_MANUAL_WITHOUT_CHECKS") is None:
        raise SystemExit("no comparisons found: run `make docs`, which makes them first")
    by_test: dict[str, list[dict[str, Any]]] = {}
    for line in lines:
        by_test.setdefault(line["test"].split("[")[0], []).append(line)
    parts = [
        f"# Checks against published values\n\nMade by the tests: {len(lines)} comparisons in {len(by_test)} tests. "
        "*Allowed* is the difference that the test accepts, relative (%) or in the unit. If the source says *from "
        "memory*, the published value was recalled and not looked up: compare it with the source before you rely on "
        "it.\n"
    ]
    for test in sorted(by_test):
        rows = []
        for line in sorted(by_test[test], key=lambda line: line["test"]):
            ours, theirs = np.atleast_1d(line["ours"]).ravel(), np.atleast_1d(line["theirs"]).ravel()
            for one, other in zip(ours, theirs, strict=True):
                relative = f"{100 * (one / other - 1):+.2g} %" if other else f"{one - other:+.2g}"
                allowed = " or ".join(
                    part for part in (
                        "" if line["rel"] is None else f"{100 * line['rel']:.2g} %",
                        "" if line["abs"] is None else f"{line['abs']:.2g}",
                    ) if part
                )  # fmt: skip
                rows.append((line["what"], f"{one:.6g}", f"{other:.6g}", line["unit"], relative, allowed))
        name = test.split("::")[-1].removeprefix("test_").replace("_", " ")
        source = by_test[test][0]["source"].replace("``", "`")
        parts.append(
            f"## {name[0].upper() + name[1:]}\n\n{source}\n\n`{test}`\n\n"
            + _table(("what", "ours", "published", "unit", "difference", "allowed"), rows)
        )
    return "\n".join(parts)


# Timings


def _number(value: Any) -> str:
    """Write a measured value or what was asked for: a number to four digits, words as they are."""
    try:
        return "" if value is None else f"{float(value):.4g}"
    except ValueError:
        return str(value)


def performance() -> str:
    """Show what `make bench` measured last, as kept in `performance.json`."""
    if not TIMINGS.is_file():
        return (
            "# Performance\n\nNot measured yet: `make bench` writes `docs/performance.json`, which this page shows.\n"
        )
    kept = json.loads(TIMINGS.read_text(encoding="utf-8"))
    parts = [
        "# Performance\n\nMeasured by `make bench`. Timings are ratios or medians of one run on one machine; nothing "
        "here passes or fails.\n"
    ]
    for name, one in sorted(kept.items(), key=lambda item: (item[0] != "growth", item[0])):
        counts = "small counts (`--quick`)" if one["quick"] else "full counts"
        load = "not noted" if one["load"] is None else f"{one['load']:.1f}"
        about = f"{one['machine']}; {one['date']}; {counts}; load at the start {load}."
        rows = [(row["name"], _number(row["value"]), row["unit"], _number(row.get("target"))) for row in one["rows"]]
        parts += [f"## {TITLES.get(name, name.capitalize())}\n\n{about}\n", growth_section(one["rows"])]
        parts.append(_table(("what", "measured", "unit", "asked for"), rows))
    return "\n".join(parts)
