"""Shift of both optima with a change, over draws of priors and of a posterior."""

import json

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.evidence import draws_of, fit, what_if
from edgewind.evidence.fit import FitData
from edgewind.evidence.predicted import with_model_error
from edgewind.evidence.words import what_if_lines
from edgewind.report.figures.canvas import our_style
from edgewind.report.figures.file import FILM
from edgewind.report.figures.what_if import draw_what_if
from edgewind.report.palette import DARK
from edgewind.rotor import parameters_of, predict, predict_rotor, predict_whole, response_of, steady_state
from edgewind.rotor.speed_kernel import Place
from edgewind.rotor.words import answer_lines
from edgewind.serialize import to_plain

ROTOR = {
    "bright_emissivity": "0.80 +/- 0.03",
    "vane_conductance": "60 +/- 20 W/(m^2 K)",
    "accommodation": "0.9 +/- 0.02",
    "pivot_dry_torque": "5e-11 +/- 20 % N m",
    "pivot_viscous": "5e-11 +/- 20 % N m s",
}
PRESSURES = np.geomspace(0.02, 20.0, 25)
WIDER = {"rotor.vane_width": "18 mm", "rotor.vane_height": "18 mm"}


@pytest.fixture(scope="module")
def bench(make_bench):
    return make_bench(rotor=ROTOR)


@pytest.fixture(scope="module")
def prior(bench):
    return draws_of(bench, draws=120)


@pytest.fixture(scope="module")
def posterior(bench):
    rotor = parameters_of(bench)
    seen = steady_state(PRESSURES, rotor, response_of(rotor)).speed_rad_s
    seen = seen * (1 + 0.01 * np.random.default_rng(5).standard_normal(seen.size))
    data = FitData(PRESSURES, np.full(25, 0.01), seen, 1e-3 * np.abs(seen), True, 0.05)
    return draws_of(fit(bench, data, steps=25), draws=120)


def test_one_draw_represents_a_fit_where_the_medians_of_its_unknowns_do_not(posterior):
    speeds = posterior.curves(PRESSURES)[:, 0]
    median = np.median(speeds, axis=0)
    top = np.max(np.abs(median))
    one = predict_rotor(posterior.bench, posterior.rotor, posterior.gas, PRESSURES)
    seen = one.table["speed_rad_s"].to_numpy(float)
    # The kernel takes the errors of the gas at the cold gas, the prediction at that of the film.
    assert np.max(np.abs(seen - speeds[posterior.typical])) < 5e-3 * top
    assert np.max(np.abs(seen - median)) < 0.02 * top
    changed = posterior.moved(WIDER | {"rotor.vane_conductance": "30 +/- 50 % W/(m^2 K)"})
    assert changed.typical == posterior.typical
    assert changed.rotor.vane_conductance_w_m2_k == pytest.approx(30.0)
    assert changed.rotor.accommodation == pytest.approx(posterior.rotor.accommodation)


def test_both_optima_move_to_those_predicted_for_the_changed_bench(bench, prior):
    found = what_if(prior, WIDER, PRESSURES)
    plain = predict_whole(bench, PRESSURES, changes=WIDER)
    for moved, alone in ((found.speed, plain.speed), (found.torque, plain.force)):
        assert moved.after.interval_pa[0] < alone.pressure_pa < moved.after.interval_pa[1]
        assert moved.ratio.interval[1] < 1.0
        assert moved.after.pressure_pa < moved.before.pressure_pa


def test_one_draw_without_uncertainty_is_the_prediction_itself(bench, prior):
    """The bench's own values as the only draw, changed, give the curves of `predict` with the same change."""
    from dataclasses import replace

    from edgewind.rotor.speed_kernel import flat

    one = replace(prior, numbers=flat(parameters_of(bench))[None, :], deviations=0 * prior.deviations[:1])
    changes = WIDER | {"gas.species": "He", "light.irradiance": "400 W/m^2", "rotor.accommodation": "0.8"}
    found = what_if(one, changes, PRESSURES[:20])
    table = predict(bench, PRESSURES[:20], changes=changes)
    assert found.after.speed_rad_s[1] == pytest.approx(table["speed_rad_s"].to_numpy(), rel=1e-6)
    assert found.after.torque_n_m[1] == pytest.approx(table["torque_n_m"].to_numpy(), rel=1e-6)


def test_draws_keep_their_unknowns_except_for_values_stated_in_the_change(prior):
    moved = prior.moved({"light.irradiance": "1600 W/m^2", "rotor.vane_conductance": "200 +/- 10 W/(m^2 K)"})
    lamp = moved.numbers[:, Place.IRRADIANCE] / prior.numbers[:, Place.IRRADIANCE]
    assert lamp == pytest.approx(2.0)
    assert np.median(moved.numbers[:, Place.CONDUCTANCE]) == pytest.approx(200, rel=0.03)
    assert np.std(moved.numbers[:, Place.CONDUCTANCE]) == pytest.approx(10, rel=0.25)
    assert np.array_equal(moved.numbers[:, Place.DRY], prior.numbers[:, Place.DRY])
    stiff = prior.moved({"rotor.pivot_dry_torque": "2e-10 N m"})
    assert np.all(stiff.numbers[:, Place.DRY] == 2e-10)
    assert np.all(stiff.numbers[:, Place.BREAKAWAY] == 2e-10)


def test_readings_narrow_the_intervals_of_optima_and_of_their_shift(prior, posterior):
    before, after = (what_if(draws, WIDER, PRESSURES).speed for draws in (prior, posterior))

    def width(at):
        return np.log(at.interval_pa[1] / at.interval_pa[0])

    assert width(after.before) < 0.7 * width(before.before)
    assert width(after.after) < 0.7 * width(before.after)
    assert (prior.kind, posterior.kind) == ("prior", "posterior")


def test_a_prediction_includes_the_error_of_the_model_at_its_optima(bench, prior):
    """Narrower than over all that the bench leaves open; around the value without that error."""
    plain = predict_whole(bench, PRESSURES)
    found = with_model_error(plain)
    over = what_if(prior, {}, PRESSURES)
    for one, before, drawn in ((found.speed, plain.speed, over.speed), (found.force, plain.force, over.torque)):
        assert (one.pressure_pa, one.value) == (before.pressure_pa, before.value)
        assert one.interval_pa[0] < one.pressure_pa < one.interval_pa[1]
        assert np.log(one.interval_pa[1] / one.interval_pa[0]) < np.log(
            drawn.before.interval_pa[1] / drawn.before.interval_pa[0]
        )
    line = next(answer_lines(found))
    assert line.startswith("greatest speed ") and "; with the error of the model " in line and "(90 %)" in line
    assert found.to_result().optimum.interval_pa == found.speed.interval_pa


def test_without_a_change_no_optimum_moves(prior):
    found = what_if(prior, {}, PRESSURES)
    assert found.speed.ratio.interval == (1.0, 1.0)
    assert np.array_equal(found.before.speed_rad_s, found.after.speed_rad_s)
    assert any("priors only" in line for line in what_if_lines(found))


def test_a_range_without_a_maximum_is_reported(prior):
    found = what_if(prior, WIDER, PRESSURES[:4])
    assert not found.torque.before.found
    assert found.torque.before.share < 0.9
    assert any("ask for a wider range" in line for line in what_if_lines(found))


def test_bands_end_where_the_response_of_the_gas_ends(prior):
    pressures = np.geomspace(1.0, 2.0 * prior.most_pa, 9)
    found = what_if(prior, {}, pressures)
    assert np.isnan(found.before.speed_rad_s[:, -1]).all()
    assert np.isfinite(found.before.speed_rad_s[:, 0]).all()
    assert (
        json.loads(json.dumps(to_plain(found.to_result()), allow_nan=False))["bands"]["before"]["low_speed_rad_s"][-1]
        is None
    )


def test_the_figure_shows_both_bands(prior):
    with our_style(DARK, FILM):
        figure = draw_what_if(what_if(prior, WIDER, PRESSURES), "Invented", DARK, FILM)
    above = figure.axes[0]
    assert [line.get_label() for line in above.get_lines()][0:1] == ["before"]
    assert len(above.collections) == 2


def test_invalid_changes_are_refused(prior):
    with pytest.raises(InputError, match=r"did you mean|name it"):
        what_if(prior, {"rotor.vane_witdh": "18 mm"}, PRESSURES)
    with pytest.raises(InputError, match="two pressures are needed"):
        what_if(prior, {}, [1.0])
