"""The form of a sweep: its request, refusals beside the field, and the recorder that it starts."""

import subprocess
from collections import defaultdict
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, Any

import pytest

from edgewind.clock import SimulatedClock
from edgewind.errors import InputError
from edgewind.virtual import invented_text, write_folder
from edgewind.web.bodies import SweepForm
from edgewind.web.catalog import Catalog
from edgewind.web.errors import FieldError, NotFoundError
from edgewind.web.live_updates import ExperimentFeeds
from edgewind.web.sweeps import Sweeps, request_of

ASKED = {"pressures": "0.1Pa:10Pa:3", "coast_downs": "0", "adaptive": "0"}


def test_a_form_becomes_a_sweep() -> None:
    found = request_of(SweepForm(**ASKED | {"up_and_down": "on", "coast_downs": "1"}))
    assert found.pressures_pa == pytest.approx((0.1, 1, 10))
    assert found.up_and_down and found.coast_downs == 1
    found = request_of(SweepForm(**ASKED | {"adaptive": "20", "target": "10%"}))
    assert (found.adaptive, found.target) == (20, "10%")


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"pressures": ""}, "pressures"),
        ({"pressures": "1 kg"}, "pressures"),
        ({"pressures": "-1 Pa"}, "pressures"),
        ({"pressures": "1Pa:10Pa:99999999"}, "pressures"),
        ({"coast_downs": "many"}, "coast_downs"),
        ({"coast_downs": "9"}, "coast_downs"),
        ({"adaptive": "-1"}, "adaptive"),
        ({"adaptive": "5", "up_and_down": "on"}, "adaptive"),
        ({"adaptive": "20", "target": "soon"}, "target"),
    ],
)
def test_invalid_sweeps_are_refused_beside_their_field(fields: dict[str, str], field: str) -> None:
    with pytest.raises(FieldError) as caught:
        request_of(SweepForm(**ASKED | fields))
    assert caught.value.field == field
    assert "--" not in str(caught.value)


class Process:
    """A recorder that ends at once, as a program that refuses does."""

    def __init__(self, status: int) -> None:
        self.returncode = status

    def wait(self) -> int:
        return self.returncode

    def poll(self) -> int:
        return self.returncode


@pytest.fixture
def virtual_folder(tmp_path: Path) -> Path:
    """The folder of a virtual bench that does not run: nothing here asks it."""
    ports: dict[str, int] = defaultdict(lambda: 1)
    write_folder(tmp_path / "virtual", invented_text(), ports)
    return tmp_path


@pytest.fixture
def started() -> list[list[str]]:
    return []


@pytest.fixture
def make_sweeps(virtual_folder: Path, started: list[list[str]]) -> Callable[..., Sweeps]:
    def make(status: int, said: bytes = b"") -> Sweeps:
        def launch(command: Sequence[str], out: IO[bytes]) -> Any:
            started.append(list(command))
            out.write(said)
            return Process(status)

        return Sweeps(Catalog(virtual_folder), ExperimentFeeds(), launch=launch, clock=SimulatedClock())

    return make


def test_nothing_is_written_before_a_sweep_is_started(
    make_sweeps: Callable[..., Sweeps], started: list[list[str]], virtual_folder: Path
) -> None:
    sweeps = make_sweeps(0)
    request = request_of(SweepForm(**ASKED))
    planned = sweeps.plan(request, "virtual", "swept", "lab.book", virtual_folder / "lab.book")
    view = planned.to_dict()
    assert view["steps"] == 3 and not view["resumed"] and any("valve" in move for move in view["moves"])
    assert started == [] and sorted(path.name for path in virtual_folder.iterdir()) == ["virtual"]
    sweeps.start(planned.id)
    (command,) = started
    assert command[1:4] == ["-m", "edgewind", "record"]
    assert {"--remote", f"--identity={planned.id}", "--name=swept", "--new-sweep"} <= set(command)
    assert command[-3:] == ["--", str(virtual_folder / "virtual"), str(virtual_folder / "lab.book")]
    with pytest.raises(NotFoundError, match="not prepared"):
        sweeps.start(planned.id)
    sweeps.close()


def test_a_refusal_of_the_recorder_is_shown(make_sweeps: Callable[..., Sweeps], virtual_folder: Path) -> None:
    sweeps = make_sweeps(2, b"a warning\nedgewind: bench.toml: the gauge does not answer\n")
    planned = sweeps.plan(request_of(SweepForm(**ASKED)), "virtual", "swept", "lab.book", virtual_folder / "lab.book")
    with pytest.raises(InputError, match="the gauge does not answer"):
        sweeps.start(planned.id)
    sweeps.close()


def test_a_discarded_sweep_cannot_be_started(make_sweeps: Callable[..., Sweeps], virtual_folder: Path) -> None:
    sweeps = make_sweeps(0)
    planned = sweeps.plan(request_of(SweepForm(**ASKED)), "virtual", "swept", "lab.book", virtual_folder / "lab.book")
    sweeps.drop(planned.id)
    with pytest.raises(NotFoundError):
        sweeps.start(planned.id)
    with pytest.raises(InputError, match="unfinished"):
        sweeps.plan(None, "virtual", "swept", "lab.book", virtual_folder / "lab.book")
    sweeps.close()


def test_a_recorder_is_started_in_its_own_session(virtual_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In its own session, without standard input: it continues when the server or its terminal ends, on Windows too."""
    from edgewind.web import sweeps

    seen: list[dict[str, Any]] = []
    monkeypatch.setattr(subprocess, "Popen", lambda command, **options: seen.append(options))
    sweeps._launch(["edgewind"], None)  # type: ignore[arg-type]
    assert seen[0]["start_new_session"] and seen[0]["stdin"] == subprocess.DEVNULL
    monkeypatch.setattr(sweeps.sys, "platform", "win32")
    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 512, raising=False)
    sweeps._launch(["edgewind"], None)  # type: ignore[arg-type]
    assert seen[1]["creationflags"] == 512 and "start_new_session" not in seen[1]
