"""Tests made on purpose: predictions of each mechanism against observations.

The observed rotors come from an independent generator, which shares no code with the model that judges.
"""

import numpy as np
import pytest
from support import outside_laws
from support.deliberate import CAUSES, invented_tests

from edgewind.cautions import HAZARDS
from edgewind.evidence.claims import Claim
from edgewind.evidence.deliberate import deliberate_tests
from edgewind.evidence.deliberate_results import DRAUGHT, PIVOT
from edgewind.evidence.deliberate_weights import judge_tests, judge_with_tests, tensions_of_tests
from edgewind.evidence.findings import find
from edgewind.evidence.next_test import propose_tests
from edgewind.evidence.sentences import sentences_of
from edgewind.report.summary import study_summary
from edgewind.rotor.drives import NAMES
from edgewind.signals import read_experiment
from edgewind.study import plan_next
from edgewind.virtual.hidden_rotor import BenchConditions, HiddenRotor

RPM = 60 / (2 * np.pi)
ROOM, COLD = 295.15, 253.15
THERMAL = NAMES["thermal_force"]
TITLES = "pressure [Pa],pressure uncertainty [%],speed [rpm],speed uncertainty [rpm],lamp,envelope temperature [degC]"
PRESSURES = np.geomspace(0.05, 15, 11)


@pytest.fixture
def folder(tmp_path, make_bench_text):
    """Write an experiment folder: ``folder(rows, runs={}, **bench)``."""

    def make(rows, runs=None, **changes):
        bench = {"rotor": {"vane_conductance": "60 +/- 20 W/(m^2 K)"}, "gas": {"species": "air"}}
        for section, values in changes.items():
            bench[section] = bench.get(section, {}) | values
        (tmp_path / "bench.toml").write_text(make_bench_text(**bench))
        (tmp_path / "readings.csv").write_text("\n".join([TITLES + ",leading face,trace,note", *rows]) + "\n")
        (tmp_path / "runs").mkdir(exist_ok=True)
        for name, text in (runs or {}).items():
            (tmp_path / "runs" / name).write_text(text)
        return read_experiment(tmp_path)

    return make


def lit_rows(rotor, seed=1, face="bright"):
    random = np.random.default_rng(seed)
    speed = RPM * np.abs(rotor.steady_speed(BenchConditions(PRESSURES, 1.0, ROOM)))
    speed = speed * (1 + 0.01 * random.standard_normal(speed.size))
    return [f"{p:.4g},3,{w:.4g},{0.3 + 0.01 * w:.3g},on,22,{face},," for p, w in zip(PRESSURES, speed, strict=True)]


def chilled_speeds(rotor, pressure, time_s, low=COLD, start_speed=0.0):
    """Return the speed of a rotor in the dark whose envelope is chilled from 20 s to 60 s."""

    def around(t):
        return BenchConditions(pressure, 0.0, float(np.interp(t, [20, 60], [ROOM, low])))

    return rotor.run(time_s, around, (ROOM, ROOM, start_speed))[:, 2]


def test_a_reversal_under_a_chilled_envelope_is_evidence_for_the_thermal_force(folder):
    """One row: lamp off, envelope chilled to -20 degC, turned backwards at 12 rpm. Nothing else is known."""
    found = folder([*lit_rows(HiddenRotor(species="air")), "1.0,3,-12,0.5,off,-20,,,bulb chilled; turned back"])
    (test,) = deliberate_tests(found)
    assert test.kind == "chilled envelope in the dark"
    assert test.lines == (13,)
    assert test.seen.speed_rad_s == pytest.approx(-12 / RPM)
    expected = test.predicted[THERMAL]
    assert (expected.sign, expected.agrees) == (-1, True)
    assert expected.interval_rad_s[0] < test.seen.speed_rad_s < 0
    assert test.log_evidence[THERMAL] > -1
    for other in (PIVOT, DRAUGHT, NAMES["light_pressure"], NAMES["unequal_accommodation"]):
        assert test.log_evidence[other] < -5
        assert not test.predicted[other].agrees
    assert test.predicted[NAMES["unequal_accommodation"]].sign >= 0  # the vane stays warmer than the gas
    assert test.predicted[PIVOT].sign == 1
    assert "the dark face led at 12 rpm, as thermal force of the gas" in test.why
    assert f"{DRAUGHT} and {PIVOT}" in test.why
    study = {claim.name: claim for claim in find(found).mechanisms}
    assert study[PIVOT].verdict == "ruled out"
    assert "(chilled envelope in the dark, 1 Pa) it would give" in study[PIVOT].why
    assert study[THERMAL].verdict != "ruled out"
    assert "as thermal force of the gas" in study[THERMAL].why
    summary = study_summary([find(found)], None, None)
    assert summary["tests"][0]["predicted"][THERMAL]["agrees"]
    assert PIVOT in summary["tests_together"]["ruled_out"]
    weights = judge_tests([test])
    assert weights.weightiest == 0
    assert weights.log_likelihood[PIVOT] < -5
    assert "reading 12 (chilled envelope in the dark, 1 Pa)" in weights.why


def test_an_observed_reversal_is_stated_in_the_answer_and_in_the_sentence_about_the_cold(folder):
    found = find(folder([*lit_rows(HiddenRotor(species="air")), "1.0,3,-12,0.5,off,-20,,,bulb chilled; turned back"]))
    assert len(found.answer) == 4
    assert "judged by the curve and by 1 test made on purpose" in found.answer[2]
    assert found.answer[3].startswith(
        "Of the tests made on purpose: Chilled envelope in the dark: the dark face led at 12"
    )
    assert found.other_use(13) == "used as a test made on purpose: lamp off, envelope at -20 °C"
    assert found.other_use(12) == ""
    said = sentences_of(found.mechanisms, None, tests=found.tests, usual_face="bright").in_the_cold
    assert said.startswith(
        "In the dark under a chilled envelope it was observed to reverse: the dark face led at 12 rpm, where the "
        "bright face leads under the lamp (reading 12, 1 Pa). If the gas drives it, that is because the dark side"
    )
    as_usual = sentences_of(found.mechanisms, None, tests=found.tests, usual_face="dark").in_the_cold
    assert "it was not observed to reverse: the dark face led at 12 rpm (reading 12, 1 Pa)" in as_usual
    unknown = sentences_of(found.mechanisms, None, tests=found.tests).in_the_cold
    assert unknown == "Which way it would turn in the cold is not known without a fit of the readings."


def test_a_rotor_unaffected_by_cold_is_driven_by_a_constant_torque(folder):
    rotor = HiddenRotor(species="air", foreign_n_m=2e-9, irradiance_w_m2=0.0)
    found = folder(
        [*lit_rows(rotor), f"1.0,3,{RPM * rotor.steady_speed(BenchConditions(1.0, 0, COLD)):.4g},0.5,off,-20,bright,,"]
    )
    (test,) = deliberate_tests(found)
    assert test.predicted[PIVOT].agrees
    assert test.log_evidence[THERMAL] < -5
    assert f"contradicts {THERMAL}" in test.why


def test_a_speed_without_direction_is_weaker_evidence_than_one_with_it(folder):
    rows = lit_rows(HiddenRotor(species="air"))
    unsigned, signed = (
        deliberate_tests(folder([*rows, f"1.0,3,{speed},0.5,off,-20,,,"]))[0] for speed in ("12", "-12")
    )
    assert not unsigned.seen.signed
    assert unsigned.predicted[THERMAL].agrees
    for name in signed.log_evidence:
        less, more = (test.log_evidence[THERMAL] - test.log_evidence[name] for test in (unsigned, signed))
        assert less <= more + 0.01
    assert "its direction not noted" in unsigned.why


def test_tests_do_not_make_compatible_what_the_curve_contradicts(folder):
    """Its direction not noted, the reading in the cold agrees with unequal accommodation, whose curve does not fit."""
    found = folder([*lit_rows(HiddenRotor(species="air")), "1.0,3,12,0.5,off,-20,,,bulb chilled"])
    unequal, verdicts = NAMES["unequal_accommodation"], {}
    for behind in (0.0, 51.8):
        curve = {THERMAL: 0.0, unequal: -behind}
        claims = [
            claim.model_copy(update={"verdict": "cannot tell", "log_evidence": curve.get(claim.name)})
            for claim in find(found).mechanisms
        ]
        judged = judge_with_tests(claims, found)
        assert judged.weights.ruled_out and unequal not in judged.weights.ruled_out
        verdicts[behind] = {claim.name: claim.verdict for claim in judged.claims}[unequal]
    assert verdicts == {0.0: "compatible", 51.8: "cannot tell"}


def test_a_lamp_at_half_power_lowers_the_speed_and_keeps_its_direction(folder):
    rotor = HiddenRotor(species="air")
    half = RPM * float(rotor.steady_speed(BenchConditions(1.0, 0.5, ROOM)))
    found = folder([*lit_rows(rotor), f"1.0,3,{half:.4g},0.5,50 %,22,bright,,"])
    (test,) = deliberate_tests(found)
    assert test.kind == "lamp dimmer"
    assert test.predicted[THERMAL].agrees
    assert test.log_evidence[PIVOT] < -5


def test_a_run_through_standstill_is_judged_as_one_test(folder):
    rotor = HiddenRotor(species="air", dry_n_m=1e-12, breakaway_n_m=1e-12, bright_emissivity=0.3)
    time = np.linspace(0, 300, 31)
    speed = RPM * chilled_speeds(rotor, 0.5, time)
    assert speed.min() < -1
    lines = ["time [s],speed [rpm],speed uncertainty [rpm],envelope temperature [degC],lamp"]
    for t, w in zip(time, speed, strict=True):
        lines.append(f"{t:g},{w:+.4g},0.2,{np.interp(t, [20, 60], [22, -20]):.4g},off")
    bench = {"rotor": {"bright_emissivity": "0.3", "pivot_dry_torque": "1e-12 +/- 50 % N m"}}
    found = folder([*lit_rows(rotor), "0.5,3,,,off,,,runs/1.csv,"], {"1.csv": "\n".join(lines) + "\n"}, **bench)
    (test,) = deliberate_tests(found)
    assert test.kind == "run: chilled envelope in the dark"
    assert test.condition == "envelope 22 to -20 °C"
    assert test.predicted[THERMAL].sign == -1
    assert 20 < test.predicted[THERMAL].within_s < 200
    assert test.log_evidence[THERMAL] > -2
    assert test.log_evidence[PIVOT] < -5
    assert "the dark face led" in test.why
    cold = sentences_of((), None, tests=(test,), usual_face="bright").in_the_cold
    assert "it was observed to reverse: the dark face led at up to" in cold


def test_a_rotor_that_turns_alike_without_its_lamp_is_explained_by_no_light(folder):
    """Speeds of a law that is of no mechanism: a hump over pressure, the same with the lamp on, dimmed and off."""

    def hump(pressure):
        return 40 / np.cosh(np.log(pressure / 2.0) / 1.5)

    rows = [f"{p:.4g},3,{hump(p):.4g},{0.2 + 0.01 * hump(p):.3g},on,22,bright,," for p in PRESSURES]
    rows += [f"{p},3,{hump(p):.4g},0.5,{lamp},22,bright,," for p, lamp in ((2.0, "off"), (0.4, "50 %"), (8.0, "off"))]
    found = find(folder(rows))
    claims = {claim.name: claim for claim in found.mechanisms}
    assert {claim.verdict for claim in claims.values()} <= {"ruled out", "contributes", "cannot tell"}
    assert claims[THERMAL].verdict == "ruled out"
    assert "so it is ruled out as the main drive. By the curve alone, it may turn" in claims[THERMAL].why
    assert "By the curve alone" not in claims[PIVOT].why
    assert claims[PIVOT].verdict == "contributes"
    assert claims[PIVOT].size_ratio == pytest.approx(1.0, abs=0.1)
    assert (
        claims[DRAUGHT].verdict == "cannot tell"
    )  # the tests allow it, and the curve is not that of a constant torque


def test_without_a_test_there_is_no_sentence(folder):
    found = folder(lit_rows(HiddenRotor(species="air")))
    assert deliberate_tests(found) == ()
    assert judge_tests(()).why == ""


# Outcomes of laws written by hand (support.outside_laws), with the lamp, the envelope and the gas changed


@pytest.fixture
def tested(tmp_path):
    """Study the sweep of a law and a test at its fastest reading: ``tested(law, lamp, envelope, gas, times)``, with the
    speed in the test over that reading's.
    """

    def make(law, lamp="on", envelope=22, gas="", times=0.0):
        folder = tmp_path / f"{law} {lamp} {envelope} {gas} {times}"
        rotor, pressures = outside_laws.write(folder, law, np.random.default_rng([3, 5]))
        file = folder / "readings.csv"
        title, *rows = file.read_text().splitlines()
        speed = outside_laws.LAWS[law].speed(rotor, pressures)
        k = int(np.argmax(np.abs(speed)))
        shown = f"{times * speed[k]:+.4g},{0.02 * abs(times * speed[k]) + 0.01:.3g}" if times else "0,0.01"
        rows = [f"{row},22," for row in rows] + [f"{pressures[k]:.5g},1,{shown},{lamp},{envelope},{gas}"]
        file.write_text("\n".join([f"{title},envelope temperature [degC],gas", *rows]) + "\n")
        return find(read_experiment(folder))

    return make


LIT_ONLY = {THERMAL, NAMES["unequal_accommodation"], NAMES["light_pressure"], NAMES["infrared_recoil"]}


@pytest.mark.parametrize("law", ["thermal force", "reversed"])
def test_each_outcome_rules_out_what_it_contradicts_whichever_face_leads(tested, law):
    """By physics alone: without light no drive by light stays, a constant torque stays as it is in any test, and in the
    cold the thermal force turns back only a rotor whose bright face leads.
    """
    gone = set(tested(law, "off").test_weights.ruled_out)
    assert gone == {DRAUGHT, PIVOT}
    stays = set(tested(law, "0.5", times=1.0).test_weights.ruled_out)
    assert stays == LIT_ONLY
    back = set(tested(law, "off", -20, times=-0.3).test_weights.ruled_out)
    assert {DRAUGHT, PIVOT, NAMES["light_pressure"], NAMES["unequal_accommodation"]} <= back
    assert (THERMAL in back) == (law == "reversed")
    assert (THERMAL in tested(law, "off", 60, times=0.3).test_weights.ruled_out) == (law == "reversed")
    assert {DRAUGHT, PIVOT} <= set(tested(law, "off", 60, times=0.1).test_weights.ruled_out)


def test_a_torque_beside_the_main_drive_does_not_rule_it_out(tested):
    """In the dark the rotor keeps a third of its speed: what a third of the torque from outside would do."""
    found = tested("thermal force", "off", times=0.33)
    claims = {claim.name: claim for claim in found.mechanisms}
    assert THERMAL not in found.test_weights.ruled_out
    assert claims[THERMAL].verdict != "ruled out" and claims[PIVOT].verdict == "contributes"
    assert "so it is not the main drive" in claims[PIVOT].why and found.tensions == ()
    mostly = tested("thermal force", "off", times=0.8)
    assert THERMAL in mostly.test_weights.ruled_out and PIVOT not in mostly.test_weights.ruled_out


def test_tests_that_rule_out_all_that_explains_the_curve_are_a_contradiction(tested):
    """The lamp at half changes nothing: no drive by light does that, and the curve is compatible with one of them."""
    found = tested("thermal force", "0.5", times=1.0)
    weights = found.test_weights
    assert set(weights.ruled_out) == LIT_ONLY
    verdicts = {THERMAL: "compatible", NAMES["unequal_accommodation"]: "ruled out", DRAUGHT: "ruled out"}
    curve = [Claim(name=name, verdict=verdict, why="It is so.") for name, verdict in verdicts.items()]
    (tension,) = [one for one in tensions_of_tests(curve, weights) if one.about.startswith(THERMAL)]
    assert "calls thermal force of the gas compatible, and the tests made on purpose rule it out" in tension.why
    left = [*curve, Claim(name=PIVOT, verdict="contributes", size_ratio=0.9, why="It is so.")]
    assert not [one for one in tensions_of_tests(left, weights) if one.about.startswith(THERMAL)]


def test_standing_still_in_the_cold_is_no_contradiction(tested):
    """Light pressure foretells it to the digit, and the thermal force allows it as well."""
    found = tested("thermal force", "off", -20)
    assert found.tests[0].predicted[THERMAL].agrees
    assert THERMAL in found.tests[0].why.split("this contradicts")[0]
    assert found.tensions == ()


def test_another_gas_that_accommodates_otherwise_does_not_contradict_the_thermal_force(tested):
    """Helium on metal accommodates half as well as nitrogen, so its force and its heat are not foretold exactly."""
    for times in (1.0, 2.0, 3.0):
        assert tested("thermal force", gas="He", times=times).tests[0].predicted[NAMES["unequal_accommodation"]].agrees
    assert tested("thermal force", gas="He", times=-1.0).tests[0].why.endswith("which no mechanism predicts.")


# The next test


def test_the_chilled_envelope_is_proposed_with_the_meaning_of_each_outcome_and_cautions(folder):
    proposed = propose_tests(folder(lit_rows(HiddenRotor(species="air"))))
    kinds = [one.kind for one in proposed]
    assert "chilled envelope in the dark" in kinds
    assert [one.gain_per_hour for one in proposed] == sorted((one.gain_per_hour for one in proposed), reverse=True)
    cold = proposed[kinds.index("chilled envelope in the dark")]
    assert cold.outcomes[THERMAL].startswith("dark face leads")
    assert cold.outcomes[PIVOT].startswith("bright face leads")
    assert cold.outcomes[NAMES["light_pressure"]] == "stands still, or nearly"
    assert "chill the envelope to about -18 °C" in cold.how
    assert set(cold.cautions) == {"cold", "refrigerant", "glass"} <= set(HAZARDS)


def test_tests_already_made_and_uninformative_tests_are_not_proposed(folder):
    rows = lit_rows(HiddenRotor(species="air"))
    made = propose_tests(folder([*rows, "1.0,3,-12,0.5,off,-20,,,"]))
    assert "chilled envelope in the dark" not in [one.kind for one in made]
    assert propose_tests(folder(rows), open_mechanisms=[THERMAL]) == ()
    same = propose_tests(folder(rows), open_mechanisms=[DRAUGHT, PIVOT])
    assert same == ()  # both are constant: no change of light or temperature distinguishes them


def test_next_ranks_tests_that_distinguish_undecided_mechanisms(folder):
    experiment = folder([*lit_rows(HiddenRotor(species="air")), "1.0,3,-12,0.5,off,-20,,,"])
    ruled_out = {claim.name for claim in find(experiment).mechanisms if claim.verdict == "ruled out"}
    assert PIVOT in ruled_out
    (plan,) = plan_next(experiment.folder)
    for test in plan.tests:
        assert not ruled_out & set(test.outcomes)
    assert any(PIVOT in test.outcomes for test in propose_tests(experiment))


# Rotors that one known cause turns (twenty of them in the benchmarks)


@pytest.mark.parametrize("cause", CAUSES)
def test_the_true_cause_is_never_ruled_out_and_different_ones_are(cause, tmp_path):
    found = invented_tests(tmp_path / "rotor", cause, seed=31)
    assert found.truth not in found.weights.ruled_out
    assert found.contradicted
    assert set(found.contradicted) - {found.truth} == set(found.weights.ruled_out)
    assert [test.kind for test in found.tests] == ["lamp dimmer", "lamp off", "chilled envelope in the dark"]


def test_vanes_dark_on_both_sides_stand_still_unless_a_constant_torque_turns_them(folder, tmp_path):
    """Equal faces give gas and light no difference to act on; a draught does not depend on the faces."""
    rows = lit_rows(HiddenRotor(species="air"))
    folder(rows)
    text = (tmp_path / "readings.csv").read_text().replace("leading face,trace,note", "leading face,trace,note,changed")
    changed = "1.0,3,0,0.3,on,22,,,,dark faces both sides\n1.1,3,40,0.3,on,22,bright,,,new pivot\n"
    (tmp_path / "readings.csv").write_text(text + changed)
    found = find(read_experiment(tmp_path))
    (test,) = found.tests
    assert test.kind == "dark faces on both sides" and test.lines == (13,)
    for name, stated in test.predicted.items():
        assert stated.agrees == (name not in (DRAUGHT, PIVOT)), name
    assert test.log_evidence[DRAUGHT] < -3
    assert "shown but not used" in found.other_use(14) and "'new pivot'" in found.other_use(14)
    assert found.other_use(2) == ""
