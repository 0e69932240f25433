"""Tables and guards of a book in a schema of a database."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from geoalchemy2 import Geometry
from sqlalchemy import Connection, Table

from saltreach.intake.book_layer import ANCHORS, EVENTS, MARK
from saltreach.records.events import COLUMNS, KEY
from saltreach.records.facts import NUMBERS
from saltreach.records.store import REFUSED
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.words import CAUTION

POINT = "geom"
_WRITES = "current_setting('saltreach.writes', true) IS DISTINCT FROM CAST(TG_TABLE_SCHEMA AS text)"
"""Whether the writer is anything but a transaction of ours."""
_FUNCTIONS = {ANCHORS: _WRITES, EVENTS: f"TG_OP <> 'INSERT' OR {_WRITES}"}
_MOMENTS = {"row": "INSERT OR UPDATE OR DELETE", "all": "TRUNCATE"}
GUARDS = frozenset(f"{table}_{moment}" for table in _FUNCTIONS for moment in _MOMENTS)
"""Triggers that refuse changes by others; of events every change but adding."""


def mark_table(schema: str) -> Table:
    """What the book says of itself."""
    return sa.Table(
        MARK, sa.MetaData(schema=schema),
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )  # fmt: skip


def event_table(schema: str) -> Table:
    """All events; a key stands once."""
    texts = [
        sa.Column(name, sa.Text, nullable=False, unique=name == "event_id")
        for name in COLUMNS
        if name != "seq"
    ]
    table = sa.Table(
        EVENTS, sa.MetaData(schema=schema),
        sa.Column("seq", sa.BigInteger, primary_key=True, autoincrement=False),
        *texts,
        comment=CAUTION,
    )  # fmt: skip
    sa.Index(f"{EVENTS}_anchor", table.c[KEY])
    sa.Index(f"{EVENTS}_replaces", table.c.replaces, postgresql_where=table.c.replaces != "")
    return table


def anchors_of(schema: str, names: Sequence[str] = tuple(REGISTER_BY_NAME)) -> Table:
    """The layer of anchors with these columns."""
    cells = [
        sa.Column(name, sa.Double if name in NUMBERS else sa.Text, unique=name == KEY)
        for name in names
    ]
    return sa.Table(
        ANCHORS, sa.MetaData(schema=schema),
        sa.Column("fid", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column(POINT, Geometry("POINT", srid=4326)),
        *cells,
        comment=CAUTION,
    )  # fmt: skip


def add_guards(connection: Connection, schema: str) -> None:
    """Triggers that refuse changes by other programs, with a sentence."""
    for table, refused in _FUNCTIONS.items():
        said = REFUSED[table].replace("'", "''")
        connection.execute(
            sa.text(
                f'CREATE OR REPLACE FUNCTION "{schema}".guard_{table}() RETURNS trigger LANGUAGE '
                f"plpgsql AS $$ BEGIN IF {refused} "
                f"THEN RAISE EXCEPTION '{said}' USING ERRCODE = 'raise_exception'; END IF; "
                "IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $$"
            )
        )
        for moment, when in _MOMENTS.items():
            each = "ROW" if moment == "row" else "STATEMENT"
            connection.execute(
                sa.text(
                    f"CREATE OR REPLACE TRIGGER {table}_{moment} BEFORE {when} ON "
                    f'"{schema}".{table} FOR EACH {each} '
                    f'EXECUTE FUNCTION "{schema}".guard_{table}()'
                )
            )
        connection.execute(sa.text(f'ALTER TABLE "{schema}".{table} ENABLE TRIGGER USER'))


def guarded(connection: Connection, schema: str) -> frozenset[str]:
    """Guards that are there and at work."""
    found = connection.execute(
        sa.text(
            "SELECT t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN "
            "pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname = :schema AND NOT "
            "t.tgisinternal AND t.tgenabled <> 'D'"
        ),
        {"schema": schema},
    )
    return frozenset(row[0] for row in found)
