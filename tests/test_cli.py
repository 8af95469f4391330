"""The command line: two commands in processes of their own, the others in this one."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLE = Path(__file__).parents[1] / "examples" / "two-rotors"


def process(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command in a separate process."""
    return subprocess.run([sys.executable, "-m", "edgewind", *arguments], capture_output=True, text=True, cwd=cwd)


def test_a_command_ends_with_status_0_and_prints_to_stdout():
    done = process("gas", "air", "7 mTorr")
    assert done.returncode == 0 and done.stdout.startswith("gas ") and done.stderr == ""


def test_a_refusal_ends_with_status_2_and_one_line_on_stderr():
    done = process("gas", "airr", "7 mTorr")
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.startswith("edgewind: ") and done.stderr.count("\n") == 1


def test_gas_prints_json_with_the_stable_keys(edgewind):
    """Common practice, no source: in air at a few mTorr the mean free path is of the order of a centimetre."""
    done = edgewind("gas", "air", "7 mTorr", "--temperature", "22 degC", "--size", "10 mm", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    keys = "mean_free_path_m knudsen rarefaction regime viscosity_pa_s number_density_m3 most_probable_speed_m_s"
    assert set(keys.split()) <= found.keys()
    assert 0.005 < found["mean_free_path_m"] < 0.02
    assert found["regime"] == "transitional"


def test_gas_prints_a_table_with_units(edgewind):
    done = edgewind("gas", "argon", "1 Pa", "--size", "12 mm")
    assert done.returncode == 0
    assert "mean free path" in done.stdout and " mm" in done.stdout and "µPa s" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("gas", "airr", "7 mTorr"), "did you mean 'air'?"),
        (("gas", "air", "7"), "'7' has no unit"),
        (("gas", "air", "-7 Pa"), "outside the range of a dilute gas"),
        (("gas", "air", "7 Pa", "--size", "0 mm"), "above zero"),
        (("gas", "H2O", "7 Pa", "--temperature", "-20 degC"), "outside the range of its viscosity data"),
        (("trace", "nowhere.csv", "--marks", "4"), "nowhere.csv: there is no such file"),
        (("study", "nowhere"), "nowhere: there is no such folder"),
        (("compare", "nowhere.csv"), "nowhere.csv: there is no such file"),
        (("compare", "pairs.csv", "--write"), "name the file with --bench"),
        (("gas", "air", "-7 mTorr", "--temperature", "-400 degC"), "'-400 degC' is below absolute zero"),
        (("trace", ".", "--marks", "4"), ".: this is a folder; name one trace in it"),
        (("respond", "--plot", "nowhere/figure.png"), "figure.png: its folder does not exist; make the folder first"),
        (("bench", "--port", "99999"), "--port"),
    ],
)
def test_bad_input_ends_with_status_2_and_a_message_on_stderr(arguments, said, tmp_path, edgewind):
    done = edgewind(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


def test_trace_prints_speed_flags_and_writes_a_figure(tmp_path, edgewind):
    file = EXAMPLE / "vane-12mm" / "traces" / "003.csv.gz"
    figure = tmp_path / "trace.png"
    done = edgewind("trace", str(file), "--marks", "4", "--json", "--plot", str(figure))
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["speed_rad_s"] == pytest.approx(3.0174, abs=0.002)
    assert found["flags"] == []
    assert 0 < found["speed_u_rad_s"] < 0.01
    assert figure.read_bytes().startswith(b"\x89PNG")


def test_a_trace_without_a_signal_prints_no_number(tmp_path, edgewind):
    (tmp_path / "still.csv").write_text("time [s],voltage [V]\n" + "".join(f"{i / 1000},0.5\n" for i in range(500)))
    done = edgewind("trace", "still.csv", "--marks", "4", "--json", cwd=tmp_path)
    assert done.returncode == 0
    assert json.loads(done.stdout)["speed_rad_s"] is None
    assert json.loads(done.stdout)["flags"] == ["no-signal"]


def test_newcomer_makes_a_folder_and_studies_it(tmp_path, edgewind):
    assert edgewind("new", "bench", cwd=tmp_path).returncode == 0
    done = edgewind("study", "bench", "--quick", "--out", "result", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "The rotor is fastest at" in done.stdout
    assert (tmp_path / "result" / "report.html").is_file()
    again = edgewind("new", "bench", cwd=tmp_path)
    assert again.returncode == 2
    assert "this path already exists" in again.stderr


def test_study_json_of_one_folder_has_its_keys_at_the_top(tmp_path, edgewind):
    edgewind("new", "bench", cwd=tmp_path)
    done = edgewind("study", "bench", "--quick", "--json", cwd=tmp_path)
    found = json.loads(done.stdout)
    assert found["optimum"]["found"] is True
    assert found["optimum"]["interval_pa"][0] < found["optimum"]["pressure_pa"] < found["optimum"]["interval_pa"][1]
    assert found["report"] is None


def test_compare_writes_the_correction_and_keeps_the_comments(tmp_path, edgewind):
    edgewind("new", "bench", cwd=tmp_path)
    bench = tmp_path / "bench" / "bench.toml"
    before = bench.read_text(encoding="utf-8").splitlines()
    pairs = "indicated [mTorr],reference [mTorr]\n" + "".join(
        f"{p},{1.08 * p:.3f}\n" for p in (1.0, 3.0, 10.0, 30.0, 99.0)
    )
    (tmp_path / "pairs.csv").write_text(pairs)
    done = edgewind(
        "compare", "pairs.csv", "--bench", "bench/bench.toml", "--reference-uncertainty", "2 %", "--write", cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr
    after = bench.read_text(encoding="utf-8").splitlines()
    assert [line for line in after if line in before] == before
    assert any(line.startswith('factor = "1.08 +/- 0.02') for line in after)
    study = json.loads(edgewind("study", "bench", "--quick", "--json", cwd=tmp_path).stdout)
    assert study["readings"][0]["pressure_pa"] == pytest.approx(1.08 * 0.06626, rel=2e-3)


def test_a_missing_and_an_unknown_command_are_reported(edgewind):
    assert edgewind("sudy").returncode == 2
    assert edgewind("--version").stdout.startswith("edgewind ")


def test_predict_says_how_both_optima_move_and_that_these_are_priors(tmp_path, edgewind):
    bench, figure = EXAMPLE / "vane-12mm", tmp_path / "what-if.svg"
    change = ["--set", "rotor.vane_width=16 mm", "--set", "rotor.vane_height=16 mm"]
    done = edgewind("predict", str(bench), "--no-fit", *change, "--json", "--plot", str(figure))
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)["what_if"]
    assert told["draws_of"] == "prior"
    low, high = told["optimum"]["ratio_interval"]
    assert low < told["optimum"]["ratio"] < high < 1
    assert len(told["bands"]["after"]["median_speed_rad_s"]) == 40
    assert "<svg" in figure.read_text(encoding="utf-8")
    plain = edgewind("predict", str(bench), "--no-fit", *change, "--pressures", "0.02Pa:20Pa:9")
    assert "ratio" in plain.stdout and "priors only" in plain.stdout
    changed = "(rotor.vane_width = 16 mm and rotor.vane_height = 16 mm)"
    medians, single = " ".join(plain.stdout.split()).split(
        f"Single values below are for the bench as changed {changed}"
    )
    assert "medians and 90 %" in medians
    assert single.startswith(", computed from bench.toml alone. greatest speed ")
    unchanged = edgewind("predict", str(bench), "--no-fit", "--pressures", "0.1Pa:10Pa:5", "--json")
    assert json.loads(unchanged.stdout)["what_if"] is None


def test_predict_prints_as_many_pressures_as_one_screen_holds_unless_they_are_asked_for(edgewind):
    bench = str(EXAMPLE / "vane-12mm")

    def rows(*options):
        said = edgewind("predict", bench, "--no-fit", *options).stdout
        table = said[said.index("\npressure  ") :].splitlines()[3:]
        return [line for line in table if re.match(r"\s*[\d.]+ ", line)], said

    few, said = rows()
    assert len(few) == 14 and few[0].split()[0] == "0.02" and few[-1].split()[0] == "20"
    assert "every third pressure: --pressures 0.02Pa:20Pa:40 prints all" in said
    assert len(rows("--pressures", "0.02Pa:20Pa:40")[0]) == 40
