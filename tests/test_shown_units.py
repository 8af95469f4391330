"""Units are chosen once, in [units] of bench.toml, and hold in sentences, figures and the report."""

from __future__ import annotations

import re

import numpy as np
import pytest
from typer.testing import CliRunner

from edgewind.bench import parse_bench
from edgewind.cli import app
from edgewind.cli.record import _line, _loud
from edgewind.errors import InputError
from edgewind.live.events import Status, SweepEvent
from edgewind.notebook import predict
from edgewind.report.figures.canvas import our_style, svg_of
from edgewind.report.figures.curve import CURVE
from edgewind.report.figures.file import FILM
from edgewind.report.figures.shown import show_in
from edgewind.report.palette import LIGHT
from edgewind.shown_units import ShownUnits
from edgewind.signals.synthetic import PulseTrain, synthesise
from edgewind.study import run_study
from edgewind.template import template_text, write_template

MTORR, SLOW = ShownUnits(pressure="mTorr"), ShownUnits(speed="rad/s")


@pytest.mark.parametrize(
    ("units", "made", "shown"),
    [
        (MTORR, "between 0.018 Pa, 1.1 Pa and 19 Pa", "between 0.14 mTorr, 8.3 mTorr and 140 mTorr"),
        (MTORR, "2.9 \u00d7 10\u207b\u00b3 to 0.01 Pa", "0.022 to 0.075 mTorr"),
        (MTORR, "at 3.38 Pa (25.3 mTorr), Kn 0.16", "at 25.3 mTorr, Kn 0.16"),
        (
            MTORR,
            "\u22121.5 Pa; 7 Pa m\u00b3/s; 0.0001 Pa m/s; 5 Pa\u00b7s; 3 Pascal",
            "\u221211 mTorr; 7 Pa m\u00b3/s; 0.0001 Pa m/s; 5 Pa\u00b7s; 3 Pascal",
        ),
        (MTORR, "0.0001 Pa", "7.5 \u00d7 10\u207b\u2074 mTorr"),
        (
            SLOW,
            "(\u221291.5 to 0 rpm), by 0.19 \u00b1 0.02 rpm",
            "(\u22129.58 to 0 rad/s), by 0.02 \u00b1 0.0021 rad/s",
        ),
        (SLOW, "119.9994(8) rpm; 1.20(3) \u00d7 10\u00b2 rpm", "12.56631(8) rad/s; 12.6(3) rad/s"),
        (MTORR, "a rise of 0.02 Pa/s, 7.5e-4 Pa", "a rise of 0.15 mTorr/s, 0.0056 mTorr"),
        (ShownUnits(), "3.38 Pa (25.3 mTorr) at 44 rpm", "3.38 Pa (25.3 mTorr) at 44 rpm"),
    ],
)
def test_numbers_of_a_sentence_change_with_their_unit_and_nothing_else(units, made, shown):
    assert units.text(made) == shown


def test_titles_are_written_in_the_chosen_unit():
    assert MTORR.label("pressure (Pa)") == "pressure (mTorr)"
    assert MTORR.label("pressure / Pa") == "pressure / mTorr"
    assert MTORR.label("speed (rpm)") == "speed (rpm)"


def test_a_unit_of_another_quantity_is_refused_with_its_key():
    text = template_text() + '\n[units]\npressure = "mm"\n'
    with pytest.raises(InputError, match=r"key units\.pressure: 'mm' is not a unit of pressure"):
        parse_bench(text)


def test_report_and_figures_are_in_the_units_of_the_bench(tmp_path):
    bench = write_template(tmp_path / "bench")[0]
    with bench.open("a", encoding="utf-8") as stream:
        stream.write('\n[units]\npressure = "mTorr"\nspeed = "rad/s"\n')
    study = run_study(tmp_path / "bench", tmp_path / "out")
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    words = re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<(svg|style)\b.*?</\1>", " ", page))
    assert not re.search(r"\d Pa\b(?! [ms])", words) and " rpm" not in words
    assert re.search(r"fastest at [\d.]+ mTorr, with a 90 % interval of [\d.]+ to [\d.]+ mTorr, at [\d.]+ rad/s", words)
    assert "pressure / mTorr" in words and "speed / rad/s" in words
    found = study.findings[0]
    size = CURVE.sizes["film"]
    with our_style(LIGHT, size):
        drawn = svg_of(show_in(CURVE.draw(found, LIGHT, size), found.experiment.bench.shown))
    said = re.findall(r"<text[^>]*>([^<]*)<", drawn)
    low, high = (end / 0.133322 for end in found.optimum.interval_pa)
    ends = [re.search(r"mTorr \(([\d.]+) to ([\d.]+)\)", text) for text in said]
    assert [pytest.approx((low, high), rel=5e-3)] == [tuple(map(float, end.groups())) for end in ends if end]
    assert "speed (rad/s)" in said and "4" in said and "40" not in said


def test_a_prediction_is_drawn_with_its_readings_and_round_numbers_in_the_units_of_the_bench(chosen):
    found = predict(chosen)
    assert found.readings is not None
    figure = found.figure()
    with our_style(LIGHT, FILM):
        said = re.findall(r"<text[^>]*>([^<]*)<", svg_of(figure))
    above = figure.axes[0]
    assert all(one.get_text() == "" for one in above.xaxis.get_ticklabels(minor=True))
    assert {"1", "10", "100"} <= set(said) and not any("mathdefault" in text for text in said)
    points = above.containers[0].lines[0].get_xydata()
    assert points.shape == (found.readings["used"].sum(), 2)
    assert points[:, 1].max() == pytest.approx(60 / (2 * np.pi) * found.readings["speed_rad_s"].max(), rel=0.02)


def test_a_recorder_prints_in_rpm_or_in_the_units_of_the_bench_and_a_note_as_it_was_typed():
    stored = SweepEvent(1, "", "stored", "reading 3", {"pressure_pa": 2.0, "speed_rad_s": 10.0})
    assert _loud(stored, ShownUnits()) == "stored reading 3; 2 Pa, 95.49 rpm"
    assert _loud(stored, ShownUnits("mTorr", "rad/s")) == "stored reading 3; 15 mTorr, 10 rad/s"
    assert _loud(SweepEvent(2, "", "note", "a breath of 2 Pa", {}), MTORR) == "note: a breath of 2 Pa"
    status = Status(phase="settling", pressure_pa=2.0, speed_rad_s=10.0, time_left_s=65.0)
    assert _line(status, ShownUnits()) == "settling · 2 Pa · 95.5 rpm · about 1:05 left"


@pytest.fixture(scope="module")
def chosen(tmp_path_factory):
    """A folder whose bench.toml chooses mTorr and rad/s, with a trace."""
    folder = tmp_path_factory.mktemp("units") / "bench"
    with write_template(folder)[0].open("a", encoding="utf-8") as stream:
        stream.write('\n[units]\npressure = "mTorr"\nspeed = "rad/s"\n')
    seen = synthesise(PulseTrain(2.0, marks=4, noise_v=0.02), samples=6000, interval_s=1e-3, seed=1)
    (folder / "traces").mkdir(exist_ok=True)
    np.savez(folder / "traces" / "own.npz", time=seen.time_s, ch1=seen.voltage_v)
    return folder


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("predict", ".", "--pressures", "0.1Pa:10Pa:4", "--no-fit"), "pressure (mTorr)"),
        (("dwell", ".", "--pressures", "1 Pa, 3 Pa", "--no-fit"), "pressure (mTorr)"),
        (("next", "."), "pressure (mTorr)"),
        (("trace", "traces/own.npz", "--marks", "4"), "12.566"),
    ],
    ids=lambda words: words[0] if isinstance(words, tuple) else "",
)
def test_commands_print_and_draw_in_the_units_of_the_bench(words, found, chosen, tmp_path, monkeypatch):
    monkeypatch.chdir(chosen)
    said = CliRunner().invoke(app, [*words, "--plot", str(tmp_path / "drawn.svg")], catch_exceptions=False).stdout
    drawn = re.findall(r"<text[^>]*>([^<]*)<", (tmp_path / "drawn.svg").read_text(encoding="utf-8"))
    assert any(found in text for text in (*drawn, said))
    for text in (*drawn, said):
        assert not re.search(r"\b(Pa|rpm)\b(?! [ms])", text), text
    assert "rad/s" in said or "mTorr" in said
