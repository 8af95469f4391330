"""Date-time stamps of loggers: found in the rows of a text, and written as nanoseconds from the first of them.

A whole number of nanoseconds needs no decimal mark and keeps every digit, so that the rows read like any others after.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from edgewind.errors import InputError

DAY_S = 86_400
SECOND_NS = 1_000_000_000
PROBE = 200

DATE = r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2}))"
FIELD_END = r'"?\s*[;,\t]\s*"?'
STAMP = re.compile(
    r"^(?P<before>[^:A-DF-Za-df-z]*?)"
    rf"(?:(?P<date>{DATE})(?P<gap>T|\ +|{FIELD_END}))?"
    r"(?P<clock>\d{1,3}:[0-5]?\d:(?:[0-5]?\d|60))(?P<fraction>[.:]\d+|,\d+)?"
    r"(?P<half>\s*[AaPp]\.?[Mm]\.?)?(?P<zone>\s?Z|[+-]\d\d:?\d\d)?"
    rf"(?:(?P<gap2>\ +|{FIELD_END})(?P<date2>{DATE}))?"
    r'(?P<after>["\s;,].*)?$',
    re.ASCII,
)
DATE_THEN_TIME = re.compile(r"^\W*date\s+time\b", re.I)


@dataclass(frozen=True)
class Stamped:
    """The lines of a text whose rows hold date-time stamps.

    Attributes
    ----------
    lines : list of str
        The lines, the stamps written as whole nanoseconds from the first.
    resolution_s : float
        Value of the last digit of the stamps, seconds.
    notes : tuple of str
        Assumptions.
    shown : callable
        The stamp of a line, counted from zero, as the file writes it.
    before : callable
        The text before the stamp in a line, counted from zero.
    """

    lines: list[str]
    resolution_s: float
    notes: tuple[str, ...]
    shown: Callable[[int], str]
    before: Callable[[int], str]


def replace_stamps(lines: list[str]) -> Stamped | None:
    """Return the lines with their date-time stamps as numbers; None where the rows hold none.

    Rows hold stamps where half of the lines in the middle and at the end do. Read are dates by year, month, day or by
    day and month in either order, before or after a clock of hours, minutes, seconds and any digits below, in one
    column or two; a clock alone; T, Z, offsets from UTC, and halves of the day.
    """
    middle = len(lines) // 2
    probe = [line for line in (*lines[middle : middle + PROBE], *lines[-PROBE:]) if line.strip()]
    if sum(bool(STAMP.match(line)) for line in probe) * 2 < max(len(probe), 1):
        return None
    found = {i: match for i, line in enumerate(lines) if ":" in line and (match := STAMP.match(line))}
    kind = _kind(found[max(found)])
    found = {i: match for i, match in found.items() if _kind(match) == kind}
    comma = _comma_is_decimal(found)
    days, notes = _days(found)
    clocks = {i: _clock_ns(match, comma) for i, match in found.items()}
    if kind == (False, False):
        days, more = _past_midnight(clocks)
        notes += more
    begin = min(found)
    for other in found:
        # a header may hold a stamp of its own: time counts from the first row of two in succession
        if other + 1 in found:
            begin = other
            break
    zero = days[begin] * DAY_S * SECOND_NS + clocks[begin]
    two_names = any(DATE_THEN_TIME.match(line) for line in lines[:begin][-3:])
    changed = list(lines)
    for i, match in found.items():
        changed[i] = _rewritten(match, days[i] * DAY_S * SECOND_NS + clocks[i] - zero, comma, two_names)
    digits = max(len(_fraction(match, comma)) for match in found.values())

    def shown(line: int) -> str:
        match = found.get(line)
        if match is None:
            return ""
        tail = match["fraction"] if _fraction(match, comma) else ""
        parts = (match["date"], match["clock"] + (tail or "") + (match["half"] or ""), match["date2"])
        return " ".join(part for part in parts if part)

    def before(line: int) -> str:
        match = found.get(line)
        if match is None:
            return ""
        two = two_names or re.search("[;,\t]", match["gap"] or "")
        return match["before"] + ("-" + match["gap"] if match["date"] and two else "")

    return Stamped(changed, 10.0**-digits, notes, shown, before)


def _kind(match: re.Match[str]) -> tuple[bool, bool]:
    """Return whether a date stands before the clock, and whether one stands after it."""
    return bool(match["date"]), bool(match["date2"])


def _fraction(match: re.Match[str], comma: bool) -> str:
    """Return the digits below the second."""
    text = match["fraction"] or ""
    return text[1:] if comma or not text.startswith(",") else ""


def _comma_is_decimal(found: dict[int, re.Match[str]]) -> bool:
    """Return whether a comma behind the seconds begins their fraction rather than the next column.

    It does where another mark than a comma ends or begins the field; where commas stand on both sides, only if whole
    seconds repeat and times so read increase, in one number of digits. With nothing behind it, it is a column.
    """
    matches = [match for match in found.values() if (match["fraction"] or "").startswith(",")]
    if not matches:
        return True
    behind = [((match["gap2"] or "") + (match["after"] or "")).strip() for match in matches]
    if not all(behind):
        return all(re.search("[;\t]", match["before"] + (match["gap"] or "")) for match in matches)
    if not any(text.startswith(",") for text in behind):
        return True
    if len({len(match["fraction"]) for match in matches}) > 1:
        return False
    times = [(match["clock"], match["fraction"]) for match in matches]
    repeats = any(one[0] == other[0] for one, other in pairwise(times))
    return repeats and all(one[0] != other[0] or one[1] < other[1] for one, other in pairwise(times))


def _clock_ns(match: re.Match[str], comma: bool) -> int:
    """Return the time of day in nanoseconds."""
    hour, minute, second = (int(part) for part in match["clock"].split(":"))
    half = (match["half"] or "").strip().lower()
    if half:
        hour = hour % 12 + 12 * half.startswith("p")
    zone = (match["zone"] or "").replace(":", "").strip()
    if zone not in ("", "Z"):
        minute -= int(zone[0] + "1") * (60 * int(zone[1:3]) + int(zone[3:]))
    digits = _fraction(match, comma)
    fraction = round(int(digits[:18]) * SECOND_NS / 10 ** len(digits[:18])) if digits else 0
    return (hour * 3600 + minute * 60 + second) * SECOND_NS + fraction


def _past_midnight(clocks: dict[int, int]) -> tuple[dict[int, int], tuple[str, ...]]:
    """Return the day of each clock without a date: the next where it falls from the last hour to the first."""
    days, day, last = {}, 0, None
    for i, clock in clocks.items():
        if last is not None and last - clock > 23 * 3600 * SECOND_NS and last < DAY_S * SECOND_NS:
            day += 1
        days[i], last = day, clock
    return days, ("the clock is taken to have run past midnight",) if day else ()


def _days(found: dict[int, re.Match[str]]) -> tuple[dict[int, int], tuple[str, ...]]:
    """Return the day of each stamp, and a note if the order of day and month is ambiguous."""
    texts = {i: match["date"] or match["date2"] or "" for i, match in found.items()}
    distinct = {text: i for i, text in reversed(texts.items()) if text}
    if not distinct:
        return dict.fromkeys(texts, 0), ()
    ways: dict[str, dict[str, int]] = {}
    for order in ("day/month", "month/day"):
        read = {text: _day_number(text, order) for text in distinct}
        if all(day is not None for day in read.values()):
            ways[order] = {text: day for text, day in read.items() if day is not None}
    if not ways:
        wrong = next(text for text in distinct if _day_number(text, "day/month") is None)
        raise InputError(
            f"'{wrong}' is not a date",
            line=distinct[wrong] + 1,
            fix="write dates as year-month-day, such as 2026-03-14",
        )
    spans = {order: max(days.values()) - min(days.values()) for order, days in ways.items()}
    # points are for day.month only; of the others the order of the shorter span, since dates follow on each other
    dotted = "." in next(iter(distinct))
    best = "day/month" if dotted and "day/month" in ways else min(spans, key=lambda order: spans[order])
    notes: tuple[str, ...] = ()
    if not dotted and len(set(spans.values())) > 1:
        first, last = (list(distinct)[i] for i in (-1, 0))
        notes = (f"the dates from '{first}' to '{last}' are taken as {best}, as the shorter span of the two orders",)
    days = ways[best]
    return {i: days.get(text, next(iter(days.values()))) for i, text in texts.items()}, notes


def _day_number(text: str, order: str) -> int | None:
    """Return the number of a day counted on from year 1, or None for an invalid date."""
    parts = [int(part) for part in re.split(r"[-/.]", text)]
    if len(re.split(r"[-/.]", text)[0]) == 4:
        year, month, day = parts
    else:
        day, month, year = parts if order == "day/month" else (parts[1], parts[0], parts[2])
    try:
        return date(year if year > 99 else 2000 + year, month, day).toordinal()
    except ValueError:
        return None


def _rewritten(match: re.Match[str], time_ns: int, comma: bool, two_names: bool) -> str:
    """Return a line with its stamp as a number; a date in a column of its own leaves a dash or nothing there."""
    number = str(time_ns)
    if match["fraction"] and not _fraction(match, comma):
        number += match["fraction"]
    if match["date2"] and re.search("[;,\t]", match["gap2"]):
        number += match["gap2"]
    if match["date"] and (two_names or re.search("[;,\t]", match["gap"])):
        number = "-" + match["gap"] + number
    return str(match["before"]) + number + (match["after"] or "")
