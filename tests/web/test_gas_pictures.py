"""The gas is drawn from what is computed so far, and what cannot be drawn is refused before anything is."""

from pathlib import Path
from typing import Any

import pytest

from edgewind.errors import InputError
from edgewind.runner import Job
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
    [{"shape": "../x"}, {"drive": "warp"}, {"quantity": "taste"}, {"size": "9K"}, {"theme": "pink"}, {"shape": ""}],
)
def test_what_cannot_be_drawn_is_refused(ways: dict[str, str]) -> None:
    with pytest.raises(InputError):
        check_ways(ways)


def test_all_that_is_offered_can_be_drawn() -> None:
    offered = choices()
    for name, key in (("shapes", "shape"), ("drives", "drive"), ("quantities", "quantity"), ("sizes", "size")):
        assert offered[name]
        for choice in offered[name]:
            check_ways({key: choice})


def test_the_picture_comes_from_what_is_computed_so_far() -> None:
    room = GasPictures(Computed())  # type: ignore[arg-type]
    with pytest.raises(InputError, match="not computed yet"):
        room.picture({}, 1.0)
    room = GasPictures(Computed(1.0))  # type: ignore[arg-type]
    assert room.state("strip", "thermal")["solved"] == [1.0]
    content, words = room.picture({"quantity": "temperature", "theme": "dark"}, 1.0)
    assert content.startswith(b"\x89PNG")
    assert (int.from_bytes(content[16:20]), int.from_bytes(content[20:24])) == (1280, 720)
    assert "Knudsen number of 1" in words
    with pytest.raises(InputError):
        room.picture({}, 0.1)
    still, kind = room.still({"kind": "svg", "size": "1080p"}, 1.0)
    assert kind == "svg" and b"<svg" in still[:2000]
    with pytest.raises(InputError, match="image type"):
        room.still({"kind": "exe"}, 1.0)
