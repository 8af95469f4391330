"""File names from names of experiments."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

_LONGEST = 48


def file_stem(name: str) -> str:
    """Return a name of lower-case letters, digits and hyphens that any file system and any archive accepts.

    Examples
    --------
    >>> file_stem("Rotor Nº 2 (größer)"), file_stem("../π")
    ('rotor-no-2-grosser', 'experiment')
    """
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:_LONGEST].strip("-") or "experiment"


def file_stems(names: Sequence[str]) -> list[str]:
    """Return a file stem for each name, all different.

    Examples
    --------
    >>> file_stems(["A", "a", "a-2"])
    ['a', 'a-2', 'a-2-2']
    """
    taken: list[str] = []
    for name in names:
        stem, number = file_stem(name), 1
        while (chosen := stem if number == 1 else f"{stem}-{number}") in taken:
            number += 1
        taken.append(chosen)
    return taken


def printable(text: str) -> str:
    """Return text that every reader accepts: control characters and invalid code points become ``�``.

    Examples
    --------
    >>> printable("a" + chr(7) + "b")
    'a�b'
    """
    return "".join(
        "\ufffd" if unicodedata.category(sign) in ("Cc", "Cs") and sign not in "\n\t" else sign for sign in text
    )


def shorten(text: str, most: int) -> str:
    r"""Return printable text on one line, cut to at most `most` characters.

    Examples
    --------
    >>> shorten("a rather\nlong name", 10)
    'a rather …'
    """
    line = " ".join(printable(text).split())
    return line if len(line) <= most else line[: most - 1] + "…"
