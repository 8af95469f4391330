"""Version 2: the conditions of each reading: direction, side of the lamp, gas, changes, turns counted by hand. The new
cells are NULL in every earlier row and in every row that leaves them empty, and do not enter the checksum then: rows of
version 1 are unchanged.
"""

from __future__ import annotations

from sqlalchemy import Connection, text

_CELLS = ("leading_face", "turns", "in", "lamp_side", "gas", "changed")


def upgrade(connection: Connection) -> None:
    """Add the cells."""
    quote = connection.dialect.identifier_preparer.quote
    for name in _CELLS:
        connection.execute(text(f"ALTER TABLE readings ADD COLUMN {quote(name)} TEXT"))
