"""Unknowns that decide the prediction for a described bench."""

from collections.abc import Callable

from edgewind.bench.form import write_field
from edgewind.plan.deciding import deciding
from edgewind.template import template_text


def test_unknowns_with_the_greatest_effect_are_named_first() -> None:
    """The heat through the vane is left unknown here, and the gas's force needs a difference of faces."""
    text = write_field(template_text(), "rotor.vane_conductance", "")
    first, *others = deciding(text)
    assert first.key == "rotor.vane_conductance" and first.unknown
    assert (
        "face to face (unknown: 10 to 3000 W/(m^2 K)): greatest speed by 240 times, its pressure by" in first.sentence
    )
    weights = [one.speed_factor * one.pressure_factor for one in (first, *others)]
    assert len(others) == 2 and weights == sorted(weights, reverse=True)
    stated = write_field(text, "rotor.vane_conductance", "50 +/- 1 % W/(m^2 K)")
    assert deciding(stated)[0].key != "rotor.vane_conductance"


def test_stated_values_are_shown_as_typed() -> None:
    text = write_field(template_text(), "rotor.vane_conductance", "50 +/- 40 % W/(m^2 K)")
    assert any("(50 +/- 40 % W/(m^2 K)):" in one.sentence for one in deciding(text))


def test_a_value_left_to_its_default_is_shown_as_assumed(make_bench_text: Callable[..., str]) -> None:
    exact = {"vane_conductance": "50 W/(m^2 K)", "accommodation": "0.9", "dark_emissivity": "0.9"}
    exact |= {"bright_absorptance": "0.15", "bright_emissivity": "0.1"}
    text = make_bench_text(rotor=exact, light={"irradiance": "700 W/m^2"})
    assert "dark_absorptance" not in text
    first = deciding(text)[0]
    assert first.key == "rotor.dark_absorptance" and not first.unknown
    assert "(assumed, 0.95 +/- 0.03):" in first.sentence
