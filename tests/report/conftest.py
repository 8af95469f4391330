"""Invented experiments to make reports of, small ones through the public doors."""

import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgewind.evidence import Findings, compare_sizes, find
from edgewind.report import write_report
from edgewind.signals import read_experiment
from edgewind.signals.synthetic import PulseTrain, synthesise
from edgewind.study import Study, run_study

NASTY_NOTE = "<script>alert(1)</script> & \u202eedirrevo\u202c $x^2$ 渦 \U0001f300"
NASTY_TITLE = "Rotor <b>12</b> & co, $\\frac{1}{2}$ \x07"

Report = Callable[..., Path]


def volts(pressure_pa: float) -> float:
    """Output of the gauge of the invented bench: 2 V at 1 mTorr and 1 V a decade."""
    return float(2 + np.log10(pressure_pa / 0.133322))


def write_folder(
    folder: Path,
    bench: str,
    speed: Callable[[np.ndarray], np.ndarray],
    *,
    pressures: Sequence[float] = tuple(np.geomspace(0.03, 20.0, 10)),
    traces: int = 0,
    extra: Sequence[str] = (),
) -> Path:
    """Write an experiment folder with an up and a down sweep; the first few readings have traces."""
    folder.mkdir(parents=True)
    (folder / "traces").mkdir()
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    random = np.random.default_rng(5)
    rows = ["time [s],gauge [V],trace,speed [rpm],lamp,sweep,note,exclude"]
    for sweep, side in (("up", list(pressures)), ("down", list(pressures)[::-1])):
        for pressure in side:
            rpm = float(speed(np.array(pressure))) * (1 + 0.01 * random.standard_normal())
            number, name, typed = len(rows), "", f"{rpm:.2f}"
            if number <= traces:
                made = synthesise(PulseTrain(rpm / 60, noise_v=0.05), samples=4000, interval_s=2e-3, seed=number)
                name, typed = f"traces/{number:03d}.npz", ""
                np.savez(folder / name, time=made.time_s, ch1=made.voltage_v)
            rows.append(f"{120 * number},{volts(pressure):.4f},{name},{typed},on,{sweep},,")
    (folder / "readings.csv").write_text("\n".join([*rows, *extra]) + "\n", encoding="utf-8")
    return folder


def hump(best_pa: float) -> Callable[[np.ndarray], np.ndarray]:
    """Speed, rpm, that is greatest at a pressure."""
    return lambda p: 30 + 1200 * (p / best_pa) / (1 + p / best_pa) ** 2


def rise(p: np.ndarray) -> np.ndarray:
    """Speed, rpm, that only rises."""
    return 400 * p / (p + 30)


SET_ASIDE = (
    f'9000,3.0,,322,on,up,"{NASTY_NOTE}",',
    "9100,3.1,,310,on,down,,door opened",
    "9200,3.2,,290,off,up,,",
    "9300,0.2,,130,on,down,,",
)


@pytest.fixture(scope="session")
def narrow_folder(tmp_path_factory: pytest.TempPathFactory, bench_text: str) -> Path:
    bench = bench_text.replace(
        '"Invented"', '"""' + NASTY_TITLE.replace("\\", "\\\\").replace("\x07", "\\u0007") + '"""'
    )
    return write_folder(tmp_path_factory.mktemp("a") / "narrow & <12>", bench, hump(1.0), traces=3, extra=SET_ASIDE)


VACUUM = """
[vacuum]
volume = "3 l"
pumping_speed = "10 l/s"
outgassing = "1e-4 mbar l/s"
"""


@pytest.fixture(scope="session")
def timed_folder(narrow_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the narrow rotor, with a vacuum."""
    folder = tmp_path_factory.mktemp("time") / "timed"
    shutil.copytree(narrow_folder, folder)
    with (folder / "bench.toml").open("a", encoding="utf-8") as bench:
        bench.write(VACUUM)
    return folder


@pytest.fixture(scope="session")
def timed(timed_folder: Path) -> Path:
    """What its study writes, without a fit."""
    run_study(timed_folder, timed_folder.parent / "out")
    return timed_folder.parent / "out"


@pytest.fixture(scope="session")
def narrow(narrow_folder: Path) -> Findings:
    """A rotor with an optimum, traces, and readings set aside for each reason."""
    return find(read_experiment(narrow_folder))


@pytest.fixture(scope="session")
def wide(tmp_path_factory: pytest.TempPathFactory, bench_text: str) -> Findings:
    """A wider rotor with its optimum elsewhere, all speeds typed."""
    bench = bench_text.replace("12.0(1) mm", "20.0(1) mm")
    return find(read_experiment(write_folder(tmp_path_factory.mktemp("b") / "wide", bench, hump(0.6))))


@pytest.fixture(scope="session")
def fitted(example_study: tuple[Study, Path]) -> Findings:
    """A rotor with its unknowns fitted: the larger one of the example, whose study is made once for all tests.

    Without its forty traces: those of the narrow rotor are enough to be drawn.
    """
    found = example_study[0].findings[-1]
    return replace(found, experiment=replace(found.experiment, name="fitted", traces={}))


@pytest.fixture(scope="session")
def rising(tmp_path_factory: pytest.TempPathFactory, bench_text: str) -> Findings:
    """A rotor whose speed only rises."""
    return find(read_experiment(write_folder(tmp_path_factory.mktemp("c") / "rising", bench_text, rise)))


@pytest.fixture(scope="session")
def unusable(tmp_path_factory: pytest.TempPathFactory, bench_text: str) -> Findings:
    """No reading can be used: the gauge was under-range, the lamp off."""
    extra = ("1,0.2,,100,on,up,,", "2,3.0,,100,off,up,,")
    folder = tmp_path_factory.mktemp("d") / "dark"
    return find(read_experiment(write_folder(folder, bench_text, rise, pressures=(), extra=extra)))


@pytest.fixture(scope="session")
def nothing(tmp_path_factory: pytest.TempPathFactory, bench_text: str) -> Findings:
    """No reading has both a pressure and a speed."""
    extra = ("1,0.2,,100,on,up,,",)
    return find(
        read_experiment(
            write_folder(tmp_path_factory.mktemp("e") / "none", bench_text, rise, pressures=(), extra=extra)
        )
    )


@pytest.fixture(scope="session")
def write(tmp_path_factory: pytest.TempPathFactory) -> Report:
    """Write a report of some findings into a new folder and return the folder."""

    def report(*findings: Findings) -> Path:
        out = tmp_path_factory.mktemp("report")
        comparison = compare_sizes(*findings) if len(findings) == 2 else None
        write_report(
            findings, comparison, out, command="edgewind study bench & --out <out>",
            versions={"numpy": "2", "edgewind": "0"}, input_root="my <bench>",
        )  # fmt: skip
        return out

    return report


@pytest.fixture(scope="session")
def two_rotors(write: Report, narrow: Findings, fitted: Findings) -> Path:
    """The folder of a report on two rotors, one of them fitted."""
    return write(narrow, fitted)
