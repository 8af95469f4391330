"""Candidates weighed: signs, sizes and what may be said."""

import numpy as np
import pandas as pd
import pytest
from scipy.constants import Stefan_Boltzmann, g, speed_of_light
from scipy.integrate import quad

from edgewind.evidence import MECHANISMS, needed_torque
from edgewind.evidence.mechanisms import light_pressure, thermal_force
from edgewind.evidence.mechanisms.base import sentence
from edgewind.evidence.torque import LEAST_KNUDSEN

LIGHT, THERMAL = MECHANISMS["light pressure"], MECHANISMS["thermal force of the gas"]


def needed(bench, speed=30.0, pressure=0.02):
    row = {"pressure_pa": pressure, "speed_rad_s": speed, "speed_u_rad_s": 0.01 * speed, "log_pressure_u": 0.01}
    row |= {"log_pressure_u_common": 0.05, "pressure_u_pa": 0.051 * pressure, "line": 7}
    return needed_torque(pd.DataFrame([row]), bench, 0.9)


# Light pressure


def test_fifty_watts_absorbed_press_with_about_seventeen_micrograms_force():
    """Common practice, no source."""
    assert light_pressure.light_force(50.0, 0.0) / g * 1e9 == pytest.approx(17.0, abs=0.05)


def test_a_mirror_is_pressed_twice_as_hard_as_a_black_face():
    """Source: J. C. Maxwell, A Treatise on Electricity and Magnetism (1873), art. 792; E. F. Nichols and G. F. Hull,
    The pressure due to radiation, Phys. Rev. 17, 26 (1903).
    """
    assert light_pressure.light_force(1.0, 1.0) == 2 * light_pressure.light_force(1.0, 0.0)
    assert light_pressure.light_force(1.0, 0.0) == pytest.approx(1 / speed_of_light)


def test_beam_torque_is_the_mean_over_a_turn_of_the_push_on_the_lit_faces():
    """Each vane shows the lamp its bright face for half a turn and its dark face for the other; light at the angle phi
    falls on ``A cos(phi)`` and presses along the normal with ``cos(phi)`` of its momentum.
    """
    irradiance, area, arm, dark, bright = 800.0, 1.44e-4, 0.02, 0.95, 0.15

    def torque(phi):
        cos = np.cos(phi)
        reflected = 1 - bright if cos > 0 else 1 - dark
        return arm * np.sign(cos) * irradiance * area * cos**2 / speed_of_light * (1 + reflected)

    mean = sum(quad(torque, a, b)[0] for a, b in ((-np.pi / 2, np.pi / 2), (np.pi / 2, 3 * np.pi / 2))) / (2 * np.pi)
    found = light_pressure.light_torque(irradiance, area, arm, dark, bright, 4, light_pressure.TURN_MEAN["beam"])
    assert found == pytest.approx(4 * mean)
    assert found > 0


def test_light_from_all_round_presses_with_two_thirds_of_its_irradiance():
    """Over a hemisphere of even radiance: momentum along the normal goes as ``cos^2``, irradiance as ``cos``."""
    momentum = quad(lambda theta: np.cos(theta) ** 2 * np.sin(theta), 0, np.pi / 2)[0]
    irradiance = quad(lambda theta: np.cos(theta) * np.sin(theta), 0, np.pi / 2)[0]
    assert light_pressure.TURN_MEAN["all-round"] == pytest.approx(momentum / irradiance)


def test_the_bright_face_is_pushed_harder_so_the_dark_face_leads():
    torque = light_pressure.light_torque(
        1.0, 1.0, 1.0, dark_absorptance=0.9, bright_absorptance=0.1, vanes=1, turn_mean=1.0
    )
    assert torque == pytest.approx(0.8 / speed_of_light)


# Thermal force


def test_irradiance_of_a_beam_over_a_turn_is_its_share_by_pi():
    mean = quad(lambda phi: max(np.cos(phi), 0.0), -np.pi, np.pi, points=[-np.pi / 2, np.pi / 2])[0] / (2 * np.pi)
    assert thermal_force.TURN_MEAN_IRRADIANCE["beam"] == pytest.approx(mean)


def test_greatest_difference_of_the_faces_by_hand(make_bench):
    """In a vacuum ``(0.95 - 0.15) 800/pi`` leaves by ``4 * 0.95 sigma T^3``; gas lessens it."""
    bench = make_bench()
    radiation = 4 * 0.95 * Stefan_Boltzmann * 295.15**3
    assert thermal_force.greatest_difference(bench, 1e-9, 420.0) == pytest.approx(
        0.8 * 800 / np.pi / radiation, rel=1e-6
    )
    assert thermal_force.greatest_difference(bench, 1.0, 420.0) < thermal_force.greatest_difference(bench, 0.1, 420.0)


def test_the_difference_named_balances_the_torque_needed(make_bench):
    bench = make_bench()
    torque = needed(bench)
    claim = THERMAL(bench, torque, 0.9)
    most = thermal_force.greatest_difference(bench, torque.pressure_pa, torque.most_probable_speed_m_s)
    difference = most / claim.size_ratio
    force = thermal_force.thermal_force_free_molecular(torque.pressure_pa, 0.012**2, difference, 295.15)
    assert 4 * 0.020 * force == pytest.approx(torque.torque.value)


# Signs


@pytest.mark.parametrize(
    ("face", "light_ok", "thermal_ok"), [("bright", False, True), ("dark", True, False), ("not observed", None, None)]
)
@pytest.mark.parametrize("weighed", [True, False], ids=["thin gas", "no thin gas"])
def test_a_wrong_sign_rules_out_and_an_unseen_one_does_not(make_bench, face, light_ok, thermal_ok, weighed):
    """Light pushes the bright face, and the dark one leads; warm gas pushes the dark face, and the bright one leads."""
    bench = make_bench(rotor={"leading_face": face})
    torque = needed(bench) if weighed else None
    light, thermal = LIGHT(bench, torque, 0.9), THERMAL(bench, torque, 0.9)
    assert (light.sign_ok, thermal.sign_ok) == (light_ok, thermal_ok)
    for claim in (light, thermal):
        if claim.sign_ok is False:
            assert claim.verdict == "ruled out"
        if not weighed and claim.sign_ok is not False:
            assert claim.verdict == "cannot tell"


def test_without_thin_gas_no_size_is_claimed(make_bench):
    for weigh in MECHANISMS.values():
        claim = weigh(make_bench(), None, 0.9)
        assert (claim.size_ratio, claim.size_ratio_interval, claim.log_evidence) == (None, None, None)
        assert f"no reading was taken in gas thin enough (Knudsen number {LEAST_KNUDSEN:g} or more)" in claim.why


# Sizes and verdicts


def test_light_too_weak_by_orders_is_ruled_out_as_the_main_drive(make_bench):
    bench = make_bench(rotor={"leading_face": "dark"})
    claim = LIGHT(bench, needed(bench), 0.9)
    by_hand = light_pressure.light_torque(800.0, 0.012**2, 0.02, 0.95, 0.15, 4, 0.25) / needed(bench).torque.value
    assert claim.size_ratio == pytest.approx(by_hand, rel=0.05)
    assert claim.size_ratio_interval[0] < claim.size_ratio < claim.size_ratio_interval[1] < 1
    assert claim.verdict == "ruled out"
    assert claim.why.endswith("so it is ruled out as the main drive.")


@pytest.mark.parametrize(
    ("face", "verdict"), [("dark", "sufficient"), ("not observed", "cannot tell"), ("bright", "ruled out")]
)
def test_light_strong_enough_is_sufficient_only_with_the_sign_seen(make_bench, face, verdict):
    bench = make_bench(rotor={"leading_face": face}, light={"irradiance": "1e9 W/m^2"})
    claim = LIGHT(bench, needed(bench), 0.9)
    assert claim.size_ratio_interval[0] > 1
    assert claim.verdict == verdict


def test_light_that_might_just_suffice_cannot_be_told(make_bench):
    bench = make_bench(rotor={"leading_face": "dark"})
    ratio = LIGHT(bench, needed(bench), 0.9).size_ratio
    bench = make_bench(rotor={"leading_face": "dark"}, light={"irradiance": f"{800 / ratio} +/- 20 % W/m^2"})
    claim = LIGHT(bench, needed(bench), 0.9)
    assert claim.size_ratio == pytest.approx(1.0, rel=0.05)
    assert claim.verdict == "cannot tell"


def test_a_thermal_force_that_would_need_more_warmth_than_the_light_gives_is_ruled_out(make_bench):
    bench = make_bench(light={"irradiance": "1e-3 W/m^2"})
    claim = THERMAL(bench, needed(bench), 0.9)
    assert claim.sign_ok is True
    assert claim.size_ratio_interval[1] < 1
    assert claim.verdict == "ruled out"


def test_a_thermal_force_that_would_suffice_is_not_claimed_before_it_is_computed(make_bench):
    claim = THERMAL(make_bench(light={"irradiance": "1e6 W/m^2"}), needed(make_bench()), 0.9)
    assert claim.size_ratio > 1
    assert claim.verdict == "cannot tell"
    assert "need the kinetic computation" in claim.why


@pytest.mark.parametrize("weigh", MECHANISMS.values(), ids=list(MECHANISMS))
@pytest.mark.parametrize("face", ["bright", "dark", "not observed"])
def test_every_claim_gives_its_reason_in_a_sentence(make_bench, weigh, face):
    bench = make_bench(rotor={"leading_face": face})
    for torque in (None, needed(bench)):
        claim = weigh(bench, torque, 0.9)
        assert MECHANISMS[claim.name] is weigh
        assert claim.verdict in ("ruled out", "sufficient", "contributes", "cannot tell")
        assert claim.why[0].isupper() and claim.why.endswith(".") and "nan" not in claim.why


def test_exact_inputs_are_weighed_too(make_bench):
    """Nothing but the drag is uncertain, and nothing is said in a warning."""
    bench = make_bench(light={"irradiance": "800 W/m^2"}, rotor={"arm": "20 mm", "dark_absorptance": "0.95"})
    claim = LIGHT(bench, needed(bench), 0.9)
    assert np.isfinite(claim.size_ratio_interval).all()


def test_a_sentence_begins_with_a_capital_and_ends_with_one_full_stop():
    assert sentence("it is so.") == sentence("it is so") == "It is so."
