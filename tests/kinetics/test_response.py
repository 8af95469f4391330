"""The function `respond`: refused input, the cache, and its results."""

from __future__ import annotations

import json
import math
import os

import numpy as np
import pytest
import xarray as xr
from typer.testing import CliRunner

from edgewind import kinetics
from edgewind.cli import app
from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics import response as front_door
from edgewind.kinetics import store
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.response import respond, respond_curve
from edgewind.kinetics.result import Response
from edgewind.kinetics.solve import Case, Resolution, solve

QUICK = {"tolerance": 0.02, "cache": False, "workers": 1}


@pytest.fixture(scope="module")
def thin():
    """Return a response in thin gas."""
    return respond("strip", 10.0, **QUICK)


@pytest.fixture(scope="module")
def free():
    """Return a response in free flight."""
    return respond("strip", math.inf, **QUICK)


@pytest.mark.parametrize("knudsen", [0.0, -1.0, math.nan, 1e-4, 1e9, -math.inf])
def test_knudsen_numbers_that_cannot_be_resolved_are_refused(knudsen):
    with pytest.raises(OutOfRangeError, match=r"knudsen.*Knudsen number"):
        respond("strip", knudsen)


@pytest.mark.parametrize(
    "accommodation",
    [-0.1, 1.2, math.nan, {"hot": 2.0}, {"room": 0.0}, 0.0, {"hot": 0.0, "cold": 0.0, "room": 0.0}],
)
def test_accommodation_outside_its_range_is_refused(accommodation):
    with pytest.raises(OutOfRangeError, match="accommodation"):
        respond("strip", 1.0, accommodation=accommodation)


def test_mirrors_everywhere_have_no_steady_state():
    with pytest.raises(OutOfRangeError, match="no steady state"):
        respond("strip", 1.0, accommodation=0.0)


def test_an_unknown_surface_is_named():
    with pytest.raises(InputError, match="unknown wall: bright"):
        respond("strip", 1.0, accommodation={"bright": 0.9})


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ({"room": 1.0}, "no gap"),
        ({"room": 0.5}, "no gap"),
        ({"room": (4.0, 1.0)}, "no gap"),
        ({"room": (4.0, 4.0, 4.0)}, "must have 2 sides, not 3"),
        ({"room": math.nan}, "must be finite and above 0"),
        ({"room": 1e4}, "cannot be resolved"),
        ({"room": 4.0, "position": 0.0}, "touches a wall"),
        ({"room": 4.0, "position": 1.0}, "touches a wall"),
        ({"room": 4.0, "position": 0.005}, "cannot be resolved"),
        ({"room": 4.0, "tolerance": 1e-17}, "out of reach"),
        ({"room": 4.0, "tolerance": 0.0}, "out of reach"),
        ({"room": 4.0, "tolerance": 2.0}, "cannot be a tolerance"),
        ({"room": 4.0, "aspect": 2.0}, "no aspect"),
    ],
)
def test_impossible_cases_are_refused_with_a_reason(options, why):
    with pytest.raises(InputError, match=why):
        respond("strip", 1.0, **options)


def test_a_diamond_needs_a_room_wider_than_its_diagonal():
    with pytest.raises(OutOfRangeError, match="no gap"):
        respond("diamond", 1.0, room=1.4)


def test_an_unknown_shape_is_refused_with_the_known_ones():
    with pytest.raises(InputError, match="strip, square, rectangle, diamond, disc"):
        respond("star", 1.0)


def test_too_little_memory_is_reported_before_the_computation_starts(monkeypatch):
    monkeypatch.setattr(front_door, "_available_memory", lambda: 1_000_000)
    with pytest.raises(InputError, match=r"GiB of memory"):
        respond("square", 1.0, tolerance=0.01, cache=False)


def test_an_accuracy_that_is_not_reached_is_reported(monkeypatch):
    monkeypatch.setattr(front_door, "MOST_LEVELS", 2)
    answer = respond("strip", 10.0, tolerance=1e-6, cache=False, workers=1)
    assert not answer.reached
    assert answer.errors["drag"] > 1e-6 * answer.drag


def test_results_are_read_from_the_cache_on_disk(tmp_path):
    first = respond("strip", 3.0, tolerance=0.1, workers=1, cache=tmp_path)
    again = respond("strip", 3.0, tolerance=0.1, workers=1, cache=tmp_path)
    assert again == first
    assert again.seconds == first.seconds
    other = respond("strip", 3.0, tolerance=0.1, workers=1, cache=tmp_path, accommodation=0.9)
    assert other.drag != first.drag
    assert len(list(tmp_path.iterdir())) == 2


def test_a_damaged_file_in_the_cache_is_computed_again(tmp_path):
    first = respond("strip", 3.0, tolerance=0.1, workers=1, cache=tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_text(file.read_text()[:50])
    assert respond("strip", 3.0, tolerance=0.1, workers=1, cache=tmp_path).values == pytest.approx(first.values)
    assert json.loads(file.read_text())["answer"]["shape"] == "strip"


def test_an_interruption_leaves_the_cache_valid(tmp_path, monkeypatch):
    """Ctrl-C while the answer is written: no file, and no half of one."""

    def interrupted(*arguments, **options):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        store.keep_answer(tmp_path, {"a": 1}, {"b": 2})
    monkeypatch.undo()
    assert list(tmp_path.iterdir()) == []
    store.keep_answer(tmp_path, {"a": 1}, {"b": 2})
    assert store.fetch(tmp_path, {"a": 1}) == {"b": 2}
    assert store.fetch(tmp_path, {"a": 2}) is None


def test_an_interrupted_curve_resumes_where_it_stopped(tmp_path):
    options = {"tolerance": 0.1, "workers": 1, "cache": tmp_path}

    def stop(done, total, answer):
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        respond_curve("strip", [10.0, 3.0, 1.0], progress=stop, **options)
    assert len(list(tmp_path.glob("*.json"))) == 2
    seen = []
    answers = respond_curve("strip", [10.0, 3.0, 1.0], progress=lambda *told: seen.append(told[:2]), **options)
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert np.all(np.diff([one.drag for one in answers]) < 0.0)


def test_a_specular_vane_has_drag_and_no_thermal_force():
    answer = respond("strip", 1.0, room=3.0, accommodation={"hot": 0.0, "cold": 0.0}, **QUICK)
    assert answer.thermal_force == answer.heat_hot == answer.values["loss_hot"] == 0.0
    assert answer.drag > 1.0
    assert answer.reached


def test_a_row_has_the_keys_of_the_command_line(thin):
    row = thin.row()
    assert list(row) == [
        "knudsen",
        "rarefaction",
        "thermal_force",
        "drag",
        "heat_hot",
        "heat_cold",
        "sweeps",
        "seconds",
        "errors",
        "reached",
    ]
    assert row["rarefaction"] == pytest.approx(math.sqrt(math.pi) / 20.0)
    assert json.loads(json.dumps(row)) == row


def test_residuals_are_not_quotients_of_rounding_errors(free):
    """In free flight the odd drive moves no net particles anywhere."""
    assert free.mass_residual < 1e-6
    assert free.energy_residual < 1e-6


def test_the_command_prints_free_flight_as_null(free, monkeypatch):
    monkeypatch.setattr(kinetics, "respond_curve", lambda *_, **__: [free])
    words = ["respond", "--knudsen", "inf"]
    (row,) = json.loads(CliRunner().invoke(app, [*words, "--json"]).stdout)
    assert (row["knudsen"], row["rarefaction"]) == (None, 0.0)
    assert row["drag"] == free.drag
    # The even drive has no error but rounding: no digits of that are shown.
    assert CliRunner().invoke(app, words).stdout.splitlines()[1].split()[:2] == ["inf", "0.25"]


def test_json_restores_the_response(thin):
    assert Response.from_json(json.loads(json.dumps(thin.to_json()))) == thin


@pytest.mark.parametrize("shape", ["strip", "square"])
def test_fields_are_restored_from_netcdf(shape, tmp_path):
    answer = respond(shape, 1.0, room=2.5, fields=True, **QUICK | {"tolerance": 0.1})
    data = answer.to_dataset()
    file = tmp_path / "fields.nc"
    data.to_netcdf(file)
    back = xr.load_dataset(file)
    xr.testing.assert_allclose(back, data)
    assert back.attrs["drag"] == answer.drag
    # The gas before the hot face is warm, behind the cold one cold; the field is odd.
    warm = data["temperature"].sel(drive="faces").isel({axis: 0 for axis in data.dims if axis in ("y", "z")})
    assert float(warm.sel(x=0.1, method="nearest")) > 0.05
    np.testing.assert_allclose(warm.values, -warm.values[::-1], atol=1e-12)
    # Along the hot face the gas pushes hardest at the edge; beyond it there is no face.
    along = data["face_pressure"].sel(drive="faces", face="hot").isel({"z": 0} if shape == "square" else {}).values
    on_face = np.isfinite(along)
    assert 0 < on_face.sum() < along.size
    assert np.all(np.diff(along[on_face]) > 0.0)
    assert data["velocity_x"].attrs["units"] == "v0"


def test_a_response_is_restored_from_its_fields(tmp_path):
    answer = respond("strip", 10.0, room=2.5, fields=True, **QUICK)
    file = tmp_path / "fields.nc"
    answer.to_dataset().to_netcdf(file)
    back = Response.from_dataset(xr.load_dataset(file))
    assert back == answer
    assert back.sweeps == answer.sweeps
    xr.testing.assert_allclose(back.to_dataset(), answer.to_dataset())
    with pytest.raises(InputError, match="holds no response"):
        Response.from_dataset(xr.Dataset())


def test_a_response_reports_its_progress():
    """After every sweep: level by level, drive by drive, towards the whole."""
    steps = []
    answer = respond("strip", 10.0, watch=steps.append, **QUICK)
    assert [step.level for step in steps] == sorted(step.level for step in steps)
    assert {step.drive for step in steps} == {"faces", "both", "motion"}
    done = [step.done for step in steps]
    assert 0.0 < done[0] < 0.2
    assert done[-1] == pytest.approx(1.0, abs=1e-12)
    assert done == sorted(done)
    # The last level has as many steps as sweeps, but for the first and last of each drive.
    last = [step for step in steps if step.level == steps[-1].level]
    assert len(last) == sum(answer.sweeps.values()) - 2 * 3


def test_a_curve_reports_its_progress():
    seen = []
    respond_curve("strip", [3.0, 1.0], watch=lambda done, step: seen.append((done, step.level)), **QUICK)
    assert seen[0] == (0, 1)
    assert seen[-1] == (1, 2)


def test_a_finer_grid_starts_from_the_coarser_solution():
    """Fewer sweeps, and the answer is that of a start from rest."""
    case, names = Case(Shape("strip"), Room(3.0, 3.0), 0.3), ("faces", "motion")
    coarse = solve(case, Resolution(0.7, 8), names, tolerance=1e-4)
    cold = solve(case, Resolution(1.0, 11), names, tolerance=1e-4)
    warm = solve(case, Resolution(1.0, 11), names, tolerance=1e-4, start=coarse)
    for a, b in zip(cold, warm, strict=True):
        assert b.force == pytest.approx(a.force, rel=1e-5)
        assert b.sweeps < a.sweeps


def test_fields_are_absent_unless_asked_for(thin):
    with pytest.raises(ValueError, match="fields=True"):
        Response.from_json(thin.to_json()).to_dataset()
