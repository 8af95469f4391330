"""Candidates weighed: signs, sizes, shapes and what may be said."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.constants import g, speed_of_light

from edgewind.evidence import MECHANISMS
from edgewind.evidence.claims import sentence
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit import MODELS, fit, prepare
from edgewind.evidence.mechanism_case import case_of
from edgewind.evidence.tensions import Tension
from edgewind.evidence.verdicts import fit_holds, objections_to
from edgewind.rotor import parameters_of, response_of, steady_state
from edgewind.rotor.drives import light_pressure

NOT_HELD = "the fit with every drive does not hold, so that what others share is not known"
VERDICTS = ("ruled out", "sufficient", "compatible", "contributes", "cannot tell")
STATED = {
    "bright_emissivity": "0.80 +/- 0.05",
    "vane_conductance": "60 +/- 15 W/(m^2 K)",
    "vane_thickness": "0.1 mm",
    "pivot_dry_torque": "2e-11 +/- 30 % N m",
}


def bench_of(make_bench, rotor=None, **sections):
    return make_bench(rotor=STATED | (rotor or {}), **sections)


def speeds(bench, pressure, drives=None):
    rotor = parameters_of(bench)
    return steady_state(pressure, rotor, response_of(rotor), drives=drives).speed_rad_s


def readings_of(pressure, speed, lamp=True, relative=0.01, first_line=2):
    """Readings as an experiment has them, sizes of the speeds with a seeded scatter."""
    random = np.random.default_rng(5)
    seen = np.abs(speed) * (1 + relative * random.standard_normal(pressure.size))
    return pd.DataFrame(
        {
            "line": range(first_line, first_line + pressure.size), "pressure_pa": pressure, "log_pressure_u": 0.01,
            "log_pressure_u_common": 0.05, "speed_rad_s": seen, "speed_u_rad_s": relative * np.abs(speed) + 1e-6,
            "speed_flags": "", "lamp": lamp,
            "condition": "" if lamp else "lamp off", "exclude": "", "pressure_flag": "", "used": lamp,
        }
    )  # fmt: skip


PRESSURE = np.geomspace(0.03, 15, 16)


def case(bench, drives=None, **more):
    return case_of(bench, readings_of(PRESSURE, speeds(bench, PRESSURE, drives)), level=0.9, seed=1, **more)


def claims(a_case):
    return {name: weigh(a_case) for name, weigh in MECHANISMS.items()}


# Light pressure


def test_fifty_watts_absorbed_press_with_about_seventeen_micrograms_force():
    """Common practice, no source."""
    assert light_pressure.light_force(50.0, 0.0) / g * 1e9 == pytest.approx(17.0, abs=0.05)


def test_a_mirror_is_pressed_twice_as_hard_as_a_black_face(published):
    """Source: J. C. Maxwell, A Treatise on Electricity and Magnetism (1873), art. 792; E. F. Nichols and G. F. Hull,
    The pressure due to radiation, Phys. Rev. 17, 26 (1903).
    """
    assert light_pressure.light_force(1.0, 1.0) == 2 * light_pressure.light_force(1.0, 0.0)
    published(
        "force of 1 W on a black face", light_pressure.light_force(1.0, 0.0), 1 / speed_of_light, rel=1e-9, unit="N"
    )


# Signs


@pytest.mark.parametrize(
    ("face", "light_ok", "thermal_ok"), [("bright", False, True), ("dark", True, False), ("not observed", None, None)]
)
def test_a_wrong_sign_rules_out_and_an_unseen_one_does_not(make_bench, face, light_ok, thermal_ok):
    """Light pushes the bright face, and the dark one leads; warm gas pushes the dark face, and the bright one leads."""
    found = claims(case(bench_of(make_bench, {"leading_face": face})))
    light, thermal = found["light pressure"], found["thermal force of the gas"]
    assert (light.sign_ok, thermal.sign_ok) == (light_ok, thermal_ok)
    for claim in (light, thermal):
        if claim.sign_ok is False:
            assert claim.verdict == "ruled out"


# Sizes, shapes and verdicts


def test_light_pressure_is_too_weak_and_of_the_wrong_shape(make_bench):
    claim = claims(case(bench_of(make_bench)))["light pressure"]
    assert claim.size_ratio_interval[1] < 0.01
    assert "stays constant while the needed torque changes by a factor of" in claim.shape
    assert claim.light == "as the light to the power 1.00"
    assert claim.envelope == "not with the envelope"


def test_the_thermal_force_is_of_the_size_needed_when_it_made_the_speeds(make_bench):
    bench = bench_of(make_bench, {"pivot_dry_torque": "1e-13 N m"})
    claim = claims(case(bench))["thermal force of the gas"]
    low, high = claim.size_ratio_interval
    assert low < 1 < high
    assert "as needed" in claim.shape
    assert "turns round" in claim.envelope
    assert claim.verdict == "cannot tell"


ONE_DRIVE = {
    "thermal": (("thermal_force",), {}, "thermal force of the gas", "thermal force alone"),
    "light": (
        ("light_pressure",),
        {
            "leading_face": "dark", "pivot_dry_torque": "1e-13 +/- 30 % N m",
            "vane_conductance": "5000 +/- 500 W/(m^2 K)",
        },
        "light pressure", "light pressure alone",
    ),
}  # fmt: skip


@pytest.fixture(scope="module", params=list(ONE_DRIVE))
def fitted_case(request, make_bench):
    """A rotor that one drive alone turns, fitted with every drive and with that one; the rivals by Laplace."""
    drives, rotor, name, model = ONE_DRIVE[request.param]
    bench = bench_of(make_bench, rotor)
    bare = case(bench, drives)
    fits = {each: fit(bench, bare.data, model=each, steps=100) for each in ("all", model)}
    rivals = [each for each in MODELS if each not in fits]
    laplace = {each: prepare(bench, bare.data, each)[1].log_evidence for each in rivals}
    return case(bench, drives, fits=fits, laplace=laplace), name


def test_the_drive_that_made_the_readings_is_never_ruled_out_and_the_wrong_one_is(fitted_case):
    found = claims(fitted_case[0])
    assert found[fitted_case[1]].verdict in ("sufficient", "compatible", "contributes")
    other = "light pressure" if fitted_case[1].startswith("thermal") else "thermal force of the gas"
    assert found[other].verdict == "ruled out"


def test_after_a_fit_the_sizes_are_shares_of_the_torque_that_add_up(fitted_case):
    weighed, name = fitted_case
    found = claims(weighed)
    # The walkers do not find the place of a rotor that light alone turns when every drive is free, and it is said.
    assert fit_holds(weighed) or name == "light pressure"
    assert ("the fit gives it" if fit_holds(weighed) else NOT_HELD) in found[name].why
    k, net = weighed.fastest, weighed.state.net_torque
    parts = sum(np.broadcast_to(part[:, k], net[:, k].shape) for part in weighed.state.torque.values())
    assert parts == pytest.approx(net[:, k], rel=1e-9)


def test_sufficient_takes_stated_scatter_no_rival_no_tension_and_little_left_for_others(fitted_case):
    weighed, name = fitted_case
    model = "thermal force alone" if name.startswith("thermal") else "light pressure alone"
    clear = replace(weighed, laplace=dict.fromkeys(MODELS, -1e6) | {})
    if not fit_holds(weighed):
        assert objections_to(clear, model, (0.95, 1.05)) == (NOT_HELD,)
        return
    assert objections_to(clear, model, (0.95, 1.05)) == ()
    tension = Tension(about="a", why="b", resolve="c")
    rival = replace(clear, laplace={"constant torque alone": weighed.evidence(model) - 2.0})
    noisy = replace(clear, fits=clear.fits | {model: replace(clear.fits[model], p_stated=0.001)})
    for worse, share in (
        (replace(clear, tensions=(tension,)), (0.95, 1.05)),
        (rival, (0.95, 1.05)),
        (noisy, (0.95, 1.05)),
        (clear, (0.7, 1.05)),
        (clear, (1.2, 2.0)),
    ):
        assert len(objections_to(worse, model, share)) == 1


def test_a_fit_that_does_not_hold_rules_nothing_out_by_its_shares(fitted_case):
    weighed, _ = fitted_case
    broken = replace(weighed, fits=weighed.fits | {"all": replace(weighed.fits["all"], p_value=0.0)})
    drives = {"light pressure", "thermal force of the gas", "unequal accommodation", "constant torque from outside"}
    for name, claim in claims(broken).items():
        if name in drives and claim.verdict == "ruled out":
            assert "by its sign" in claim.why


def test_a_size_that_rests_on_an_unstated_key_rules_nothing_out(make_bench):
    """Readings of the forward model under a conductance that the bench does not state, far below the default."""
    stated = {key: value for key, value in STATED.items() if key != "vane_conductance"}
    bench = make_bench(rotor=stated)
    slow = parameters_of(bench).with_(vane_conductance_w_m2_k=6.0)
    seen = steady_state(PRESSURE, slow, response_of(slow)).speed_rad_s
    claim = claims(case_of(bench, readings_of(PRESSURE, seen), level=0.9, seed=1))["thermal force of the gas"]
    assert claim.size_ratio_interval[1] < 1
    assert claim.verdict == "cannot tell"
    assert "rotor.vane_conductance, not stated in bench.toml" in claim.why


def test_light_that_might_just_suffice_cannot_be_told_without_a_fit(make_bench):
    rotor = {"leading_face": "dark", "pivot_dry_torque": "1e-13 N m"}
    bench = bench_of(make_bench, rotor, light={"irradiance": "800 +/- 300 W/m^2"})
    claim = claims(case(bench, ("light_pressure",)))["light pressure"]
    assert claim.size_ratio_interval[0] < 1 < claim.size_ratio_interval[1]
    assert claim.verdict == "cannot tell"


def test_recoil_is_bounded_where_the_bench_is_silent_and_computed_where_it_speaks(make_bench):
    silent = claims(case(bench_of(make_bench)))["outgassing recoil"]
    assert silent.verdict == "ruled out" and silent.size_ratio_interval[1] < 0.1
    huge = claims(case(bench_of(make_bench, {"dark_outgassing": "1 +/- 0.1 Pa m/s"})))["outgassing recoil"]
    assert huge.size_ratio == pytest.approx(1.0, rel=0.1)  # it made these speeds


def test_a_rotor_that_turns_in_the_dark_has_an_artefact_and_one_that_rests_has_none(make_bench):
    bench = bench_of(make_bench)
    lit = readings_of(PRESSURE, speeds(bench, PRESSURE))
    verdicts = []
    for dark_speed in (0.0, 1.0):
        dark = readings_of(np.array([1.0]), np.array([dark_speed]), lamp=False, first_line=90)
        both = pd.concat([lit, dark], ignore_index=True)
        verdicts.append(MECHANISMS["pivot or vibration"](case_of(bench, both, level=0.9, seed=1)).verdict)
    assert verdicts == ["ruled out", "contributes"]
    assert MECHANISMS["pivot or vibration"](case(bench)).verdict == "cannot tell"


def test_a_measured_torque_takes_the_place_of_the_computed_need(make_bench):
    bench = bench_of(make_bench, {"moment_of_inertia": "1e-7 +/- 1 % kg m^2"})
    coasts = [CoastDown(0.02, 1e-4, 1e-4, 1e-6, 0.5, 5.0, 0.5, 1.0, p, 0.05, 40) for p in (0.02, 20.0)]
    found = case(bench, coasts=coasts)
    k = found.fastest
    expected = 1e-7 * (0.02 * abs(found.data.speed_rad_s[k]) + 1e-4)
    assert np.median(found.needed_n_m[:, k]) == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("weigh", MECHANISMS.values(), ids=list(MECHANISMS))
@pytest.mark.parametrize("face", ["bright", "dark", "not observed"])
def test_every_claim_gives_its_reason_in_a_sentence(make_bench, weigh, face):
    bench = bench_of(make_bench, {"leading_face": face})
    full = readings_of(PRESSURE, speeds(bench, PRESSURE))
    for readings in (full, full.iloc[:1], full.iloc[:0], full.assign(speed_rad_s=0.0)):
        claim = weigh(case_of(bench, readings, level=0.9, seed=1))
        assert MECHANISMS[claim.name] is weigh
        assert claim.verdict in VERDICTS
        assert claim.why[0].isupper() and claim.why.endswith(".") and "nan" not in claim.why


def test_a_sentence_begins_with_a_capital_and_ends_with_one_full_stop():
    assert sentence("it is so.") == sentence("it is so") == "It is so."
