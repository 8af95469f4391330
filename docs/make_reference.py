"""Write the reference pages of the manual from the code itself: commands, keys, functions, checks and timings."""

from __future__ import annotations

import importlib
import json
import os
import re
import subprocess
import sys
import types
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

import click
import numpy as np
import typer
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
ROOMS = ("gas", "bench", "signals", "kinetics", "rotor", "evidence", "plan", "report", "book", "live", "virtual", "web")
UNITS = {
    "pa": "Pa", "k": "K", "m": "m", "s": "s", "m3": "1/m^3", "m_s": "m/s", "pa_s": "Pa s", "rad_s": "rad/s",
    "n_m": "N m", "n_m_s": "N m s", "kg_m2": "kg m^2", "w_m2": "W/m^2", "w_m2_k": "W/(m^2 K)", "w_m_k": "W/(m K)",
    "rad_s2": "rad/s^2", "v": "V", "m2": "m^2", "n": "N", "hz": "Hz", "w": "W",
    "m3_s": "m^3/s", "l_s": "l/s", "h": "h", "bits": "bit",
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
    """Write a page only where it changed, so that a build has only that to do again."""
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        path.write_text(text, encoding="utf-8")


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|").replace("<", "\\<")


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
        usage = " ".join(["edgewind", name, *command.collect_usage_pieces(inner)])
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
    said = _template_comments()
    parts = [
        "# Keys of bench.toml\n\nEvery quantity takes a unit and may take a standard uncertainty: "
        '`"12 mm"`, `"12.0(1) mm"`, `"12.0 +/- 0.1 mm"`, `"1.2 +/- 5 %"`. Unknown keys '
        "are errors. `edgewind new FOLDER` writes a commented file to start from.\n"
    ]
    for name, field in Bench.model_fields.items():
        if name == "gauge":
            parts += [_section(f'gauge, kind = "{kind}"', gauge, "gauge", said) for kind, gauge in GAUGES.items()]
            continue
        model = _model_of(field.annotation)
        if model is not None:
            heading = f"{name}.NAME" if get_origin(_bare(field.annotation)) is dict else name
            parts.append(_section(heading, model, name, said))
    return "\n".join(parts)


def _section(heading: str, model: type[BaseModel], prefix: str, said: dict[str, str]) -> str:
    rows, inner = [], []
    for key, field in model.model_fields.items():
        nested = _model_of(field.annotation)
        if nested is not None:
            inner.append(_section(f"{heading.split(',')[0]}.{key}", nested, f"{prefix}.{key}", said))
            continue
        default = "required" if field.is_required() else _shown(field.default)
        rows.append(
            (f"`{field.alias or key}`", _kind(field), default, field.description or said.get(f"{prefix}.{key}", ""))
        )
    about = (model.__doc__ or "").strip().split("\n    Attributes")[0]
    about = re.sub(r"\n {4}", "\n", about).replace("``", "`")
    return f"## [{heading}]\n\n{about}\n\n{_table(('key', 'takes', 'default', ''), rows)}\n" + "\n".join(inner)


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


def _template_comments() -> dict[str, str]:
    """Take what the template says of each key from its comments."""
    text = (ROOT / "src/edgewind/bench/template_files/bench.toml").read_text(encoding="utf-8")
    section, said = "", {}
    for line in text.splitlines():
        if found := re.match(r"#?\s*\[([\w.]+)\]", line):
            section = found.group(1)
        elif found := re.match(r"#?\s*(\w+) = (\"[^\"]*\"|[^#\"]*?)\s*# (.+)$", line):
            said[f"{section}.{found.group(1)}"] = found.group(3)
    return said


# JSON


JSON_OF = (
    ("gas", "air", "7 mTorr", "--size", "10 mm"),
    ("trace", "examples/two-rotors/vane-12mm/traces/001.csv.gz", "--marks", "4"),
    ("respond", "--knudsen", "10", "--tolerance", "0.01"),
    ("predict", "examples/two-rotors/vane-12mm"),
    ("study", "examples/two-rotors", "--quick"),
    ("next", "examples/two-rotors/vane-12mm"),
)


def json_keys() -> str:
    """Run commands with `--json` on the example and list the keys that come out."""
    group = typer.main.get_command(app)
    known = set(group.list_commands(click.Context(group)))
    parts = [
        "# Keys of the JSON output\n\nSI, with the unit in the key; `u` is a standard uncertainty. Values are those of "
        "the invented example. `null` says that there is none. `[]` marks a list.\n"
    ]
    for words in JSON_OF:
        if words[0] not in known:
            continue
        ran = subprocess.run(
            [sys.executable, "-m", "edgewind", *_existing(words), "--json"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        )
        rows = list(dict(_walk(json.loads(ran.stdout))).values())
        shown = " ".join(f'"{word}"' if " " in word else word for word in words)
        parts.append(
            f"## edgewind {words[0]}\n\n    edgewind {shown} --json\n\n{_table(('key', 'holds', 'unit', 'here'), rows)}"
        )
    return "\n".join(parts)


def _existing(words: tuple[str, ...]) -> list[str]:
    """Take the first trace of the example, whatever it is called."""
    first = sorted((EXAMPLE / "vane-12mm" / "traces").iterdir())[0]
    return [str(first.relative_to(ROOT)) if "/traces/" in word else word for word in words]


def _walk(value: Any, path: str = "") -> Any:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _walk(inner, f"{path}.{key}" if path else key)
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for inner in value:
            yield from _walk(inner, f"{path}[]")
    else:
        many = isinstance(value, list)
        one = value[0] if many and value else value
        holds = {bool: "true or false", str: "text", int: "number", float: "number"}.get(type(one), "")
        here = json.dumps(one, ensure_ascii=False) if not isinstance(one, float) else f"{one:.4g}"
        here = here if len(here) <= 60 else here[:57] + "…"
        yield path, (f"`{path}{'[]' if many else ''}`", holds, _unit(path), here)


def _unit(path: str) -> str:
    parts = path.rsplit(".", 1)[-1].removesuffix("[]").removesuffix("_interval").split("_")
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
        "*Allowed* is what the test lets pass, relative (%) or in the unit. Where the source says *from memory*, the "
        "published value was recalled and not looked up: hold it against the source before you lean on it.\n"
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
    for name, one in kept.items():
        counts = "small counts (`--quick`)" if one["quick"] else "full counts"
        load = "not noted" if one["load"] is None else f"{one['load']:.1f}"
        about = f"{one['machine']}; {one['date']}; {counts}; load at the start {load}."
        rows = [(row["name"], _number(row["value"]), row["unit"], _number(row.get("target"))) for row in one["rows"]]
        parts.append(
            f"## {name.replace('_', ' ').capitalize()}\n\n{about}\n\n"
            + _table(("what", "measured", "unit", "asked for"), rows)
        )
    return "\n".join(parts)
