"""The command `edgewind bench` in a separate process."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time

import pytest
import tomlkit
from desk import Link
from support.threads import in_thread

from edgewind.bench import Bench, parse_bench
from edgewind.bench.virtual import VirtualSection
from edgewind.cli import main
from edgewind.clock import SimulatedClock
from edgewind.errors import InputError
from edgewind.virtual import INSTRUMENTS, Apparatus, clock_for, invented_bench, invented_text, write_folder

COMMAND = [sys.executable, "-m", "edgewind", "bench"]
PORTS = {role: 5000 + number for number, role in enumerate(INSTRUMENTS)}


@pytest.fixture
def start():
    """Start the command with --json and return the process and what it said."""
    processes = []

    def run(*arguments):
        process = subprocess.Popen(
            [*COMMAND, *arguments, "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        processes.append(process)
        return process, json.loads(process.stdout.readline())

    yield run
    for process in processes:
        process.kill()
        process.communicate()


def stopped(process, number, client):
    """Ask the process to end, and see that it does so cleanly and lets its clients go."""
    process.send_signal(number)
    out, err = process.communicate(timeout=120)
    assert client.stream.read() == b""
    assert process.returncode == 0
    assert out == "" and "Traceback" not in err and "has stopped" in err


def test_bench_prints_its_ports_runs_at_the_set_speed_and_ends_on_interrupt(start):
    process, said = start("--speed-up", "200", "--seed", "7")
    assert said["simulated"] is True and said["speed_up"] == 200 and said["seed"] == 7 and said["host"] == "127.0.0.1"
    assert set(said["ports"]) == set(INSTRUMENTS)
    with Link(said["ports"]["gauge"]) as client:
        assert "simulated" in client.ask("*IDN?")
        began, first = time.monotonic(), float(client.ask("SYST:TIME:TIM:COUN?"))
        time.sleep(0.5)
        later, passed = float(client.ask("SYST:TIME:TIM:COUN?")), time.monotonic() - began
        assert 200 * 0.5 <= later - first <= 200 * passed
        stopped(process, signal.SIGINT, client)


def test_bench_writes_a_folder_simulates_the_named_instruments_and_ends_on_terminate(start, tmp_path, bench_text):
    file = tmp_path / "mine.toml"
    file.write_text(bench_text + '\n[virtual]\nstart_pressure = "2 Pa"\nseed = 9\n', encoding="utf-8")
    process, said = start(str(file), "--write", str(tmp_path / "sweep"))
    assert said["seed"] == 9
    written = (tmp_path / "sweep" / "bench.toml").read_text(encoding="utf-8")
    table = tomlkit.parse(written).unwrap()
    assert table["instruments"]["valve"]["resource"] == f"TCPIP::127.0.0.1::{said['ports']['valve']}::SOCKET"
    assert "# from a bottle" in written  # the owner's comments stay
    with Link(said["ports"]["gauge"]) as client:
        assert 0.85 < float(client.ask("MEAS:VOLT?")) < 6.2
        stopped(process, signal.SIGTERM, client)


def test_bench_states_that_it_is_simulated_and_warns_when_it_is_open_to_the_network():
    process = subprocess.Popen(
        [*COMMAND, "--host", "0.0.0.0", "--open-to-network"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout.readline().startswith("SIMULATED BENCH: nothing real moves")
    process.terminate()
    _, err = process.communicate(timeout=120)
    assert "warning: open to the network of 0.0.0.0" in err


def test_speed_up_is_reduced_to_what_the_machine_can_simulate(monkeypatch):
    """A kernel that takes 10 ms for a simulated second allows 20 simulated seconds in a real second."""
    now = 0.0

    def catch_up(apparatus):
        nonlocal now
        now += 0.01 * apparatus.clock.monotonic()

    monkeypatch.setattr(Apparatus, "catch_up", catch_up)
    monkeypatch.setattr("time.thread_time", lambda: now)
    assert clock_for(invented_bench(), 300.0).speed_up == 20.0
    assert clock_for(invented_bench(), 15.5).speed_up == 15.5


def test_suspended_process_does_not_simulate_the_pause_when_it_goes_on(start):
    process, said = start("--speed-up", "100")
    with Link(said["ports"]["gauge"]) as client:
        first = float(client.ask("SYST:TIME:TIM:COUN?"))
        began = time.monotonic()
        process.send_signal(signal.SIGSTOP)
        time.sleep(3.0)
        process.send_signal(signal.SIGCONT)
        later, passed = float(client.ask("SYST:TIME:TIM:COUN?")), time.monotonic() - began
        assert later - first <= 100 * (passed - 3.0 + 0.6)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--host", "0.0.0.0"), "--open-to-network"),
        (("--speed-up", "0"), "not 0"),
        (("--speed-up", "nan"), "not nan"),
        (("--port", "99999"), "less than or equal to 65535"),
        (("--port", "-1"), "greater than or equal to 0"),
        (("nowhere.toml",), "there is no such file"),
    ],
)
def test_bad_input_ends_with_status_2_and_a_message(arguments, said, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["edgewind", "bench", *arguments])
    with pytest.raises(SystemExit) as end:
        in_thread(main)
    assert end.value.code == 2
    printed = capsys.readouterr()
    assert said in printed.err and printed.out == ""


def test_written_instruments_can_query_the_bench_they_address(desk, tmp_path):
    """Every command and question in the written bench.toml, sent to the instrument that it names."""
    file = write_folder(tmp_path / "sweep", invented_text(), PORTS, speed_up=100)
    roles = {f"TCPIP::127.0.0.1::{port}::SOCKET": role for role, port in PORTS.items()}
    tables = tomlkit.parse(file.read_text(encoding="utf-8")).unwrap()["instruments"]
    keys = ("set", "set_duration", "on", "off", "read", "start", "wait", "interval", "scale", "offset", "rate")
    for table in tables.values():
        role = roles[table["resource"]]
        for key in sorted(table.keys() & set(keys), key=keys.index):
            if key == "read" and role == "scope":
                desk.ask(role, table["start"])
            message = table[key].format(value=2.0)
            assert bool(desk.ask(role, message)) == message.endswith("?"), message
            assert desk.ask(role, table["errors"]) == b'0,"No error"', message


def test_a_written_bench_is_read_back_with_its_times(tmp_path):
    file = write_folder(tmp_path / "sweep", invented_text(), PORTS, speed_up=200)
    text = file.read_text(encoding="utf-8")
    assert 'dwell = "0.15 s"' in text and text.count("[limits]") == 1
    if "instruments" in Bench.model_fields:
        assert parse_bench(text).instruments is not None
    again = write_folder(tmp_path / "sweep", text, PORTS | {"gauge": 6000})  # a folder of ours may be written anew
    assert "::6000::" in again.read_text(encoding="utf-8") and again.read_text(encoding="utf-8").count("[limits]") == 1


def test_a_folder_not_written_by_bench_is_left_unchanged(tmp_path):
    (tmp_path / "bench.toml").write_text(invented_text(), encoding="utf-8")
    with pytest.raises(InputError, match="this path already exists"):
        write_folder(tmp_path, invented_text(), PORTS)
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="this path already exists"):
        write_folder(tmp_path / "file", invented_text(), PORTS)
    assert (tmp_path / "bench.toml").read_text(encoding="utf-8") == invented_text()


def test_the_invented_bench_states_that_it_is_invented():
    assert invented_text().startswith("# INVENTED")
    assert "no bench" in invented_bench().experiment.place


@pytest.mark.parametrize(
    ("section", "said"),
    [
        ('volume = "0 l"', "virtual.volume: '0 l' is too small"),
        ('volume = "6 m"', "'m' is not a unit of volume"),
        ('valve_flows = "1 Pa m^3/s"', "did you mean 'valve_flow'"),
        ('gauge_lag = "1 us"', "virtual.gauge_lag: '1 us' is too small"),
        ("seed = -1", "virtual.seed"),
    ],
)
def test_errors_in_the_virtual_section_are_explained(bench_text, section, said):
    with pytest.raises(InputError) as error:
        parse_bench(f"{bench_text}\n[virtual]\n{section}\n")
    assert said in str(error.value) and error.value.line is not None


def test_impossible_simulations_are_refused(make_bench):
    def with_virtual(**values):
        return invented_bench().model_copy(update={"virtual": VirtualSection(**values)})

    with pytest.raises(InputError, match=r"no key 'rotor\.vane_widht' to set; did you mean 'rotor\.vane_width'"):
        Apparatus(with_virtual(truth={"rotor.vane_widht": "3 mm"}), SimulatedClock())
    with pytest.raises(InputError, match="too fast to be simulated"):
        Apparatus(with_virtual(truth={"rotor.vane_conductance": "1e9 W/(m^2 K)"}), SimulatedClock())
    with pytest.raises(InputError, match="too fast to be simulated"):
        Apparatus(with_virtual(pumping_speed="1000 m^3/s"), SimulatedClock())


def test_the_template_names_existing_keys():
    """What `edgewind new` shows under [virtual], uncommented, is read."""
    from importlib.resources import files

    text = (files("edgewind.bench") / "template_files" / "bench.toml").read_text(encoding="utf-8")
    head, _, section = text.partition("# [virtual]")
    lines = [line.removeprefix("# ") for line in section.splitlines()[1:] if " = " in line and line.startswith("# ")]
    assert len(lines) >= 9
    virtual = parse_bench(head + "[virtual]\n" + "\n".join(lines[:9])).virtual
    assert virtual.gauge_shows.value == 0.97 and virtual.truth == {"rotor.accommodation": "0.92"}
