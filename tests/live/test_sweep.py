"""A sweep on the virtual bench and a simulated clock: stored values, commands, and its end."""

import io
import json
import shutil
from contextlib import closing

import numpy as np
import pytest

from edgewind.bench import parse_bench
from edgewind.book import BookSource, check_book, open_book
from edgewind.errors import InputError
from edgewind.live import SweepRequest, parse_reversal, parse_run, parse_targets, prepare, read_plan, unfinished
from edgewind.live.columns import titles_of
from edgewind.live.prepare import _recover
from edgewind.live.spool import Spool
from edgewind.plan import Stop, Target
from edgewind.signals import pressure_from_volts, read_experiment


def stored(sweep):
    return [event.data for event in sweep.history() if event.kind == "stored"]


def test_a_sweep_up_and_down_with_a_coast_down_is_stored_completely(bench, folder, target):
    sweep = bench.run(folder, target, SweepRequest((0.3, 2.0, 10.0), up_and_down=True, coast_downs=1))
    status = sweep.status()
    assert (status.phase, status.problem, status.done, status.total) == ("finished", "", 6, 6)
    assert bench.is_safe()
    assert status.lamp == "off"
    assert check_book(target).whole
    with open_book(target) as book:
        contents = book.contents("rotor")
        found = read_experiment(BookSource(book, "rotor"))
    assert [reading.cells["sweep"] for reading in contents.readings] == ["up", "up", "up", "up", "down", "down"]
    assert [reading.cells["lamp"] for reading in contents.readings] == ["on", "on", "off", "on", "on", "on"]
    assert contents.bench == (folder / "bench.toml").read_bytes()
    table = found.readings
    # the pressures that a study finds are near the targets, and the times tell the readings apart
    targets = np.array([0.3, 2.0, 2.0, 10.0, 2.0, 0.3])
    assert np.abs(np.log(table["pressure_pa"].to_numpy() / targets)).max() < np.log(1.15)
    assert np.isfinite(table.loc[table["used"], "speed_rad_s"]).all()
    assert table["used"].tolist() == [True, True, False, True, True, True]
    assert all(len(time.partition(".")[2]) == 4 for time in table["time"])  # milliseconds and the zone
    assert [event.kind for event in sweep.history() if event.kind == "end"] == ["end"]
    assert unfinished(folder, target) == []


def test_stored_values_equal_those_of_the_bench(bench, folder, tmp_path):
    """The truth of the simulated apparatus at the moment of each reading, beside what was stored."""
    truths = []

    def during(sweep, event):
        if event.kind == "phase" and event.data["phase"] == "storing":
            truths.append(bench.state())

    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((0.5, 3.0)), during=during)
    described = parse_bench((folder / "bench.toml").read_text())
    with open_book(tmp_path / "lab.book") as book:
        contents = book.contents("rotor")
        found = read_experiment(BookSource(book, "rotor"))
        for reading in contents.readings:
            stream = io.BytesIO()
            book.copy_file("rotor", reading.trace_path, stream)
            arrays = np.load(io.BytesIO(stream.getvalue()))
            numbers = (arrays["tachometer_v"] - arrays["offset_v"]) / arrays["scale_v"]
            assert np.abs(numbers - numbers.round()).max() < 1e-6  # the numbers of the oscilloscope come back
    assert len(truths) == len(stored(sweep)) == 2
    for truth, (_, row) in zip(truths, found.readings.iterrows(), strict=True):
        shown = pressure_from_volts([row["gauge_v"]], described).pressure_pa[0]
        assert shown == pytest.approx(truth["gauge"], rel=0.06)  # noise of the gauge is 1 %
        assert row["speed_rad_s"] == pytest.approx(truth["speed"], rel=0.01)


def test_a_reversal_is_recorded_as_a_run_with_its_sign_through_standstill(bench, folder, tmp_path):
    """Lamp off, standstill, envelope chilled in the dark: the rotor of this bench reverses, and the run shows it."""
    request = parse_reversal("2.5 Pa, -20 degC")
    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((2.5,), run=request))
    assert sweep.status().phase == "finished", sweep.status()
    assert [data["step_kind"] for data in stored(sweep)] == ["reading", "run"]
    with open_book(tmp_path / "lab.book") as book:
        first, second = book.contents("rotor").cells_now()
        found = read_experiment(BookSource(book, "rotor"))
    assert first["leading face"] == "bright" and second["changed"] == "lamp off, then envelope to -20 degC"
    (run,) = found.runs.values()
    assert run.signed and set(run.changes) == {"lamp", "envelope"}
    assert run.envelope_k.min() < 256.0 and run.envelope_k[0] > 294.0
    speed, place = run.speed_rad_s, int(np.nanargmin(run.speed_rad_s))
    off, _ = run.time_s[np.isnan(speed)]
    assert run.lamp_share[run.time_s < off].min() == 1  # the moments of lamp and envelope stand by themselves
    assert speed[0] > 5.0 and speed[place] < -1.0 and abs(speed[-1]) < 0.3 * abs(speed[place])
    assert bench.is_safe(5000.0) and bench.state()["envelope"] == pytest.approx(295.15, abs=0.5)  # thermostat off


def test_a_stopped_sweep_is_safe_and_resumes_where_it_stopped(bench, folder, target):
    request = SweepRequest((1.0, 3.0, 9.0))

    def stop_after_the_first(sweep, event):
        if event.kind == "stored":
            sweep.stop()

    first = bench.run(folder, target, request, during=stop_after_the_first)
    assert first.status().phase == "stopped"
    assert bench.is_safe()
    (waiting,) = unfinished(folder, target)
    assert (waiting.done, waiting.total, waiting.request) == (1, 3, request)
    second = bench.run(folder, target, request)
    assert second.resumed and second.id == first.id
    assert [data["step"] for data in stored(second)] == [2, 3]
    third = prepare(folder, target, request)  # nothing is unfinished now: a new one
    assert not third.resumed and third.id != first.id
    third.close()
    with open_book(target) as book:
        assert len(book.contents("rotor").readings) == 3


def test_lowered_limits_apply_to_a_resumed_sweep(folder, tmp_path):
    prepare(folder, tmp_path / "lab.book", SweepRequest((1.0, 30.0))).close()
    file = folder / "bench.toml"
    file.write_text(file.read_text().replace('pressure_above = "40 Pa"', 'pressure_above = "20 Pa"'))
    with pytest.raises(InputError, match="30 Pa is asked for, and the limit is 20 Pa"):
        prepare(folder, tmp_path / "lab.book", None, resume=True)


def test_a_new_plan_beside_an_unfinished_one_needs_a_choice(folder, tmp_path):
    target = tmp_path / "lab.book"
    prepare(folder, target, SweepRequest((1.0, 3.0))).close()
    with pytest.raises(InputError, match="with other pressures is unfinished") as raised:
        prepare(folder, target, SweepRequest((1.0, 2.0)))
    assert "--new-sweep" in str(raised.value)
    sweep = prepare(folder, target, None, resume=True)
    assert sweep.request.pressures_pa == (1.0, 3.0) and sweep.resumed
    sweep.close()
    sweep = prepare(folder, target, SweepRequest((1.0, 2.0)), resume=False)
    assert not sweep.resumed
    sweep.close()
    assert [one.request.pressures_pa for one in unfinished(folder, target)] == [(1.0, 2.0)]


def test_skip_repeat_and_note_are_obeyed(bench, folder, tmp_path):
    seen = []

    def during(sweep, event):
        seen.append(event.kind)
        if event.kind == "phase" and event.data["phase"] == "settling" and sweep.status().step.number == 1:
            sweep.skip()
        if event.kind == "stored" and seen.count("stored") == 1:
            sweep.repeat()
        if event.kind == "phase" and event.data["phase"] == "reading" and seen.count("note") == 0:
            sweep.note("the  pump hums")

    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((0.5, 2.0, 4.0)), during=during)
    assert sweep.status().phase == "finished"
    assert [(data["step"], data["key"].rpartition("/")[2]) for data in stored(sweep)] == [(2, "1"), (2, "2"), (3, "1")]
    with open_book(tmp_path / "lab.book") as book:
        contents = book.contents("rotor")
    assert contents.readings[0].cells["note"] == "the pump hums"
    assert any(kept.path.endswith("0001-skipped.json") for kept in contents.files)


def test_a_skip_during_a_trace_leaves_out_that_reading_only(bench, folder, tmp_path):
    def during(sweep, event):
        if event.kind == "phase" and event.data["phase"] == "reading" and sweep.status().step.number == 1:
            sweep.skip()

    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((1.0, 3.0)), during=during)
    assert sweep.status().phase == "finished"
    assert [data["step"] for data in stored(sweep)] == [2]


def test_commands_before_the_first_step_are_harmless(bench, folder, tmp_path):
    sweep = bench.prepare(folder, tmp_path / "lab.book", SweepRequest((1.0, 3.0)))
    sweep.repeat()
    sweep.skip()
    sweep.note("before anything")
    sweep.start()
    try:
        assert sweep.join(240) and sweep.status().phase == "finished", sweep.status()
    finally:
        sweep.close()
    assert [data["step"] for data in stored(sweep)] == [2]


def test_a_paused_sweep_waits_and_checks_its_limits(bench, folder, tmp_path):
    looked = []

    def during(sweep, event):
        if event.data.get("phase") == "paused":
            bench.clock.at(bench.clock.monotonic() + 600.0, lambda: (looked.append(sweep.status()), sweep.resume()))
            bench.tell("valve", "VOLT 1")  # the pressure moves while it is paused, and is seen to

    sweep = bench.prepare(folder, tmp_path / "lab.book", SweepRequest((1.0, 2.0)))
    sweep.subscribe(lambda event: during(sweep, event))
    sweep.pause()
    sweep.start()
    try:
        assert sweep.join(240) and sweep.status().phase == "finished"
    finally:
        sweep.close()
    (paused,) = looked
    assert (paused.phase, paused.done) == ("paused", 0) and paused.pressure_pa is not None


def test_pressures_that_cannot_be_reached_are_skipped_and_reported(bench, make_folder, tmp_path):
    folder = make_folder(lambda text: text.replace('valve_above = "9 V"', 'valve_above = "5.5 V"'))
    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((0.001, 1.0, 20.0)))
    assert sweep.status().phase == "finished"
    skipped = {event.data["step"]: event.data["why"] for event in sweep.history() if event.kind == "skipped"}
    assert set(skipped) == {1, 3}
    assert "even with the valve closed" in skipped[1]
    assert "largest allowed opening" in skipped[3]


def test_a_pressure_above_the_limit_is_refused_before_the_start(folder, tmp_path):
    with pytest.raises(InputError, match=r"50 Pa is asked for, and the limit is 40 Pa") as raised:
        prepare(folder, tmp_path / "lab.book", SweepRequest((1.0, 50.0)))
    assert "limits.pressure_above" in str(raised.value)
    assert not (tmp_path / "lab.book").exists()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('pressure_above = "40 Pa"\n', "", "a connected valve needs a limit of the pressure"),
        ('valve_above = "9 V"', 'valve_above = "0 V"', "the valve may not be set beyond 0 V"),
    ],
)
def test_nothing_that_moves_is_used_without_limits(make_folder, tmp_path, old, new, said):
    folder = make_folder(lambda text: text.replace(old, new))
    with pytest.raises(InputError, match=said):
        prepare(folder, tmp_path / "lab.book", SweepRequest((1.0,)))


class Chosen:
    """A strategy that goes up a list, by what the book holds."""

    def __init__(self, pressures):
        self.pressures = pressures
        self.seen = []

    def next_target(self, source, done):
        count = 0 if source is None else len(source.readings())
        self.seen.append((count, len(done)))
        if count >= len(self.pressures):
            return Stop(reason="gain below cost", sentence="all is known", reached=True)
        return Target(self.pressures[count], "reading", f"choice {count + 1}", count + 1, None, None, None, 60.0)


def test_an_adaptive_sweep_plans_after_every_reading_and_resumes_after_a_stop(bench, folder, tmp_path):
    request, pressures = SweepRequest((0.5, 8.0), adaptive=10), (1.0, 4.0, 2.0)

    def stop_at_the_second(sweep, event):
        if event.kind == "phase" and event.data["phase"] == "reading" and sweep.status().step.number == 2:
            sweep.stop()

    first = Chosen(pressures)
    stopped = bench.run(folder, tmp_path / "lab.book", request, strategy=first, during=stop_at_the_second)
    assert stopped.status().phase == "stopped" and first.seen == [(0, 0), (1, 1)]
    second = Chosen(pressures)
    sweep = bench.run(folder, tmp_path / "lab.book", request, strategy=second)
    assert second.seen == [(2, 2), (3, 3)]  # the second target was chosen before the stop and is not chosen again
    assert [data["step"] for data in stored(sweep)] == [2, 3]
    assert sweep.status().message == "all is known"
    assert [step.pressure_pa for step in sweep.steps] == [1.0, 4.0, 2.0]


def by_hand(text, *roles):
    """Take the sections of some instruments out."""
    import tomlkit

    table = tomlkit.parse(text)
    for role in roles:
        del table["instruments"][role]
    return tomlkit.dumps(table)


def test_without_valve_and_gauge_the_user_is_asked_for_both(bench, make_folder, tmp_path):
    folder = make_folder(lambda text: by_hand(text, "valve", "gauge", "lamp", "thermostat"))
    described = parse_bench((folder / "bench.toml").read_text())
    asked, typed = [], []
    answers = {"wrong": ["none", "9.9"]}

    def during(sweep, event):
        if event.kind != "question":
            return
        asked.append(event.text)
        if event.text.startswith("Switch the lamp on"):
            bench.tell("lamp", "OUTP ON")
        if event.text.startswith("Set the pressure"):
            bench.tell("valve", "OUTP ON", "VOLT 5")
        if "gauge" in event.text:
            if answers["wrong"]:
                sweep.answer(answers["wrong"].pop(0))
                return
            typed.append(f"{5 + np.log10(bench.state()['gauge']):.3f}")
            sweep.answer(typed[-1])
        else:
            sweep.answer("")

    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((1.0,)), during=during)
    assert sweep.moves == ()
    assert any("Set the pressure to about 1 Pa" in text for text in asked)
    assert "Switch the lamp on, then press Enter." in asked
    # with 9.9 V typed the gauge would be over its range: that stops a sweep
    assert sweep.status().phase == "failed" and "over its range" in sweep.status().problem
    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((1.0,)), during=during)
    assert sweep.status().phase == "finished", sweep.status()
    with open_book(tmp_path / "lab.book") as book:
        (reading,) = book.contents("rotor").readings
    assert reading.cells["gauge"] == typed[-1]
    assert described.gauge.signal_low.value < float(typed[-1]) < described.gauge.signal_high.value


def test_an_unanswered_question_ends_with_stop(bench, make_folder, tmp_path):
    folder = make_folder(lambda text: by_hand(text, "valve", "lamp"))
    phases = []

    def during(sweep, event):
        if event.kind == "question":
            bench.clock.at(bench.clock.monotonic() + 900.0, lambda: (phases.append(sweep.status().phase), sweep.stop()))

    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((1.0,)), during)
    assert phases == ["asking"] and sweep.status().phase == "stopped"


def test_two_recorders_cannot_use_one_bench(folder, tmp_path):
    sweep = prepare(folder, tmp_path / "lab.book", SweepRequest((1.0,)))
    try:
        with pytest.raises(InputError, match="another recorder is using this bench"):
            prepare(folder, tmp_path / "lab.book", SweepRequest((1.0,)))
    finally:
        sweep.close()
    prepare(folder, tmp_path / "lab.book", SweepRequest((1.0,))).close()


def test_a_bench_toml_changed_in_the_meantime_is_stored_as_a_new_version(folder, tmp_path):
    target = tmp_path / "lab.book"
    prepare(folder, target, SweepRequest((1.0,))).close()
    file = folder / "bench.toml"
    file.write_text(file.read_text() + "\n# a new cable\n")
    prepare(folder, target, SweepRequest((1.0,))).close()
    with open_book(target) as book:
        versions = book.contents("rotor").benches
    assert [version.number for version in versions] == [1, 2]
    assert versions[1].content == file.read_bytes()


def test_a_table_without_the_columns_of_a_recording_is_refused(folder, tmp_path, bench_text):
    target = tmp_path / "lab.book"
    with open_book(target, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time", "pressure [Pa]", "speed [rpm]"])
    with pytest.raises(InputError, match="has no title 'gauge'") as raised:
        prepare(folder, target, SweepRequest((1.0,)))
    assert "--name" in str(raised.value)
    prepare(folder, target, SweepRequest((1.0,)), name="other").close()


def test_pressures_are_read_in_common_notations():
    assert parse_targets("10 mTorr, 1 Pa") == pytest.approx((1.3332, 1.0), rel=1e-4)
    assert len(parse_targets("0.02Pa:20Pa:12")) == 12
    assert parse_targets("10Pa:0.1Pa:3") == (10.0, 1.0, 0.1)
    for wrong in ("1:2:3", "1Pa:2Pa", "1Pa:2Pa:x", "1Pa:2Pa:0", "0Pa:2Pa:3", "", "3"):
        with pytest.raises(InputError):
            parse_targets(wrong)


def test_a_stopped_run_by_hand_is_safe_and_stored_up_to_the_stop(bench, folder, tmp_path):
    """A lamp that goes off and on again by command, something else noted, then stop: nothing of it is lost."""
    said = []

    def during(sweep, event):
        if event.kind != "observed" or sweep.status().phase != "run":
            return
        rows = len(sweep.run_since("", 0)[2])
        for after, name, text in (
            (4, "lamp", "off"), (8, "changed", "gas let in"), (10, "lamp", "on"), (12, "envelope", "-20"),
            (16, "stop", ""),
        ):  # fmt: skip
            if rows >= after and name + text not in said:
                said.append(name + text)
                sweep.command(name, text)
                for refused in ("pause", "skip", "repeat"):
                    with pytest.raises(InputError, match="a run cannot be interrupted"):
                        sweep.command(refused)

    request = SweepRequest((), run=parse_run("2.5 Pa, 2 h"))
    sweep = bench.run(folder, tmp_path / "lab.book", request, during)
    assert sweep.status().phase == "stopped" and bench.is_safe()
    with open_book(tmp_path / "lab.book") as book:
        (cells,) = book.contents("rotor").cells_now()
        found = read_experiment(BookSource(book, "rotor"))
    assert cells["changed"] == "lamp off, then gas let in, then lamp on, then envelope to -20 degC"
    assert cells["note"] == "cut off before its end"
    (run,) = found.runs.values()
    assert "lamp" in run.changes and run.lamp_share[[0, -1]].tolist() == [1, 1] and run.lamp_share.min() == 0
    assert not list((folder / ".spool").rglob("*.run"))
    with pytest.raises(InputError, match="has ended"):
        sweep.command("lamp", "on")


def test_a_run_by_hand_needs_no_instrument(bench, make_folder, tmp_path):
    """Speeds typed with their sign, a lamp and an envelope that a person moves: each at the moment of the gesture."""
    folder = make_folder(
        lambda text: text.split("[instruments")[0] + "[steadiness]\nreversal = '40 s'\nevery = '1 s'\n"
    )
    gestures = iter([
        ("speed", "+12.0"), ("lamp", "off"), ("speed", "+3"), ("speed", "0"), ("envelope", "-20 degC"),
        ("speed", "-2.5"), ("speed", "-1"), ("end", ""),
    ])  # fmt: skip
    refused = []

    def during(sweep, event):
        if event.kind == "question":
            sweep.command("answer", "2.5")
        elif event.kind == "observed" and sweep.status().phase == "run":
            if not refused:
                for name, text in (("speed", "fast"), ("lamp", "3"), ("envelope", "-300 degC"), ("changed", " ")):
                    with pytest.raises(InputError) as caught:
                        sweep.command(name, text)
                    refused.append(str(caught.value))
            elif len(sweep.run_since("", 0)[2]) % 3 == 0 and (gesture := next(gestures, None)):
                sweep.command(*gesture)

    request = SweepRequest((), run=parse_run("envelope 22 degC first, lamp off at 5 s"))
    sweep = bench.run(folder, tmp_path / "lab.book", request, during)
    assert sweep.status().phase == "finished", sweep.status()
    assert "absolute zero" in refused[2]
    with open_book(tmp_path / "lab.book") as book:
        found = read_experiment(BookSource(book, "rotor"))
    (run,) = found.runs.values()
    speed = run.speed_rad_s[np.isfinite(run.speed_rad_s)] * 30 / np.pi
    assert run.signed and speed == pytest.approx([12, 3, 0, -2.5, -1], rel=1e-3)
    assert set(run.changes) == {"lamp", "envelope"} and run.envelope_k[[0, -1]] == pytest.approx([295.15, 253.15])
    assert np.ptp(np.diff(run.envelope_k)) == pytest.approx(42.0)  # at one moment, as it was said


def test_a_run_whose_recorder_was_killed_is_stored_at_the_next_start(bench, folder, tmp_path):
    """The rows lie on the disk one by one; the last may be half written."""
    request = SweepRequest((), run=parse_run("2.5 Pa, lamp off at 20 s, 2 min"))
    kept = tmp_path / "kept"

    def during(sweep, event):
        if event.kind == "observed" and len(sweep.run_since("", 0)[2]) == 9:
            shutil.copytree(folder / ".spool", kept)

    bench.run(folder, tmp_path / "first.book", request, during)
    spool = folder / ".spool"
    shutil.rmtree(spool)
    shutil.copytree(kept, spool)
    (file,) = spool.rglob("*.run")
    file.write_bytes(file.read_bytes()[:-9])
    file.rename(file.with_name(file.name.replace(".run", "x.run")))  # beside the run that was stored whole
    with open_book(tmp_path / "second.book", make=True) as book:
        book.add_experiment("rotor", (folder / "bench.toml").read_bytes(), titles_of(read_plan(folder)))
        (place,) = spool.iterdir()
        with closing(Spool(place)) as again:
            _recover(again, book)
            assert list(again.cut_off()) == []
        (cells,) = book.contents("rotor").cells_now()
        found = read_experiment(BookSource(book, "rotor"))
    assert cells["note"] == "cut off: its recorder was killed" and cells["changed"] == "lamp off"
    (run,) = found.runs.values()
    assert run.time_s.size == 8 and run.changes == ("lamp",)


def test_a_plan_of_a_book_of_an_earlier_version_is_read(bench):
    plain = SweepRequest((1.0,)).plain()
    plain.pop("run")
    earlier = SweepRequest.of(plain | {"reversal_pa": 2.0, "reversal_k": 253.15})
    assert earlier == SweepRequest((1.0,), run=parse_reversal("2 Pa, -20 degC"))
    again = parse_run(
        "1 mTorr, lamp off first, lamp 50 % at 1 min, envelope to 30 degC at standstill, gas let in at 2 h, 3 h"
    )
    assert SweepRequest.of(json.loads(json.dumps(SweepRequest((), run=again).plain()))).run == again
    assert parse_run(again.text) == again


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2 Pa, lamp off at dawn", "'dawn' is not a time for 'lamp off'"),
        ("2 Pa, 3 Pa", "is given twice"),
        ("2 Pa, envelope to -300 degC at 1 s", "absolute zero"),
        ("2 Pa, envelope to 1600 K at 1 s", "above 1500 K"),
        ("2 Pa, lamp 250 % at 1 s", "not a state of the lamp"),
        ("2 Pa, lamp off at 30 s, lamp on at 10 s", "comes before the change at 30 s"),
        ("2 Pa, lamp off at 30 s, 20 s", "ends after 20 s, before its change at 30 s"),
        ("2 Pa, 90 h", "at most 24 h"),
        ("2 Pa, soon", "is not a pressure, a duration or a change"),
        ("-2 Pa", "above zero"),
        ("gas first", "is not an initial state of a run"),
    ],
)
def test_an_impossible_run_is_refused(text, said):
    with pytest.raises(InputError, match=said):
        parse_run(text)
