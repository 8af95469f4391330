"""Keys of a Windows console, with its calls replaced; those of a terminal are held by `test_record_command`."""

import pytest

from edgewind.cli import keys


class Console:
    """The calls of msvcrt that are used, with what was typed; `None` is a moment in which nothing is."""

    def __init__(self, typed):
        self.typed = list(typed)

    def kbhit(self):
        if self.typed and self.typed[0] is None:
            self.typed.pop(0)
            return False
        return bool(self.typed)

    def getwch(self):
        return self.typed.pop(0)

    getwche = getwch


class Stream:
    def isatty(self):
        return True


@pytest.fixture
def typed(monkeypatch):
    def make(*keys_typed):
        monkeypatch.setattr(keys, "_terminal", None)
        monkeypatch.setattr(keys, "_console", Console(keys_typed))
        return keys.Keys(Stream())

    return make


def test_single_keys_of_a_console_are_read(typed):
    with typed("P", None, "q") as read:
        assert read.live
        assert [read.key(), read.key(), read.key(), read.key()] == ["p", "", "q", ""]


def test_a_line_of_a_console_is_read_with_corrections(typed):
    with typed("1", None, "3", "\b", "2", ".", "5", "\r") as read:
        assert read.line("How fast? ") == "12.5"


def test_a_question_that_no_longer_applies_is_cancelled(typed):
    with typed("1", None) as read:
        assert read.line("How fast? ", still=lambda: False) == ""
