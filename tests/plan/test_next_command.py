"""The command `edgewind next`, and the plan in a study and its report."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from edgewind.bench import write_template
from edgewind.errors import InputError
from edgewind.evidence import find
from edgewind.plan import propose
from edgewind.plan.text import plan_lines
from edgewind.report import plot_plan
from edgewind.signals import read_experiment
from edgewind.study import plan_next, run_study


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """The template, with a gauge that is trusted less: what all readings share is most of the interval."""
    place = tmp_path_factory.mktemp("next") / "bench"
    bench = write_template(place)[0]
    text = bench.read_text(encoding="utf-8")
    bench.write_text(text.replace('transfer_uncertainty = "10 %"', 'transfer_uncertainty = "20 %"'), encoding="utf-8")
    return place


def test_the_command_prints_the_plan_as_json(folder, edgewind):
    done = edgewind("next", str(folder), "--batch", "2", "--target-interval", "1%", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["target"] == {"relative": 0.01, "absolute_pa": None}
    assert told["stop"]["reason"] == "gauge dominates" and not told["stop"]["reached"]
    readings = [one for one in told["next"] if one["kind"] in ("reading", "repeat")]
    keys = {"kind", "about", "pressure_pa", "pressures_pa", "why", "interval_before_pa", "interval_after_pa"}
    assert len(readings) == 2 and keys | {"information_bits", "cost_s"} <= readings[0].keys()
    assert told["assumptions"] and told["falsified_by"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--batch", "0"), "whole number from 1 to 24"),
        (("--target-interval", "0 Pa"), "above zero"),
        (("--target-interval", "10"), "has no unit"),
        (("--range", "2 Pa:1 Pa"), "must be the higher one"),
        (("--plot", "plan.txt"), ".png or .svg"),
    ],
)
def test_bad_input_ends_with_status_2_and_a_correction(folder, arguments, said, edgewind):
    done = edgewind("next", str(folder), *arguments)
    assert done.returncode == 2
    assert said in done.stderr and "Traceback" not in done.stderr


def test_few_readings_give_an_even_start_with_times_of_the_forward_model(folder, tmp_path):
    write_template(tmp_path / "new")
    (tmp_path / "new" / "readings.csv").write_text("pressure [Pa],speed [rpm]\n0.1,20\n1,80\n", encoding="utf-8")
    (plan,) = plan_next(tmp_path / "new", batch=3)
    assert all(one.information_bits is None for one in plan.readings) and len(plan.readings) == 3
    assert "forward model" in plan.assumptions[-1]
    with pytest.raises(InputError, match="nothing to draw"):
        plot_plan(plan, tmp_path / "plan.png")
    (tmp_path / "new" / "readings.csv").write_text("pressure [Pa],speed [rpm]\n", encoding="utf-8")
    with pytest.raises(InputError, match="--range"):
        plan_next(tmp_path / "new")
    (empty,) = plan_next(tmp_path / "new", range_pa=(0.01, 10.0), batch=6)
    assert [one.pressure_pa for one in empty.readings][::5] == [0.01, 10.0]


def test_the_figure_is_drawn_as_png_and_svg(folder, tmp_path):
    plan = propose(find(read_experiment(folder)), batch=3, target="20%")
    for name in ("plan.png", "plan.svg"):
        plot_plan(plan, tmp_path / name)
        assert (tmp_path / name).stat().st_size > 5000


def test_a_study_proposes_the_next_measurement(folder, tmp_path):
    study = run_study(folder, tmp_path / "out")
    told = json.loads((tmp_path / "out" / "study.json").read_text(encoding="utf-8"))
    assert told["next"] and {"kind", "pressure_pa", "why", "information_bits", "cost_s"} <= told["next"][0].keys()
    assert told["next_stop"]["reason"] == "gauge dominates"
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    for words in (
        "What to measure next",
        "Assumptions of this plan",
        "What would show that it is wrong",
        "gauge dominates",
    ):
        assert words in page
    assert study.summary["next"] == told["next"]


def test_after_stop_details_are_printed_only_on_request(folder, edgewind):
    short, whole = (edgewind("next", str(folder), *more).stdout for more in ((), ("--all",)))
    assert "Stop (gauge dominates): " in short and "--all" in short
    assert len(short.splitlines()) < 10 and "1. " not in short
    for words in ("Stop (gauge dominates): ", "\n  1. ", "Assumed: ", "Caution: "):
        assert words in whole, words


def test_the_plan_is_written_in_sentences(folder):
    lines = list(plan_lines(propose(find(read_experiment(folder)))))
    assert lines[0].startswith("The 90 % interval is")
    assert any(line.startswith("Assumed: ") for line in lines)
    assert any(line.startswith("What would show that this plan is wrong: ") for line in lines)
