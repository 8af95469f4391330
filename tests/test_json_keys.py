"""Every key that a command prints with `--json` has a sentence, and every such sentence has a key."""

from __future__ import annotations

import contextlib
import re
import sqlite3
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
import typer

from edgewind.bench import parse_bench, write_template
from edgewind.cli import app
from edgewind.cli.record import sweep_result
from edgewind.evidence.tensions import Tension
from edgewind.live import SweepRequest, prepare
from edgewind.report.summary import study_summary
from edgewind.study import Study
from edgewind.virtual import invented_text, serve_bench, write_folder

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "docs"))
from json_keys import LIST, Key, path_of  # noqa: E402
from json_runs import EXAMPLES, Example, printed, printed_by, set_out, walk  # noqa: E402

ROTOR = "examples/two-rotors/vane-12mm"
VACUUM = '\n[vacuum]\nvolume = "3 l"\npumping_speed = "10 l/s"\nleak = "1e-6 mbar l/s"\n'
QUICK = "\n" + (Path(__file__).parent / "quick.toml").read_text(encoding="utf-8")


def test_every_command_that_prints_json_has_its_keys_in_the_manual():
    group = typer.main.get_command(app)
    context = click.Context(group)
    with_json = {
        name
        for name in group.list_commands(context)
        for option in group.get_command(context, name).params
        if "--json" in option.opts
    }
    assert with_json == {one.command for one in EXAMPLES}


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda one: one.command)
def test_every_sentence_is_complete(example: Example):
    for key in example.described():
        assert re.fullmatch(r"[A-Z*`].{10,}[^.]\.", key.sentence), f"{key.stands_at} says: {key.sentence}"


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda one: one.command)
def test_every_key_has_a_sentence_and_every_sentence_a_key(example: Example, tmp_path: Path, kept_runs: Path, request):
    set_out(tmp_path)
    outputs = [printed_by(example, tmp_path)]
    outputs += MORE[example.command](tmp_path) if example.command in MORE else []
    outputs += study(tmp_path, request.getfixturevalue("example_study")[0]) if example.command == "study" else []
    keys = example.described()
    unprinted = {key.stands_at for key in keys}
    for output in outputs:
        for parts, value in walk(output):
            meant = [key for key in keys if key.matches(parts)]
            assert meant or parts[-1] == LIST, f"`{path_of(parts)}` has no sentence"
            unprinted -= {key.stands_at for key in meant}
            assert not meant or any(holds(key, parts, value) for key in meant), (
                f"`{path_of(parts)}` is {value!r} and not {meant[0].holds}"
            )
    assert not unprinted, "sentences about keys that no run printed"


def holds(key: Key, parts: tuple[str, ...], value: Any) -> bool:
    """Whether a printed value is what the manual says of it."""
    if value is None:
        return "null" in key.holds
    if len(parts) < len(key.parts):
        return isinstance(value, list if key.parts[len(parts)] == LIST else dict)
    kinds = {"number": float | int, "whole": int, "text": str, "true": bool, "object": dict}
    kind = re.split("[ ,]", key.holds)[0]
    choices = re.findall(r'"([^"]*)"', key.holds)
    return (
        isinstance(value, kinds[kind])
        and (kind == "true" or not isinstance(value, bool))
        and (not choices or value in choices)
    )


# What the example does not print


def study(folder: Path, example: Study) -> list[Any]:
    """Two rotors, fitted; one of them with a vacuum and a tension; one whose sweeps disagree; one with a test."""
    drifting = folder / "drifting"
    write_template(drifting)
    pressure = np.geomspace(0.05, 20.0, 9)
    speed = 30 + 600 * pressure / (1 + pressure) ** 2
    rows = [f"{p:.4f},{s:.2f},up" for p, s in zip(pressure, speed, strict=True)]
    rows += [f"{p:.4f},{1.6 * s:.2f},down" for p, s in zip(pressure, speed, strict=True)]
    (drifting / "readings.csv").write_text("\n".join(["pressure [Pa],speed [rpm],sweep", *rows]), encoding="utf-8")
    found = example.findings[0]
    pumped = parse_bench((ROOT / ROTOR / "bench.toml").read_text(encoding="utf-8") + VACUUM)
    whole = replace(
        found,
        experiment=replace(found.experiment, bench=pumped),
        tensions=(Tension(about="an invented one", why="It shows the keys.", resolve="Nothing."),),
    )
    return [
        example.summary,
        printed(("study", "drifting", "--quick"), folder),
        printed(("study", "examples/reversal", "--quick"), folder),
        study_summary([whole], None, None),
    ]


def next_readings(folder: Path) -> list[Any]:
    """A target that is reached, and several experiments."""
    return [
        printed(("next", ROTOR, "--target-interval", "80%"), folder),
        printed(("next", "examples/two-rotors"), folder),
    ]


def trace(folder: Path) -> list[Any]:
    """A trace in which nothing turns."""
    still = "time [s],voltage [V]\n" + "".join(f"{i / 1000},0.5\n" for i in range(500))
    (folder / "still.csv").write_text(still, encoding="utf-8")
    return [printed(("trace", "still.csv", "--marks", "4"), folder)]


def film(folder: Path) -> list[Any]:
    """A film of one second."""
    words = ("film", "--knudsen", "2,1", "--tolerance", "0.05", "--size", "page", "--seconds", "1", "--fps", "2")
    return [printed((*words, "--out", "gas.mp4"), folder)]


def import_(folder: Path) -> list[Any]:
    """A folder with a file that stays outside."""
    write_template(folder / "mine")
    (folder / "mine" / ".hidden").write_text("", encoding="utf-8")
    return [printed(("import", "mine", "other.book"), folder)]


def check(folder: Path) -> list[Any]:
    """A book with an altered reading."""
    printed(("import", "examples/two-rotors", "lab.book"), folder) if not (folder / "lab.book").exists() else None
    with contextlib.closing(sqlite3.connect(folder / "lab.book")) as connection, connection:
        connection.execute("DROP TRIGGER readings_no_update")
        connection.execute("UPDATE readings SET note = 'another' WHERE number = 2")
    return [printed(("check", "lab.book"), folder, refused=True)]


def record(folder: Path) -> list[Any]:
    """A sweep that skips a step and is stopped after a reading, so that it can be resumed."""
    with serve_bench(speed_up=600, seed=3) as running:
        file = write_folder(folder / "rotor", invented_text(), running.ports)
        file.write_text(file.read_text(encoding="utf-8") + QUICK, encoding="utf-8")
        sweep = prepare(folder / "rotor", folder / "new.book", SweepRequest((1.0, 1.5, 2.0, 2.5, 3.0, 4.0)))
        obey = {"phase": [sweep.skip], "stored": [sweep.stop]}  # the first step is skipped
        sweep.subscribe(lambda event: [one() for one in obey.pop(event.kind, [])])
        sweep.start()
        sweep.join()
        told = sweep_result(sweep, sweep.status())
        sweep.close()
        checked = printed(("record", "rotor", "--check"), folder)
    return [told, checked, printed(("record", "rotor", "new.book", "--resume", "--dry-run"), folder)]


def predict(folder: Path) -> list[Any]:
    """From the readings beside the bench; and a bench that does not say what its bright face emits."""
    write_template(folder / "open")
    return [
        printed(("predict", ROTOR, "--pressures", "0.1Pa:10Pa:5"), folder),
        printed(("predict", "open", "--no-fit", "--pressures", "0.1Pa:10Pa:5"), folder),
        printed(("predict", "open", "--no-fit", "--pressures", "2 Pa", "--vane-at-start", "60 degC"), folder),
    ]


MORE: dict[str, Callable[[Path], list[Any]]] = {
    "next": next_readings, "trace": trace, "film": film, "import": import_, "check": check,
    "record": record, "predict": predict,
}  # fmt: skip
