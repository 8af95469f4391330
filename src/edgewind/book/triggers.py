"""Triggers in the database that keep a book append-only, also for other programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

# The columns of each table by which one row replaces another: its keys and its unique constraints.
KEYS: Mapping[str, Sequence[Sequence[str]]] = {
    "experiments": (("id",), ("name",)),
    "columns": (("experiment", "number"),),
    "benches": (("experiment", "number"),),
    "files": (("experiment", "number"), ("experiment", "path")),
    "pieces": (("experiment", "file", "number"),),
    "readings": (("experiment", "number"), ("experiment", "key")),
    "changes": (("experiment", "number"),),
}
REFUSAL = "the lab book is append-only: add a row that says what is right"


def sqlite_triggers(keys: Mapping[str, Sequence[Sequence[str]]] = KEYS) -> list[str]:
    """Return the statements that refuse UPDATE, DELETE and the silent deletion in INSERT OR REPLACE."""
    statements = []
    for table, unique in keys.items():
        for verb in ("UPDATE", "DELETE"):
            statements.append(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )
        taken = " OR ".join(
            "EXISTS (SELECT 1 FROM {} WHERE {})".format(
                table, " AND ".join(f"{table}.{name} = NEW.{name}" for name in columns)
            )
            for columns in unique
        )
        statements.append(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN {taken} "
            f"BEGIN SELECT RAISE(ABORT, 'UNIQUE constraint failed: {table} holds this row already'); END"
        )
    return statements


def postgresql_triggers(keys: Mapping[str, Sequence[Sequence[str]]] = KEYS) -> list[str]:
    """Return the statements that refuse UPDATE, DELETE and TRUNCATE, also to a session that replays a replica."""
    function = (
        "CREATE FUNCTION edgewind_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
    )
    statements = [function]
    for table in keys:
        statements += [
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION edgewind_append_only()",
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION edgewind_append_only()",
            f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_append_only",
            f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_no_truncate",
        ]
    return statements
