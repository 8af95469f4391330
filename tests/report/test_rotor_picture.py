"""The picture of a whole rotor from above, and the fields shipped for it."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from support.films import read_back
from typer.testing import CliRunner

from edgewind.cli import app
from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics import RotorRatios
from edgewind.kinetics.rotor_table import LONE, lone_square
from edgewind.report.film import (
    RotorPicture,
    make_film,
    rotor_fields,
    rotor_series,
    shipped_rotor_fields,
    still_bytes,
)
from edgewind.report.film.rotor_field import STANDARD, STEPS, pack_rotor, unpack_rotor
from edgewind.report.film.rotor_picture import mixed


@pytest.fixture(scope="module")
def coarse():
    """Four vanes on a coarse grid, thermal drive and rotation."""
    return rotor_fields(1.0, vanes=4, arm=1.2, room=(4.6, 4.6, 3.0), round=False, level=0, points=24)


def test_a_quarter_turn_leaves_the_picture_unchanged(coarse):
    for field in coarse:
        turned = np.array([np.rot90(part) for part in field.moments])
        for kind in ("density", "temperature"):
            at = ["density", "velocity_x", "velocity_y", "temperature"].index(kind)
            np.testing.assert_allclose(turned[at], field.moments[at], atol=0.03 * np.abs(field.moments[at]).max())
        # rot90 takes what stands at (x, y) to (-y, x), and a vector along x to one along y.
        fast = np.abs(field.moment("velocity_x")).max()
        np.testing.assert_allclose(turned[1], field.moment("velocity_y"), atol=0.03 * fast)
        np.testing.assert_allclose(-turned[2], field.moment("velocity_x"), atol=0.03 * fast)


def test_the_force_along_a_vane_integrates_to_the_torque(coarse):
    thermal, flow = coarse
    for field, sign in ((thermal, 1.0), (flow, -1.0)):
        # Cells are graded and meet at the edges: their widths follow from their middles.
        edges = [field.arm - 0.5]
        for radius in field.radii:
            edges.append(2.0 * radius - edges[-1])
        assert edges[-1] == pytest.approx(field.arm + 0.5)
        torque = float(np.sum(field.stress * field.radii * np.diff(edges))) / field.arm
        assert sign * torque == pytest.approx(field.coefficient, rel=1e-6)


def test_gas_beside_a_warm_face_is_warm_and_gas_rotates_with_the_rotor(coarse):
    thermal, flow = coarse
    at = int(np.argmin(np.abs(thermal.places - thermal.arm)))
    middle = thermal.places.size // 2
    assert thermal.moment("temperature")[at, middle - 1] > 0.1 > -0.1 > thermal.moment("temperature")[at, middle]
    assert flow.moment("velocity_y")[at, middle] > 0.3


def test_shipped_fields_agree_with_the_shipped_surface_of_rotors():
    """A check against ourselves: a field's coefficient against the interpolated table."""
    for drive, name in (("thermal", "torque"), ("flow", "drag")):
        fields = shipped_rotor_fields(drive)
        assert len(fields) == 7
        kn = np.array([field.knudsen for field in fields])
        place = (STANDARD["arm"], STANDARD["room"][0] / (2.0 * STANDARD["arm"] + 1.0), 1.0, kn, 1.0)
        table = RotorRatios.standard(4).at(*place)[name] * lone_square(kn, np.ones_like(kn))[name]
        assert name in LONE
        np.testing.assert_allclose([field.coefficient for field in fields], table, rtol=0.02)


def test_packing_keeps_fields_to_four_thousandths_of_their_greatest_value(coarse):
    again = unpack_rotor(pack_rotor([coarse[0]]))[0]
    for kept, first in zip(again.moments, coarse[0].moments, strict=True):
        assert np.nanmax(np.abs(kept - first)) <= 0.51 * np.nanmax(np.abs(first)) / STEPS
    assert again.same == coarse[0].same
    assert again.coefficient == coarse[0].coefficient


def test_an_interpolated_field_lies_between_its_neighbours():
    fields = shipped_rotor_fields("thermal")
    between = mixed(fields, 0.7)
    low, high = (next(f for f in fields if f.knudsen == kn) for kn in (0.5, 1.0))
    assert low.coefficient < between.coefficient < high.coefficient
    assert mixed(fields, 1.0) is high
    with pytest.raises(OutOfRangeError, match="outside what was computed"):
        mixed(fields, 0.01)


def test_a_picture_is_drawn_in_every_theme_with_a_text_alternative():
    fields = shipped_rotor_fields("flow")
    seen = set()
    for theme, quantity in (("light", "temperature"), ("dark", "speed")):
        picture = RotorPicture(fields, quantity=quantity, theme=theme, size="page")
        image = Image.open(io.BytesIO(picture.png(0.1)))
        assert image.size == (1280, 720)
        seen.add(image.tobytes())
        assert "Knudsen number of 0.1" in picture.alt()
        assert "Drag torque" in picture.alt()
    assert len(seen) == 2
    svg = picture.svg()
    assert svg.count("<title>") == 1
    assert picture.png() == RotorPicture(fields, quantity=quantity, theme=theme, size="page").png(0.1)


def test_fields_of_two_rotors_are_not_drawn_together(coarse):
    with pytest.raises(InputError, match="different rotors"):
        RotorPicture([coarse[0], replace(coarse[0], arm=2.0)])


def test_a_film_from_above_is_written(tmp_path):
    film = make_film(tmp_path / "a.mp4", shipped_rotor_fields("thermal"), size="page", seconds=0.3, fps=10)
    assert (film.frames, film.knudsen_first) == (3, 10.0)
    assert read_back(film.path)["size"] == (1280, 720)


def test_a_computed_field_is_stored_and_read_again(tmp_path, monkeypatch, coarse):
    monkeypatch.setattr("edgewind.report.film.rotor_field.rotor_fields", lambda kn, **_: [coarse[0]])
    options = {"arm": 1.2, "room": (4.6, 4.6, 3.0), "round": False}
    first = rotor_series([1.0], cache=tmp_path, **options)[0]
    monkeypatch.setattr("edgewind.report.film.rotor_field.rotor_fields", None)
    again = rotor_series([1.0], cache=tmp_path, **options)[0]
    np.testing.assert_array_equal(again.moments, first.moments)
    assert (again.same, again.coefficient) == (first.same, first.coefficient)


def test_unsupported_fields_and_quantities_are_refused(coarse):
    with pytest.raises(OutOfRangeError, match="cannot be drawn"):
        rotor_fields(0.001)
    with pytest.raises(InputError, match="three vanes is not drawn"):
        rotor_fields(1.0, vanes=3)
    with pytest.raises(InputError, match="is unknown"):
        still_bytes([coarse[0]], quantity="colour")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["film", "--arm", "2", "--still", "a.png"], "key vanes"),
        (["film", "--vanes", "4", "--arm", "2", "--still", "a.png"], "the chamber of the rotor is not given"),
        (["film", "--room", "6,6,4", "--still", "a.png"], "chamber of a rotor"),
        (["respond", "--picture", "a.png"], "not a lone vane"),
    ],
)
def test_the_commands_refuse_an_incomplete_rotor(words, message, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(app, [*words, "--knudsen", "1"])
    assert result.exit_code != 0
    assert message in str(result.exception) + result.output
    assert not list(tmp_path.iterdir())


def test_the_command_draws_the_shipped_rotor_without_solving(tmp_path):
    out = tmp_path / "rotor.png"
    result = CliRunner().invoke(app, ["film", "--vanes", "4", "--knudsen", "0.1", "--still", str(out)])
    assert result.exit_code == 0, result.output
    assert Image.open(out).size == (1920, 1080)
