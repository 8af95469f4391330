"""Physical readings from a folder: which are used, which are not, and why."""

import hashlib
import math
import shutil
import subprocess

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.signals import read_experiment
from edgewind.signals.synthetic import PulseTrain, synthesise

MTORR = 101.325 / 760
RPM = 2 * math.pi / 60
DISPLAY = '[gauge]\nkind = "display"\ntransfer_uncertainty = "10 %"\n\n'

TYPED = """\
time [s],gauge [V],speed [rpm],speed uncertainty [rpm],lamp,sweep,exclude
0,1.5,100,1,on,up,
60,2.5,200,1,on,up,
120,3.5,150,1,on,up,door opened
180,0.5,10,1,on,up,
240,6.5,10,1,on,down,
300,3.0,1,1,off,down,
"""


@pytest.fixture
def folder(tmp_path, bench_text):
    """An experiment folder, made from the text of its readings and its traces by name."""

    def make(readings, traces=None, bench=bench_text):
        place = tmp_path / "rotor"
        (place / "traces").mkdir(parents=True)
        (place / "bench.toml").write_text(bench, encoding="utf-8")
        (place / "readings.csv").write_text(readings, encoding="utf-8")
        for name, trace in (traces or {}).items():
            seconds = np.arange(trace.voltage_v.size) * trace.interval_s
            rows = "\n".join(f"{t:.7f},{v:.5f}" for t, v in zip(seconds, trace.voltage_v, strict=True))
            (place / "traces" / name).write_text(f"time [s],voltage [V]\n{rows}\n", encoding="utf-8")
        return place

    return make


def spinning(turn_rate_hz, seed=1, samples=8000, **faults):
    tachometer = PulseTrain(turn_rate_hz=turn_rate_hz, marks=4, noise_v=0.02, **faults)
    return synthesise(tachometer, samples=samples, interval_s=2.5e-4, seed=seed)


def with_gauge(bench_text, gauge):
    start, end = bench_text.index("[gauge]"), bench_text.index("[tachometer]")
    return bench_text[:start] + gauge + bench_text[end:]


# Typed speeds


def test_typed_speeds_and_volts_become_physical_readings(folder):
    experiment = read_experiment(folder(TYPED))
    frame = experiment.readings
    assert experiment.name == "rotor"
    assert frame["pressure_pa"].to_numpy()[:3] == pytest.approx(MTORR * 10 ** np.array([-0.5, 0.5, 1.5]))
    assert frame["speed_rad_s"].to_numpy()[:2] == pytest.approx([100 * RPM, 200 * RPM])
    assert set(frame["speed_method"]) == {"typed"}
    relative = np.hypot(frame["log_pressure_u"], frame["log_pressure_u_common"])
    assert (frame["pressure_u_pa"] / frame["pressure_pa"])[:3].to_numpy() == pytest.approx(relative[:3].to_numpy())


def test_each_reading_is_used_or_has_a_reason(folder):
    experiment = read_experiment(folder(TYPED))
    assert list(experiment.readings["why_not"]) == [
        "", "", "excluded: door opened", "gauge under-range", "gauge over-range", "lamp off",
    ]  # fmt: skip
    assert list(experiment.readings["used"]) == [True, True, False, False, False, False]
    assert list(experiment.used["line"]) == [2, 3]


def test_volts_and_displayed_pressures_may_be_mixed(folder, bench_text):
    readings = "gauge [V],pressure [mTorr],pressure uncertainty [%],speed [rpm]\n3.0,,,10\n,10,2,11\n,over-range,,12\n"
    experiment = read_experiment(folder(readings))
    frame = experiment.readings
    assert frame["pressure_pa"].to_numpy() == pytest.approx([10 * MTORR, 10 * MTORR, np.nan], nan_ok=True)
    assert frame["log_pressure_u"].to_numpy()[:2] == pytest.approx([np.log(10) * 0.002, 0.02])
    assert list(frame["pressure_flag"]) == ["", "", "over-range"]
    budget = {line.name: line.log_u for line in experiment.budget}
    assert np.isnan(budget["voltage noise"][1]) and np.isnan(budget["reading of the display"][0])
    assert budget["transfer function"][:2] == pytest.approx([0.05, 0.05])


def test_displayed_pressures_alone_need_no_volts(folder, bench_text):
    readings = "pressure [mTorr],speed [rpm]\n7.0,10\nunder-range,11\n"
    frame = read_experiment(folder(readings, bench=with_gauge(bench_text, DISPLAY))).readings
    assert frame["pressure_pa"].iloc[0] == pytest.approx(7 * MTORR)
    assert frame["log_pressure_u"].iloc[0] == pytest.approx(0.1 / 7 / math.sqrt(12))
    assert list(frame["why_not"]) == ["", "gauge under-range"]


def test_volts_of_a_display_gauge_are_an_error(folder, bench_text):
    place = folder("gauge [V],speed [rpm]\n,1\n".replace(",1", "3,1"), bench=with_gauge(bench_text, DISPLAY))
    with pytest.raises(InputError, match=r"the gauge of bench\.toml is a display") as raised:
        read_experiment(place)
    assert (raised.value.file, raised.value.line, raised.value.column) == (str(place / "readings.csv"), 2, "gauge")


# Traces


def test_a_trace_gives_a_speed_within_its_uncertainty(folder):
    place = folder("gauge [V],trace\n2.5,traces/a.csv\n", {"a.csv": spinning(6.0)})
    experiment = read_experiment(place)
    row = experiment.readings.iloc[0]
    assert row["speed_rad_s"] == pytest.approx(2 * math.pi * 6.0, abs=5 * row["speed_u_rad_s"])
    assert 0 < row["speed_u_rad_s"] < 0.1
    assert row["speed_method"] in ("edges", "spectrum")
    assert row["used"]
    assert experiment.traces[0].speed.speed_rad_s == row["speed_rad_s"]


def test_uncertainty_of_the_time_base_adds_to_that_of_the_trace(folder, bench_text):
    readings, traces = "gauge [V],trace\n2.5,traces/a.csv\n", {"a.csv": spinning(6.0)}
    bench = bench_text.replace("marks = 4", "marks = 4\ntimebase_uncertainty = '1 %'")
    experiment = read_experiment(folder(readings, traces, bench))
    row, own = experiment.readings.iloc[0], experiment.traces[0].speed
    assert row["speed_u_rad_s"] == pytest.approx(math.hypot(own.speed_u_rad_s, 0.01 * own.speed_rad_s))


def test_a_trace_without_a_steady_speed_is_set_aside_with_its_flag(folder):
    readings = "gauge [V],trace\n2,traces/still.csv\n2.5,traces/short.csv\n3,traces/drifting.csv\n3.5,traces/good.csv\n"
    traces = {
        "still.csv": spinning(0.0),
        "short.csv": spinning(1.5, samples=4000),
        "drifting.csv": spinning(6.0, acceleration_hz_s=0.8),
        "good.csv": spinning(6.0),
    }
    frame = read_experiment(folder(readings, traces)).readings
    for why, flag in zip(frame["why_not"], ["no-signal", "short", "drifting"], strict=False):
        assert why.startswith("trace ") and flag in why
    assert list(frame["used"]) == [False, False, False, True]
    assert math.isnan(frame["speed_rad_s"].iloc[0])


def test_progress_is_reported_trace_by_trace(folder):
    told = []
    place = folder("gauge [V],trace\n2,traces/a.csv\n3,traces/a.csv\n", {"a.csv": spinning(6.0)})
    read_experiment(place, on_trace=lambda done, total: told.append((done, total)))
    assert told == [(1, 2), (2, 2)]


def test_an_unreadable_trace_of_an_excluded_reading_is_noted_without_an_error(folder):
    place = folder(
        "gauge [V],trace,note,exclude\n2,traces/bad.csv,odd,recorder failed\n3,traces/a.csv,,\n",
        {"a.csv": spinning(6.0)},
    )
    (place / "traces" / "bad.csv").write_bytes(b"\x00\x01\x02")
    frame = read_experiment(place).readings
    assert frame["note"].iloc[0].startswith("odd (trace not read: ")
    assert frame["why_not"].iloc[0] == "excluded: recorder failed"
    (place / "traces" / "bad.csv").unlink()
    assert "there is no file 'traces/bad.csv'" in read_experiment(place).readings["note"].iloc[0]
    (place / "readings.csv").write_text("gauge [V],trace\n2,traces/bad.csv\n", encoding="utf-8")
    with pytest.raises(InputError) as raised:
        read_experiment(place)
    assert "bad.csv" in str(raised.value)


# What was read


def test_every_input_is_listed_once_with_its_sha_256(folder):
    place = folder(
        "gauge [V],trace\n2,traces/a.csv\n3,./traces/../traces/a.csv\n",
        {"a.csv": spinning(6.0), "unused.csv": spinning(6.0)},
    )
    experiment = read_experiment(place)
    assert [item.path for item in experiment.inputs] == ["bench.toml", "readings.csv", "traces/a.csv"]
    for item in experiment.inputs:
        content = (place / item.path).read_bytes()
        assert (item.sha256, item.size) == (hashlib.sha256(content).hexdigest(), len(content))


def test_the_sha_256_agrees_with_that_of_sha256sum(folder):
    tool = shutil.which("sha256sum") or shutil.which("shasum")
    assert tool, "coreutils or perl is needed to check the digest"
    command = [tool] if tool.endswith("sha256sum") else [tool, "-a", "256"]
    place = folder(TYPED)
    said = subprocess.run([*command, place / "readings.csv"], capture_output=True, text=True, check=True).stdout
    assert read_experiment(place).inputs[1].sha256 == said.split()[0]


def test_the_same_folder_gives_the_same_readings(folder):
    place = folder("gauge [V],trace\n2,traces/a.csv\n", {"a.csv": spinning(6.0)})
    one, other = read_experiment(place), read_experiment(place)
    assert one.readings.equals(other.readings)
    assert one.inputs == other.inputs


# What is refused, with its place


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("traces/none.csv", "there is no file 'traces/none.csv' in the folder"),
        ("../secret.csv", "'../secret.csv' lies outside the experiment folder; copy the trace into the folder"),
        ("traces/../../secret.csv", "lies outside the experiment folder"),
        ("/etc/hostname", "'/etc/hostname' lies outside the experiment folder"),
        ("traces", "there is no file 'traces' in the folder"),
        ("traces/link.csv", "'traces/link.csv' lies outside the experiment folder"),
        ("traces/loop.csv", "'traces/loop.csv'"),
        ("traces/" + "x" * 5000, "is not a file name"),
    ],
)
def test_a_trace_that_is_not_a_file_in_the_folder_is_refused(folder, tmp_path, name, said):
    place = folder(f"gauge [V],trace\n1.5,{name}\n")
    (tmp_path / "secret.csv").write_text("time [s],voltage [V]\n0,1\n", encoding="utf-8")
    (place / "traces" / "link.csv").symlink_to(tmp_path / "secret.csv")
    (place / "traces" / "loop.csv").symlink_to(place / "traces" / "loop.csv")
    with pytest.raises(InputError) as raised:
        read_experiment(place)
    assert said in str(raised.value)
    assert (raised.value.file, raised.value.line, raised.value.column) == (str(place / "readings.csv"), 2, "trace")


def test_a_link_to_another_file_of_the_folder_is_read(folder):
    place = folder("gauge [V],trace\n2.5,traces/link.csv\n", {"a.csv": spinning(6.0)})
    (place / "traces" / "link.csv").symlink_to("a.csv")
    assert read_experiment(place).readings["used"].all()


def test_a_folder_without_its_files_is_refused_by_name(tmp_path, bench_text):
    with pytest.raises(InputError, match="there is no such folder"):
        read_experiment(tmp_path / "none")
    with pytest.raises(InputError, match=r"bench\.toml: there is no such file"):
        read_experiment(tmp_path)
    (tmp_path / "bench.toml").write_text(bench_text, encoding="utf-8")
    with pytest.raises(InputError, match=r"readings\.csv: there is no such file"):
        read_experiment(tmp_path)
    (tmp_path / "readings.csv").mkdir()
    with pytest.raises(InputError, match=r"readings\.csv: there is no such file"):
        read_experiment(tmp_path)
