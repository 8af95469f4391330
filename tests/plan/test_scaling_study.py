"""A planned scaling study: the same under its seed, and as powerful as it says when every sweep is really read."""

import json

import numpy as np
import pytest

from edgewind.bench import parse_bench
from edgewind.errors import EdgewindError, InputError
from edgewind.plan import Settings, plan_scaling_study
from edgewind.plan.scaling_study import Design, brute_force_power, calibrate, simulated_sweep
from edgewind.plan.scaling_words import answer_sentences, run_order, study_lines
from edgewind.plan.sized import resized, sized_rotor
from edgewind.report import write_plan_sheet
from edgewind.rotor import predict_whole

SMALL = Settings(days=1.0, readings=12, noise=0.015, trials=10, studies=1000)


@pytest.fixture(scope="module")
def study(vacuum_bench):
    return plan_scaling_study(vacuum_bench, [8e-3, 14e-3], settings=SMALL, exponents=(-1.0, 0.0), processes=1)


def test_the_plan_is_the_same_whatever_the_number_of_processes(study, vacuum_bench):
    again = plan_scaling_study(vacuum_bench, [14e-3, 8e-3], settings=SMALL, exponents=(-1.0, 0.0), processes=2)
    assert json.dumps(again.as_plain()) == json.dumps(study.as_plain())


def test_another_seed_draws_another_plan(study):
    design = study.designs[0]
    assert study.power_of(design, seed=1).power == study.power_of(design, seed=1).power
    assert study.power_of(design, seed=1).exponent_u != study.power_of(design, seed=2).exponent_u


def test_power_agrees_with_reading_every_sweep_of_every_study(study):
    """30 studies of two rotors, each sweep through the whole analysis; a claim of middling power."""
    study.exponents["near"] = -0.55
    try:
        design = Design((8e-3, 14e-3), 1, 1, 0.0)
        power = study.power_of(design, studies=4000).power["-1"]["near"]
        brute = brute_force_power(study, design, "-1", "near", 30, seed=5)
    finally:
        del study.exponents["near"]
    assert 0.2 < power < 0.98
    assert abs(brute - power) < 3 * np.sqrt(power * (1 - power) / 30) + 0.05


def test_a_true_claim_is_given_up_as_rarely_as_the_level_says(study):
    design = Design((8e-3, 14e-3), 3, 2, 0.0)
    errors, counts = study.study_errors(design, 4000, 3)
    errors = errors - np.nanmean(errors, axis=(0, 2), keepdims=True)  # the analysis' own bias apart
    way = np.array([[np.log(0.008)], [np.log(0.014)]])
    slope, slope_u = study._slope(design, errors, counts, way[:, 0])
    assert np.mean(np.abs(slope) > 1.96 * slope_u) == pytest.approx(0.05, abs=0.03)


def test_the_surrogate_of_one_sweep_is_calibrated(study):
    """New sweeps, read by the whole analysis, scatter as the surrogate says: chi-square of 24 within its 99.9 %."""
    keys = [(8e-3, "N2"), (14e-3, "N2")]
    rotors, pressures = [study.rotors[key] for key in keys], [study.pressures[key] for key in keys]
    fresh = calibrate(rotors, pressures, Settings(readings=12, noise=0.015, trials=12, seed=77), processes=2)
    for key, new in zip(keys, fresh, strict=True):
        assert 0.45 < new.sd / study.calibration[key].sd < 2.2
        assert new.found_share > 0.7


def test_more_rotors_and_more_sweeps_know_the_exponent_better(study):
    one, rotors, sweeps = (Design((8e-3, 14e-3), r, s, 0.0) for r, s in ((1, 1), (4, 1), (1, 4)))
    u = [study.power_of(design).exponent_u for design in (one, rotors, sweeps)]
    assert u[1] == pytest.approx(u[0] / 2, rel=0.2)
    assert u[1] < u[2] < u[0]  # sweeps do not take out what sets rotors apart


def test_every_design_fits_the_time(study):
    assert study.designs and all(design.hours <= SMALL.hours for design in study.designs)
    assert study.best.design in study.designs
    assert sum(run.changeover for run in run_order(study)) == study.best.design.rotors * len(study.best.design.widths_m)


def test_too_little_time_is_said_and_not_planned(vacuum_bench):
    short = Settings(days=0.05, readings=10, trials=4, studies=100)
    plan = plan_scaling_study(vacuum_bench, [8e-3, 14e-3], settings=short, processes=1)
    assert plan.best is None and plan.as_plain()["design"] is None
    assert "no two sizes" in answer_sentences(plan)[0] and list(study_lines(plan))


def test_a_resized_rotor_is_of_the_same_sheet(vacuum_text):
    weighed = 'vane_thickness = "0.1 mm"\nvane_mass = "40 mg"'
    bench = parse_bench(vacuum_text.replace('vane_thickness = "0.1 mm"', weighed))
    wide = resized(bench, 24e-3, "He")
    assert wide.rotor.vane_mass.value == pytest.approx(4 * 40e-6)
    inner = bench.rotor.arm.value - bench.rotor.vane_width.value / 2
    assert wide.rotor.arm.value - wide.rotor.vane_width.value / 2 == pytest.approx(inner)
    ratio = 4 * (wide.rotor.mean_square_arm_m2 / bench.rotor.mean_square_arm_m2)
    assert wide.rotor.moment_of_inertia.value == pytest.approx(9e-8 * ratio)
    assert wide.gas.species == "He"


def test_a_sized_rotor_is_the_forward_model(vacuum_bench):
    sized = sized_rotor(vacuum_bench, 12e-3, "N2")
    whole = predict_whole(resized(vacuum_bench, 12e-3), [0.02, 30.0])
    assert sized.pressure_pa == pytest.approx(whole.speed.pressure_pa, rel=0.01)
    assert sized.speed_rad_s == pytest.approx(abs(whole.speed.value), rel=1e-3)
    assert float(sized.curve.speed_at(2 * sized.pressure_pa, np.log(2))) == pytest.approx(sized.speed_rad_s, rel=1e-3)
    assert 0.001 < sized.rotor_scatter < 0.3


def test_a_claim_moves_the_simulated_curve(vacuum_bench):
    curve = sized_rotor(vacuum_bench, 12e-3, "N2").curve
    pressure = curve.pressure_pa * np.geomspace(0.1, 10, 40)
    data = simulated_sweep(curve, pressure, 1e-6, np.random.default_rng(1), shift=0.5)
    assert np.log(pressure[np.argmax(data.speed_rad_s)] / curve.pressure_pa) == pytest.approx(0.5, abs=0.12)


def test_the_sheet_holds_everything_and_is_the_same_twice(study, tmp_path):
    first = write_plan_sheet(study, tmp_path / "one", command="edgewind design bench.toml")
    second = write_plan_sheet(study, tmp_path / "two", command="edgewind design bench.toml")
    assert first.read_bytes() == second.read_bytes()
    page = first.read_text(encoding="utf-8")
    assert "http" not in page.replace("http://www.w3.org", "") and "<script" not in page
    for words in (*study.assumptions, *study.falsified_by, *study.held):
        assert words.replace("'", "&#39;") in page
    told = json.loads((tmp_path / "one" / "plan.json").read_text(encoding="utf-8"))
    assert told["design"]["power"]["-1"]["0"] == study.best.power["-1"]["0"]
    assert {path.name for path in (tmp_path / "one" / "figures").iterdir()} == {
        "claims.svg", "claims-light.png", "claims-dark.png"
    }  # fmt: skip
    with pytest.raises(InputError, match="something is there already"):
        write_plan_sheet(study, tmp_path / "one", command="")


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"days": 0.0}, "0 days"), ({"hours_a_day": 30.0}, "30 hours"), ({"readings": 3}, "3 readings"),
        ({"noise": 2.0}, "scatter of 2"), ({"level": 0.2}, "level of 0.2"), ({"days": float("nan")}, "days"),
    ],
)  # fmt: skip
def test_settings_that_cannot_be_are_refused(settings, message):
    with pytest.raises(InputError, match=message):
        Settings(**settings)


def test_rotors_that_cannot_be_are_refused(vacuum_bench, study):
    with pytest.raises(InputError, match="do not fit the chamber"):
        plan_scaling_study(vacuum_bench, [8e-3, 60e-3], settings=SMALL)
    with pytest.raises(InputError, match="1 width shows no law"):
        plan_scaling_study(vacuum_bench, [8e-3, 8e-3], settings=SMALL)
    with pytest.raises(InputError, match="above zero"):
        plan_scaling_study(vacuum_bench, [8e-3, -1e-3], settings=SMALL)
    with pytest.raises(InputError, match="gas"):
        plan_scaling_study(vacuum_bench, [8e-3, 12e-3], ["Xe"], settings=SMALL)
    with pytest.raises(InputError, match="no claims"):
        plan_scaling_study(vacuum_bench, [8e-3, 12e-3], exponents=())
    with pytest.raises(EdgewindError, match="no claim"):
        brute_force_power(study, study.designs[0], "-1", "-7", 1, 1)
