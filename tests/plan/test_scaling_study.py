"""A planned scaling study: the same under its seed, and as powerful as it says when every sweep is really read."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from support.brute_force import brute_force_power, curves_alike

from edgewind.bench import parse_bench
from edgewind.cautions import DEFER, HAZARDS
from edgewind.errors import InputError
from edgewind.evidence import find_optimum
from edgewind.plan import Settings, plan_scaling_study, scaling_result
from edgewind.plan.exponent_test import exponent_weights, mean_of_sweeps
from edgewind.plan.new_rotors import cautions_for
from edgewind.plan.scaling_study import Design
from edgewind.plan.scaling_text import HELD, answer_sentences, assumptions, falsified_by, run_order, study_lines
from edgewind.plan.sized import resized, sized_rotor
from edgewind.plan.sweep_errors import Trials, calibrate, found_chance, read_trials, simulated_sweep, standing
from edgewind.report import write_plan_sheet
from edgewind.rotor import predict_whole
from edgewind.rotor.optimum import highest_places
from edgewind.serialize import to_plain

SMALL = Settings(days=1.0, readings=12, noise=0.015, trials=24, studies=1000)

WIDTHS = (8e-3, 14e-3)


@pytest.fixture(scope="module")
def study(vacuum_bench):
    return plan_scaling_study(vacuum_bench, WIDTHS, settings=SMALL, exponents=(-1.0, 0.0), processes=1)


def test_the_plan_is_the_same_whatever_the_number_of_processes(study, vacuum_bench):
    again = plan_scaling_study(vacuum_bench, [14e-3, 8e-3], settings=SMALL, exponents=(-1.0, 0.0), processes=2)
    assert to_plain(scaling_result(again)) == to_plain(scaling_result(study))


def test_another_seed_draws_another_plan(study):
    design = study.designs[0]
    assert study.power_of(design, seed=1).power == study.power_of(design, seed=1).power
    assert study.power_of(design, seed=1).exponent_u != study.power_of(design, seed=2).exponent_u


def _intervals_by_comparing(study, truth, studies, seed):
    """95 % intervals of the exponent from studies of two rotors, as `compare` reads them; none where none is shown.

    Nothing of the plan's statistics is used: rotors are made by the forward model, and the interval is that of the
    difference of draws of both optima, as in evidence.sizes, widened by the scatter between rotors.
    """
    intervals = []
    made = {width: curves_alike(study.rotors[width, "N2"], studies, seed=seed + k) for k, width in enumerate(WIDTHS)}
    for k in range(studies):
        random = np.random.default_rng([seed, k])
        draws = []
        for width in WIDTHS:
            rotor = study.rotors[width, "N2"]
            shift = study.log_place(truth, width, "N2") - np.log(rotor.pressure_pa)
            optimum = find_optimum(
                simulated_sweep(made[width][k], study.pressures[width, "N2"], SMALL.noise, random, shift), seed=k
            )
            if optimum.found:
                places = highest_places(optimum.curve.log_pressure, optimum.curve.draws)
                draws.append(places + rotor.rotor_scatter * random.standard_normal(places.size))
        if len(draws) == 2:
            exponents = (draws[1] - random.permutation(draws[0])) / np.log(WIDTHS[1] / WIDTHS[0])
            intervals.append(np.quantile(exponents, (0.025, 0.975)))
    return np.array(intervals).reshape(-1, 2)


def test_power_agrees_with_comparing_every_pair_of_rotors(study):
    """Forty studies of two rotors, a claim that is mostly rejected and one that is not.

    The plan once took the true scatter of a sweep, from ten trials at one place, for known beforehand, where an
    analysis has only the wider uncertainty that it states: it promised 0.83 and 1.00.
    """
    design, studies = Design(WIDTHS, 1, 1, 0.0), 40
    with_near = replace(study, exponents=study.exponents | {"near": -0.55})
    power = with_near.power_of(design, studies=4000).power["0"]
    low, high = _intervals_by_comparing(study, "0", studies, seed=5).T
    for rival, exponent in (("near", -0.55), ("-1", -1.0)):
        told = np.sum((low > exponent) | (high < exponent)) / studies
        assert abs(told - power[rival]) < 2.6 * np.sqrt(power[rival] * (1 - power[rival]) / studies + 0.05**2)


def test_power_agrees_with_reading_every_sweep_of_every_study(study):
    """As above, of two rotors of each size swept once, through generalised least squares."""
    design, studies = Design(WIDTHS, 2, 1, 0.0), 10
    power = study.power_of(design, studies=4000).power["-1"]["model"]
    brute = brute_force_power(study, design, "-1", "model", studies, seed=5)
    assert abs(brute - power) < 2.6 * np.sqrt(power * (1 - power) / studies + 0.05**2)


def test_a_true_claim_is_rejected_at_most_as_often_as_the_level_states(study):
    """At 95 %: 5 % or less, for stated uncertainties of a sweep are wider than its scatter; not never, either."""
    for design in (Design(WIDTHS, 1, 1, 0.0), Design(WIDTHS, 3, 2, 0.0)):
        errors, variances = study.study_errors(design, 4000, 3, "-1")
        rejected, u = study.rejected(design, errors, variances, "-1", ["-1"])
        assert np.mean(rejected) < 0.06
        scatter = [[study.rotors[w, "N2"].rotor_scatter] for w in WIDTHS]
        weights, _ = exponent_weights(np.log(WIDTHS), variances, np.array(scatter))
        slope = (weights * errors).sum(axis=(1, 2, 3))[np.isfinite(u)]
        assert 0.4 < slope.std() / np.sqrt(np.mean(u[np.isfinite(u)] ** 2)) < 1.05


def test_numbers_of_sweeps_with_and_without_an_optimum_match_the_plan(study):
    """New sweeps at the ends of where claims put the optimum, against the chance fitted to the plan's own."""
    key = (14e-3, "N2")
    rotor, pressure = study.rotors[key], study.pressures[key]
    fresh = read_trials([rotor.curve], [pressure], [(-0.4, 0.4)], SMALL.noise, 20, 77, processes=1)[0]
    told = study.calibration[key]
    chance = 1 / (1 + np.exp(-told.chance[0] - told.chance[1] * fresh.standing))
    assert abs(fresh.found.sum() - chance.sum()) < 2.6 * np.sqrt((chance * (1 - chance)).sum() + 1)
    assert 0.6 < np.median(fresh.u[fresh.found]) / told.u < 1.6


def test_an_optimum_near_the_end_of_a_sweep_is_found_less_often(vacuum_bench):
    curve = sized_rotor(vacuum_bench, 12e-3, "N2").curve
    pressure = curve.pressure_pa * np.geomspace(0.2, 5.0, 10)
    out = standing(curve, pressure, 0.03, np.array([-1.0, 0.0, 1.0]))
    assert out[0] < out[1] and out[2] < out[1] and np.all(out > 0)
    assert standing(curve, pressure, 0.015, np.array([0.0]))[0] == pytest.approx(2 * out[1])


def test_the_fitted_chance_to_find_an_optimum_matches_the_drawn_one():
    random = np.random.default_rng(2)
    out = random.uniform(0.0, 9.0, 3000)
    found = random.random(3000) < 1 / (1 + np.exp(4.0 - 1.1 * out))
    assert found_chance(out, found) == pytest.approx([-4.0, 1.1], rel=0.12)
    certain = found_chance(np.full(60, 9.0), np.ones(60, bool))
    assert certain[0] + 9.0 * certain[1] > 4.0


def test_errors_are_drawn_with_the_distribution_of_the_trials():
    random = np.random.default_rng(3)
    u = np.exp(0.3 * random.standard_normal((2, 200)) - 2)
    score = np.array([[0.2], [-0.5]]) + np.array([[0.6], [0.9]]) * random.standard_normal((2, 200))
    trials = [Trials(np.zeros(200), np.full(200, 9.0), score[i] * u[i], u[i]) for i in (0, 1)]
    for i, told in enumerate(calibrate(trials)):
        error, stated = told.draw(np.full(20000, 9.0), 1, random)
        seen = np.isfinite(error)
        assert seen.mean() > 0.97 and np.array_equal(seen, np.isfinite(stated))
        assert np.mean(error[seen] / stated[seen]) == pytest.approx(score[i].mean(), abs=0.08)
        assert np.std(error[seen] / stated[seen]) == pytest.approx(score[i].std(), rel=0.08)
        assert np.median(stated[seen]) == pytest.approx(np.median(u[i]), rel=0.05)


def test_sweeps_without_an_optimum_are_reported_and_not_planned():
    nothing = Trials(np.zeros(9), np.zeros(9), np.full(9, np.nan), np.full(9, np.nan))
    with pytest.raises(InputError, match="show no optimum"):
        calibrate([nothing, nothing])


def test_the_exponent_is_that_of_generalised_least_squares():
    """Against the matrix formula written out, for three sizes, two rotors, two gases and one sweep that failed."""
    random = np.random.default_rng(4)
    x, scatter = np.log([8.0, 12.0, 20.0]), np.array([[0.05, 0.04], [0.06, 0.05], [0.03, 0.02]])
    variance = random.uniform(0.01, 0.04, (1, 3, 2, 2))
    variance[0, 1, 0, 1] = np.inf
    value = random.standard_normal((1, 3, 2, 2))
    weights, u = exponent_weights(x, variance, scatter)
    rows = [(i, r, g) for i in range(3) for r in range(2) for g in range(2) if np.isfinite(variance[0, i, r, g])]
    design = np.array([[g == 0, g == 1, x[i]] for i, r, g in rows], dtype=float)
    covariance = np.array(
        [
            [
                (i == j and r == s) * scatter[i, g] * scatter[j, h] + (a == b) * variance[0, i, r, g]
                for b, (j, s, h) in enumerate(rows)
            ]
            for a, (i, r, g) in enumerate(rows)
        ]
    )
    inverse = np.linalg.inv(covariance)
    normal = np.linalg.inv(design.T @ inverse @ design)
    expected = normal @ design.T @ inverse @ np.array([value[0][row] for row in rows])
    assert (weights * value).sum() == pytest.approx(expected[2])
    assert u[0] == pytest.approx(np.sqrt(normal[2, 2]))


def test_one_size_alone_gives_no_exponent():
    variance = np.full((2, 2, 3, 2), 0.01)
    variance[0, 1] = np.inf  # nothing found with the wider vanes
    variance[1, 0, :, 1] = np.inf  # the narrower only in one gas, which is enough
    weights, u = exponent_weights(np.log([1.0, 2.0]), variance, np.full((2, 2), 0.05))
    assert np.isinf(u[0]) and not weights[0].any()
    assert np.isfinite(u[1])


def test_sweeps_are_averaged_by_their_stated_uncertainties():
    mean, variance = mean_of_sweeps(np.array([[1.0, 4.0], [np.nan, 2.0], [np.nan, np.nan]]), np.array(
        [[1.0, 2.0], [np.nan, 0.5], [np.nan, np.nan]]
    ))  # fmt: skip
    assert mean == pytest.approx([1.6, 2.0, 0.0])
    assert variance == pytest.approx([0.8, 0.25, np.inf])


def test_the_plan_states_the_uncertainty_of_its_power(study):
    best = study.best
    assert best.least_power_u is not None and 0 <= best.least_power_u < 0.3
    assert scaling_result(study).design.least_power_u == best.least_power_u


def test_more_rotors_and_sweeps_narrow_the_exponent(study):
    one, rotors, sweeps = (Design(WIDTHS, r, s, 0.0) for r, s in ((1, 1), (4, 1), (1, 4)))
    u = [study.power_of(design).exponent_u for design in (one, rotors, sweeps)]
    assert u[1] == pytest.approx(u[0] / 2, rel=0.2)
    assert u[1] < u[2] < u[0]  # sweeps do not take out what sets rotors apart


def test_every_design_fits_the_time(study):
    assert study.designs and all(design.hours <= SMALL.hours for design in study.designs)
    assert study.best.design in study.designs
    assert sum(run.changeover for run in run_order(study)) == study.best.design.rotors * len(study.best.design.widths_m)


def test_too_little_time_is_reported_and_not_planned(vacuum_bench):
    short = Settings(days=0.05, readings=10, trials=4, studies=100)
    plan = plan_scaling_study(vacuum_bench, [8e-3, 14e-3], settings=short, processes=1)
    assert plan.best is None and scaling_result(plan).design is None
    assert "no two sizes" in answer_sentences(plan)[0] and list(study_lines(plan))


def test_a_resized_rotor_has_the_same_sheet_thickness(vacuum_text):
    massive = 'vane_thickness = "0.1 mm"\nvane_mass = "40 mg"'
    bench = parse_bench(vacuum_text.replace('vane_thickness = "0.1 mm"', massive))
    wide = resized(bench, 24e-3, "He")
    assert wide.rotor.vane_mass.value == pytest.approx(4 * 40e-6)
    inner = bench.rotor.arm.value - bench.rotor.vane_width.value / 2
    assert wide.rotor.arm.value - wide.rotor.vane_width.value / 2 == pytest.approx(inner)
    ratio = 4 * (wide.rotor.mean_square_arm_m2 / bench.rotor.mean_square_arm_m2)
    assert wide.rotor.moment_of_inertia.value == pytest.approx(9e-8 * ratio)
    assert wide.gas.species == "He"


def test_a_sized_rotor_agrees_with_the_forward_model(vacuum_bench):
    sized = sized_rotor(vacuum_bench, 12e-3, "N2")
    whole = predict_whole(resized(vacuum_bench, 12e-3), [0.02, 30.0])
    assert sized.pressure_pa == pytest.approx(whole.speed.pressure_pa, rel=0.01)
    assert sized.speed_rad_s == pytest.approx(abs(whole.speed.value), rel=1e-3)
    assert float(sized.curve.speed_at(2 * sized.pressure_pa, np.log(2))) == pytest.approx(sized.speed_rad_s, rel=1e-3)
    assert 0.001 < sized.rotor_scatter < 0.3


def test_a_claim_shifts_the_simulated_curve(vacuum_bench):
    curve = sized_rotor(vacuum_bench, 12e-3, "N2").curve
    pressure = curve.pressure_pa * np.geomspace(0.1, 10, 40)
    data = simulated_sweep(curve, pressure, 1e-6, np.random.default_rng(1), shift=0.5)
    assert np.log(pressure[np.argmax(data.speed_rad_s)] / curve.pressure_pa) == pytest.approx(0.5, abs=0.12)


def test_the_sheet_is_complete_and_reproducible(study, tmp_path):
    first = write_plan_sheet(study, tmp_path / "one", command="edgewind design bench.toml")
    second = write_plan_sheet(study, tmp_path / "two", command="edgewind design bench.toml")
    assert first.read_bytes() == second.read_bytes()
    page = first.read_text(encoding="utf-8")
    assert "http" not in page.replace("http://www.w3.org", "") and "<script" not in page
    for words in (*assumptions(study), *falsified_by(study), *HELD):
        assert words.replace("'", "&#39;") in page
    told = json.loads((tmp_path / "one" / "plan.json").read_text(encoding="utf-8"))
    assert told["design"]["power"]["-1"]["0"] == study.best.power["-1"]["0"]
    assert {path.name for path in (tmp_path / "one" / "figures").iterdir()} == {
        "claims.svg", "claims-light.png", "claims-dark.png"
    }  # fmt: skip
    with pytest.raises(InputError, match="this path already exists"):
        write_plan_sheet(study, tmp_path / "one", command="")


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"days": 0.0}, "0 days"), ({"hours_a_day": 30.0}, "30 hours"), ({"readings": 3}, "3 readings"),
        ({"noise": 2.0}, "scatter of 2"), ({"level": 0.2}, "level of 0.2"), ({"days": float("nan")}, "days"),
    ],
)  # fmt: skip
def test_invalid_settings_are_refused(settings, message):
    with pytest.raises(InputError, match=message):
        Settings(**settings)


def test_impossible_rotors_are_refused(vacuum_bench, study):
    with pytest.raises(InputError, match="do not fit the chamber"):
        plan_scaling_study(vacuum_bench, [8e-3, 60e-3], settings=SMALL)
    with pytest.raises(InputError, match="one width cannot show a power law"):
        plan_scaling_study(vacuum_bench, [8e-3, 8e-3], settings=SMALL)
    with pytest.raises(InputError, match="above zero"):
        plan_scaling_study(vacuum_bench, [8e-3, -1e-3], settings=SMALL)
    with pytest.raises(InputError, match="gas"):
        plan_scaling_study(vacuum_bench, [8e-3, 12e-3], ["unobtainium"], settings=SMALL)
    with pytest.raises(InputError, match="no claims"):
        plan_scaling_study(vacuum_bench, [8e-3, 12e-3], exponents=())


def test_a_plan_warns_of_its_gases(study):
    said = "\n".join(study_lines(study))
    assert all(one in said for one in cautions_for(study.gases))
    others = cautions_for(("N2", "H2", "O2"))
    expected = ("glass", "pump", "lamp", "bottle", "flammable gas", "oxygen")
    assert others == (*(HAZARDS[hazard] for hazard in expected), DEFER)


def test_a_plan_is_printed_in_the_units_of_the_bench(study, vacuum_text):
    units = '\n[units]\npressure = "mTorr"\nspeed = "rad/s"\n'
    shown = replace(study, bench=parse_bench(vacuum_text + units))
    said = "\n".join(study_lines(shown))
    assert "mTorr" in said and "rad/s" in said
    assert not re.search(r"\b(Pa|rpm)\b(?! [ms])", said)
