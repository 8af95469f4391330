"""Errors between the program and an instrument."""

from __future__ import annotations

from edgewind.errors import EdgewindError


class InstrumentError(EdgewindError):
    """An instrument did not do or say what was asked; nothing is made up in its place.

    Parameters
    ----------
    who : str
        The instrument: its role, or its address.
    problem : str
        What happened.
    fix : str, optional
        What would help.
    """

    def __init__(self, who: str, problem: str, fix: str = "") -> None:
        self.who, self.problem, self.fix = who, problem, fix
        super().__init__(f"{who}: {problem}" + (f"; {fix}" if fix else ""))

    def of(self, who: str) -> InstrumentError:
        """Return the same error under another name of the instrument."""
        return type(self)(who, self.problem, self.fix)


class NoAnswerError(InstrumentError):
    """No whole answer came in time."""


class GarbledError(InstrumentError):
    """An answer came that is not one to this question."""


class DisconnectedError(InstrumentError):
    """The connection cannot be opened, or broke."""


class InterlockError(EdgewindError):
    """A limit that the owner set was crossed."""


class StoppedError(EdgewindError):
    """The person asked to stop."""
