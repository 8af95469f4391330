"""The table that `edgewind predict` prints, what-if changes, and where the shipped response puts the optimum."""

import numpy as np
import pytest
import tomlkit

from edgewind.bench import parse_bench
from edgewind.errors import InputError
from edgewind.rotor import (
    changed_bench,
    parameters_of,
    parse_bench_changes,
    parse_vane_temperature,
    predict,
    predict_reach,
    predict_whole,
    reach,
    response_of,
    warm_start,
    whole_rotor,
)
from edgewind.rotor.optimum import peak_pressures
from edgewind.rotor.words import answer_lines
from edgewind.serialize import to_plain

ROTOR = {"bright_emissivity": "0.8", "vane_conductance": "60 W/(m^2 K)", "vane_thickness": "0.1 mm"}
DOCUMENTED = ["pressure_pa", "knudsen", "speed_rad_s", "torque_n_m", "drag_n_m_s", "t_hot_k", "t_cold_k"]


def test_the_documented_columns_come_first(make_bench):
    assert list(predict(make_bench(), [0.1, 1.0]).columns)[:7] == DOCUMENTED


def test_a_vane_of_a_centimetre_runs_fastest_near_one_pascal_in_air(make_bench):
    """Common practice, no source: about 1 cm, near 1 Pa (some mTorr), in air with a good pivot."""
    small = {"vane_width": "10 mm", "vane_height": "10 mm"}
    bench = make_bench(rotor=ROTOR | small, gas={"species": "air"})
    found = predict_whole(bench, [0.03, 20.0])
    assert found.speed.found
    assert 0.5 < found.speed.pressure_pa < 3.0
    assert 0.05 < found.force.knudsen < 0.2


def test_the_optimum_moves_with_the_width_and_with_the_gas(make_bench):
    bench = make_bench(rotor=ROTOR)
    base = predict_whole(bench, [0.02, 20.0])
    wide = predict_whole(bench, [0.02, 20.0], changes={"rotor.vane_width": "24 mm", "rotor.vane_height": "24 mm"})
    helium = predict_whole(bench, [0.02, 20.0], changes={"gas.species": "He"})
    assert wide.force.pressure_pa < 0.7 * base.force.pressure_pa
    # Its free path is three times as long at the same pressure; that it cools the vane more takes some of it back.
    assert helium.force.pressure_pa > 1.5 * base.force.pressure_pa


def test_prediction_of_the_whole_range_agrees_with_the_same_pressures_stated(make_bench):
    bench, wider = make_bench(rotor=ROTOR), {"rotor.vane_width": "13 mm"}
    once, whole = (
        predict_reach(bench, changes=wider),
        predict_whole(bench, reach(changed_bench(bench, wider)), changes=wider),
    )
    np.testing.assert_allclose(once.table, whole.table, rtol=1e-8)
    for one, other in ((once.speed, whole.speed), (once.force, whole.force)):
        assert one.found and one.pressure_pa == pytest.approx(other.pressure_pa, rel=1e-8)
        assert one.value == pytest.approx(other.value, rel=1e-8)


def test_an_optimum_alone_does_not_compute_the_errors_of_the_gas(make_bench, monkeypatch):
    asked = []
    for name in ("_error_of_tables", "wall_law_error", "second_order_error"):
        real = getattr(whole_rotor, name)
        monkeypatch.setattr(
            whole_rotor, name, lambda *given, _real=real, **named: (asked.append(1), _real(*given, **named))[1]
        )
    width = {"rotor.vane_width": "12.3456 mm"}  # of no other test: the response is kept
    found = predict_reach(make_bench(rotor=ROTOR), changes=width)
    assert found.speed.found and not asked
    response = response_of(found.parameters)
    assert np.all(response.relative_errors([0.1, 1.0]) > 0) and len(asked) == 3
    response.shared_errors(1.0)
    assert len(asked) == 3


def test_the_json_form_has_rows_and_both_optima(make_bench):
    plain = to_plain(predict_whole(make_bench(rotor=ROTOR), np.geomspace(0.05, 20, 5)).to_result())
    assert len(plain["rows"]) == 5
    assert set(DOCUMENTED) <= set(plain["rows"][0])
    assert plain["optimum"]["found"] is True
    assert plain["optimum"]["pressure_pa"] < plain["force_optimum"]["pressure_pa"]


def test_changes_are_validated_like_the_file(make_bench):
    bench = make_bench()
    assert changed_bench(bench, {"rotor.vane_width": "30 mm"}).rotor.vane_width.value == 0.03
    assert changed_bench(bench, {}) is bench
    for changes, words in (
        ({"rotor.vane_wdth": "3 mm"}, "did you mean 'rotor.vane_width'"),
        ({"rotor.vane_width": "300 mm"}, "sweeps a circle"),
        ({"rotor.vane_mass": "0 mg"}, "too small"),
        ({"rotor.dark_absorptance": "1.2"}, "too large"),
        ({"rotor.bright_absorptance": "0.95"}, "the dark face absorbs"),
        ({"light.irradiance": "-1 W/m^2"}, "too small"),
        ({"rotor.vane_width": "30"}, "no unit"),
        ({"rotor.pivot_dry_torque": "3 mm"}, "not a unit of torque"),
    ):
        with pytest.raises(InputError, match=words):
            changed_bench(bench, changes)
    with pytest.raises(InputError, match="is not a key and its value"):
        parse_bench_changes(["rotor.vane_width"])


def test_an_irradiance_of_zero_is_allowed_and_leaves_the_rotor_at_rest(make_bench):
    dark = predict(make_bench(rotor=ROTOR), [0.1, 1.0], changes={"light.irradiance": "0 W/m^2"})
    assert np.allclose(dark["speed_rad_s"], 0, atol=1e-9)
    assert np.allclose(dark["t_hot_k"], dark["t_cold_k"])


def test_the_gas_has_the_temperature_of_the_envelope_unless_stated(make_bench, make_bench_text):
    chilled = changed_bench(make_bench(rotor=ROTOR), {"chamber.envelope_temperature": "-12 degC"})
    assert chilled.gas.temperature.value == chilled.envelope_temperature.value == pytest.approx(261.15)
    apart = {"chamber.envelope_temperature": "-12 degC", "gas.temperature": "20 degC"}
    assert changed_bench(make_bench(rotor=ROTOR), apart).gas.temperature.value == pytest.approx(293.15)
    table = tomlkit.parse(make_bench_text(chamber={"envelope_temperature": "30 degC"}))
    del table["gas"]["temperature"]
    assert parse_bench(tomlkit.dumps(table)).gas.temperature.value == pytest.approx(303.15)


def test_one_accommodation_of_both_faces_replaces_two_and_conversely(make_bench):
    both, each = (
        make_bench(rotor={"accommodation": "0.9"}),
        {"dark_accommodation": "0.9", "bright_accommodation": "0.7"},
    )
    apart = changed_bench(both, {f"rotor.{key}": value for key, value in each.items()}).rotor
    assert apart.accommodation is None and apart.accommodation_difference.value == pytest.approx(0.2)
    again = changed_bench(make_bench(rotor=each), {"rotor.accommodation": "0.8"}).rotor
    assert again.accommodation_difference is None and again.mean_accommodation.value == 0.8
    with pytest.raises(InputError, match="that of the other is not"):
        changed_bench(both, {"rotor.dark_accommodation": "0.9"})


def test_an_unknown_bright_emissivity_gives_a_range_of_optima(make_bench):
    silent = {key: value for key, value in ROTOR.items() if key != "bright_emissivity"}
    found = predict_whole(make_bench(rotor=silent), np.geomspace(0.02, 20, 5))
    low, high = found.speed_range.pressure_pa
    assert low < found.speed.pressure_pa < high
    assert found.to_result().optimum.range.emissivity == (0.03, 0.95)
    text = "\n".join(answer_lines(found))
    assert "rotor.bright_emissivity is not given: for 0.03 to 0.95 the speed is greatest somewhere from" in text
    assert "white paint 0.88 +/- 0.08" in text
    assert predict_whole(make_bench(rotor=ROTOR), np.geomspace(0.02, 20, 5)).speed_range is None


def test_maxima_are_located_between_the_points():
    pressure = np.geomspace(0.1, 10, 41)
    truth = np.array([0.7, 1.3, 2.9])
    curves = np.exp(-(np.log(pressure / truth[:, None]) ** 2))
    assert np.allclose(peak_pressures(pressure, curves), truth, rtol=2e-3)
    assert np.isnan(peak_pressures(pressure, pressure[None, :]))[0]


def test_a_rotor_at_rest_with_a_warm_vane_reverses_in_the_dark_and_comes_to_rest(make_bench):
    """A check against ourselves: the sign of the difference of the faces while the vane follows the gas."""
    dark = changed_bench(make_bench(rotor=ROTOR), {"light.irradiance": "0 W/m^2"})
    rotor = parameters_of(dark)
    gas, here = response_of(rotor), float(rotor.envelope_temperature_k)
    warm, cold, same = (warm_start(rotor, gas, 2.0, here + apart) for apart in (40.0, -40.0, 0.0))
    assert (warm.first, cold.first, same.first) == ("dark", "bright", "none")
    assert warm.first_greatest_rad_s < -0.02 and 1.0 < warm.first_greatest_s < warm.settled_s < warm.followed_s
    assert warm.passes_zero_s == () and abs(warm.last_rad_s) < 0.05 * abs(warm.first_greatest_rad_s)
    assert "the dark face leads first" in warm.sentence and "stays at rest" in same.sentence
    # in the light it first runs as a vane warmer than its gas does, and then comes to the steady speed
    lit = parameters_of(make_bench(rotor=ROTOR))
    found = warm_start(lit, gas, 2.0, here + 200.0)
    steady = predict(make_bench(rotor=ROTOR), [2.0])["speed_rad_s"][0]
    assert found.first == "dark" and len(found.passes_zero_s) == 1 and steady > 0
    assert found.last_rad_s == pytest.approx(steady, rel=0.02)
    # a pivot that holds it keeps it at rest
    held = warm_start(rotor.with_(pivot_dry_n_m=1e-6, pivot_breakaway_n_m=1e-6), gas, 2.0, here + 40.0)
    assert held.first == "none" and held.settled_s == 0


@pytest.mark.parametrize("text", ["-300 degC", "1600 K", "22", "warm", "0 K"])
def test_an_impossible_vane_temperature_is_refused(text):
    with pytest.raises(InputError, match="vanes"):
        parse_vane_temperature(text)
