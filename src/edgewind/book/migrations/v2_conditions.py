"""Version 2: the conditions of each reading: direction, side of the lamp, gas, what was changed, turns counted by hand.

The new cells are NULL in every row that was written before and in every row that leaves them empty, and take no part in
the checksum then: no row of version 1 is touched.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "v2"
down_revision = "v1"
branch_labels = None
depends_on = None

_CELLS = ("leading_face", "turns", "in", "lamp_side", "gas", "changed")


def upgrade() -> None:
    """Add the cells."""
    for name in _CELLS:
        op.add_column("readings", sa.Column(name, sa.Text(), nullable=True))


def downgrade() -> None:
    """Refuse: a book is never taken back to an older form."""
    raise NotImplementedError("a lab book is never taken back to an older version")
