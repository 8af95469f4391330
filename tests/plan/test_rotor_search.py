"""The search for the next rotor: an undominated front, as good as a grid, repeatable, within the workshop limits."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from edgewind.bench import parse_bench
from edgewind.cautions import DEFER, HAZARDS
from edgewind.errors import InputError
from edgewind.plan import rotor_search_result, search_rotor
from edgewind.plan.rotor_search import HUB_M, RotorDesign, _task, pareto_front, ranges_of, separation
from edgewind.plan.rotor_text import search_lines
from edgewind.rotor import predict_whole

GOALS = ("fastest", "light")


@pytest.fixture(scope="module")
def found(vacuum_bench):
    return search_rotor(vacuum_bench, GOALS, gases=["N2", "He"], trials=120, seed=2)


def test_a_search_for_rotors_warns_of_such_work_and_of_its_gases(found):
    said = [line.removeprefix("caution: ") for line in search_lines(found) if line.startswith("caution: ")]
    assert said == [*(HAZARDS[hazard] for hazard in ("glass", "pump", "lamp", "bottle")), DEFER]
    assert f"caution: {HAZARDS['flammable gas']}" in search_lines(replace(found, gases=("N2", "H2")))


@given(arrays(float, st.tuples(st.integers(1, 25), st.integers(1, 3)), elements=st.integers(0, 6).map(float)))
def test_a_front_holds_the_undominated_designs_and_no_others(values):
    front = pareto_front(values)
    for k, row in enumerate(values):
        beaten = any(np.all(other >= row) and np.any(other > row) for other in values)
        assert front[k] == (not beaten)


def test_no_rotor_of_the_front_is_dominated_by_another(found):
    for one in found.front:
        for other in (*found.front, *found.others):
            faster = other.values["fastest"] > one.values["fastest"]
            lighter = other.values["light"] < one.values["light"]
            worse = other.values["fastest"] < one.values["fastest"] or other.values["light"] > one.values["light"]
            assert not (faster or lighter) or worse


def test_the_search_finds_what_a_grid_finds(vacuum_bench):
    ranges = {"vane_width": (6e-3, 20e-3), "arm": (12e-3, 30e-3), "vane_thickness": (1e-4, 1e-4), "vanes": (4, 4)}
    task = _task(vacuum_bench, GOALS, ("thermal_force", "light_pressure"), ranges, None)
    grid = [
        task.judge(RotorDesign(vane_width_m=w, vane_height_m=w, vane_thickness_m=1e-4, arm_m=arm, vanes=4, gas="N2"))
        for w in np.geomspace(6e-3, 20e-3, 9)
        for arm in np.geomspace(12e-3, 30e-3, 9)
    ]
    grid = [one for one in grid if not one.problems]
    found = search_rotor(vacuum_bench, GOALS, ranges=ranges, trials=150, seed=1)
    assert max(one.values["fastest"] for one in found.front) > 0.98 * max(one.values["fastest"] for one in grid)
    assert min(one.values["light"] for one in found.front) < 1.02 * min(one.values["light"] for one in grid)


def test_the_same_seed_tries_the_same_designs(found, vacuum_bench):
    again = search_rotor(vacuum_bench, GOALS, gases=["N2", "He"], trials=120, seed=2)
    assert rotor_search_result(again) == rotor_search_result(found)


def test_evaluating_a_search_again_changes_nothing(found):
    again = found.judged_anew()
    assert again.front == found.front and again.own == found.own
    assert [float(one.arm_m) for one in found.rotors(found.front)] == [one.built.arm_m for one in found.front]


def test_every_design_can_be_built(found, vacuum_bench):
    for one in (*found.front, *found.others):
        b = one.built
        assert 2 * (b.arm_m + b.vane_width_m / 2) <= 0.95 * vacuum_bench.chamber.width.value * (1 + 1e-12)
        assert b.arm_m - b.vane_width_m / 2 >= HUB_M * (1 - 1e-12)
        for name, (low, high) in found.ranges.items():
            value = getattr(b, name if name == "vanes" else f"{name}_m")
            assert low * (1 - 1e-12) <= value <= high * (1 + 1e-12)
        assert one.speed_rad_s > 0


def test_the_present_rotor_has_its_predicted_values(found, vacuum_bench):
    whole = predict_whole(vacuum_bench, [0.05, 20.0])
    assert found.own.speed_rad_s == pytest.approx(abs(whole.speed.value), rel=0.01)
    assert found.own.torque_n_m == pytest.approx(abs(whole.force.value), rel=0.01)
    assert found.own.values["light"] == pytest.approx(800 * 1e-10 / abs(whole.force.value), rel=0.01)


def test_the_least_irradiance_is_that_at_which_the_predicted_rotor_starts(vacuum_text, found):
    """At 1.2 times the least light the rotor of the forward model turns, at 0.8 times it does not."""
    least = found.own.values["light"]
    for times, turns in ((1.2, True), (0.8, False)):
        bench = parse_bench(vacuum_text.replace("800 +/- 80 W/m^2", f"{times * least} W/m^2"))
        assert (predict_whole(bench, [0.05, 20.0]).speed.value != 0) is turns


def test_the_distance_of_a_curve_is_zero_from_itself_and_large_from_another():
    p = np.geomspace(0.01, 10, 60)
    hump, flat = p / (1 + p) ** 2, np.ones_like(p)
    assert separation(hump, 7 * hump) == pytest.approx(0.0, abs=1e-6)
    assert separation(hump, flat) > 20
    assert separation(hump, -hump) > separation(hump, flat)
    assert separation(np.zeros(60), hump) == 0.0


def test_a_workshop_section_bounds_the_search(vacuum_text):
    shop = (
        '\n[workshop]\nvane_width = ["6 mm", "8 mm"]\nvane_height = ["10 mm", "12 mm"]\nvanes = [2, 3]\n'
        'gases = ["He", "Ar"]\n'
    )
    bench = parse_bench(vacuum_text + shop)
    found = search_rotor(bench, ["quick"], trials=60)
    assert found.gases == ("He", "Ar") and ranges_of(bench)["vanes"] == (2.0, 3.0)
    for one in found.front:
        assert 6e-3 <= one.built.vane_width_m <= 8e-3 and 10e-3 <= one.built.vane_height_m <= 12e-3
    assert ranges_of(bench, {"vanes": (4, 4)})["vanes"] == (4.0, 4.0)
    assert any("shortest spin-up" in line.lower() for line in search_lines(found))


@pytest.mark.parametrize(
    ("shop", "message"),
    [
        ('vane_width = ["8 mm", "6 mm"]', "key workshop.vane_width.*from the lower to the higher"),
        ("vanes = [0, 3]", "key workshop.vanes.*cannot be built"),
        ('gases = ["unobtainium"]', "key workshop.gases"),
        ('vane_widht = ["6 mm", "8 mm"]', "did you mean 'vane_width'"),
        ('arm = ["6 mm", "8 s"]', "key workshop.arm"),
    ],
)
def test_an_invalid_workshop_section_is_refused_with_its_line(vacuum_text, shop, message):
    with pytest.raises(InputError, match=message):
        parse_bench(f"{vacuum_text}\n[workshop]\n{shop}\n")


def test_invalid_search_settings_are_refused(vacuum_bench):
    with pytest.raises(InputError, match="no goal 'prettiest'; use fastest"):
        search_rotor(vacuum_bench, ["prettiest"])
    with pytest.raises(InputError, match="no goal was given"):
        search_rotor(vacuum_bench, [])
    with pytest.raises(InputError, match="cannot be distinguished"):
        search_rotor(vacuum_bench, ["test"], between=("outgassing", "outgassing"))
    with pytest.raises(InputError, match="too few"):
        search_rotor(vacuum_bench, ["fastest"], trials=5)
    with pytest.raises(InputError, match="'hub' cannot be searched for"):
        search_rotor(vacuum_bench, ["fastest"], ranges={"hub": (1.0, 2.0)})
    with pytest.raises(InputError, match="least first"):
        search_rotor(vacuum_bench, ["fastest"], ranges={"arm": (2.0, 1.0)})
    with pytest.raises(InputError, match="can be built and turns: the vanes reach the wall"):
        search_rotor(vacuum_bench, ["fastest"], ranges={"arm": (0.2, 0.3)}, trials=50)
