"""Text beside the numbers of a trace: words in cells, segments, a footer."""

from __future__ import annotations

import re

from edgewind.errors import InputError
from edgewind.signals.trace_dialect import PROBE, Dialect, shown_cell
from edgewind.signals.trace_header import UNIT_ALONE, is_layout

MOST_FOOTER_LINES = 100
RULE = re.compile(r"^\W*\*{3}.*\*{3}\W*$")


def text_beside(lines: list[str], start: int, dialect: Dialect) -> list[str]:
    """Return the text before the numbers in the first rows, if a file writes its header beside them."""
    if not dialect.fields[0] or dialect.separator is None:
        return []
    found = []
    for line in lines[start : start + PROBE]:
        cells = dialect.split(line)[: dialect.fields[0]]
        if any(cells) and re.search("[A-Za-z]", cells[0]):
            found.append(dialect.separator.join(cells))
    return found if len(found) < 0.5 * len(lines[start:]) or len(found) < PROBE / 2 else []


def end_of_segment(lines: list[str], start: int, dialect: Dialect) -> tuple[int, tuple[str, ...]]:
    """Return where the first of several segments ends, and a note; a segment begins with a header of its own.

    A header is two lines of text or more that do not all stand above the first segment, with a cell for each column in
    one of them, or one that ends in a rule; with rows of numbers below it.
    """
    above = {line.strip() for line in lines[:start] if not is_layout(line)}
    keyed = _holds_key(lines[start], dialect)
    stop, segments = len(lines), 1
    block: list[int] = []
    for i in range(start, len(lines)):
        line = lines[i]
        if is_layout(line) or line.lstrip().startswith("#"):
            continue
        key = not keyed and _holds_key(line, dialect)
        if key or (not dialect.begins_row(line) and not dialect.holds_row(line)):
            block.append(i)
            continue
        texts = {lines[k].strip() for k in block}
        wide = any(len(dialect.split(text)) > dialect.fields[-1] for text in texts)
        if any(RULE.match(text) for text in texts) or (len(block) > 1 and wide and not texts <= above):
            stop = min(stop, block[0])
            segments += 1
        block = []
    if segments == 1:
        return len(lines), ()
    return stop, (f"{segments} segments, each with a header of its own: the first is used",)


def _holds_key(line: str, dialect: Dialect) -> bool:
    """Return whether a word stands before the numbers of a line."""
    return any(re.search(r"[^\W\d]", cell) for cell in dialect.split(line)[: dialect.fields[0]])


def words_beside(lines: list[str], dialect: Dialect) -> tuple[str, ...]:
    """Return a note on the columns of words among and behind the numbers of the first rows; empty without them.

    Raises
    ------
    InputError
        They are units that change from row to row; names them.
    """
    words: dict[int, dict[str, None]] = {}
    for line in lines[:PROBE]:
        if not is_layout(line) and not line.lstrip().startswith("#"):
            for place, cell in enumerate(dialect.split(line)):
                if place > dialect.fields[0] and place not in dialect.fields and re.search(r"[^\W\d]|\d[/:-]\d", cell):
                    words.setdefault(place, {})[cell] = None
    for place, seen in words.items():
        if len(seen) > 1 and all(UNIT_ALONE.match(cell) for cell in seen):
            raise InputError(
                f"the unit changes from row to row: {', '.join(seen)}",
                column=place + 1,
                fix="export the numbers in one unit",
            )
    if not words:
        return ()
    shown = ", ".join(shown_cell(next(iter(seen))) for seen in list(words.values())[:4])
    return (f"words beside the numbers are left out, such as {shown}",)


def cut_footer(lines: list[str], start: int, dialect: Dialect) -> tuple[int, tuple[str, ...]]:
    """Return where the rows end, and a note on the lines of text behind them.

    A line that begins with a number is a broken row rather than a footer, and so is text with rows behind it.
    """
    footer: list[int] = []
    end = len(lines)
    while end > start:
        line = lines[end - 1]
        if line.strip() and not line.lstrip().startswith("#"):
            if dialect.holds_row(line.split("#")[0]):
                break
            if is_layout(line):
                end -= 1
                continue
            if dialect.begins_row(line) or len(footer) == MOST_FOOTER_LINES:
                return len(lines), ()
            footer.append(end - 1)
        end -= 1
    if not footer:
        return len(lines), ()
    what = f"{len(footer)} lines" if len(footer) > 1 else "1 line"
    return end, (f"{what} of text after the numbers left out: line {footer[-1] + 1}, {shown_cell(lines[footer[-1]])}",)
