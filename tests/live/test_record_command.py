"""`edgewind record` at a terminal and in a script."""

import json
import os
import pty
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from edgewind import cli
from edgewind.book import open_book
from edgewind.live import recorders

sys.path.insert(0, str(Path(__file__).parent))
from commanded import come_to_rest, read_until, recorder
from test_sound_card import FakeLibrary


def without_lamp(text):
    """The text of a bench.toml whose lamp is switched by hand."""
    return re.sub(r"\[instruments\.lamp\][^[]*", "", text)


@pytest.fixture
def edgewind(monkeypatch, capsys):
    def call(*arguments):
        monkeypatch.setattr(sys, "argv", ["edgewind", *map(str, arguments)])
        try:
            cli.main()
            status = 0
        except SystemExit as error:
            status = error.code or 0
        out = capsys.readouterr()
        return status, out.out, out.err

    return call


def test_a_dry_run_prints_the_plan_and_moves_and_writes_nothing(at_rest, served_folder, edgewind, tmp_path):
    before = {name: instrument for name, instrument in at_rest.apparatus.state().items() if name in ("valve", "lamp")}
    book = tmp_path / "lab.book"
    status, out, _ = edgewind(
        "record", served_folder, book, "--pressures", "0.1Pa:10Pa:3", "--up-and-down", "--coast-downs", 1, "--dry-run"
    )
    assert status == 0
    for said in ("The valve at", "between 0 V and 9 V", "more than 40 Pa", "The lamp at", "Glass under vacuum"):
        assert said in out
    assert "3  coast-down at 1 Pa, up" in out and "6  reading at 0.1 Pa, down" in out
    status, out, _ = edgewind("record", served_folder, book, "--pressures", "0.1Pa:10Pa:3", "--dry-run", "--json")
    plan = json.loads(out)
    assert [step["pressure_pa"] for step in plan["steps"]] == [0.1, 1.0, 10.0] and len(plan["moves"]) == 3
    assert not book.exists() and [path.name for path in served_folder.iterdir()] == ["bench.toml"]
    after = at_rest.apparatus.state()
    assert abs(after["valve"] - before["valve"]) < 0.05 and after["lamp"] < 0.05


def test_record_stores_readings_and_prints_json(served_folder, edgewind, tmp_path):
    book = tmp_path / "lab.book"
    status, out, err = edgewind("record", served_folder, book, "--pressures", "1 Pa, 3 Pa", "--yes", "--json")
    assert status == 0, err
    told = json.loads(out)
    assert (told["phase"], told["done"], told["total"], told["problem"]) == ("finished", 2, 2, "")
    assert [round(one["pressure_pa"]) for one in told["stored"]] == [1, 3]
    assert "What will move:" in err and "The valve at" in err and "stored reading 1" in err
    with open_book(book) as opened:
        assert len(opened.contents("rotor").readings) == 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--pressures", "1 Pa"), "add --yes to confirm"),
        (("--yes",), "no pressures were given"),
        (("--pressures", "1 Pa, 90 Pa", "--yes"), "limits.pressure_above"),
        (("--pressures", "1 bar:x:2", "--yes"), "cannot be read as pressures"),
        (("--pressures", "1 Pa", "--coast-downs", "3", "--yes"), "3 coast-downs are too many for 1 pressures"),
        (("--pressures", "1 Pa", "--adaptive", "--yes"), "needs two pressures"),
        (("--pressures", "1 Pa, 4 Pa", "--adaptive", "--most", "3", "--yes"), "allow 6 readings or more"),
        (("--pressures", "1 Pa, 4 Pa", "--target-interval", "10%", "--yes"), "add --adaptive"),
        (("--pressures", "1 Pa, 4 Pa", "--adaptive", "--target-interval", "10 mm", "--yes"), "a share such as '10%'"),
        (("--resume", "--yes"), "no sweep of 'rotor' is unfinished"),
    ],
)
def test_invalid_requests_are_refused_before_anything_moves(
    at_rest, served_folder, edgewind, tmp_path, monkeypatch, arguments, said
):
    monkeypatch.setattr("sys.stdin", open(os.devnull))  # noqa: SIM115, PTH123
    status, _, err = edgewind("record", served_folder, tmp_path / "lab.book", *arguments)
    assert status == 2 and said in err
    assert at_rest.apparatus.state()["lamp"] < 0.05


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_sweep_in_the_safe_state(served, served_folder, tmp_path, number):
    process = recorder(
        served_folder, tmp_path / "lab.book", "--pressures", "1Pa:4Pa:400", "--yes",
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    for line in process.stdout:
        if "stored reading 1" in line:
            break
    process.send_signal(number)
    out, err = process.communicate(timeout=240)
    assert process.returncode == 0, (out, err)
    assert "stopped: stopped by the user" in out
    come_to_rest(served)
    with open_book(tmp_path / "lab.book") as opened:
        assert len(opened.contents("rotor").readings) >= 1


def test_keys_of_the_terminal_are_obeyed_and_commands_of_pages_are_shown(make_served_folder, tell, tmp_path):
    """A question answered on a page is cancelled at the terminal."""
    near, far = pty.openpty()
    process = recorder(
        make_served_folder(without_lamp), tmp_path / "lab.book", "--pressures", "1Pa:4Pa:400", stdin=far, stdout=far,
        stderr=far, env={**os.environ, "COLUMNS": "160", "TERM": "xterm"},
    )  # fmt: skip
    try:
        read_until(near, "Type yes to begin: ")
        os.write(near, b"yes\n")
        seen = read_until(near, "Switch the lamp on, then press Enter.")
        assert "Keys: p pause" in seen
        (found,) = recorders()
        tell("lamp", "OUTP ON")
        found.command("answer", "")
        read_until(near, "This question is closed")
        read_until(near, "stored reading 1")
        found.command("pause")
        read_until(near, "command: pause, from the pages")
        read_until(near, "paused ·")  # told first, obeyed then
        os.write(near, b"p")  # and the keys are obeyed beside the pages
        read_until(near, "stored reading")
        os.write(near, b"p")
        read_until(near, "paused ·")
        os.write(near, b"p")
        read_until(near, "stored reading")
        os.write(near, b"n")
        read_until(near, "note: ")
        os.write(near, b"a draught\n")
        read_until(near, "note: a draught")
        read_until(near, "stored reading")
        seen = ""
        while "skipped by the user" not in seen:  # a key that comes as a step ends is reported as late
            os.write(near, b"s")
            seen = read_until(near, "skipped by the user", "the skip came too late")
        os.write(near, b"q")
        read_until(near, "stopped: ")
        assert process.wait(240) == 0
    finally:
        process.kill()
        os.close(near)
        os.close(far)
    with open_book(tmp_path / "lab.book") as opened:
        readings = opened.contents("rotor").readings
        assert "a draught" in "".join(cells["note"] for cells in opened.contents("rotor").cells_now())
    assert len(readings) >= 2


def test_a_device_check_queries_every_instrument_and_moves_nothing(at_rest, make_served_folder, edgewind, tmp_path):
    served_folder = make_served_folder(
        lambda text: text.replace(at_rest.address("thermometer"), "TCPIP::127.0.0.1::1::SOCKET")
    )
    before = {key: at_rest.apparatus.state()[key] for key in ("valve", "lamp")}
    status, out, err = edgewind("record", served_folder, "--check", "--json")
    assert status == 0, err
    devices = {one["role"]: one for one in json.loads(out)["devices"]}
    assert list(devices) == ["gauge", "thermometer", "valve", "lamp", "tachometer", "thermostat"]
    assert devices["gauge"]["reading"].endswith(" V") and "gauge" in devices["gauge"]["identity"]
    assert devices["thermometer"]["problem"].startswith("thermometer: ") and not devices["thermometer"]["reading"]
    assert devices["lamp"]["reading"] in ("on", "off") and not devices["lamp"]["problem"]
    assert {key: at_rest.apparatus.state()[key] for key in ("valve", "lamp")} == pytest.approx(before, abs=0.05)
    assert [path.name for path in served_folder.iterdir()] == ["bench.toml"]
    status, out, _ = edgewind("record", served_folder, "--check")
    assert status == 0 and "check that it is switched on" in out and "Nothing was moved or written." in out


def of_sound_card(text):
    """The text of a bench.toml whose tachometer is in the microphone socket."""
    card = '[instruments.tachometer]\nsound_card = "default"\nsample_rate = "8 kHz"\nduration = "2 s"\n'
    return re.sub(r"\[instruments\.tachometer\][^[]*", f"{card}\n", text)


def test_a_sound_card_is_checked_like_other_instruments(at_rest, make_served_folder, edgewind, monkeypatch):
    monkeypatch.setitem(sys.modules, "sounddevice", FakeLibrary(channel=1))
    status, out, err = edgewind("record", make_served_folder(of_sound_card), "--check", "--json")
    assert status == 0, err
    card = next(one for one in json.loads(out)["devices"] if one["role"] == "tachometer")
    assert card["identity"] == "USB microphone" and not card["problem"]


def test_a_missing_package_for_a_sound_card_is_reported_before_anything_moves(
    at_rest, make_served_folder, edgewind, tmp_path, monkeypatch
):
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    folder = make_served_folder(of_sound_card)
    status, _, err = edgewind("record", folder, tmp_path / "lab.book", "--pressures", "1 Pa", "--yes")
    assert status != 0 and 'pip install "edgewind[sound]"' in err and "sound card" in err
    assert at_rest.apparatus.state()["lamp"] < 0.05
    status, out, err = edgewind("record", folder, "--check")
    assert "edgewind[sound]" in out + err


def test_a_recorder_started_by_another_program_does_not_read_its_terminal(make_served_folder, tell, tmp_path):
    served_folder = make_served_folder(without_lamp)
    process = recorder(
        served_folder, tmp_path / "lab.book", "--pressures", "1 Pa", "--remote", "--by", "a page",
        "--identity", "ab" * 8,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        end = time.monotonic() + 240
        while not (found := [one for one in recorders() if one.run == "ab" * 8]):
            assert process.poll() is None and time.monotonic() < end
            time.sleep(0.02)
        assert found[0].made_by == "a page"
        heard = found[0].listen()
        while (message := heard.next(30)) is None or not message.get("question"):
            assert process.poll() is None
        tell("lamp", "OUTP ON")
        found[0].command("answer", "", of=message["asked"])
        out, _ = process.communicate(timeout=240)
    finally:
        process.kill()
    assert process.returncode == 0 and "finished: every step is done" in out, out
