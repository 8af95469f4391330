"""Connections that delay, cut, garble and halve messages: no wrong value is ever stored."""

import math
from collections import Counter

import pytest
import tomlkit
from proxy import KINDS, Faults
from simulated import BadConnection

from edgewind.book import BookSource, open_book
from edgewind.live import SweepRequest
from edgewind.signals import read_experiment

FAULTS = Faults(
    delay_s=0.002, cut=0.003, half=0.003, split=0.005, garble=0.01, flip=0.01, duplicate=0.008, drop=0.002, noise=0.003
)
ROLES = {"gauge": "gauge", "thermometer": "thermometer", "valve": "valve", "lamp": "lamp", "tachometer": "scope"}


def patient(text):
    """Let every instrument try again often enough."""
    table = tomlkit.parse(text)
    for role in ROLES:
        section = table["instruments"][role]
        section["timeout"], section["retries"], section["errors"] = "0.3 s", 12, "SYST:ERR?"
    return tomlkit.dumps(table)


def sweep_through(bench, folder, target, request, truths, troubles):
    """Record until the sweep is finished, starting anew where trouble ended it."""

    def during(sweep, event):
        troubles.append(event.kind) if event.kind in ("retry", "trouble") else None
        if event.kind == "phase" and event.data["phase"] in ("reading", "storing"):
            truths.setdefault((sweep.id, sweep.status().step.number), []).append(bench.apparatus.state())

    for _ in range(12):
        status = bench.run(folder, target, request, during).status()
        if status.phase == "finished":
            return
        assert "made up" not in status.problem
    raise AssertionError(status)


@pytest.mark.parametrize("seed", [100, 200, 300])
def test_no_wrong_value_is_stored_through_a_bad_connection(bench, make_folder, tmp_path, seed):
    bench.connections = {
        name: BadConnection(bench.clock, FAULTS, seed + number) for number, name in enumerate(ROLES.values())
    }
    truths, troubles = {}, []
    request = SweepRequest((1.0, 2.0, 4.0), coast_downs=1)
    sweep_through(bench, make_folder(patient), tmp_path / "lab.book", request, truths, troubles)
    counts = sum((connection.counts for connection in bench.connections.values()), Counter())
    assert set(counts) == {*KINDS, "pieces"} and counts.total() - counts["pieces"] > 50, counts
    assert len(troubles) > 5
    with open_book(tmp_path / "lab.book") as book:
        contents = book.contents("rotor")
        table = read_experiment(BookSource(book, "rotor")).readings
    assert len(contents.readings) >= 3
    for reading, (_, row) in zip(contents.readings, table.iterrows(), strict=True):
        sweep, step, _ = reading.key.split("/")
        states = truths[sweep, int(step)]
        # what the gauge shows, in volts: its noise is 4 mV, and the pressure may have moved between the two moments
        shown = [5 + math.log10(state["gauge"]) for state in states]
        assert min(shown) - 0.02 < row["gauge_v"] < max(shown) + 0.02
        if row["lamp"]:
            speeds = [state["speed"] for state in states]
            assert 0.98 * min(speeds) < row["speed_rad_s"] < 1.02 * max(speeds)
        warm = [state["envelope"] for state in states]
        assert min(warm) - 0.5 < row["envelope_k"] < max(warm) + 0.5


class Unplugged:
    """A gauge whose cable is pulled, and put back."""

    def __init__(self, bench):
        self.pulled = False
        bench.faults["gauge"] = self

    def __call__(self, message):
        if self.pulled:
            raise ConnectionResetError("the cable is out")
        return message


def test_a_sweep_waits_for_cables_that_are_unplugged_and_reconnected(bench, folder, tmp_path):
    cable = Unplugged(bench)

    def during(sweep, event):
        if event.kind == "phase" and event.data["phase"] == "settling" and not kinds:
            cable.pulled = True
        elif event.kind == "trouble":
            cable.pulled = False
            kinds.append(event.kind)

    kinds = []
    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((1.0, 3.0)), during)
    assert sweep.status().phase == "finished", sweep.status()
    assert kinds == ["trouble"]


def test_a_gauge_that_stays_silent_ends_the_sweep_in_the_safe_state(bench, make_folder, tmp_path):
    cable = Unplugged(bench)
    folder = make_folder(lambda text: text.replace("[limits]", '[limits]\nsilent_for = "30 s"'))

    def during(sweep, event):
        if event.kind == "phase" and event.data["phase"] == "settling" and not pulled_at:
            cable.pulled = True
            pulled_at.append(bench.clock.monotonic())

    pulled_at = []
    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((1.0, 3.0)), during)
    status = sweep.status()
    assert status.phase == "failed" and status.problem.startswith("gauge: ")
    assert "check that it is switched on" in status.problem
    assert 30.0 < bench.clock.monotonic() - pulled_at[0] < 45.0
    assert [event.data["failed"] for event in sweep.history() if event.kind == "safe"][-1] == []
    assert bench.is_safe()
