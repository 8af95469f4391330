"""Runs of every command that prints JSON, on the invented example."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from json_keys import LIST, Key, Parts, keys_of
from kept import kept
from typer.testing import CliRunner

from edgewind.cli import app

ROOT = Path(__file__).parent.parent


@dataclass(frozen=True)
class Example:
    """A run of a command on the invented example, and the functions or classes that make its keys.

    Attributes
    ----------
    words : tuple of str
        The command line, in a folder that holds `examples`.
    made_by : tuple of str
        Functions or classes; see :func:`keys_of`.
    note : str
        Keys that the run does not show.
    lasts : bool
        Whether it prints one line and runs until it is stopped.
    """

    words: tuple[str, ...]
    made_by: tuple[str, ...]
    note: str = ""
    lasts: bool = False

    @property
    def command(self) -> str:
        """Name of the command."""
        return self.words[0]

    def described(self, *, whole: bool = True) -> list[Key]:
        """Every key that the command may print."""
        return keys_of(self.made_by, whole=whole)


_ROTOR = "examples/two-rotors/vane-12mm"
_PAIRS = "gauge [V],reference [Pa]\n3.10,0.0131\n4.05,0.112\n5.02,1.07\n"
EXAMPLES = (
    Example(
        ("study", _ROTOR, "--quick"),
        ("edgewind.report.summary._experiment", "edgewind.report.summary.study_summary"),
        "`--quick` leaves out the fit, and this bench has no `[vacuum]`; several experiments stand in a list.",
    ),
    Example(
        ("next", _ROTOR),
        ("edgewind.plan.PlanResult", "edgewind.cli.next._several"),
        "Several experiments stand in a list.",
    ),
    Example(("dwell", _ROTOR), ("edgewind.plan.TimePlanResult", "edgewind.cli.described.with_start")),
    Example(
        ("design", _ROTOR, "--widths", "8 mm,20 mm", "--exponents=-1,0", "--trials", "12", "--processes", "1"),
        ("edgewind.plan.ScalingStudyResult", "edgewind.cli.described.with_start", "edgewind.cli.design._result"),
    ),
    Example(
        ("rotor", _ROTOR, "--goal", "fastest", "--goal", "test", "--trials", "100"),
        ("edgewind.plan.RotorSearchResult", "edgewind.cli.described.with_start"),
    ),
    Example(("gas", "air", "7 mTorr", "--size", "10 mm"), ("edgewind.cli.gas._result",)),
    Example(("trace", f"{_ROTOR}/traces/001.csv.gz", "--marks", "4"), ("edgewind.signals.TraceReading.row",)),
    Example(("respond", "--knudsen", "10", "--tolerance", "0.05"), ("list of edgewind.kinetics.Response.row",)),
    Example(
        (
            "respond",
            "--shape",
            "square",
            "--vanes",
            "2",
            "--arm",
            "0.8",
            "--room",
            "3,3,2",
            "--knudsen",
            "3",
            "--tolerance",
            "0.1",
        ),
        ("list of edgewind.kinetics.RotorResponse.row",),
        "A rotor has other keys than a single vane.",
    ),
    Example(
        ("predict", _ROTOR, "--no-fit", "--set", "rotor.vane_width=16 mm", "--scaling", "sizes.svg"),
        ("edgewind.rotor.PredictionResult", "edgewind.cli.described.with_start", "edgewind.cli.predict._result"),
    ),
    Example(("compare", "pairs.csv", "--bench", f"{_ROTOR}/bench.toml"), ("edgewind.signals.GaugeComparison",)),
    Example(
        ("record", _ROTOR, "lab.book", "--pressures", "0.1Pa:10Pa:3", "--dry-run"),
        ("edgewind.cli.record._plan", "edgewind.cli.record.sweep_result", "edgewind.cli.record._checked"),
        "`--dry-run` prints the keys from `moves` to `unfinished`, a sweep those from `experiment` on, `--check` those "
        "from `devices` on.",
    ),
    Example(("bench",), ("edgewind.cli.bench._result",), "One line, once the instruments are there.", lasts=True),
    Example(("serve", "examples"), ("edgewind.cli.serve._result",), "One line, once the pages are there.", lasts=True),
    Example(("film", "--knudsen", "1", "--still", "gas.png", "--tolerance", "0.02"), ("edgewind.cli.film._result",)),
    Example(("import", "examples/two-rotors", "lab.book"), ("list of edgewind.cli.books._imported",)),
    Example(("export", "lab.book", "folders"), ("edgewind.cli.books._exported",)),
    Example(("check", "lab.book"), ("edgewind.cli.books._health",)),
)


def set_out(folder: Path) -> None:
    """Prepare a folder for the examples."""
    (folder / "examples").symlink_to(ROOT / "examples", target_is_directory=True)
    (folder / "pairs.csv").write_text(_PAIRS, encoding="utf-8")


def printed(words: tuple[str, ...], folder: Path, *, lasts: bool = False, refused: bool = False) -> Any:
    """Run a command in a folder and return its output; `refused` accepts output before an error."""
    if lasts:
        command = [sys.executable, "-m", "edgewind", *words, "--port", "0", "--json"]
        with subprocess.Popen(
            command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        ) as running:
            assert running.stdout is not None
            line = running.stdout.readline()
            running.terminate()
        return json.loads(line)
    with contextlib.chdir(folder):
        ran = CliRunner().invoke(app, [*words, "--json"])
    if ran.exception is not None and not refused:
        raise ran.exception
    return json.loads(ran.stdout)


def printed_by(example: Example, folder: Path) -> Any:
    """Return what an example prints in a folder; see :func:`kept.kept`."""

    def run() -> str:
        if example.command in ("export", "check") and not (folder / "lab.book").exists():
            printed(("import", "examples/two-rotors", "lab.book"), folder)
        return json.dumps(printed(example.words, folder, lasts=example.lasts))

    return json.loads(kept(repr(example.words), run))


def walk(value: Any, above: Parts = ()) -> Iterator[tuple[Parts, Any]]:
    """Yield each key and each item of a list in the output, with its path."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield (*above, name), inner
            yield from walk(inner, (*above, name))
    elif isinstance(value, list):
        for inner in value:
            yield (*above, LIST), inner
            yield from walk(inner, (*above, LIST))
