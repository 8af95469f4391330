"""Errors of the project: each states the place, the fault and the right form."""

from __future__ import annotations

from os import PathLike


class EdgewindError(Exception):
    """Base of every error that Edgewind raises on purpose."""


class InputError(EdgewindError):
    """An input of the user cannot be used.

    Parameters
    ----------
    problem : str
        The fault, with the value.
    file : path, optional
        The file that holds it.
    line : int, optional
        Line in that file, counted from one.
    column : str or int, optional
        Column of a table: its name, or its number counted from one.
    key : str, optional
        Key of a settings file, dotted: ``gauge.kind``.
    fix : str, optional
        The right form.

    Examples
    --------
    >>> print(InputError("'7 mTor' is not a pressure", file="bench.toml", key="gas.pressure",
    ...                  fix="write a number and a unit, such as '7 mTorr'"))
    bench.toml, key gas.pressure: '7 mTor' is not a pressure; write a number and a unit, such as '7 mTorr'
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str | PathLike[str] | None = None,
        line: int | None = None,
        column: str | int | None = None,
        key: str | None = None,
        fix: str | None = None,
    ) -> None:
        self.problem, self.fix = problem, fix
        self.file = None if file is None else str(file)
        self.line, self.column, self.key = line, column, key
        super().__init__(str(self))

    def __str__(self) -> str:
        column = f"column {self.column}" if isinstance(self.column, int) else f"column '{self.column}'"
        parts = [
            self.file,
            None if self.line is None else f"line {self.line}",
            None if self.column is None else column,
            None if self.key is None else f"key {self.key}",
        ]
        where = ", ".join(part for part in parts if part)
        message = f"{where}: {self.problem}" if where else self.problem
        return f"{message}; {self.fix}" if self.fix else message

    def at(self, **place: str | int | PathLike[str] | None) -> InputError:
        """Return the error with a missing place filled in."""
        known = {"file": self.file, "line": self.line, "column": self.column, "key": self.key}
        merged = {name: known[name] if known[name] is not None else place.get(name) for name in known}
        return type(self)(self.problem, fix=self.fix, **merged)  # type: ignore[arg-type]


class OutOfRangeError(InputError):
    """A quantity lies outside the range in which a formula, table or gauge holds."""


class FieldError(InputError):
    """A value typed into one field of a form cannot be used.

    Parameters
    ----------
    field : str
        The field of the form.
    line : int, optional
        Line of a long text.
    """

    def __init__(self, field: str, problem: str, *, fix: str | None = None, line: int | None = None) -> None:
        super().__init__(problem, fix=fix, line=line)
        self.field = field
