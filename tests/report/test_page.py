"""The page is complete, self-contained, and shows text of users unchanged."""

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from edgewind.evidence import Findings, compare_sizes
from edgewind.evidence.sentences import sentences_of
from edgewind.report.figures import JOINT_FIGURES
from edgewind.report.illustrate import illustrate
from edgewind.report.limits import limits_of
from edgewind.report.rotor import view_rotor
from edgewind.report.rows import reading_rows
from edgewind.report.words import CAUTIONS, FLAGS
from edgewind.signals import SET_ASIDE_FLAGS
from edgewind.signals.speed_estimate import FLAGS as SPEED_FLAGS

Report = Callable[..., Path]
VOID = {"meta", "br", "link", "img", "input", "hr", "path", "use"}


class Page(HTMLParser):
    """Elements of a page."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""
        self.unbalanced: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.unbalanced.append(tag)

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.text += data

    @property
    def words(self) -> str:
        return re.sub(r"\s+", " ", self.text)


def test_other_widths_are_withheld_where_tests_rule_out_the_drives_of_the_fit(write: Report, fitted: Findings) -> None:
    """The claims are set by hand, since the tests of the example agree with its fit."""
    explanation = fitted.explanation
    assert explanation is not None and explanation.laws and not explanation.laws_withheld
    seen: Any = (SimpleNamespace(kind="lamp off"),)
    ruled_out = tuple(claim.model_copy(update={"verdict": "ruled out"}) for claim in explanation.claims)
    against = replace(explanation, tests=seen, claims=ruled_out)
    assert not replace(against, tests=()).laws_withheld
    folder = write(replace(fitted, explanation=against))
    html = Page((folder / "report.html").read_text(encoding="utf-8"))
    section = html.words.split("If the vane were wider or narrower")[1].split("Readings")[0]
    assert section.strip().startswith("The tests made on purpose rule out the drives of the fit, so the effect of")
    assert not list((folder / "figures").glob("scaling-*"))


def test_other_widths_are_withheld_where_the_fit_does_not_describe_the_readings(fitted: Findings) -> None:
    """The sentence of the answer and the section of the report follow one rule."""
    explanation = fitted.explanation
    assert explanation is not None and explanation.fit is not None
    misfit = {**explanation.fits, "all": replace(explanation.fit, p_value=1e-4)}
    poor = replace(explanation, fits=misfit)
    assert poor.laws_withheld.startswith("The fit does not describe the readings") and poor.laws == ()
    assert sentences_of(poor.claims, poor.fit).a_larger_one == poor.laws_withheld


@pytest.fixture(scope="module")
def html(two_rotors: Path) -> str:
    return (two_rotors / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


def test_page_is_well_formed(page: Page) -> None:
    assert page.unbalanced == []
    assert page.open == []


def test_page_loads_nothing_from_elsewhere(page: Page, html: str) -> None:
    assert not {"script", "link", "iframe", "object", "embed", "img"} & {tag for tag, _ in page.tags}
    for tag, attributes in page.tags:
        for name in ("src", "srcset", "data", "href", "xlink:href", "action"):
            assert not re.match(r"(https?:)?//|data:|javascript:", attributes.get(name) or ""), (tag, attributes)
        assert not [name for name in attributes if name.startswith("on")]
    assert "@import" not in html
    assert not re.search(r"url\((?!#)", html)


def test_every_link_has_a_target(page: Page, two_rotors: Path) -> None:
    ids = [attributes["id"] for _, attributes in page.tags if attributes.get("id")]
    assert len(ids) == len(set(ids))
    for tag, attributes in page.tags:
        target = attributes.get("href")
        if target is None:
            continue
        if target.startswith("#"):
            assert target[1:] in ids, (tag, target)
        else:
            assert (two_rotors / target).is_file(), target
    assert set(re.findall(r"url\(#([^)]+)\)", str(page.tags))) <= set(ids)


def test_headings_are_in_order(page: Page) -> None:
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels.count(1) == 1 and levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_every_figure_has_a_text_alternative(page: Page) -> None:
    for tag, attributes in page.tags:
        if tag == "svg":
            assert attributes.get("role") == "img" and len(attributes.get("aria-label") or "") > 20
        if tag == "th":
            assert attributes.get("scope") in ("row", "col")
        if "scroll" in (attributes.get("class") or "").split():
            assert attributes.get("tabindex") == "0" and attributes.get("aria-label")
    assert ("html", {"lang": "en"}) in page.tags


def printed(sentence: str) -> str:
    """Return a sentence with minus signs."""
    return re.sub(r"(?<=[ (])-(?=\d)", "\u2212", sentence)


def test_the_answer_comes_first(page: Page, narrow: Findings, fitted: Findings) -> None:
    comparison = compare_sizes(narrow, fitted)
    assert comparison is not None
    first = page.words.index("The rotors together")
    for sentence in (*narrow.answer, *fitted.answer, comparison.sentence):
        assert printed(sentence) in page.words
    assert "exponent of \u22120." in page.words  # a minus sign and not a hyphen
    assert page.words.index(fitted.answer[2]) < page.words.index("readings.csv")
    assert first > 0


def test_every_number_of_every_reading_is_there(page: Page, narrow: Findings, fitted: Findings) -> None:
    for findings in (narrow, fitted):
        for row in reading_rows(findings):
            for text in (row.pressure_pa, row.pressure_other, row.speed, row.knudsen, row.gauge):
                assert text in page.words


def test_conditions_are_columns_if_any_reading_has_them(narrow: Findings, wide: Findings) -> None:
    shown = [[title for title, _ in view_rotor(found, "r", None, None).noted] for found in (narrow, wide)]
    assert "lamp" in shown[0] and "lamp" not in shown[1]
    assert "envelope / °C" not in shown[1]
    assert {row.lamp for row in reading_rows(narrow)} == {"on", "off"}


def test_budget_sweeps_and_mechanisms_are_there(page: Page, narrow: Findings) -> None:
    for line in narrow.budget:
        assert line.name in page.words and f"{100 * line.relative_u:.2g}" in page.words
    assert narrow.optimum.sweeps is not None
    assert printed(narrow.optimum.sweeps.sentence) in page.words
    for claim in narrow.mechanisms:
        assert claim.name in page.words and claim.verdict in page.words and claim.why in page.words


def test_readings_set_aside_are_listed_with_their_reason(page: Page) -> None:
    for reason in ("excluded: door opened", "lamp off", "gauge under-range"):
        assert reason in page.words


def test_inputs_versions_and_command_are_there(page: Page, narrow: Findings, fitted: Findings) -> None:
    for findings in (narrow, fitted):
        for file in findings.experiment.inputs:
            assert file.path in page.words and file.sha256 in page.words and str(file.size) in page.words
    assert "edgewind study bench & --out <out>" in page.words
    assert "my <bench>" in page.words
    assert page.words.index("edgewind0") < page.words.index("numpy2")


def test_cautions_and_limits_are_there(page: Page, narrow: Findings, fitted: Findings) -> None:
    for sentence in (*CAUTIONS, *limits_of([narrow, fitted])):
        assert sentence in page.words


def test_every_flag_has_a_meaning() -> None:
    assert set(SPEED_FLAGS) | {"under-range", "over-range", "coast-down"} == set(FLAGS)


def test_the_meaning_of_a_flag_states_whether_the_reading_is_used() -> None:
    said = {flag for flag, meaning in FLAGS.items() if meaning.endswith("set aside.")}
    assert said == {*SET_ASIDE_FLAGS, "under-range", "over-range"}


def test_text_of_users_is_shown_and_never_executed(html: str, page: Page) -> None:
    assert "<script" not in html and "<b>12</b>" not in html
    assert "<script>alert(1)</script> & \u202eedirrevo\u202c $x^2$ 渦 \U0001f300" in page.text
    assert "Rotor <b>12</b> & co, $\\frac{1}{2}$ \ufffd" in page.text
    assert "\x07" not in html
    assert "narrow & <12>" in page.words


def test_each_trace_has_its_thumbnail(page: Page, narrow: Findings) -> None:
    labels = [attributes["aria-label"] or "" for tag, attributes in page.tags if tag == "svg"]
    assert sum(label.startswith("Trace of reading") for label in labels) == len(narrow.experiment.traces) == 3
    paths = [
        attributes["d"] or "" for tag, attributes in page.tags if tag == "path" and attributes.get("class") == "whole"
    ]
    assert len(paths) == 3 and all(10 < path.count(",") <= 150 for path in paths)


def test_a_missing_optimum_is_reported_with_its_reason(write: Callable[..., Path], rising: Findings) -> None:
    page = Page((write(rising) / "report.html").read_text(encoding="utf-8"))
    assert not rising.optimum.found
    assert (
        "No optimum is claimed, because the speed is still rising towards the highest pressure measured" in page.words
    )
    assert rising.optimum.reason in page.words
    assert "The rotors together" not in page.words


def test_a_report_without_a_used_reading_is_written(write: Callable[..., Path], unusable: Findings) -> None:
    out = write(unusable)
    page = Page((out / "report.html").read_text(encoding="utf-8"))
    assert page.unbalanced == []
    assert "too few readings" in page.words
    assert "lamp off" in page.words and "gauge under-range" in page.words
    assert not list((out / "data").glob("curve-*"))


def test_a_report_without_figures_is_written(write: Callable[..., Path], nothing: Findings) -> None:
    out = write(nothing)
    page = Page((out / "report.html").read_text(encoding="utf-8"))
    assert "there is no curve to draw" in page.words
    assert not (out / "figures").exists()


def test_rotors_with_and_without_an_optimum_are_reported_together(
    narrow: Findings, rising: Findings, tmp_path: Path
) -> None:
    """The figures of both; that a page holds those is seen in the report of two rotors."""
    drawn = [illustrate(drawing, (narrow, rising), "", tmp_path) for drawing in JOINT_FIGURES]
    assert any("rising shows no pressure of greatest speed" in figure.wide for figure in drawn if figure is not None)
    assert (tmp_path / "figures" / "together.svg").is_file()


def test_the_page_is_small(two_rotors: Path) -> None:
    assert (two_rotors / "report.html").stat().st_size < 1_500_000
