"""Pictures of the gas from the results so far; impossible requests are refused first."""

from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.report.film import gas_field, gas_series, shipped_fields, standard_knudsen
from edgewind.report.film.shipped import STEPS, pack, unpack
from edgewind.runner import Job
from edgewind.web.errors import FieldError
from edgewind.web.gas_pictures import GasPictures, check_ways, choices
from edgewind.web.jobs import PageJob
from edgewind.web.work import compute_gas


class Computed:
    """In place of the process beside the server: a job whose first Knudsen numbers are ready."""

    def __init__(self, *ready: float) -> None:
        self._job = Job()
        self._job.begin(lambda: None)
        self._job.message("part", list(ready))

    def ask(self, key: tuple[Any, ...], function: Any, arguments: Any) -> PageJob:
        assert function is compute_gas
        return PageJob(key, Path("job"), arguments(Path("job")), self._job)


@pytest.mark.parametrize(
    "ways",
    [
        {"mark": "my rotor"},
        {"shape": "../x"},
        {"drive": "warp"},
        {"quantity": "taste"},
        {"size": "9K"},
        {"theme": "pink"},
        {"shape": ""},
    ],
)
def test_impossible_pictures_are_refused(ways: dict[str, str]) -> None:
    with pytest.raises(InputError):
        check_ways(ways)


def test_every_choice_offered_can_be_drawn() -> None:
    offered = choices()
    for name, key in (("shapes", "shape"), ("drives", "drive"), ("quantities", "quantity"), ("sizes", "size")):
        assert offered[name]
        for choice in offered[name]:
            check_ways({"shape": "strip", key: choice})
    assert offered["rotor_drives"] and set(offered["rotor_drives"]) < set(offered["drives"])
    for drive in offered["drives"]:  # what is not computed for a whole rotor is refused, and the page says which
        if drive in offered["rotor_drives"]:
            check_ways({"drive": drive})
        else:
            with pytest.raises(InputError, match="not computed for a whole rotor"):
                check_ways({"drive": drive})


def test_a_rotor_from_above_is_the_first_picture() -> None:
    """Shipped, so that nothing is waited for; the same choices as of a lone vane."""
    nothing = GasPictures(None)  # type: ignore[arg-type]
    assert next(iter(choices()["shapes"])) == "rotor"
    state = nothing.state("rotor", "thermal")
    assert state["state"] == "done" and state["solved"] == state["all"] and len(state["all"]) > 3
    content, words = nothing.picture({}, 0.3)
    assert content.startswith(b"\x89PNG")
    assert (int.from_bytes(content[16:20]), int.from_bytes(content[20:24])) == (1280, 720)
    assert "rotor" in words and "Knudsen number" in words
    assert nothing.picture({"drive": "flow", "quantity": "speed", "theme": "dark"}, 1.0)[0] != content
    assert nothing.picture({"mark": "0.2: mine"}, 0.3)[0] != content == nothing.picture({}, 0.3)[0]
    with pytest.raises(FieldError, match="beyond the curve") as refused:
        nothing.picture({"mark": "50: mine"}, 0.3)
    assert refused.value.field == "mark"
    still, kind = nothing.still({"kind": "svg"}, 1.0)
    assert kind == "svg" and b"<svg" in still[:2000]
    with pytest.raises(InputError):
        nothing.picture({}, 1e-3)


def test_the_strip_is_shown_at_once_and_other_shapes_as_they_are_computed(monkeypatch: pytest.MonkeyPatch) -> None:
    nothing = GasPictures(None)  # type: ignore[arg-type]
    state = nothing.state("strip", "thermal")
    assert state["state"] == "done" and state["solved"] == state["all"]
    content, words = nothing.picture({"shape": "strip", "quantity": "temperature", "theme": "dark"}, 1.0)
    assert content.startswith(b"\x89PNG")
    assert (int.from_bytes(content[16:20]), int.from_bytes(content[20:24])) == (1280, 720)
    assert "Knudsen number of 1" in words
    with pytest.raises(InputError):
        nothing.picture({"shape": "strip"}, 1e-3)
    still, kind = nothing.still({"shape": "strip", "kind": "svg", "size": "1080p"}, 1.0)
    assert kind == "svg" and b"<svg" in still[:2000]
    with pytest.raises(InputError, match="image type"):
        nothing.still({"shape": "strip", "kind": "exe"}, 1.0)
    with pytest.raises(InputError, match="not computed yet"):
        GasPictures(Computed()).picture({"shape": "disc"}, 1.0)  # type: ignore[arg-type]
    computing = GasPictures(Computed(1.0))  # type: ignore[arg-type]
    assert computing.state("disc", "thermal")["solved"] == [1.0]
    strip = gas_series("strip", [0.1, 1.0])
    monkeypatch.setattr("edgewind.report.film.gas_series", lambda shape, solved, drive: strip)
    assert computing.picture({"shape": "disc"}, 1.0)[0].startswith(b"\x89PNG")


@pytest.mark.parametrize("drive", ["thermal", "flow", "warm"])
def test_shipped_fields_agree_with_the_solution_before_packing(drive: str) -> None:
    """A check against ourselves: the form loses less than a step of a colour, and the size is what was promised."""
    fields = shipped_fields("strip", drive)
    assert [field.knudsen for field in fields] == pytest.approx(sorted(standard_knudsen("strip")), rel=1e-9)
    fields = [fields[0], fields[len(fields) // 2], fields[-1]]
    again = unpack(pack(fields))
    for one, other in zip(fields, again, strict=True):
        assert other.coefficient == one.coefficient and other.knudsen == one.knudsen
        largest = np.abs(one.moments).max(axis=(1, 2), keepdims=True)
        assert np.all(np.abs(other.moments - one.moments) <= largest / STEPS)


def test_a_shipped_field_agrees_with_the_solver() -> None:
    """A check against ourselves, with a rough solution."""
    rough = gas_field("strip", 1.0, tolerance=0.05, fineness=0.4, cache=False)
    (ready,) = gas_series("strip", [1.0]).fields
    assert rough.coefficient == pytest.approx(ready.coefficient, rel=0.05)
    assert rough.mean == pytest.approx(ready.mean, rel=0.05)


def test_all_shipped_fields_take_less_than_three_megabytes() -> None:
    folder = Path(str(files("edgewind.report.film") / "fields"))
    assert 0 < sum(path.stat().st_size for path in folder.iterdir()) < 3_000_000
