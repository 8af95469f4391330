"""Cells of a text export that hold more than a number: thousands apart, a unit, a dash for a minus, another exponent.

Such a text is rewritten line by line and read again if it cannot be read unchanged. Only cells with a single possible
meaning are rewritten: 1.400,5 is 1400.5, but 1.400 stays what it was.
"""

from __future__ import annotations

import re
from collections import Counter

from edgewind.formatting import NUMBER

DASHES = str.maketrans({"\u2013": "-", "\uff0b": "+"})
BLANKS = re.compile("(?<=\\d)[\u00a0\u2007\u2009\u202f](?=\\d{3}(?!\\d))")
POINTS_AND_COMMA = re.compile(r"(?<![\d.,])([+-]?\d{1,3}(?:\.\d{3})+,\d+)(?![\d.,])")
COMMAS_AND_POINT = re.compile(r'"\s*([+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?)\s*"')
COMMAS_APART = re.compile(r"(?<![\d.,])([+-]?\d{1,3}(?:,\d{3})+\.\d+)(?![\d.,])")
UNDERSCORES = re.compile(r"(?<=\d)_(?=\d{3}(?!\d))")
APOSTROPHES = re.compile(r"(?<![\d.,'])([+-]?\d{1,3}(?:'\d{3})+)(?=[.,;\t]|\s|$)")
SPACED = re.compile(r"(?<![\d.,])([+-]?\d{1,3}(?: \d{3})+)(?=[.,;\t]|$)")
FORTRAN = re.compile(r"(?<=[\d.])[dD](?=[+-]\d)")
COMMENT = re.compile(r"^\s*(?:%|//|;;|!|\*(?!\*)|--\s|rem\s)", re.I)
SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9}
VOLTS = {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "µV": 1e-6, "μV": 1e-6, "kV": 1e3}
CELL = re.compile(rf"^\s*(?P<number>{NUMBER})\s*(?P<unit>{'|'.join([*SECONDS, *VOLTS])})\s?(?:DC|AC)?\s*$")
PLAIN = re.compile(rf"^\s*(?P<number>{NUMBER})(?P<unit>)\s*$")
ELEMENT = re.compile(
    rf"^\s*(?P<number>{NUMBER})\s*(?P<status>[NOUZR]?)(?P<kind>[VA][DA]C|OHM4?W?|SECS?|RDNG|(?:INT|EXT)?CHAN|LIMITS)#?\s*$",
    re.I,
)
"""Element of a reading in the buffer of a meter: a number with its function, of which a letter may say the status."""
ELEMENT_TITLES = {"SEC": "time [s]", "SECS": "time [s]", "RDNG": "sample", "CHAN": "channel"}
ARROW = re.compile(r"\s+-+>\s+")
RULE = re.compile(r"^\s*[|+][|+:=\s-]*-[|+:=\s-]*$")
PAIR = re.compile(rf'"?(?P<label>[^\W\d]\w*)"?\s*[:=]\s*(?P<number>{NUMBER})(?![\w.])')
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
DAY_MONTH = re.compile(
    rf"\b(?P<day>\d{{1,2}})[-. ]+(?P<month>{'|'.join(MONTHS)})[a-z]*[-., ]+(?P<year>\d{{4}})\b", re.I
)
MONTH_DAY = re.compile(rf"\b(?P<month>{'|'.join(MONTHS)})[a-z]*[. ]+(?P<day>\d{{1,2}}),? +(?P<year>\d{{4}})\b", re.I)
WEEKDAY = re.compile(r"\b(mon|tue|wed|thu|fri|sat|sun)[a-z]*[,.]?\s+(?=\d{4}-\d\d)", re.I)
COMPACT = re.compile(r"\b(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)(?=[.,Z\s+-])")
ZONE_NAME = re.compile(r"(?<=\d) ?(?:UTC|GMT)\b")
MOSTLY = 0.5
"""Share of the lines from which cells with a unit, or strokes between cells, are how a file writes its rows."""


def plain_cells(lines: list[str]) -> tuple[list[str], tuple[str, ...]] | None:
    """Return the lines with plain numbers in their cells, and notes on the changes; None if there are none.

    The number of lines stays the same, but for a line of units before cells that hold theirs.
    """
    notes: list[str] = []
    changed = [line.translate(DASHES) for line in lines]
    changed = ["" if RULE.match(line) else line.strip().strip("|") if "|" in line else line for line in changed]
    if sum(line.count("|") > 0 for line in changed) > MOSTLY * len(changed) and not any(
        ";" in line for line in changed
    ):
        changed = [line.replace("|", ";") for line in changed]
    if sum(bool(ARROW.search(line)) for line in changed) > MOSTLY * len(changed):
        changed = [ARROW.sub(";", line, count=1) for line in changed]
    changed = [FORTRAN.sub("E", _plain_stamp(line)) for line in changed]
    labelled = _labels_out_of_cells(changed)
    if labelled is not None:
        changed = labelled
        notes.append("the labels before the numbers are taken as titles")
    without = [_without_thousands(line) for line in changed]
    if without != changed:
        notes.append("marks between thousands are left out of the numbers")
    first = next((i for i, line in enumerate(without) if re.match(rf"\s*\"?{NUMBER}", line)), len(without))
    changed = [f"#{line}" if i > first and COMMENT.match(line) else line for i, line in enumerate(without)]
    units = _readings_out_of_buffer(changed)
    if units is not None:
        return units, (*notes, "the labels behind the numbers of a buffer are taken as titles")
    units = _units_out_of_cells(changed)
    if units is not None:
        changed = units
        notes.append("the cells hold units: they are read in seconds and volts")
    return (changed, tuple(notes)) if changed != lines else None


def _plain_stamp(line: str) -> str:
    """Return a line with dates by the name of their month, or without marks, as year-month-day; UTC as Z."""
    if not any(letter.isalpha() for letter in line):
        return line
    for pattern in (DAY_MONTH, MONTH_DAY):
        line = pattern.sub(
            lambda found: f"{found['year']}-{MONTHS.index(found['month'][:3].lower()) + 1:02}-{int(found['day']):02}",
            line,
        )
    line = COMPACT.sub(r"\1-\2-\3T\4:\5:\6", WEEKDAY.sub("", line))
    return ZONE_NAME.sub("Z", line)


def _labels_out_of_cells(lines: list[str]) -> list[str] | None:
    """Return lines such as 't_ms:0.5 CH1:1.2' or {"t": 0.5} as rows below one of titles; None where few are such."""
    rows = {i: list(PAIR.finditer(line)) for i, line in enumerate(lines) if ":" in line or "=" in line}
    whole = {i: row for i, row in rows.items() if len(row) > 1 and not PAIR.sub("", lines[i]).strip(" \t,;{}")}
    filled = sum(bool(line.strip()) for line in lines)
    labels = Counter(tuple(one["label"] for one in row) for row in whole.values()).most_common(1)
    if not labels or labels[0][1] <= MOSTLY * filled:
        return None
    titles, _ = labels[0]
    changed = list(lines)
    for i, row in whole.items():
        if tuple(one["label"] for one in row) == titles:
            changed[i] = ";".join(one["number"] for one in row)
    first = min(whole)
    return [*changed[:first], ";".join(titles), *changed[first:]]


def _without_thousands(line: str) -> str:
    line = BLANKS.sub("", line)
    line = COMMAS_AND_POINT.sub(lambda found: f'"{found[1].replace(",", "")}"', line)
    line = POINTS_AND_COMMA.sub(lambda found: found[1].replace(".", ""), line)
    line = APOSTROPHES.sub(lambda found: found[1].replace("'", ""), line)
    line = UNDERSCORES.sub("", line)
    if ";" in line or "\t" in line:
        line = COMMAS_APART.sub(lambda found: found[1].replace(",", ""), line)
        line = SPACED.sub(lambda found: found[1].replace(" ", ""), line)
    return line


def _readings_out_of_buffer(lines: list[str]) -> list[str] | None:
    """Return the readings of a meter's buffer as rows below one of titles; None where the lines hold something else.

    A reading has several elements, such as '+1.25E+00VDC,+0.001SECS,+00001RDNG#', one reading to a line or all of them
    in one. Elements without a label are left out.
    """
    filled = [line for line in lines if line.strip()]
    cells = [[ELEMENT.match(cell) for cell in re.split(r"[,;\t]", line)] for line in filled]
    labelled = [line for line in cells if sum(map(bool, line)) > MOSTLY * len(line)]
    if not labelled or len(labelled) < MOSTLY * len(filled):
        return None
    elements = [one for line in labelled for one in line if one]
    kinds = [_kind_of(one) for one in elements]
    own = list(dict.fromkeys(kinds))
    count = len(elements) // len(own)
    if (
        count < 2
        or kinds[: count * len(own)] != own * count
        or kinds[count * len(own) :] != own[: len(kinds) % len(own)]
    ):
        return None
    used = [place for place, kind in enumerate(own) if kind != "LIMITS"]
    titles = [ELEMENT_TITLES.get(own[place], f"reading [{own[place][0]}]") for place in used]
    rows = [
        ";".join(_of_element(elements[begin + place]) for place in used)
        for begin in range(0, count * len(own), len(own))
    ]
    return [";".join(titles), *rows]


def _kind_of(element: re.Match[str]) -> str:
    kind = element["kind"].upper()
    return "CHAN" if kind.endswith("CHAN") else kind


def _of_element(element: re.Match[str]) -> str:
    """Return the number of an element; that an overflow is one where its status says so."""
    over = element["status"].upper() == "O" and not element["kind"].upper().startswith("OHM")
    return "OL" if over else element["number"].replace(",", ".")


def _units_out_of_cells(lines: list[str]) -> list[str] | None:
    """Return the lines with cells such as '1.5 ms' in SI, below a line of units; None where most have no such cells."""
    filled = [line for line in lines if line.strip() and not line.startswith("#")]
    for separator in (";", "\t", ","):
        rows = [[CELL.match(cell) or PLAIN.match(cell) for cell in line.split(separator)] for line in filled]
        full = [row for row in rows if len(row) > 1 and all(row) and any(cell["unit"] for cell in row if cell)]
        if len(full) < MOSTLY * len(filled) or len({len(row) for row in full}) != 1:
            continue
        columns = [Counter(_si_unit(cell) for cell in column) for column in zip(*full, strict=True)]
        if any(len(column) != 1 for column in columns):
            continue  # a column of seconds and volts
        written: list[str] = []
        begun = False
        for line in lines:
            cells = [CELL.match(cell) or PLAIN.match(cell) for cell in line.split(separator)]
            if len(cells) != len(columns) or not all(cells):
                written.append(line)
                continue
            if not begun:
                written.append(separator.join(next(iter(column)) for column in columns))
                begun = True
            written.append(separator.join(_in_si(cell) for cell in cells if cell))
        return written
    return None


def _si_unit(cell: re.Match[str] | None) -> str:
    """Return the unit of a cell in SI; empty for a plain number."""
    if cell is None or not cell["unit"]:
        return ""
    return "s" if cell["unit"] in SECONDS else "V"


def _in_si(cell: re.Match[str]) -> str:
    if not cell["unit"]:
        return cell["number"]
    factor = SECONDS.get(cell["unit"]) or VOLTS[cell["unit"]]
    return repr(float(cell["number"].replace(",", ".")) * factor)
