"""A bench described by questions and answers: every field of the form, and the comments of the template."""

from __future__ import annotations

import pytest

from edgewind.bench import parse_bench, read_bench
from edgewind.bench.form import FIELDS, GROUPS, read_fields
from edgewind.bench.questions import describe_bench
from edgewind.shown_units import ShownUnits
from edgewind.signals import read_experiment
from edgewind.template import template_text

# Answers by the beginning of the question; the last one is repeated.
ANSWERS = {
    "Title": ['A rotor "of ours"'],
    "Vanes": ["two", "2"],
    "Width": ["10", "10 kg", "10 mm"],
    "  known": ["1 %", "0.2 mm", "3 mm", ""],
    "Height": ["10.0 +/- 0.1 mm"],
    "Arm": ["", "18 mm"],
    "Leading face": ["grey", "bright"],
    "The dark face": ["12", "1"],
    "The bright face": [""],
    "Bright face, absorptance": ["0.2"],
    "Irradiance": ["900 +/- 90 W/m^2"],
    "Chamber, clear": ["20 mm", "120 mm"],
    "Chamber, height": ["120 mm"],
    "Gas temperature": ["21 +/- 1 degC"],
    "Gauge": ["2"],
    "Unit of pressures": ["metre", "Pa"],
    "Unit of speeds": ["rad/s"],
}


@pytest.fixture
def answered():
    """Return an ``ask`` that gives the answers above, with the questions and messages."""
    left = {start: list(answers) for start, answers in ANSWERS.items()}
    asked, said = [], []

    def ask(question):
        asked.append(question)
        for start, answers in left.items():
            if question.startswith(start):
                return answers.pop(0) if len(answers) > 1 else answers[0]
        return ""

    return ask, asked, said


def test_answers_make_a_bench_and_unanswered_keys_stay_comments(answered):
    ask, asked, said = answered
    text = describe_bench(template_text(), ask, said.append)
    bench, fields = parse_bench(text), read_fields(text)
    assert bench.experiment.title == 'A rotor "of ours"'
    assert (bench.rotor.vanes, bench.rotor.leading_face, bench.gauge.principle) == (2, "bright", "diaphragm")
    assert fields["rotor.vane_width"] == "10 +/- 1 % mm" and fields["rotor.vane_height"] == "10.0 +/- 0.1 mm"
    assert bench.rotor.arm.u == pytest.approx(0.2e-3)
    assert fields["rotor.dark_emissivity"] == "0.95 +/- 0.03"  # of soot, with its source shown
    assert any("from memory" in line for line in said)
    assert bench.rotor.vane_conductance is None and "# vane_conductance" in text
    assert text.count("#") >= template_text().count("#") - 5
    assert {key for key in FIELDS if not FIELDS[key].optional} <= set(fields)
    for group in GROUPS:
        assert f"\n{group}" in said
    assert len(asked) < 50


def test_a_gas_factor_that_is_needed_is_asked_for_and_no_answer_is_lost(answered):
    ask, asked, said = answered
    special = {"Gas (": "H2", "Gas [": "H2", "Gauge [": "1", "Gas factor": "1.6 +/- 0.1"}

    def in_hydrogen(question):
        answer = ask(question)
        return next((text for start, text in special.items() if question.startswith(start)), answer)

    bench = parse_bench(describe_bench(template_text(), in_hydrogen, said.append))
    assert bench.gas.gas.name == "H2" and bench.gauge.gas_factor.value == 1.6
    assert any("reads differently in H2" in line for line in said)
    assert sum(question.startswith("Gas factor") for question in asked) == 1


def test_an_invalid_answer_is_explained_and_asked_again(answered):
    ask, asked, said = answered
    describe_bench(template_text(), ask, said.append)
    shown = "\n".join(said)
    assert "'10' has no unit" in shown and "'kg' is not a unit of length" in shown
    assert "'two' is not a whole number" in shown and "'grey' is not one of" in shown
    assert "This is needed" in shown and "Type a number from 1 to" in shown
    assert "the chamber is 20 mm wide" in shown  # seen where the chamber is described, or at the end
    assert len([question for question in asked if question.startswith("Chamber, clear")]) == 2


def test_the_command_writes_an_experiment_folder(answered, tmp_path, monkeypatch, edgewind):
    monkeypatch.setattr("builtins.input", answered[0])
    done = edgewind("new", "mine", "--ask", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert read_bench(tmp_path / "mine" / "bench.toml").rotor.vanes == 2
    assert "What decides the answer\n  Heat through the vane, face to face (unknown: " in done.stdout
    readings = tmp_path / "mine" / "readings.csv"
    assert read_bench(tmp_path / "mine" / "bench.toml").shown == ShownUnits("Pa", "rad/s")
    assert readings.read_text().startswith("time,pressure [Pa],pressure uncertainty [%],trace,speed [rad/s]")
    with readings.open("a") as stream:
        stream.write(",1.0,2,,3.5,0.1,bright,on,,,,,,\n")
    assert read_experiment(tmp_path / "mine").readings["used"].all()


@pytest.mark.parametrize("end", [KeyboardInterrupt, EOFError])
def test_cancelled_questions_write_nothing(end, tmp_path, monkeypatch, edgewind):
    def ask(question):
        if question.startswith("Irradiance"):
            raise end
        return ANSWERS.get(next((start for start in ANSWERS if question.startswith(start)), ""), [""])[-1]

    monkeypatch.setattr("builtins.input", ask)
    done = edgewind("new", "mine", "--ask", cwd=tmp_path)
    assert done.returncode == (130 if end is KeyboardInterrupt else 2)
    assert list(tmp_path.iterdir()) == []
