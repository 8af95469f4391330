"""What if with intervals: the command's own, and never of another setting; and long work that is cancelled."""

import json
import math
import re
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from playwright.sync_api import Page, Request, Route, expect
from support.pages import comes_to
from typer.testing import CliRunner

from edgewind.bench import parse_bench, write_template
from edgewind.cli import app
from edgewind.errors import InputError
from edgewind.evidence import draws_of
from edgewind.virtual import invented_bench
from edgewind.web import chill, whatif
from edgewind.web.catalog import Catalog
from edgewind.web.errors import NotFoundError
from edgewind.web.routes.jobs import rotor_of
from edgewind.web.work import Subject

pytestmark = pytest.mark.browser
LONG = 120_000


@pytest.fixture(scope="module")
def served(one_server: Any, mine: Path) -> tuple[Any, Path]:
    """The pages over a folder with an experiment, `mine`, whose readings can be fitted."""
    return one_server, mine


def settled(page: Page) -> None:
    """Wait until intervals are there for what the sliders stand at."""
    expect(page.locator('#intervals[aria-busy="false"]')).to_be_attached(timeout=LONG)


def narrower(page: Page, steps: int) -> str:
    """Make the vane narrower; returns its width as the page says it."""
    page.focus("#s1")
    for _ in range(steps):
        page.keyboard.press("ArrowLeft")
    return page.locator("#s1-out").inner_text()


def orders(page: Page) -> list[dict[str, Any]]:
    """What the page asks intervals for, filled as it does."""
    found: list[dict[str, Any]] = []

    def hear(request: Request) -> None:
        if request.method == "POST" and request.url.endswith("/api/intervals"):
            found.append(json.loads(request.post_data or ""))

    page.on("request", hear)
    return found


def by_command(folder: Path, changes: dict[str, str], between_pa: list[float]) -> dict[str, Any]:
    """What `edgewind predict` says of the same change between the same pressures."""
    low, high = between_pa
    asked = [part for key, value in changes.items() for part in ("--set", f"{key}={value}")]
    command = ["predict", str(folder), "--pressures", f"{low!r}Pa:{high!r}Pa:20", *asked, "--no-fit", "--json"]
    done = CliRunner().invoke(app, command)
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def numbers(told: Any, place: str = "") -> dict[str, float]:
    """Every number of nested answers, by its place; nan where there is none."""
    if isinstance(told, dict | list):
        each = told.items() if isinstance(told, dict) else enumerate(told)
        return {key: value for name, one in each for key, value in numbers(one, f"{place}/{name}").items()}
    return {} if isinstance(told, str) else {place: math.nan if told is None else told}


def same_as_the_command(page: Page, pages: Any, order: dict[str, Any], folder: Path) -> dict[str, Any]:
    """See that the intervals of an order, and those that the page shows, are the command's; returns what it says."""
    job = pages.told("/api/intervals", order)
    assert job["state"] == "done"
    result = job["result"]
    whole = by_command(folder, order["changes"], result["between_pa"])
    told = whole["what_if"]
    for key in ("draws_of", "draws", "level"):
        assert result[key] == told[key]
    for row, which in enumerate(("optimum", "force_optimum")):
        assert numbers(result[which]) == pytest.approx(numbers(told[which]), rel=1e-9, nan_ok=True)
        shown = page.locator("#intervals tbody tr").nth(row).locator("td")
        for cell, (value, interval) in enumerate([
            (told[which]["before"]["pressure_pa"], told[which]["before"]["pressure_interval_pa"]),
            (told[which]["after"]["pressure_pa"], told[which]["after"]["pressure_interval_pa"]),
            (told[which]["ratio"], told[which]["ratio_interval"]),
        ]):  # fmt: skip
            text = shown.nth(cell).inner_text()
            if value is None:
                assert "no interval" in text or text == "–"
            else:
                found = [float(one) for one in re.findall(r"\d+\.?\d*", text)]
                assert found == pytest.approx([value, *interval], rel=6e-3)
    return whole


def test_the_intervals_equal_those_of_the_command(served: tuple[Any, Path], visit: Callable) -> None:
    """Of the priors, and it says so; those of a fit on the page are not compared with the command here."""
    (pages, folder), page = served, visit().page
    asked = orders(page)
    page.goto(pages.url + "/question/mine/mine")
    settled(page)
    expect(page.locator("#intervals")).to_contain_text("With intervals, for the rotor as it is")
    expect(page.locator("#intervals")).to_contain_text("priors only")
    width = narrower(page, 25)
    expect(page.locator("#intervals caption")).to_contain_text(f"width of a vane {width}")
    settled(page)
    expect(page.locator("#intervals caption")).to_have_text(f"With intervals, for width of a vane {width}")
    assert asked[-1]["study"] == ""
    told = same_as_the_command(page, pages, asked[-1], folder)
    assert told["what_if"]["draws_of"] == "prior"

    # a study that is not kept, or is of another rotor, is not taken for a fit of this one
    assert pages.ask("/api/intervals", asked[-1] | {"study": "0" * 16})[0] == 404
    assert pages.ask("/api/what-if/mine/mine?study=" + "0" * 16)[0] == 404
    assert pages.ask("/api/intervals", asked[-1] | {"changes": {"gauge.slope": "2"}})[0] == 400
    assert pages.ask("/api/intervals", asked[-1] | {"changes": {"rotor.vane_width": 3}})[0] == 400


def test_no_interval_is_shown_for_another_setting(served: tuple[Any, Path], visit: Callable) -> None:
    (pages, _), page = served, visit().page
    page.goto(pages.url + "/question/mine/mine")
    settled(page)
    expect(page.locator("#intervals td").first).to_have_text(re.compile(r"\d"))
    held: list[Route] = []
    page.route("**/api/intervals", lambda route: held.append(route))

    def hold(count: int) -> None:
        latest = time.monotonic() + LONG / 1000
        while len(held) < count:  # a request may have been seen before its route is handed over: no event to wait for
            assert time.monotonic() < latest, f"the page asked {len(held)} times, not {count}"
            page.wait_for_timeout(20)

    before = page.locator("#optima strong").first.inner_text()
    widths = [narrower(page, 20)]
    expect(page.locator("#intervals")).to_have_attribute("aria-busy", "true")
    expect(page.locator("#optima strong").first).not_to_have_text(before)  # the point does not wait
    hold(1)
    widths.append(narrower(page, 20))
    expect(page.locator("#intervals caption")).to_have_text(
        f"With intervals, for width of a vane {widths[1]}: being computed…"
    )
    held[0].continue_()
    hold(2)  # the page has the first answer, sees that it is of another setting, and asks for this one
    expect(page.locator("#intervals td")).to_have_text(["…"] * 6)
    expect(page.locator(".chart:not(#curve) .interval")).to_have_count(0)
    held[1].continue_()
    settled(page)
    expect(page.locator("#intervals caption")).to_have_text(f"With intervals, for width of a vane {widths[1]}")
    expect(page.locator("#intervals td").first).to_have_text(re.compile(r"\d"))
    # back where it was: that is shown again, and again it is asked for what it shows
    page.click("#back")
    expect(page.locator("#intervals")).to_have_attribute("aria-busy", "true")
    hold(3)
    held[2].continue_()
    settled(page)
    expect(page.locator("#intervals caption")).to_have_text("With intervals, for the rotor as it is")


class Kept:
    """A study that was made of two rotors, and holds a fit of the first."""

    def __init__(self, subjects: tuple[Subject, ...], kept: tuple[Any, ...]) -> None:
        self.arguments, self.kept = (subjects, Path(), True), kept

    def get(self, key: str) -> Any:
        return self if key == "known" else None


def test_a_fit_is_used_for_its_own_rotor_alone(tmp_path: Path) -> None:
    write_template(tmp_path / "one")
    write_template(tmp_path / "two")
    catalog = Catalog(tmp_path)
    draws = draws_of(catalog.bench("one", "one"))
    subjects = tuple(Subject("folder", str(tmp_path / name), name) for name in ("one", "two"))
    pages: Any = SimpleNamespace(catalog=catalog, jobs={"studies": Kept(subjects, (draws, None))})
    assert rotor_of(pages, "one", "one", "known") is draws
    assert rotor_of(pages, "one", "one") == catalog.bench("one", "one")
    for name, study in (("two", "known"), ("one", "unknown")):
        with pytest.raises(NotFoundError):
            rotor_of(pages, name, name, study)
    catalog.close()


def test_a_second_rotor_the_readings_and_the_cold_are_shown_beside_the_sliders(
    served: tuple[Any, Path], visit: Callable
) -> None:
    (pages, mine), page = served, visit(expected=("400",)).page
    if not (mine.parent / "beside").exists():
        write_template(mine.parent / "beside")
        text = (mine.parent / "beside" / "bench.toml").read_text(encoding="utf-8")
        changed = re.sub(r"(?m)^vane_conductance = .*$", 'vane_conductance = "5 +/- 1 W/(m^2 K)"', text)
        (mine.parent / "beside" / "bench.toml").write_text(changed, encoding="utf-8")
    page.goto(pages.url + "/question/mine/mine")
    # not from the readings, and it says so; the two levers that matter most stand first
    expect(page.locator("#whatif-start")).to_contain_text("not fitted to the readings")
    expect(page.locator("#most .slider")).to_have_count(2)
    told = pages.told("/api/levers/mine/mine")["levers"]
    keys = "[...document.querySelectorAll('#most input')].map(one => one.dataset.key)"
    comes_to(page, keys, [one["key"] for one in told[:2]])
    # another experiment beside it, then a setting that is held
    page.select_option("#second", label="beside")
    expect(page.locator("#second-optima")).to_contain_text("Beside it: beside, as it is described")
    expect(page.locator("#speeds .legend")).to_contain_text("beside, as it is described")
    width = narrower(page, 20)
    page.click("#hold")
    expect(page.locator("#second-optima")).to_contain_text(f"Beside it: width of a vane {width}")
    expect(page.locator("#second-optima .small").first).to_have_text("1.00 × the first")
    page.click("#back")
    expect(page.locator("#second-optima .small").first).not_to_have_text("1.00 × the first")
    # the readings against the curve
    expect(page.locator("#misses")).to_contain_text("usual conditions: root mean square difference", timeout=LONG)
    expect(page.locator("#differences svg .point").first).to_be_attached()
    # chilled it reverses, warmed it turns as when lit; an impossible temperature is refused
    expect(page.locator("#cold-words")).to_contain_text("the dark face leads, it reverses")
    page.focus("#cold-envelope")
    page.keyboard.press("End")
    expect(page.locator("#cold-words")).to_contain_text("the bright face leads, it turns as when lit")
    page.fill("#cold-pressure", "500")
    page.keyboard.press("Enter")
    expect(page.locator("#cold-problem")).to_contain_text("the pressure cannot be 500 Pa here")


def test_a_value_that_the_bench_does_not_state_is_shown_as_assumed(served: tuple[Any, Path], visit: Callable) -> None:
    (pages, mine), page = served, visit().page
    text = (mine / "bench.toml").read_text(encoding="utf-8")
    rest = {"rotor.dark_emissivity", "rotor.bright_emissivity", "rotor.pivot_dry_torque", "rotor.pivot_viscous"}

    def assumed(text: str) -> set[str]:
        return {one["key"] for one in whatif.sliders_of(parse_bench(text)) if one["assumed"]}

    assert assumed(text) == rest | {"rotor.accommodation"}
    faces = 'dark_accommodation = "0.9"\nbright_accommodation = "0.8"\n'
    assert assumed(text.replace("[rotor]\n", "[rotor]\n" + faces)) == rest
    # a key that every bench has, with a value where it is left out
    silent = re.sub(r"(?m)^dark_absorptance = .*$", "", text)
    assert assumed(silent) == rest | {"rotor.accommodation", "rotor.dark_absorptance"}

    def shown(key: str) -> Any:
        return page.locator(f'.slider:has([data-key="{key}"]) output')

    page.goto(pages.url + "/question/mine/mine")
    settled(page)
    expect(shown("rotor.dark_absorptance")).to_have_text("0.950 ")
    expect(shown("rotor.dark_emissivity")).to_have_text("assumed: 0.950 ")
    expect(shown("rotor.bright_emissivity")).to_have_text(re.compile(r"^assumed: 0\.\d+"))
    # the dark face emits as it absorbs where its emissivity is not stated; one that is set is no longer assumed
    page.focus('[data-key="rotor.dark_absorptance"]')
    page.keyboard.press("ArrowLeft")
    set_to = shown("rotor.dark_absorptance").inner_text()
    assert set_to != "0.950 "
    expect(shown("rotor.dark_emissivity")).to_have_text(f"assumed: {set_to}")
    page.focus('[data-key="rotor.bright_emissivity"]')
    page.keyboard.press("ArrowLeft")
    expect(shown("rotor.bright_emissivity")).to_have_text(re.compile(r"^0\.\d+"))


def test_a_bench_with_a_mixture_or_with_invented_values_has_intervals_of_its_optima(served: tuple[Any, Path]) -> None:
    """Benches that hold a table within a table."""
    text = (served[1] / "bench.toml").read_text(encoding="utf-8")
    mixture = re.sub(r"(?m)^species = .*$", 'species = { N2 = 0.97, H2O = "0.03 +/- 0.01" }', text)
    mixture = mixture.replace("[gauge]\n", '[gauge]\ngas_factor = "1.0 +/- 0.1"\n')
    for bench in (parse_bench(mixture), invented_bench()):
        with pytest.raises(TypeError, match="unhashable"):
            hash(bench)
        found = whatif.optima_intervals(bench, {})["optimum"]["before"]
        low, high = found["pressure_interval_pa"]
        assert low < found["pressure_pa"] < high


def test_levers_are_ordered_by_what_they_change(served: tuple[Any, Path]) -> None:
    """By finite differences of the prediction itself, compared with one made here through another function."""
    pages, _ = served
    bench = pages.app.state.pages.catalog.bench("mine", "mine")
    found = whatif.weights_of(bench)
    assert [one["weight"] for one in found] == sorted((one["weight"] for one in found), reverse=True)
    before = whatif.predict_changed(bench, {})["optimum"]
    light = next(one for one in found if one["key"] == "light.irradiance")
    more = f"{1.1 * bench.light.irradiance.value} W/m^2"
    after = whatif.predict_changed(bench, {"light.irradiance": more})["optimum"]
    assert light["step"] == "+10 %"
    assert light["speed"] == pytest.approx(after["speed_rad_s"] / before["speed_rad_s"], rel=1e-6)
    assert light["pressure"] == pytest.approx(after["pressure_pa"] / before["pressure_pa"], rel=1e-6)


def test_a_chilled_envelope_in_the_dark_reverses_the_rotor(served: tuple[Any, Path]) -> None:
    pages, _ = served
    bench = pages.app.state.pages.catalog.bench("mine", "mine")
    usual = f"{bench.envelope_temperature.value - 273.15} degC"
    colder, same, warmer = (chill.chilled(bench, {}, at) for at in ("-20 degC", usual, "50 degC"))
    assert colder["most_rad_s"] < 0 < warmer["most_rad_s"]
    assert same["most_rad_s"] == pytest.approx(0.0, abs=1e-6)
    assert colder["still_s"] is not None and abs(colder["speed_rad_s"][-1]) < 0.05 * abs(colder["most_rad_s"])
    assert chill.chilled(bench, {}, "-40 degC")["most_rad_s"] < colder["most_rad_s"]
    for envelope, pressure in (("-200 degC", ""), ("", "1000 Pa"), ("", "1 mm")):
        with pytest.raises(InputError):
            chill.chilled(bench, {}, envelope, pressure)


def test_a_study_and_a_fit_are_cancelled_and_started_again(
    served: tuple[Any, Path], visit: Callable, hold: Callable
) -> None:
    (pages, mine), page = served, visit().page
    write_template(mine.parent / "other")  # no study of it was made yet
    ahead = hold(pages, "studies")  # another person's, which this page's must wait for
    page.goto(pages.url + "/question/other/other")
    expect(page.locator("#study-state")).to_have_text("Waiting for its turn…")
    page.get_by_role("button", name="Cancel the study").click()
    expect(page.locator("#study-ended")).to_contain_text("The study was cancelled.")
    expect(page.locator("#mechanisms")).to_contain_text("Mechanisms are compared once there is a study.")
    expect(page.locator("#study-stop")).to_be_hidden()
    assert pages.told(f"/api/studies/{ahead.id}")["state"] in ("waiting", "running")
    with page.expect_response(lambda answer: answer.url.endswith("/api/studies")) as answered:
        page.get_by_role("button", name="Start it again").click()
    assert answered.value.json()["state"] in ("waiting", "running")
    page.get_by_role("button", name="Cancel the study").click()
    expect(page.locator("#study-ended")).to_contain_text("The study was cancelled.")
    assert pages.told(f"/api/studies/{ahead.id}/cancel", {}) == {}
    assert pages.told(f"/api/studies/{ahead.id}")["state"] == "cancelled"
    # a fit: the study before it stays
    page.goto(pages.url + "/question/mine/mine")
    expect(page.locator("#answer-text")).to_contain_text("fastest at", timeout=LONG)
    expect(page.locator("#study-ended")).to_be_hidden()
    hold(pages, "studies")
    with page.expect_response(lambda answer: answer.url.endswith("/api/studies")) as answered:
        page.get_by_role("button", name="Judge the mechanisms with a fit").click()
    fit = answered.value.json()
    page.get_by_role("button", name="Cancel the fit").click()
    expect(page.locator("#study-ended")).to_contain_text("The fit was cancelled.")
    assert pages.told(f"/api/studies/{fit['id']}")["state"] == "cancelled"
    assert pages.ask(f"/reports/{fit['id']}/report.html")[0] == 404
    expect(page.locator("#answer-text")).to_contain_text("fastest at")
    expect(page.get_by_role("button", name="Judge the mechanisms with a fit")).to_be_enabled()


def test_a_folder_without_readings_is_refused_in_words(served: tuple[Any, Path], visit: Callable) -> None:
    """The file is named, as by the commands, and the sliders, which need no readings, work."""
    (pages, mine), page = served, visit().page
    write_template(mine.parent / "bare")
    (mine.parent / "bare" / "readings.csv").unlink()
    page.goto(pages.url + "/question/bare/bare")
    expect(page.locator("#study-ended")).to_contain_text("bare/readings.csv: there is no such file", timeout=LONG)
    expect(page.get_by_role("button", name="Start it again")).to_be_visible()
    settled(page)
    expect(page.locator("#intervals td").first).to_have_text(re.compile(r"\d"))


def test_a_film_is_cancelled(served: tuple[Any, Path], visit: Callable, hold: Callable) -> None:
    (pages, _), page = served, visit().page
    hold(pages, "films")
    page.goto(pages.url + "/gas")
    with page.expect_response(lambda answer: answer.url.endswith("/api/films")) as answered:
        page.get_by_role("button", name="Make the film (MP4)").click()
    film = answered.value.json()
    page.get_by_role("button", name="Cancel the film").click()
    expect(page.locator("#film-state")).to_contain_text("The film was cancelled")
    expect(page.get_by_role("button", name="Make the film (MP4)")).to_be_enabled()
    assert pages.told(f"/api/films/{film['id']}")["state"] == "cancelled"
    assert pages.ask(f"/films/{film['id']}.mp4")[0] == 404
