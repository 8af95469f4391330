"""Errors between the program and an instrument."""

from __future__ import annotations

from edgewind.errors import EdgewindError


class InstrumentError(EdgewindError):
    """An instrument did not carry out a command or gave no valid answer; no value is invented.

    Parameters
    ----------
    who : str
        The instrument: its role, or its address.
    problem : str
        The problem.
    fix : str, optional
        A remedy.
    """

    def __init__(self, who: str, problem: str, fix: str = "") -> None:
        self.who, self.problem, self.fix = who, problem, fix
        super().__init__(f"{who}: {problem}" + (f"; {fix}" if fix else ""))

    def of(self, who: str) -> InstrumentError:
        """Return the error with another name of the instrument."""
        return type(self)(who, self.problem, self.fix)


class NoAnswerError(InstrumentError):
    """No complete answer arrived in time."""


class GarbledError(InstrumentError):
    """The answer does not match the query."""


class DisconnectedError(InstrumentError):
    """The connection cannot be opened, or was lost."""


class InterlockError(EdgewindError):
    """A limit was exceeded."""


class StoppedError(EdgewindError):
    """The user asked to stop."""
