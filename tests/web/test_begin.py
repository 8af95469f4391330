"""The form of a bench and its text: a field changes only its line, and the text fills the form."""

import difflib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from edgewind.bench import parse_bench
from edgewind.bench.faces import FACES
from edgewind.bench.form import FIELDS, GAUGES, read_fields, write_field, write_gauge, write_units
from edgewind.book import open_book
from edgewind.shown_units import ShownUnits
from edgewind.web.bench_form import outlook
from edgewind.web.errors import FieldError
from edgewind.web.new_experiment import template_bench, with_title

TEMPLATE = template_bench()


def changed_lines(before: str, after: str) -> list[str]:
    return [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[:2] in ("- ", "+ ")]


@pytest.mark.parametrize("key", list(FIELDS))
def test_a_field_changes_only_its_line(key: str) -> None:
    field = FIELDS[key]
    value = field.choices[-1] if field.choices and field.kind == "choice" else field.example
    stated = write_field(TEMPLATE, key, value)
    assert read_fields(stated)[key] == value
    assert len(changed_lines(TEMPLATE, stated)) <= 2
    assert write_field(stated, key, value) == stated
    parse_bench(stated)
    if field.optional:
        unknown = write_field(stated, key, "")
        assert key not in read_fields(unknown)
        assert write_field(unknown, key, value) == stated, "what was left unknown is not restored as it was"
        before = parse_bench(write_field(TEMPLATE, key, ""))
        assert parse_bench(unknown) == before
    # every comment of the template is still there, the line that now states the field apart
    comments = [line for line in TEMPLATE.splitlines() if line.startswith("#") and field.key.split(".")[1] not in line]
    assert all(line in stated.splitlines() for line in comments)


def test_the_template_fills_the_form_and_text_of_the_user_is_kept_byte_for_byte() -> None:
    fields = read_fields(TEMPLATE)
    assert fields["rotor.vane_width"] == "12.0 +/- 0.2 mm" and fields["rotor.vanes"] == "4"
    assert "rotor.vane_conductance" not in fields
    own = TEMPLATE.replace('arm = "22.0 +/- 0.5 mm"', "arm = '22.0(5) mm'").replace("\n[light]", "\n\n# mine\n[light]")
    assert read_fields(own)["rotor.arm"] == "22.0(5) mm"
    assert write_field(write_field(own, "rotor.vanes", "3"), "rotor.vanes", "4") == own
    diaphragm = write_gauge(TEMPLATE, "read off a display, diaphragm")  # it reads the same in every gas
    mixture = write_field(diaphragm, "gas.species", "{ He = 0.9, Ne = 0.1 }")
    assert parse_bench(mixture).gas.species == {"He": 0.9, "Ne": 0.1}
    assert parse_bench(write_field(mixture, "gas.species", "N2")).gas.species == "N2"


@pytest.mark.parametrize(
    ("key", "value"),
    [("rotor.vanes", "four"), ("rotor.arm", "22 mm\n[x]"), ("instruments.valve", "1"), ("rotor.vane_color", "red")],
)
def test_invalid_values_are_refused(key: str, value: str) -> None:
    with pytest.raises(FieldError):
        write_field(TEMPLATE, key, value)


def test_a_quotation_mark_cannot_end_a_value() -> None:
    for value in ('1 mm"\\', 'x" # y', "'", '"""'):
        text = write_field(TEMPLATE, "rotor.arm", value)
        assert read_fields(text) == read_fields(TEMPLATE) | {"rotor.arm": value}
        assert write_field(text, "rotor.arm", "22.0 +/- 0.5 mm") == TEMPLATE
    with pytest.raises(FieldError) as caught:
        outlook(write_field(TEMPLATE, "rotor.arm", 'x" # y'))
    assert caught.value.field == "rotor.arm"


@pytest.mark.parametrize("name", list(GAUGES))
def test_every_kind_of_gauge_can_be_read(name: str) -> None:
    text = write_gauge(TEMPLATE, name)
    bench = parse_bench(text)
    assert bench.gauge.kind in name or bench.gauge.kind in ("display", "linear", "log-linear")
    assert text.count("[gauge]") == 1 and "[tachometer]" in text
    comments = [line for line in TEMPLATE.splitlines() if line.startswith("#")]
    assert all(line in text.splitlines() for line in comments)


def test_every_surface_has_its_source_and_can_be_read() -> None:
    darkest, brightest = "0.99", "0.01"
    for face in FACES:
        assert face.source
        for side, other, value in (("dark", "bright", brightest), ("bright", "dark", darkest)):
            text = write_field(TEMPLATE, f"rotor.{other}_absorptance", value)
            text = write_field(text, f"rotor.{side}_absorptance", face.absorptance)
            parse_bench(write_field(text, f"rotor.{side}_emissivity", face.emissivity))


def test_the_outlook_follows_the_text() -> None:
    narrow, wide = (outlook(write_field(TEMPLATE, "rotor.vane_width", f"{width} mm")) for width in (8, 16))
    assert wide["drawing"]["width_m"] == pytest.approx(0.016)
    assert narrow["kn_at_one_pa"] == pytest.approx(2 * wide["kn_at_one_pa"])
    assert narrow["predicted"]["optimum"]["pressure_pa"] > wide["predicted"]["optimum"]["pressure_pa"]


def test_missing_units_are_written_and_the_rest_of_the_text_is_unchanged() -> None:
    stated = write_units(TEMPLATE, "mTorr", "turn/s")
    assert parse_bench(stated).shown == ShownUnits("mTorr", "turn/s")
    assert len(changed_lines(TEMPLATE, stated)) <= 6
    assert write_units(stated, "mbar", "rpm") == stated and write_units(TEMPLATE, "Pa", "rpm") == TEMPLATE
    bare = "\n".join(line for line in TEMPLATE.splitlines() if not line.startswith("#"))
    assert parse_bench(write_units(bare, "mbar", "rpm")).shown == ShownUnits("mbar", "rpm")


def test_an_experiment_is_titled_by_its_name_unless_a_title_is_stated() -> None:
    assert parse_bench(with_title(TEMPLATE, 'the "red" team')).experiment.title == 'the "red" team'
    own = with_title(TEMPLATE, "mine")
    assert with_title(own, "another") == own


def test_an_experiment_is_created_by_form_and_by_text(
    one_server: Any, one_root: Path, visit: Callable[..., Any]
) -> None:
    window = visit(expected=("status of 400",))
    page: Page = window.page
    settled = page.locator("body[data-begin=settled]")
    page.goto(one_server.url + "/books")
    page.click("#begin-link")
    settled.wait_for(state="attached")
    drawing, words = (
        page.locator("#drawing"),
        "To scale: 4 vanes, {} mm wide and 12.0 mm high, on arms of 22.0 mm in a room 150 mm wide and 200 mm high",
    )
    expect(drawing).to_have_attribute("aria-label", words.format("12.0"))
    optimum = page.locator("#begin-optima strong").first
    before = optimum.inner_text()
    page.fill("#begin-rotor-vane_width", "16 mm")
    expect(optimum).not_to_have_text(before)
    expect(drawing).to_have_attribute("aria-label", words.format("16.0"))
    assert 'vane_width = "16 mm"  # the length' in page.input_value("#begin-bench")
    # the hazards of what is described stand beside it
    cautions = page.locator("#begin-cautions")
    expect(cautions).to_contain_text("Glass under vacuum can implode")
    expect(cautions).not_to_contain_text("Hydrogen")
    page.fill("#begin-gas-species", "H2")
    factor, asked = page.locator("#begin-gauge-gas_factor"), page.locator("#begin-gauge-gas_factor-problem")
    expect(asked).to_contain_text("reads differently in H2")  # in hydrogen this gauge needs it
    factor.fill("1.6 +/- 0.1")
    expect(asked).to_be_empty()
    expect(cautions).to_contain_text("Hydrogen, deuterium, methane")
    factor.fill("")
    page.fill("#begin-gas-species", "air")
    expect(asked).to_be_empty()
    page.fill("#begin-chamber-envelope_temperature", "-12 degC")
    expect(cautions).to_contain_text("Cold glass under vacuum is under stress")
    page.fill("#begin-chamber-envelope_temperature", "")
    # how well it is known is a part of the text
    page.locator("#begin-rotor-vane_width-known").fill("4")
    expect(page.locator("#begin-rotor-vane_width")).to_have_value("16 +/- 5 % mm")
    # what does not go together is named beside a field, also when it is sent
    page.fill("#begin-rotor-vane_width", "15 cm")
    wide = page.locator("#begin-chamber-width-problem")
    expect(wide).to_contain_text("the rotor sweeps a circle")
    page.click("#begin button.strong")
    expect(page.locator("#begin-chamber-width")).to_be_focused()
    expect(wide).to_contain_text("the rotor sweeps a circle")
    page.fill("#begin-rotor-vane_width", "16 +/- 5 % mm")
    expect(wide).to_be_empty()
    # a value that cannot be is named beside its field, and stays as typed
    page.fill("#begin-rotor-arm", "22 kg")
    expect(page.locator("#begin-rotor-arm-problem")).to_contain_text("length")
    expect(page.locator("#begin-rotor-arm")).to_have_value("22 kg")
    stale = page.locator("#begin-stale")  # and what is drawn beside it is said not to have it
    expect(stale).to_be_visible()
    page.fill("#begin-rotor-arm", "23 mm")
    settled.wait_for(state="attached")
    expect(page.locator("#begin-rotor-arm-problem")).to_be_empty()
    expect(stale).to_be_hidden()
    expect(page.locator("#deciding li").first).to_contain_text("Heat through the vane")
    # the text fills the form
    page.click("#text-place summary")
    text = page.input_value("#begin-bench")
    page.fill("#begin-bench", text.replace("vanes = 4", "vanes = 3") + "\n# my own remark\n")
    expect(page.locator("#begin-rotor-vanes")).to_have_value("3")
    page.select_option("#preset-bright", label="aluminium foil, bright side")
    expect(page.locator("#begin-rotor-bright_emissivity")).to_have_value("0.05 +/- 0.02")
    expect(page.locator("#preset-bright-source")).to_contain_text("FLIR")
    page.fill("#begin-name", "mine")
    page.select_option("#begin-book", "")
    page.fill("#begin-new_book", "begun.book")
    page.locator("#begin button.strong").click()
    page.wait_for_url("**/bench/begun.book/mine")
    with open_book(one_root / "begun.book") as book:
        kept = book.contents("mine").bench.decode()
    assert "# my own remark" in kept and "# Cautions. Glass under vacuum" in kept
    bench = parse_bench(kept)
    assert bench.rotor.vanes == 3 and bench.rotor.arm.value == pytest.approx(0.023)
    assert bench.rotor.bright_emissivity is not None
    # what the browser itself logs of the request that was refused
    assert len(window.complaints) == 1
