"""Header of an exported trace: titles, units, sample interval, unit of time."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from edgewind.errors import InputError
from edgewind.formatting import NUMBER

IS_NUMBER = re.compile(f"^{NUMBER}$")
UNITS = r"[A-Za-zµμ%°а-яА-Я秒]+"
UNIT_IN_NAME = re.compile(
    rf"^(?P<name>[^\[(]*?)\s*[\[(/]\s*(?P<unit>{UNITS})\s*[\])]?$"
    rf"|^(?:(?P<name3>.*?)\s+)?in\s+(?P<unit3>{UNITS})$"
    r"|^(?P<name2>.+)_(?P<unit2>s|ms|us|v|mv|V|mV)$"
)
UNIT_WITHIN = re.compile(rf"^(?P<name>[^\[(:=]+?)\s*[\[(](?P<unit>{UNITS})[\])]\s+(?P<run>[^\[(:=]+)$")
"""A title with its unit before the name of a run: 'Time (s) Run 2'."""
RUN_BEFORE = re.compile(rf"^[^:=\d]+(?:\s\d+)?:\s+[^\[(:=\d]+[\[(]{UNITS}[\])]$")
"""A title behind the name of a run: 'Run 2: Time (s)'; not a key with its value."""
UNIT_ALONE = re.compile(
    r"^[\[(]?\s*(s|ms|us|µs|μs|ns|sec|secs|seconds?|min|msec|v|mv|uv|µv|μv|nv|kv|volts?|millivolts?|a|ma|ua|µa|hz|khz|"
    r"mhz|dbv|dbm|db)\s*[\])]?$",
    re.I,
)
COUNT_NAME = re.compile(
    r"^\s*(index|idx|sequence|seq|samples?|(samples?|scan).?(no|number|index|count)\.?|points?|point.?(no|number)\.?|"
    r"rows?|records?|scans?|counters?|counts?|#|n|no\.?|nr\.?|i|x|unnamed: ?\d+)\s*$",
    re.I,
)
COMMENT_MARKS = "#%!;*/"
LAYOUT_ONLY = " \t;,\"'"

GROUPED = r"[1-9]\d{0,2}(?:[,'’ \u00a0\u202f]\d{3})+(?![\d.,])"
"""A number with its thousands set apart."""
QUANTITY = (
    r"[\s\"'\[({\])}:=,;]*(?:ch\w{1,3}:)?(?P<number>" + GROUPED + r"|[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)"
)
BEHIND = r"[\s\"';,]*(?P<unit>[A-Za-zµμ/]*)"
IN_BRACKETS = r"\s*(?:[\[({]\s*(?P<early>[A-Za-zµμ/]+)\s*[\])}])?"
INTERVAL = re.compile(
    r"(?:sampl\w*\s*_?(?:interval|period|spacing|time)|(?:x|t|time)\s*_?inc(?:rement|r)?(?![a-z])|"
    r"time\s*_?(?:step|interval|per sample)|h(?:orizontal)?\s*_?resolution|"
    r"(?<![\w.])interval|(?<![\w.])delta(?:\s*_?[tx]|(?=\s*[:=][^A-Za-z]*s))|(?<![\w.])d[tx]|(?<![\w.])ts)(?:_?(?P<tail>s|ms|us))?(?![A-Za-z])"
    + IN_BRACKETS
    + QUANTITY
    + BEHIND,
    re.I,
)
RATE = re.compile(
    r"(?:sampl\w*\s*_?(?:rate|frequency|freq)|(?P<per>samples\s*(?:per|/)\s*s\w*)|(?<![\w.])fs|(?<![\w.])sr)"
    r"(?:_?(?P<tail>hz|khz|mhz))?(?![A-Za-z])" + IN_BRACKETS + QUANTITY + BEHIND,
    re.I,
)
PER_SAMPLE = re.compile(
    r"(?<![\w.,])(?P<number>\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)\s*(?P<unit>[A-Za-zµμ]+)\s*(?:/|per)\s*samples?\b", re.I
)
PER_SECOND = re.compile(
    r"(?<![\w.,])(?P<number>\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)\s*(?P<unit>[kM]?)\s*samples?\s*(?:/|per)\s*s(?:ec(?:ond)?)?\b",
    re.I,
)
"""An interval or a rate behind its number: '0.5 ms/sample', '2000 samples/s'."""
SAMPLING_TIME = re.compile(r"sampling\s*_?time", re.I)
OF_SAMPLES = re.compile(r"(sampl|record|log|time|point|data|acqui|scan|measur|read|stor|abtast|mess|the)", re.I)
"""Beginnings of the words before 'interval' with which it is that between samples."""
INCREMENT_TITLE = re.compile(r"^(x|t|time)?\s*_?inc(rement|r)?\.?$", re.I)
TIME_UNIT_KEY = re.compile(r"^(horizontal|h|x|time|x\s*_?axis)[\s_]*units?([\s_]*label)?$", re.I)
TIME_CLUE = re.compile(r"(time|sampl|interval|rate|clock|period|freq|step|\bhz\b|\d\s*[mµun]?s\b)", re.I)
THINNED = re.compile(
    r"(decimat|down.?sampl|thinn|skip)\w*\W+0*([2-9]|1\d)|\bevery\W+(\d*[2-9]|\d+0|1\d)(st|nd|rd|th)\b|"
    r"\b(1|one)\s*(of|in|out of)\s*(\d*[2-9]|\d+0|1\d)\b",
    re.I,
)
"""A header line by which only every n-th sample was written."""
INTERLEAVED = re.compile(r"\b(interleav|multiplex)\w*(?!\w*\W+(no|off|0|false|none)\b)", re.I)
"""A header line by which samples of several channels follow one another."""
CHANNELS = re.compile(r"\b(?:channels?|chans?|kan[aä]le|voies|canales)\W+0*(?P<count>[2-9]|1\d)\b(?!\w)", re.I)
"""A header line that counts the channels: two or more."""

SECONDS = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "msec": 1e-3, "msecs": 1e-3,
    "millis": 1e-3, "millisecond": 1e-3, "milliseconds": 1e-3, "us": 1e-6, "usec": 1e-6, "usecs": 1e-6, "µs": 1e-6,
    "μs": 1e-6, "micros": 1e-6, "microsecond": 1e-6, "microseconds": 1e-6, "ns": 1e-9, "nsec": 1e-9, "nanos": 1e-9,
    "nanosecond": 1e-9, "nanoseconds": 1e-9, "ps": 1e-12, "min": 60.0, "mins": 60.0, "minute": 60.0, "minutes": 60.0,
    "h": 3600.0, "hour": 3600.0, "hours": 3600.0, "с": 1.0, "сек": 1.0, "мс": 1e-3, "мкс": 1e-6, "нс": 1e-9, "秒": 1.0,
    "毫秒": 1e-3,
}  # fmt: skip
TIME_WORDS = r"t|time|times|zeit|temps|tiempo|tempo|tid|tijd|czas|čas|время|時間|时间|timestamp|relative|x"
TIME_NAME = re.compile(rf"^\s*({TIME_WORDS}|x.?axis|x.?value|elapsed.*|time\b.*|.*[\s_]time)\s*$", re.I)
TIME_AND_UNIT = re.compile(rf"^(?:{TIME_WORDS}|elapsed|elapsed.?time)[\s_.,-]+(?P<unit>[A-Za-zµμа-я秒]+)$", re.I)
TIME_RUN_TOGETHER = re.compile(
    r"^(?:elapsed|(?:elapsed|run|up|daq|sample|rel(?:ative)?)?time(?:stamp)?)"
    r"(?P<unit>ms|msecs?|millis(?:econds)?|us|usecs?|micros(?:econds)?|secs?|seconds?|ns|nanos)$",
    re.I,
)
"""A title such as 'TimeMs', without a mark before its unit."""
X_IS_TIME = re.compile(r"^x_?dimension$", re.I)
"""Key of a header that says along what the rows run; if it is time, increments are in seconds."""
PREFIX = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}
MOST_SHOWN = 6


@dataclass(frozen=True)
class StatedInterval:
    """A sample interval that a header states.

    Attributes
    ----------
    seconds : float
        The interval, in seconds.
    sure : bool
        Whether its unit is stated, or its number written as instruments write SI, with an exponent.
    said : str
        The words of the file.
    from_rate : bool
        Whether it was stated as a sample rate, which may be that of the converter rather than of the export.
    doubt : str
        Another possible reading of its number; empty if there is none.
    """

    seconds: float
    sure: bool
    said: str
    from_rate: bool = False
    doubt: str = ""


@dataclass(frozen=True)
class TraceHeading:
    """Name and unit of a column, as the file gives them.

    Attributes
    ----------
    name : str
        Without its unit; the number of the column in the file where there is none.
    unit : str
        Empty where none is stated.
    named : bool
        Whether the name is the file's own.
    """

    name: str
    unit: str = ""
    named: bool = True


@dataclass(frozen=True)
class Header:
    """Contents of the lines above the numbers, and the lines that were not understood.

    Attributes
    ----------
    titles : tuple of TraceHeading
        One a column of numbers.
    interval : StatedInterval or None
        The sample interval.
    time_unit : str
        Unit of the horizontal axis, where a line of its own states it.
    unused : tuple of str
        Lines that were not understood.
    """

    titles: tuple[TraceHeading, ...]
    interval: StatedInterval | None
    time_unit: str
    unused: tuple[str, ...]

    def notes(self) -> tuple[str, ...]:
        """Return the note on the lines that were not used; empty where all were."""
        if not self.unused:
            return ()
        shown = [_key_of(line) for line in self.unused]
        more = f" and {len(shown) - MOST_SHOWN} more" if len(shown) > MOST_SHOWN else ""
        return (f"header lines not used: {', '.join(shown[:MOST_SHOWN])}{more}",)


def _key_of(line: str) -> str:
    """Return the beginning of a header line, in quotes."""
    text = re.split(r"[,;\t:=]", line.strip().strip("#%!*/\"' "))[0].strip("\"' ") or line.strip()
    clean = "".join(letter if letter.isprintable() else "?" for letter in text)
    return f"'{clean[:30]}'"


def split_row(line: str, separator: str | None) -> list[str]:
    """Return the cells of a header line, comment marks at its beginning left out."""
    text = line.strip("\n\r ")
    if text[:1] in COMMENT_MARKS and text[:1] != separator:
        text = text.lstrip(COMMENT_MARKS + " ")
    if separator is None:
        wide = re.split(r"\t+|\s{2,}", text.strip())
        return [cell.strip("\"'") for cell in (wide if len(wide) > 1 else text.split())]
    return [cell.strip().strip("\"'").strip() for cell in text.split(separator)]


def is_layout(line: str) -> bool:
    """Return whether a line holds separators and blanks only."""
    return not line.strip(LAYOUT_ONLY)


def read_header(
    lines: Sequence[str], separator: str | None, decimal: str, fields: tuple[int, ...], first_row: str = ""
) -> Header:
    """Parse the lines above the numbers.

    Parameters
    ----------
    lines : sequence of str
        Those lines, and the text beside the first rows of numbers.
    separator : str or None
        Between cells; None for runs of blanks.
    decimal : str
        Decimal mark.
    fields : tuple of int
        Which cells of a row hold the numbers, counted from zero.
    first_row : str
        The first row of numbers, which may hold the value of a titled increment.
    """
    filled = [line for line in lines if re.search(r"[^\W_]", line)]  # neither separators alone nor a rule
    rows = [split_row(line, separator) for line in filled]
    if rows and _lacks_title_of_names(rows[-1], split_row(first_row, separator), fields):
        rows[-1] = ["", *rows[-1]]
    aligned = re.split(r"\s{2,}", rows[-1][0]) if rows and len(rows[-1]) == 1 < len(fields) else []  # by blanks alone
    if len(aligned) == fields[-1] + 1:
        rows[-1] = aligned
    titles, used = _titles(rows, decimal, fields)
    time_unit, unit_rows = _time_unit(rows)
    interval, interval_rows = _increment_under_title(
        [*rows, split_row(first_row, separator)] if first_row else rows, decimal
    )
    if interval is None:
        interval, interval_rows = _interval_in_lines(filled, decimal)
    own = [SECONDS[title.unit.lower()] for title in titles if title.unit.lower() in SECONDS]
    of_column = bool(time_unit) and all(unit == SECONDS[time_unit.lower()] for unit in own)  # not of the display alone
    if interval is not None and not interval.sure and not interval.doubt and of_column:
        scale = 1.0 if interval.from_rate else SECONDS[time_unit.lower()]
        interval = replace(interval, seconds=interval.seconds * scale, sure=True)
    read = used | unit_rows | interval_rows
    unused = tuple(line for i, line in enumerate(filled) if i not in read and not _is_rule(line))
    return Header(titles, interval, time_unit, unused)


def _lacks_title_of_names(titles: list[str], first: list[str], fields: tuple[int, ...]) -> bool:
    """Return whether rows begin with a row number without a title, as data-frame libraries print them."""
    if fields[0] != 0 or len(fields) < 3 or len(titles) != fields[-1] or len(first) != len(titles) + 1:
        return False
    return first[0] in ("0", "1") and all(re.search(r"[^\W\d]", title) for title in titles)


def _is_rule(line: str) -> bool:
    """Return whether a line of words only separates: '***End_of_Header***'."""
    return bool(re.match(r"^\W*\*{3}.*\*{3}\W*$", line.strip(LAYOUT_ONLY)))


def _is_number(cell: str, decimal: str) -> bool:
    return bool(IS_NUMBER.match(cell if decimal == "." else cell.replace(",", ".")))


def _titles(rows: list[list[str]], decimal: str, fields: tuple[int, ...]) -> tuple[tuple[TraceHeading, ...], set[int]]:
    """Return title and unit of each column, and the numbers of the rows that hold them."""
    blank = tuple(TraceHeading(str(field + 1), named=False) for field in fields)
    if not rows:
        return blank, set()
    last = len(rows) - 1
    cells = _cells(rows[last], fields)
    if cells is None:
        return blank, set()
    if _are_units(cells):
        units = [cell.strip("[](){} ") for cell in cells]
        units = ["" if COUNT_NAME.match(unit) and not UNIT_ALONE.match(unit) else unit for unit in units]
        above = _cells(rows[last - 1], fields) if last else None
        if above is None or not any(above) or any(_is_setting(cell, decimal) for cell in above):
            counted = [bool(COUNT_NAME.match(cell)) for cell in cells]
            return tuple(
                TraceHeading(cell if count else _only(cells, cell, field), unit, count or cells.count(cell) == 1)
                for cell, unit, count, field in zip(cells, units, counted, fields, strict=True)
            ), {last}
        names = [_title(cell, field, decimal, numbers=True) for cell, field in zip(above, fields, strict=True)]
        return tuple(replace(name, unit=unit or name.unit) for name, unit in zip(names, units, strict=True)), {
            last,
            last - 1,
        }
    named = tuple(_title(cell, field, decimal) for cell, field in zip(cells, fields, strict=True))
    return (named, {last}) if any(title.named for title in named) else (blank, set())


def _is_setting(cell: str, decimal: str) -> bool:
    """Return whether a cell above a unit is a setting and no name: '0.02', 'Offset:1'; '2' may be a name."""
    return bool(re.search(r"[:=]", cell)) or (_is_number(cell, decimal) and not cell.isdecimal())


def _only(cells: list[str], cell: str, field: int) -> str:
    """Return a unit as the name of its column where no other column has it; else the number of the column."""
    return cell.strip("[](){} ") if cell and cells.count(cell) == 1 else str(field + 1)


def _cells(row: list[str], fields: tuple[int, ...]) -> list[str] | None:
    """Return the cells above the columns of numbers; None where the row does not reach over them all."""
    if len(row) <= fields[-1] and not (len(row) == fields[-1] and fields[0] == 0 and len(fields) > 1 and row[0]):
        return None
    cells = [row[field] if field < len(row) else "" for field in fields]
    return cells if any(cells) else None


def _are_units(cells: list[str]) -> bool:
    units = [bool(UNIT_ALONE.match(cell)) for cell in cells]
    return any(units) and all(
        unit or not cell or bool(COUNT_NAME.match(cell)) for unit, cell in zip(units, cells, strict=True)
    )


def _title(cell: str, field: int, decimal: str, numbers: bool = False) -> TraceHeading:
    """Return name and unit of a title; without one where the cell is a number or states something else."""
    states = bool(re.search(r"[:=]", re.sub(r"^unnamed: ?\d+$", "", cell, flags=re.I))) and not RUN_BEFORE.match(cell)
    if (_is_number(cell, decimal) and not numbers) or states:
        cell = ""
    if INTERVAL.search(cell) or RATE.search(cell):
        cell = ""
    name, unit = _name_and_unit(cell)
    name = name.strip().removesuffix("()")
    return TraceHeading(name or str(field + 1), unit, bool(name))


def _name_and_unit(title: str) -> tuple[str, str]:
    """Return name and unit of a title; the latter empty where there is none."""
    parts = UNIT_IN_NAME.match(title)
    if parts:
        return parts["name"] or parts["name2"] or parts["name3"] or "", parts["unit"] or parts["unit2"] or parts[
            "unit3"
        ]
    within = UNIT_WITHIN.match(title)
    if within and UNIT_ALONE.match(within["unit"]):
        return f"{within['name']} {within['run']}", within["unit"]
    return title, ""


def _time_unit(rows: list[list[str]]) -> tuple[str, set[int]]:
    """Return the unit of the horizontal axis where a line of its own states it, and the number of that line."""
    for i, row in enumerate(rows):
        cells = row if len(row) > 1 else re.split(r"\s*[:=,;\t]\s*", row[0] if row else "")
        if len(cells) > 1 and X_IS_TIME.match(cells[0]):
            if all(re.match(r"^freq", cell, re.I) for cell in cells[1:] if cell):
                raise spectrum_error(f"the header says that the rows run along {cells[1]}")
            if all(cell.lower() == "time" for cell in cells[1:] if cell):
                return "s", {i}
        if len(cells) > 1 and TIME_UNIT_KEY.match(cells[0].strip(" \"'")):
            unit = cells[1].strip("[](){} \"'")
            if unit.lower() in SECONDS:
                return unit, {i}
            if re.match(r"^[kM]?hz$", unit, re.I):
                raise spectrum_error(f"the header says that the horizontal axis is in {unit}")
    return "", set()


def spectrum_error(seen: str) -> InputError:
    """Return the error for a spectrum in place of a trace."""
    return InputError(
        f"this is a spectrum, not a trace: {seen}", fix="export the waveform: voltage over time, not over frequency"
    )


def _increment_under_title(rows: list[list[str]], decimal: str) -> tuple[StatedInterval | None, set[int]]:
    """Return the interval that stands in the row under a title such as 'Increment'."""
    for i, (above, below) in enumerate(pairwise(rows)):
        for place, cell in enumerate(above[: len(below)]):
            title = _title(cell, place, decimal)
            if not INCREMENT_TITLE.match(title.name if title.named else cell):
                continue
            text = below[place] if decimal == "." else below[place].replace(",", ".")
            if IS_NUMBER.match(text) and math.isfinite(float(text)) and float(text) > 0:
                beside_start = any(re.match(r"^(x|t)?\s*_?(start|0|orig\w*)$", other, re.I) for other in above)
                sure = title.unit.lower() in SECONDS or beside_start or "e" in text.lower()
                scale = SECONDS.get(title.unit.lower(), 1.0)
                return StatedInterval(float(text) * scale, sure, f"{cell} {below[place]}"), {i, i + 1}
    return None, set()


def _interval_in_lines(lines: list[str], decimal: str) -> tuple[StatedInterval | None, set[int]]:
    """Return the sample interval that a line states, as such or as a rate."""
    found: tuple[StatedInterval, int] | None = None
    for i, line in enumerate(lines):
        one = interval_in(line, decimal)
        better = one is not None and (
            found is None or (one.sure, not one.from_rate) > (found[0].sure, not found[0].from_rate)
        )
        if one is not None and better:
            found = one, i
    return (found[0], {found[1]}) if found else (None, set())


def interval_in(line: str, decimal: str = ".") -> StatedInterval | None:
    """Return the sample interval that a text states, or None."""
    for pattern, rate in ((INTERVAL, False), (RATE, True)):
        for found in pattern.finditer(line):
            unit = found["unit"] or found["early"] or found["tail"] or ""
            if rate:
                factor = _hertz(unit)
            else:
                factor = 1.0 if not unit else SECONDS.get(unit.lower())
                if factor is None and found["unit"] and not (found["early"] or found["tail"]) and "," in line:
                    unit, factor = "", 1.0  # the cell behind the number is another statement
            number, doubt = _number(found["number"], decimal)
            doubt = doubt or _doubt(line, found)
            if factor is None or not (math.isfinite(number) and number > 0):
                continue
            value = 1 / (number * factor) if rate else number * factor
            sure = bool(unit) or "e" in found["number"].lower() or (rate and bool(found["per"]))
            if math.isfinite(value) and value > 0:
                return StatedInterval(value, sure and not doubt, found[0].strip(), rate, doubt)
    return _interval_behind_number(line)


def _interval_behind_number(line: str) -> StatedInterval | None:
    """Return the sample interval that stands behind its number: '0.5 ms/sample', '2000 samples/s'."""
    for pattern, rate in ((PER_SAMPLE, False), (PER_SECOND, True)):
        found = pattern.search(line)
        if found is None:
            continue
        factor = PREFIX.get(found["unit"].lower()) if rate else SECONDS.get(found["unit"].lower())
        number = float(found["number"].replace(",", "."))
        if factor and number > 0:
            return StatedInterval(
                1 / (number * factor) if rate else number * factor, not THINNED.search(line), found[0], rate
            )
    return None


def _doubt(line: str, found: re.Match[str]) -> str:
    """Return another possible meaning of a stated interval than the time between samples; empty if there is none."""
    if THINNED.search(line):
        return "the interval before or after samples were left out"
    if SAMPLING_TIME.match(found[0]):
        return "the interval or as the duration of the whole"
    behind = [cell.strip() for cell in re.split(r"[\t;]", line[found.end() :]) if cell.strip()]
    first = found["number"].replace(",", ".")
    numbers = [float(cell.replace(",", ".")) for cell in behind if IS_NUMBER.match(cell.replace(",", "."))]
    if IS_NUMBER.match(first) and len(numbers) == len(behind) and any(one != float(first) for one in numbers):
        return f"that of the first channel alone, since {behind[-1]} stands behind it"
    before = re.search(r"([^\W\d_]+)[\s-]*$", line[: found.start()])
    if before and found[0].lower().startswith("interval") and not OF_SAMPLES.match(before[1]):
        return "that of samples or of something else"
    return ""


def _number(text: str, decimal: str) -> tuple[float, str]:
    """Return the number that a text states, thousands set apart or not, and how else it may be read."""
    if decimal == "," and re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", text):
        return float(text.replace(".", "")), f"{text.replace('.', '')} or {float(text):g}"
    if not re.fullmatch(GROUPED, text):
        return float(text.replace(",", ".")), ""
    first, *groups = re.split(r"\D", text)
    whole = float(first + "".join(groups))
    if len(groups) > 1 or "'" in text or "’" in text:
        return whole, ""
    return whole, f"{whole:g} or {first}.{groups[0]}" if "," in text else f"{whole:g} or {first}"


def names_time(title: str) -> bool:
    """Return whether a title, with or without a unit, is that of a column of times."""
    name, unit = _name_and_unit(title)
    if unit:
        return unit.lower() in SECONDS and (bool(TIME_NAME.match(name)) or not name.strip())
    return bool(TIME_NAME.match(name)) or bool(unit_behind_time(name))


def unit_behind_time(name: str) -> str:
    """Return the unit that a title of times ends with: 'Zeit, ms', 'TimeMs'; empty where there is none."""
    found = TIME_AND_UNIT.match(name.strip()) or TIME_RUN_TOGETHER.match(name.strip())
    return found["unit"] if found and found["unit"].lower() in SECONDS else ""


def _hertz(unit: str) -> float | None:
    """Return the factor from a unit of sample rate to hertz: Hz, kHz, S/s, kS/s, MSa/s."""
    found = re.match(r"^(?P<prefix>[kmg]?)(hz|s(a|amples|ps)?(/s(ec)?)?)?$", unit.lower())
    return PREFIX[found["prefix"]] if found else None
