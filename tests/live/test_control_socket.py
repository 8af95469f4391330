"""Control of a sweep from another program: commands are executed once or refused, by permitted users only."""

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
import tomlkit

from edgewind.book import open_book
from edgewind.errors import InputError
from edgewind.live import (
    ControlSocket,
    RecorderNotFoundError,
    SweepRequest,
    local_endpoint,
    recorders,
)
from edgewind.live.local_endpoint import endpoint_folder

sys.path.insert(0, str(Path(__file__).parent))
from commanded import recorder, wait_for
from simulated import PacedClock, SimulatedBench


@pytest.fixture(params=["unix", "tcp"])
def kind(request, monkeypatch):
    """Both kinds of connection; that over TCP is for systems without Unix sockets."""
    monkeypatch.setattr(local_endpoint, "has_unix_sockets", lambda: request.param == "unix")


@pytest.fixture
def bench(kind):
    """A simulated bench that other threads can keep up with."""
    return SimulatedBench(clock=PacedClock())


@contextlib.contextmanager
def running(bench, folder, target, request, **options):
    """A sweep in this process with a control socket, and the recorder as another program finds it."""
    sweep = bench.prepare(folder, target, request, **options)
    try:
        with ControlSocket(sweep, "a test"):
            sweep.start()
            (found,) = (one for one in recorders() if one.sweep == sweep.id)
            yield sweep, found
            sweep.stop()
            assert sweep.join(240)
    finally:
        sweep.close()


def let_pass(bench, seconds=60.0):
    """Let bench time pass, in the thread of the sweep."""
    end = bench.clock.monotonic() + seconds
    wait_for(lambda: bench.clock.monotonic() > end)


def kinds(sweep, kind):
    return [event for event in sweep.history() if event.kind == kind]


def hear(found):
    """Everything that a recorder tells, as it comes, until it ends; who never reads is let go."""
    messages, heard = [], found.listen()

    def read():
        with contextlib.suppress(EOFError):
            while True:
                messages.append(heard.next(60))

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    return messages, thread


def hold(sweep, found):
    """Pause, and return the number of the current step."""
    wait_for(lambda: sweep.status().step)
    found.command("pause")
    wait_for(lambda: sweep.status().phase == "paused")
    return sweep.status().step.number


def test_a_sweep_is_controlled_by_another_program_which_is_notified_of_its_end(bench, folder, tmp_path):
    target = str(tmp_path / "lab.book")
    with running(bench, folder, target, SweepRequest((1.0, 2.0, 4.0))) as (sweep, found):
        with open_book(target) as book:
            assert found.book == book.identity("rotor")
        messages, listening = hear(found)
        step = hold(sweep, found)
        assert step == 1
        found.command("note", "a  draught")
        found.command("skip", of=step)
        found.command("resume")
        wait_for(lambda: kinds(sweep, "stored"))
        assert [event.data["step"] for event in kinds(sweep, "skipped")] == [1]
        found.command("repeat", of=sweep.status().last_reading)
        wait_for(lambda: len(kinds(sweep, "stored")) > 1)
        found.command("stop")
        assert sweep.join(240)
        with pytest.raises(InputError, match="this sweep has ended"):
            found.command("pause")
        told = [event.text for event in kinds(sweep, "command")]
        assert told == [f"{name}, from the pages" for name in ("pause", "skip", "resume", "repeat", "stop")]
    listening.join(240)
    assert messages[-1]["kind"] == "status" and messages[-1]["running"] is False and messages[-1]["phase"] == "stopped"
    events = [event for one in messages if one["kind"] == "events" for event in one["events"]]
    assert [event["number"] for event in events] == sorted({event["number"] for event in events})
    assert [event["what"] for event in events if event["what"] in ("skipped", "end")] == ["skipped", "end"]
    assert [path for path in endpoint_folder().iterdir() if path == found.path] == []
    with open_book(target) as book:
        contents = book.contents("rotor")
    assert [reading.key.split("/", 1)[1] for reading in contents.readings][:2] == ["0002/1", "0002/2"]
    assert contents.cells_now()[0]["note"] == "a draught"


class Raw:
    """A program that speaks to a control socket line by line."""

    def __init__(self, found):
        self.run, self.link = found.run, local_endpoint.connect_to(found.path, 240.0)
        self.lines = self.link.makefile("rb")
        assert json.loads(self.lines.readline())["kind"] == "hello"

    def say(self, do, key, **other):
        about = {"do": do, "id": key, "run": self.run, "text": "", "of": None, "until": time.monotonic() + 240} | other
        self.link.sendall(json.dumps(about).encode() + b"\n")
        return json.loads(self.lines.readline())["refused"]


def test_a_repeated_command_is_executed_once(bench, folder, tmp_path):
    """As after the loss of a reply."""
    with running(bench, folder, tmp_path / "lab.book", SweepRequest((1.0, 2.0, 4.0))) as (sweep, found):
        hold(sweep, found)
        assert [Raw(found).say("note", "the same", text="once") for _ in range(3)] == [None, None, None]
        assert Raw(found).say("skip", "a skip") is None
        wait_for(lambda: kinds(sweep, "skipped"))
        wait_for(lambda: sweep.status().step.number == 2)  # and stays there, paused
        assert Raw(found).say("skip", "a skip") is None  # the same answer, and no second step skipped
        let_pass(bench)
        assert len(kinds(sweep, "skipped")) == 1 and len(kinds(sweep, "note")) == 1


def test_two_simultaneous_skips_of_one_step_do_not_skip_the_next(bench, folder, tmp_path):
    with running(bench, folder, tmp_path / "lab.book", SweepRequest(tuple(1.0 + n / 4 for n in range(12)))) as (
        sweep,
        found,
    ):
        for _ in range(6):
            step = hold(sweep, found)
            refused = []

            def skip(step=step, refused=refused):
                try:
                    found.command("skip", of=step)
                except InputError as error:
                    refused.append(str(error))

            both = [threading.Thread(target=skip) for _ in range(2)]
            for one in both:
                one.start()
            for one in both:
                one.join()
            found.command("resume")
            wait_for(lambda step=step: sweep.status().step.number > step)
            assert all("has already finished" in said for said in refused) and len(refused) < 2
        skipped = [event.data["step"] for event in kinds(sweep, "skipped")]
        assert len(skipped) == 6 and skipped == sorted(set(skipped))


def test_late_and_invalid_commands_are_refused_without_effect(bench, folder, tmp_path):
    with running(bench, folder, tmp_path / "lab.book", SweepRequest((1.0, 2.0, 4.0))) as (sweep, found):
        hold(sweep, found)
        for name, text, of, said in (
            ("skip", "", 3, "step 3 has already finished"),
            ("repeat", "", None, "no reading has been stored yet"),
            ("answer", "3.2", None, "no question is open"),
            ("note", "  ", None, "the note is empty"),
            ("fly", "", None, "is not a command"),
        ):
            with pytest.raises(InputError, match=said):
                found.command(name, text, of=of)
        raw = Raw(found)
        assert "that has stopped" in raw.say("stop", "a", run="another recorder")["problem"]
        assert "too late" in raw.say("stop", "b", until=time.monotonic() - 0.1)["problem"]
        assert "too late" in raw.say("stop", "c", until=None)["problem"]
        assert "not a command" in raw.say("stop", "d", text=3)["problem"]
        assert "not a command" in raw.say("stop", "e", of="1")["problem"]
        let_pass(bench)
        assert sweep.status().phase == "paused" and kinds(sweep, "skipped") == []
        found.command("resume")
        reading = wait_for(lambda: sweep.status().last_reading)
        hold(sweep, found)
        with pytest.raises(InputError, match="is no longer the last one"):
            found.command("repeat", of=reading + 5)


def test_a_client_that_sends_nonsense_or_never_reads_does_not_block_the_sweep(bench, folder, tmp_path):
    with running(bench, folder, tmp_path / "lab.book", SweepRequest((1.0, 2.0))) as (sweep, found):
        links = []
        for said in (b"\xff\xfe\n", b"[]\n", b"x" * 200_000, b'{"do": "tell"}\n' * 3, b"", b'{"do":'):
            link = local_endpoint.connect_to(found.path, 240.0)
            with contextlib.suppress(OSError):
                link.sendall(said)
            links.append(link)
        assert sweep.join(240)
        assert sweep.status().phase == "finished"
        for link in links:
            link.close()


def test_a_question_is_answered_once_by_another_program(bench, make_folder, tmp_path):
    def by_hand(text):
        table = tomlkit.parse(text)
        del table["instruments"]["lamp"]
        return tomlkit.dumps(table)

    with running(bench, make_folder(by_hand), tmp_path / "lab.book", SweepRequest((1.0,))) as (sweep, found):
        asked = wait_for(lambda: sweep.status().question and sweep.status().asked)
        with pytest.raises(InputError, match="has already been answered"):
            found.command("answer", "", of=asked + 1)
        bench.tell("lamp", "OUTP ON")
        found.command("answer", "", of=asked)
        with pytest.raises(InputError, match=r"no question is open|already been answered"):
            found.command("answer", "", of=asked)
        assert sweep.join(240) and sweep.status().phase == "finished"


# A recorder in a process of its own


@pytest.fixture
def begin(served_folder, tmp_path):
    """Begin `edgewind record` in a process of its own, and find it as another program does."""
    processes = []

    def start(pressures="1Pa:4Pa:200", target=None, where=None, **options):
        processes.append(
            recorder(where or served_folder, target or tmp_path / "lab.book", "--pressures", pressures, "--yes",
                     **({"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE} | options))
        )  # fmt: skip
        ours = processes[-1]

        def find():
            assert ours.poll() is None, ours.stderr.read() if ours.stderr else "it has ended"
            return recorders()

        (found,) = wait_for(find)
        return ours, found

    yield start
    for process in processes:
        process.kill()
        process.wait()
        if process.stderr:
            process.stderr.close()


def next_of(heard, wanted, seconds=240.0):
    """Hear until a state is as wanted."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        message = heard.next(5)
        if message is not None and message["kind"] == "status" and wanted(message):
            return message
    raise AssertionError("it was not heard")


def test_a_killed_recorder_leaves_nothing_that_controls_the_next(begin, served_folder, tmp_path):
    folder, target = served_folder, str(tmp_path / "lab.book")
    process, found = begin(target=target)
    heard = found.listen()
    next_of(heard, lambda one: one["step"])
    found.command("pause")
    paused = next_of(heard, lambda one: one["phase"] == "paused" and one["step"])
    found.command("note", "the pump hums")
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert found.path.exists()
    with pytest.raises(EOFError):
        while True:
            heard.next(5)
    for name in ("skip", "stop"):
        with pytest.raises(RecorderNotFoundError, match="has stopped, and nothing was done") as raised:
            found.command(name)
        assert "lamp and valve may still be on" in str(raised.value)
    assert recorders() == [] and not found.path.exists()
    # the next goes on with the same sweep: neither paused, nor at another step
    process, again = begin(target=target)
    assert (again.sweep, again.book) == (found.sweep, found.book) and again.run != found.run
    heard = again.listen()
    with pytest.raises(RecorderNotFoundError):
        found.command("stop")
    stored = next_of(heard, lambda one: one["last_reading"])
    assert stored["phase"] != "paused"
    again.command("stop")
    assert process.wait(240) == 0
    with open_book(target) as book:
        contents = book.contents("rotor")
    first = min(int(reading.key.split("/")[1]) for reading in contents.readings)
    assert first == 1 and paused["step"]["number"] >= 1
    assert not any(kept.path.endswith("-skipped.json") for kept in contents.files)
    # what was noted had been acknowledged: it is in the book, once
    notes = [cells["note"] for cells in contents.cells_now() if cells.get("note")]
    kept = [kept.path for kept in contents.files if "/note-" in kept.path]
    assert len(notes) + len(kept) == 1 and all(note == "the pump hums" for note in notes)
    assert sorted(Path(folder).glob(".spool/*/*.note")) == []


def test_a_recorder_that_hung_ignores_commands_that_timed_out(begin, monkeypatch):
    process, found = begin()
    monkeypatch.setattr("edgewind.live.client.ANSWER_S", 0.5)
    process.send_signal(signal.SIGSTOP)
    try:
        with pytest.raises(RecorderNotFoundError, match="does not answer, and will ignore"):
            found.command("stop")
    finally:
        process.send_signal(signal.SIGCONT)
        monkeypatch.undo()
    heard = found.listen()
    state = next_of(heard, lambda one: one["running"])
    done = state["done"]
    next_of(heard, lambda one: one["done"] > done)
    found.command("stop")
    assert process.wait(240) == 0


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can try as another user")
def test_another_user_can_neither_watch_nor_control_a_sweep(begin):
    _, found = begin()
    attempt = (
        "import socket, sys\n"
        "link = socket.socket(socket.AF_UNIX)\n"
        "try:\n    link.connect(sys.argv[1])\n"
        "except PermissionError:\n    sys.exit(7)\n"
    )
    done = subprocess.run(
        ["/usr/bin/env", "python3", "-c", attempt, str(found.path)], user=65534, group=65534, check=False
    )
    assert done.returncode == 7
    # were the folder open to all, the recorder itself would still ask who it is
    endpoint_folder().chmod(0o711)
    found.path.chmod(0o666)
    try:
        assert recorders() == []  # and a folder that others can enter is not believed
        attempt += "link.settimeout(120)\nsys.exit(8 if link.recv(10) == b'' else 9)\n"
        heard = subprocess.run(
            ["/usr/bin/env", "python3", "-c", attempt, str(found.path)], user=65534, group=65534, check=False
        )
    finally:
        endpoint_folder().chmod(0o700)
    assert heard.returncode == 8


def test_a_control_socket_that_cannot_be_opened_is_reported(bench, folder, tmp_path):
    open_to_all = tmp_path / "open"
    open_to_all.mkdir(mode=0o777)
    open_to_all.chmod(0o777)
    sweep = bench.prepare(folder, tmp_path / "lab.book", SweepRequest((2.0,)))
    try:
        with pytest.raises(InputError, match="other users can enter this folder"):
            ControlSocket(sweep, "a test", folder=open_to_all)
        if local_endpoint.has_unix_sockets():
            with pytest.raises(InputError, match="its path is too long for a socket"):
                ControlSocket(sweep, "a test", folder=tmp_path / ("deep" * 30))
    finally:
        sweep.close()


def test_a_client_without_the_token_of_a_loopback_socket_receives_nothing(bench, folder, tmp_path):
    """Another user of the machine can connect to the port, and cannot read the file with the token."""
    if local_endpoint.has_unix_sockets():
        pytest.skip("a Unix socket needs no token")
    with running(bench, folder, tmp_path / "lab.book", SweepRequest((1.0,))) as (sweep, found):
        assert found.path.stat().st_mode & 0o077 == 0
        port = json.loads(found.path.read_bytes())["port"]
        for said in (b"\n", b"0" * 32 + b"\n", b"0" * 500, b'{"do": "tell"}\n'):
            with socket.create_connection(("127.0.0.1", port), timeout=120) as link:
                link.sendall(said)
                with contextlib.suppress(ConnectionResetError):
                    assert link.recv(10) == b""
        found.command("note", "still here")
        assert kinds(sweep, "note")
    assert recorders() == []
