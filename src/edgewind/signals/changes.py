"""Changes made during a raw trace, with their times: "lamp off at 12 s; envelope -20 degC at 150 s"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from edgewind.errors import InputError
from edgewind.formatting import NUMBER
from edgewind.signals.columns import HIGHEST_ENVELOPE_K, MOST_LAMP
from edgewind.units import parse_quantity

_BEFORE = "at 12 s, or 5 s before where it was changed before the trace began"
_WHEN = re.compile(rf"^(?P<what>.*?)\s+(?:at\s+(?P<at>{NUMBER})\s*s|(?P<before>{NUMBER})\s*s\s+before)$", re.IGNORECASE)
_LAMP = re.compile(rf"^lamp\s+(?:(?P<word>on|off)|(?:to\s+)?(?P<share>{NUMBER})\s*(?P<percent>%)?)$", re.IGNORECASE)
_ENVELOPE = re.compile(r"^envelope\s+(?:to\s+)?(?P<value>.+)$", re.IGNORECASE)
# A clause that begins so and holds a time must be a valid change.
_MEANT = re.compile(rf"^(lamp|envelope)\b.*\b(at\s+{NUMBER}|{NUMBER}\s*s?\s+before)", re.IGNORECASE)


@dataclass(frozen=True)
class Change:
    """One change.

    Attributes
    ----------
    time_s : float
        Time after the beginning of the trace, s; negative where it was before.
    what : {"lamp", "envelope"}
        What was changed.
    value : float
        Share of the usual irradiance, or temperature in K, from then on.
    """

    time_s: float
    what: Literal["lamp", "envelope"]
    value: float


def parse_moments(text: str) -> tuple[Change, ...]:
    """Return the changes that a cell `changed` states with their moments; none where it is free text.

    Parameters
    ----------
    text : str
        Clauses such as ``lamp off at 12 s``, ``lamp 50 % at 60 s``, ``envelope -20 degC at 150 s`` or ``lamp off 5 s
        before``, separated by semicolons.

    Raises
    ------
    InputError
        A clause that begins like a change and cannot be read; a share or a temperature out of range; moments that do
        not ascend.

    Examples
    --------
    >>> [(one.what, one.value, one.time_s) for one in parse_moments("lamp off at 12 s; lamp on at 90 s")]
    [('lamp', 0.0, 12.0), ('lamp', 1.0, 90.0)]
    >>> parse_moments("cleaned the pivot")
    ()
    """
    clauses = [clause.strip() for clause in text.split(";") if clause.strip()]
    found = [_change(clause) for clause in clauses]
    changes = tuple(one for one in found if one is not None)
    if not changes:
        return ()
    if len(changes) < len(clauses):
        free = clauses[found.index(None)]
        raise InputError(
            f"'{free[:60]}' has no time, and the other changes have one",
            fix=f"write when it was changed, such as {_BEFORE}, or move it to 'note'",
        )
    _check_order(changes)
    return changes


def _check_order(changes: Sequence[Change]) -> None:
    for before, after in pairwise(changes):
        if after.time_s <= before.time_s:
            raise InputError(
                f"the change at {after.time_s:g} s stands after that at {before.time_s:g} s",
                fix="write the changes in the order in which they were made",
            )


def _change(clause: str) -> Change | None:
    when = _WHEN.match(clause)
    if when is None:
        if _MEANT.match(clause):
            raise InputError(
                f"'{clause[:60]}' does not say when something was changed", fix=f"write the time in seconds: {_BEFORE}"
            )
        return None
    time = float(when["at"]) if when["at"] is not None else -float(when["before"])
    what = when["what"].strip()
    lamp, envelope = _LAMP.match(what), _ENVELOPE.match(what)
    if lamp is not None:
        if lamp["word"]:
            return Change(time, "lamp", 1.0 if lamp["word"].lower() == "on" else 0.0)
        share = float(lamp["share"]) / (100 if lamp["percent"] else 1)
        if not 0 <= share <= MOST_LAMP:
            raise InputError(
                f"'{what[:60]}' is not a share of the lamp between 0 and {MOST_LAMP:g}",
                fix="write 'lamp on', 'lamp off' or the share of its usual irradiance such as 50 %",
            )
        return Change(time, "lamp", share)
    if envelope is not None:
        kelvin = float(parse_quantity(envelope["value"], "temperature"))
        if not 0 < kelvin <= HIGHEST_ENVELOPE_K:
            where = "at or below absolute zero" if kelvin <= 0 else f"above {HIGHEST_ENVELOPE_K:g} K"
            raise InputError(f"'{what[:60]}' is {where}", fix="write a temperature such as -20 degC")
        return Change(time, "envelope", kelvin)
    if _MEANT.match(clause):
        raise InputError(
            f"'{clause[:60]}' does not say what the lamp or the envelope was set to",
            fix="write 'lamp off', 'lamp on', 'lamp 50 %' or 'envelope -20 degC', and when",
        )
    return None
