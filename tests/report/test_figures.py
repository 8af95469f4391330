"""Figures come out in every form, readable and distinct."""

import dataclasses
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from matplotlib.text import Text
from PIL import Image

from edgewind.errors import InputError
from edgewind.evidence import Findings
from edgewind.evidence.optimum import REASONS
from edgewind.formatting import RPM_PER_RAD_S
from edgewind.report import plot_trace
from edgewind.report.figures import JOINT_FIGURES
from edgewind.report.figures.canvas import our_style, png_of, svg_of
from edgewind.report.figures.curve import CURVE, caption_curve
from edgewind.report.figures.ruler import labelled_ticks
from edgewind.report.figures.sweeps import sweep_marks
from edgewind.report.figures.why import WHY
from edgewind.report.inline_svg import inline_svg
from edgewind.report.palette import DARK, LIGHT, PLACEHOLDERS, Palette
from edgewind.report.physics import pressure_ends
from edgewind.report.sparkline import envelope_path, middle_turns
from edgewind.signals import Trace, estimate_speed
from edgewind.signals.synthetic import PulseTrain, synthesise


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_text_reaches_contrast_aa(palette: Palette) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text; series colours serve as text of links and flags too."""
    for colour in (palette.ink, palette.soft, palette.gold_ink, *palette.series):
        assert contrast(colour, palette.paper) >= 4.5


def test_pngs_are_1920_wide_in_light_and_dark(two_rotors: Path) -> None:
    pngs = sorted((two_rotors / "figures").glob("*.png"))
    assert len(pngs) == 20
    assert {path.stem for path in pngs} >= {"scaling-fitted-light", "scaling-fitted-dark", "why-fitted-light"}
    for path in pngs:
        with Image.open(path) as image:
            assert image.size == (1920, 1080)
            corner = image.convert("RGB").getpixel((2, 2))
            assert "Software" not in image.info
        expected = LIGHT.paper if path.stem.endswith("-light") else DARK.paper
        assert "#{:02x}{:02x}{:02x}".format(*corner) == expected


def test_a_recoloured_drawing_equals_one_drawn_in_those_colours(fitted: Findings, narrow: Findings) -> None:
    """Every pixel, of figures with every kind of mark: one drawing serves both themes."""
    of_two = next(iter(JOINT_FIGURES))
    for drawing, subject in ((CURVE, narrow), (WHY, fitted), (of_two, (narrow, fitted))):
        size, found = drawing.sizes["film"], []
        for colours in (DARK, PLACEHOLDERS):
            with our_style(colours, size):
                figure = drawing.draw(subject, colours, size)
                assert figure is not None
                found.append(png_of(figure, None if colours is DARK else DARK))
        assert found[0] == found[1], drawing.stem


def test_the_report_shows_the_scaling_of_a_fit_with_exponent_and_interval(two_rotors: Path, fitted: Findings) -> None:
    html = (two_rotors / "report.html").read_text(encoding="utf-8")
    assert fitted.explanation is not None
    laws = fitted.explanation.laws
    assert [law.quantity for law in laws] == ["speed", "torque"]
    for law in laws:
        low, high = law.exponent_interval
        law_in_words = f"to the power {law.exponent:.2f} (90 % interval {low:.2f} to {high:.2f})".replace("-", "\u2212")
        assert html.count(law_in_words) >= 2  # in the caption, and for those who cannot see the figure
        assert f"power {law.exponent:.2f}" not in html
    drawn = (two_rotors / "figures" / "scaling-fitted.svg").read_text(encoding="utf-8")
    assert "width of the vane (mm)" in drawn and ">fixed Knudsen number: power \u22121<" in drawn
    for law in laws:
        assert f"power {law.exponent:.2f} (".replace("-", "\u2212") in drawn


def test_svgs_are_xml_with_text_and_real_colours(two_rotors: Path) -> None:
    for path in (two_rotors / "figures").glob("*.svg"):
        text = path.read_text(encoding="utf-8")
        ElementTree.fromstring(text)
        assert LIGHT.ink in text and "var(" not in text and PLACEHOLDERS.ink not in text
        assert "<text" in text and "dc:date" not in text


def test_inline_figures_use_the_colours_of_the_page(two_rotors: Path) -> None:
    html = (two_rotors / "report.html").read_text(encoding="utf-8")
    body = html.split("</style>")[1]
    assert "var(--ink)" in body and PLACEHOLDERS.ink[:5] not in html and "xlink:" not in html
    assert not re.search(r"(?:fill|stroke): #[0-9a-f]{6}", body.replace("#000000", ""))


def test_inline_figures_share_no_ids() -> None:
    document = '<svg viewBox="0 0 1 1"><g id="a"><path id="p"/></g><use xlink:href="#p"/></svg>'
    one, two = (inline_svg(document, prefix=prefix, label='x"y', css_class="c") for prefix in ("one-", "two-"))
    assert 'id="one-p"' in one and 'href="#one-p"' in one and 'id="two-p"' in two
    assert 'id="a"' not in one and "x&#34;y" in one


def test_sweeps_differ_by_shape_and_by_colour(narrow: Findings) -> None:
    up, down = (sweep_marks(narrow.experiment.readings, LIGHT)[label] for label in ("up", "down"))
    assert (up.marker, down.marker) == ("^", "v")
    assert up.colour != down.colour


@pytest.mark.parametrize(("low", "high"), [(1e-5, 1e3), (0.8, 1.3), (0.02, 30), (2.1, 2.6), (1.0, 1.05)])
def test_an_axis_always_has_labels_inside_its_range(low: float, high: float) -> None:
    ticks = labelled_ticks(low, high)
    assert ticks.size >= 1
    assert np.all((ticks >= low * 0.999999) & (ticks <= high * 1.000001))


def test_envelope_keeps_the_extremes_of_a_long_trace() -> None:
    voltage = np.zeros(100_000)
    voltage[31_415], voltage[62_830] = 5.0, -5.0
    path = envelope_path(voltage)
    heights = [int(point.split(",")[1]) for point in path.strip("MZ").split()]
    assert len(heights) == 150
    assert min(heights) == 0 and max(heights) == 120


def test_envelope_of_nothing_is_empty() -> None:
    assert envelope_path(np.array([])) == ""
    assert envelope_path(np.array([np.nan, 1.0])) == ""


def test_a_thumbnail_shows_the_three_middle_turns() -> None:
    voltage = np.arange(10_000.0)
    part = middle_turns(voltage, 1e-3, 2 * np.pi)
    assert part.size == 3000 and part[0] == 3500
    assert middle_turns(voltage, 1e-3, float("nan")).size == 0


def test_plot_trace_writes_png_and_svg(tmp_path: Path) -> None:
    trace = synthesise(PulseTrain(3.0, noise_v=0.05), samples=4000, interval_s=1e-3, seed=1)
    speed = estimate_speed(trace, 4)
    plot_trace(trace, speed, tmp_path / "t.png")
    plot_trace(trace, speed, tmp_path / "t.svg")
    with Image.open(tmp_path / "t.png") as image:
        assert image.size == (1920, 1080)
    assert "rpm" in (tmp_path / "t.svg").read_text(encoding="utf-8")


def test_a_figure_whose_name_ends_in_dark_is_drawn_on_dark_ground(tmp_path: Path) -> None:
    trace = synthesise(PulseTrain(5.0), samples=2000, interval_s=1e-3, seed=1)
    speed = estimate_speed(trace, 4)
    for name in ("t.svg", "t-dark.svg"):
        plot_trace(trace, speed, tmp_path / name)
    light, dark = ((tmp_path / name).read_text() for name in ("t.svg", "t-dark.svg"))
    assert LIGHT.paper in light and DARK.paper not in light
    assert DARK.paper in dark and not any(colour in dark for colour in (LIGHT.paper, LIGHT.ink, LIGHT.blue))


def test_plot_trace_draws_a_trace_without_a_speed(tmp_path: Path) -> None:
    trace = Trace(np.ones(100), 1e-3)
    plot_trace(trace, estimate_speed(trace, 4), tmp_path / "t.svg")
    assert "no-signal" in (tmp_path / "t.svg").read_text(encoding="utf-8")


def test_plot_trace_refuses_other_file_endings(tmp_path: Path) -> None:
    trace = Trace(np.ones(100), 1e-3)
    with pytest.raises(InputError, match=r"\.png or \.svg"):
        plot_trace(trace, estimate_speed(trace, 4), tmp_path / "t.jpg")
    with pytest.raises(InputError, match="its folder does not exist"):
        plot_trace(trace, estimate_speed(trace, 4), tmp_path / "no" / "t.png")
    (tmp_path / "folder.png").mkdir()
    with pytest.raises(InputError, match="cannot be written"):
        plot_trace(trace, estimate_speed(trace, 4), tmp_path / "folder.png")


@pytest.mark.parametrize(("column", "factor"), [("pressure_pa", 1000.0), ("speed_rad_s", 100.0)])
def test_a_mistyped_reading_that_is_excluded_does_not_stretch_the_axes(
    narrow: Findings, column: str, factor: float
) -> None:
    experiment = narrow.experiment
    readings = experiment.readings.copy()
    place = readings.index[readings["used"]][0]
    readings.loc[place, "used"] = False
    ends = pressure_ends(readings)
    near = dataclasses.replace(narrow, experiment=dataclasses.replace(experiment, readings=readings))
    assert "far from those used" not in caption_curve(near)
    mistyped = readings.copy()
    mistyped.loc[place, column] *= factor
    far = dataclasses.replace(narrow, experiment=dataclasses.replace(experiment, readings=mistyped))
    assert f"set aside and far from those used: 1 of {len(readings)} readings" in caption_curve(far)
    assert pressure_ends(mistyped) == pytest.approx(ends, rel=0.2)
    size = CURVE.sizes["page"]
    with our_style(LIGHT, size):
        figures = [CURVE.draw(findings, LIGHT, size) for findings in (near, far)]
    tops = [figure.axes[0].get_ylim()[1] for figure in figures if figure is not None]
    assert tops[1] == pytest.approx(tops[0], rel=0.2)


@pytest.mark.parametrize("reason", REASONS)
def test_why_no_optimum_is_claimed_takes_four_lines_at_most_on_a_phone(rising: Findings, reason: str) -> None:
    size = CURVE.sizes["narrow"]
    assert size.narrow
    with our_style(LIGHT, size):
        refused = dataclasses.replace(rising, optimum=rising.optimum.model_copy(update={"reason": reason}))
        figure = CURVE.draw(refused, LIGHT, size)
        assert figure is not None
        (note,) = (one for one in figure.findobj(Text) if one.get_text().startswith("No optimum is claimed"))
    assert len(note.get_text().splitlines()) <= 4, note.get_text()


def test_any_labels_of_sweeps_can_be_drawn(narrow: Findings) -> None:
    experiment = narrow.experiment
    readings = experiment.readings.assign(
        sweep=[f"\x01<&{'long ' * 20}{number % 8}" for number in range(len(experiment.readings))]
    )
    findings = dataclasses.replace(narrow, experiment=dataclasses.replace(experiment, readings=readings))
    for use, size in CURVE.sizes.items():
        with our_style(LIGHT, size):
            figure = CURVE.draw(findings, LIGHT, size)
            assert figure is not None
            ElementTree.fromstring(svg_of(figure))
            legend = figure.legends[0].get_window_extent()
        assert legend.x1 <= figure.bbox.x1, use


def test_negative_speeds_are_drawn(wide: Findings) -> None:
    experiment, curve = wide.experiment, wide.optimum.curve
    assert curve is not None
    turned = dataclasses.replace(
        wide,
        experiment=dataclasses.replace(
            experiment, readings=experiment.readings.assign(speed_rad_s=-experiment.readings["speed_rad_s"])
        ),
        optimum=wide.optimum.model_copy(
            update={"curve": dataclasses.replace(curve, mean=-curve.mean, draws=-curve.draws)}
        ),
    )
    size = CURVE.sizes["page"]
    with our_style(LIGHT, size):
        figure = CURVE.draw(turned, LIGHT, size)
    assert figure is not None
    low, high = figure.axes[0].get_ylim()
    speeds = RPM_PER_RAD_S * turned.experiment.readings["speed_rad_s"]
    assert low < speeds.min() and speeds.max() < high
