"""Commands: valid ones are obeyed, late ones are refused or reported, and none that was accepted is lost."""

from pathlib import Path

import pytest

from edgewind.errors import InputError
from edgewind.live.commands import COMMANDS, Commands, RepeatError, SkipError
from edgewind.live.errors import StoppedError
from edgewind.live.events import SweepState
from edgewind.live.sweep_request import Step

ONE, TWO = Step(1, "reading", 1.0), Step(2, "reading", 2.0)


@pytest.fixture
def board():
    return SweepState()


@pytest.fixture
def commands(board):
    """Commands of a sweep that has begun; notes are kept under their own names."""
    made = Commands(board, Path)
    made.begin()
    return made


def told(board, kind):
    return [event.text for event in board.events.since(0) if event.kind == kind]


def obeyed(commands, **options):
    """What is raised when the sweep looks, by its name."""
    try:
        commands.obey(in_step=options.get("in_step", True))
    except (SkipError, RepeatError, StoppedError) as error:
        return type(error).__name__
    return None


def test_a_skip_applies_to_the_named_step_only(commands, board):
    commands.at(ONE)
    commands.give("skip", of=1)
    assert obeyed(commands, in_step=False) is None
    assert obeyed(commands) == "SkipError"
    assert obeyed(commands) is None
    commands.at(TWO)
    with pytest.raises(InputError, match="step 1 has already finished"):
        commands.give("skip", of=1)
    assert obeyed(commands) is None and told(board, "trouble") == []


def test_an_accepted_skip_that_came_too_late_is_reported(commands, board):
    commands.at(ONE)
    commands.give("skip", of=1)
    commands.stored(ONE, 7)
    commands.at(None)
    commands.at(TWO)
    assert obeyed(commands) is None
    assert len(told(board, "trouble")) == 1
    commands.give("skip")  # and once more, between the reading and the next step
    commands.at(None)
    commands.at(ONE)
    assert obeyed(commands) is None
    assert told(board, "trouble")[1] == "the skip came too late: that step had already finished"


def test_a_skip_before_any_step_applies_to_the_first(commands):
    commands.give("skip")
    commands.at(ONE)
    assert obeyed(commands) == "SkipError"


def test_the_last_reading_is_repeated_once(commands):
    with pytest.raises(InputError, match="no reading has been stored yet"):
        commands.give("repeat")
    commands.at(ONE)
    commands.stored(ONE, 4)
    commands.at(TWO)
    with pytest.raises(InputError, match="reading 3 is no longer the last one"):
        commands.give("repeat", of=3)
    commands.give("repeat", of=4)
    with pytest.raises(InputError, match="already being repeated"):
        commands.give("repeat", of=4)
    assert obeyed(commands) == "RepeatError"
    commands.at(ONE, again=True)
    with pytest.raises(InputError, match="already being repeated"):
        commands.give("repeat", of=4)
    assert obeyed(commands) is None
    commands.stored(ONE, 5)
    commands.at(None)
    assert obeyed(commands) is None


def test_the_first_answer_counts_and_applies_to_its_question_only(commands, board):
    with pytest.raises(InputError, match="no question is open"):
        commands.give("answer", "1")
    board.set(question="How much?", asked=commands.open_question())
    commands.give("answer", "1", of=board.status.asked)
    with pytest.raises(InputError, match="already been answered"):
        commands.give("answer", "2", of=board.status.asked)
    commands.answer("3")
    assert commands.take_answer() == "1" and commands.take_answer() is None
    first = board.status.asked
    board.set(question="How fast?", asked=commands.open_question())
    with pytest.raises(InputError, match="already been answered"):
        commands.give("answer", "1", of=first)
    commands.close_question()
    assert commands.take_answer() is None


def test_a_note_is_stored_before_it_is_acknowledged_and_refused_after_the_end(board):
    kept = []

    def keep(text):
        kept.append(text)
        if len(kept) == 2:
            raise InputError("the disk is full")
        return Path(text)

    commands = Commands(board, keep)
    with pytest.raises(InputError, match="has not been started"):
        commands.give("note", "early")
    commands.begin()
    commands.give("note", "the  pump hums")
    with pytest.raises(InputError, match="the disk is full"):
        commands.give("note", "lost")
    assert commands.take_notes() == [("the pump hums", Path("the pump hums"))]
    commands.close()
    for name in COMMANDS:
        with pytest.raises(InputError, match="this sweep has ended"):
            commands.give(name, "late")
    assert commands.take_notes() == [] and told(board, "note") == ["the  pump hums"]


def test_watchers_receive_the_name_of_who_gave_a_command(commands, board):
    commands.give("pause", who="from the pages")
    commands.give("note", "seen", who="from the pages")
    assert commands.paused
    commands.give("resume")
    commands.give("stop", who="from the pages")
    assert told(board, "command") == ["pause, from the pages", "stop, from the pages"]
    assert obeyed(commands, in_step=False) == "StoppedError"
