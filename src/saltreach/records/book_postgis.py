"""A book in a PostgreSQL database with PostGIS, for several writers at one time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy import Connection, Engine
from sqlalchemy.dialects.postgresql import insert

from saltreach.errors import OutputError, RecordError, brief
from saltreach.intake.book_layer import ANCHORS, EVENTS, MARK
from saltreach.records.address import Address
from saltreach.records.events import COLUMNS, KEY, frame_of_rows
from saltreach.records.facts import NUMBERS
from saltreach.records.postgis_tables import (
    GUARDS,
    POINT,
    add_guards,
    anchors_of,
    event_table,
    guarded,
    mark_table,
)
from saltreach.records.postgis_trouble import clear
from saltreach.records.seals import (
    EVENTS_SEAL,
    LAST_EVENT,
    chained,
    moved,
    refuse_ends,
    refuse_layer,
    rows_of,
    summed,
)
from saltreach.records.store import CHANGEABLE, DECIDING, ENDS, unguarded
from saltreach.vocabulary.columns import REGISTER_BY_NAME

WAIT_S = 10
"""How long a server that does not answer is waited for."""
_ASTRAY_DEG = 1e-9
_LONGEST = 63
"""Bytes of a name (PostgreSQL documentation, "Identifiers and Key Words")."""
_PLACE = "fid"
_AMONG = "= ANY(:ids)"


def engine_of(address: Address) -> Engine:
    """Connections to a database; none is kept open."""
    url = sa.URL.create(
        "postgresql+psycopg",
        username=address.user or None,
        password=address.password or None,
        host=address.host or None,
        port=address.port,
        database=address.database,
        query=dict(address.more),
    )
    return sa.create_engine(
        url, poolclass=sa.pool.NullPool, hide_parameters=True,
        connect_args={"connect_timeout": WAIT_S, "application_name": "saltreach"},
    )  # fmt: skip


class PostgisBook:
    """The store of a book that is a schema of a database."""

    format = "PostGIS, a book"

    def __init__(self, address: Address) -> None:
        """Open a book.

        Raises
        ------
        RecordError
            The database cannot be reached, or holds no book in that schema.
        """
        self.address, self.engine = address, engine_of(address)
        self.name, self.title = str(address), address.stem
        with self._reading() as connection:
            if not _is_there(connection, address.schema):
                raise RecordError(
                    f"{address}: no book in schema {address.schema!r}; start one with saltreach "
                    "book start"
                )

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        """One view of the database, whatever others write meanwhile."""
        with clear(self.address), self.engine.connect() as connection:
            yield connection.execution_options(isolation_level="REPEATABLE READ")

    def about(self) -> dict[str, str]:
        """What the book says of itself."""
        with self._reading() as connection:
            return _about(connection, self.address.schema)

    def events(self) -> tuple[pd.DataFrame, dict[str, str]]:
        """All events in the order of entry, and what the book said of itself then."""
        schema = self.address.schema
        with self._reading() as connection:
            return _events(connection, schema), _about(connection, schema)

    def verify(self) -> None:
        """Raise where the layer of anchors is not what was written last."""
        schema = self.address.schema
        with self._reading() as connection:
            names, total = _sum(connection, schema)
            refuse_layer(self.name, _about(connection, schema), names, total)

    def anchors(self) -> pd.DataFrame:
        """The register as it stands, from the layer of anchors."""
        with self._reading() as connection:
            names = _columns(connection, self.address.schema)
            return _anchors(connection, self.address.schema, names)

    @contextmanager
    def writing(self) -> Iterator[PostgisWriter]:
        """One transaction, alone with the book until it ends."""
        schema = self.address.schema
        with clear(self.address), self.engine.begin() as connection:
            mark = mark_table(schema)
            connection.execute(
                sa.select(mark.c.name).where(mark.c.name == "format").with_for_update()
            )
            yield PostgisWriter(connection, schema, self.name)

    def faults(self) -> list[str]:
        """What is wrong with the schema itself."""
        schema = self.address.schema
        with self._reading() as connection:
            there = guarded(connection, schema)
            rows = connection.execute(
                sa.text(
                    f'SELECT anchor_id FROM "{schema}".{ANCHORS} WHERE {POINT} IS NULL OR '
                    f"abs(ST_X({POINT}) - lon) > :most OR abs(ST_Y({POINT}) - lat) > :most"
                ),
                {"most": _ASTRAY_DEG},
            )
            astray = [f"anchor {row[0]}: its point is not where lon and lat say" for row in rows]
        return unguarded(sorted(GUARDS - there)) + astray


class PostgisWriter:
    """What is written to a book within one transaction."""

    def __init__(self, connection: Connection, schema: str, name: str) -> None:
        self.connection, self.schema, self.name = connection, schema, name
        connection.execute(
            sa.text("SELECT set_config('saltreach.writes', :it, true)"), {"it": schema}
        )

    def refuse_changed(self) -> None:
        """Raise where events or anchors are more or fewer than were written."""
        events, anchors = (f'"{self.schema}".{table}' for table in (EVENTS, ANCHORS))
        query = sa.text(ENDS.format(events=events, anchors=anchors))
        refuse_ends(self.name, self.about(), *self.connection.execute(query).one())

    def add(self, events: pd.DataFrame) -> list[str]:
        """Write events that are not there yet; their keys."""
        table = event_table(self.schema)
        ids = list(events["event_id"])
        there = self.connection.execute(
            sa.text(f'SELECT event_id FROM "{self.schema}".{EVENTS} WHERE event_id = ANY(:ids)'),
            {"ids": ids},
        )
        known = {row[0] for row in there}
        new = events[~events["event_id"].isin(known) & ~events["event_id"].duplicated()]
        if not len(new):
            return []
        last = self.connection.execute(
            sa.select(sa.func.coalesce(sa.func.max(table.c.seq), 0))
        ).scalar_one()
        new = new.assign(seq=last + 1 + np.arange(len(new)))
        rows = new.astype(object).to_dict("records")
        self.connection.execute(sa.insert(table), rows)
        digest = chained(self.about().get(EVENTS_SEAL, ""), rows_of(new))
        self.set_about(**{EVENTS_SEAL: digest, LAST_EVENT: new["event_id"].iloc[-1]})
        return list(new["event_id"])

    def touched(self, event_ids: Sequence[str]) -> list[str]:
        """Anchors whose state these events can change."""
        query = sa.text(CHANGEABLE.format(events=f'"{self.schema}".{EVENTS}', among=_AMONG))
        return [row[0] for row in self.connection.execute(query, {"ids": list(event_ids)})]

    def events_about(self, anchors: Sequence[str] | None) -> pd.DataFrame:
        """Events that decide the state of anchors; None means of all."""
        return _events(self.connection, self.schema, anchors)

    def guard(self) -> None:
        """Put back what refuses changes by other programs, where it is gone."""
        add_guards(self.connection, self.schema)

    def about(self) -> dict[str, str]:
        """What the book says of itself."""
        return _about(self.connection, self.schema)

    def set_about(self, **values: str) -> None:
        """Change what the book says of itself."""
        statement = insert(mark_table(self.schema))
        self.connection.execute(
            statement.on_conflict_do_update(
                index_elements=["name"], set_={"value": statement.excluded.value}
            ),
            [{"name": name, "value": value} for name, value in values.items()],
        )

    def replace(
        self, state: pd.DataFrame, keys: pd.Series, anchors: Sequence[str] | None, own: list[str]
    ) -> None:
        """Write the state of anchors in place of what the layer has of them (`store.Writer`)."""
        there = _columns(self.connection, self.schema)
        for name in state.columns:
            if name not in there:
                if len(name.encode()) > _LONGEST:
                    raise RecordError(
                        f"column {brief(name, 40)!r} is longer than the {_LONGEST} letters that a "
                        "database's columns may have; shorten its name"
                    )
                self._alter(f"ADD COLUMN {_quoted(name)} text")
        table = anchors_of(self.schema, list(state.columns))
        about = self.about() if anchors is not None else {}
        _, out = _sum(self.connection, self.schema, anchors or ())
        gone = sa.delete(table)
        if anchors is not None:
            gone = gone.where(table.c[KEY] == sa.any_(sa.literal(list(anchors), sa.ARRAY(sa.Text))))
        self.connection.execute(gone)
        if len(state):
            cells = state.astype(object).where(state.notna(), None)
            lon, lat = state["lon"].tolist(), state["lat"].tolist()
            cells = cells.assign(
                **{
                    _PLACE: state[KEY].map(keys).astype(object),
                    POINT: [f"SRID=4326;POINT({x!r} {y!r})" for x, y in zip(lon, lat, strict=True)],
                }
            )
            self.connection.execute(sa.insert(table), cells.to_dict("records"))
        for name in there:
            if name not in REGISTER_BY_NAME and not (name in own and self._holds(name)):
                self._alter(f"DROP COLUMN {_quoted(name)}")
        _, into = _sum(self.connection, self.schema, anchors)
        count = self.connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
        self.set_about(**moved(about, out, into, count))

    def _holds(self, name: str) -> bool:
        return bool(
            self.connection.execute(
                sa.text(
                    f'SELECT EXISTS (SELECT 1 FROM "{self.schema}".{ANCHORS} '
                    f"WHERE {_escaped(_quoted(name))} IS NOT NULL)"
                )
            ).scalar_one()
        )

    def _alter(self, how: str) -> None:
        self.connection.execute(sa.text(f'ALTER TABLE "{self.schema}".{ANCHORS} {_escaped(how)}'))


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _escaped(sql: str) -> str:
    """SQL in which no colon is taken for a parameter."""
    return sql.replace("\\", "\\\\").replace(":", "\\:")


def _is_there(connection: Connection, schema: str) -> bool:
    return sa.inspect(connection).has_table(MARK, schema=schema)


def _about(connection: Connection, schema: str) -> dict[str, str]:
    mark = mark_table(schema)
    return {row.name: row.value for row in connection.execute(sa.select(mark.c.name, mark.c.value))}


def _columns(connection: Connection, schema: str) -> list[str]:
    """Columns of the layer of anchors but its key and its point."""
    found = connection.execute(
        sa.text(
            "SELECT column_name FROM information_schema.columns WHERE table_schema = :schema "
            "AND table_name = :table ORDER BY ordinal_position"
        ),
        {"schema": schema, "table": ANCHORS},
    )
    return [row[0] for row in found if row[0] not in (_PLACE, POINT)]


def _anchors(connection: Connection, schema: str, names: list[str]) -> pd.DataFrame:
    table = anchors_of(schema, names)
    rows = connection.execute(
        sa.select(*(table.c[name] for name in names)).order_by(table.c[_PLACE])
    ).fetchall()
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    return pd.DataFrame(
        {
            name: pd.Series(list(values), dtype=float if name in NUMBERS else "str")
            for name, values in zip(names, columns, strict=True)
        }
    )


def _sum(
    connection: Connection, schema: str, anchors: Sequence[str] | None = None
) -> tuple[list[str], int]:
    """Columns of the layer, and the digest of the rows of these anchors; None means of all."""
    names = [_PLACE, *_columns(connection, schema)]
    table = anchors_of(schema, names[1:])
    query = sa.select(*(table.c[name] for name in names))
    if anchors is not None:
        query = query.where(table.c[KEY] == sa.any_(sa.literal(list(anchors), sa.ARRAY(sa.Text))))
    return names, summed(names, (tuple(row) for row in connection.execute(query)))


def _events(
    connection: Connection, schema: str, anchors: Sequence[str] | None = None
) -> pd.DataFrame:
    events, columns = f'"{schema}".{EVENTS}', ", ".join(COLUMNS)
    if anchors is None:
        query, given = f"SELECT {columns} FROM {events} ORDER BY seq", {}
    else:
        query = DECIDING.format(events=events, among=_AMONG, columns=columns)
        given = {"ids": list(anchors)}
    rows = connection.execute(sa.text(query), given, execution_options={"stream_results": True})
    parts = [frame_of_rows([tuple(r) for r in part]) for part in rows.partitions(50_000)]
    return pd.concat(parts, ignore_index=True) if parts else frame_of_rows([])


@contextmanager
def new_schema(address: Address) -> Iterator[PostgisWriter]:
    """A new book, which is there when all inside is written, or not at all.

    Raises
    ------
    OutputError
        There is a book in that schema.
    RecordError
        The database cannot be reached, or has no PostGIS.
    """
    schema = address.schema
    with clear(address), engine_of(address).begin() as connection:
        inspector = sa.inspect(connection)
        taken = [t for t in (MARK, ANCHORS, EVENTS) if inspector.has_table(t, schema=schema)]
        if taken:
            raise OutputError(
                f"{address}: schema {schema!r} holds a table {taken[0]} already, and nothing is "
                "overwritten; give another schema"
            )
        _have_postgis(connection, address)
        connection.execute(sa.schema.CreateSchema(schema, if_not_exists=True))
        tables = [mark_table(schema), event_table(schema), anchors_of(schema)]
        for table in tables:
            table.create(connection)
        add_guards(connection, schema)
        yield PostgisWriter(connection, schema, str(address))


def _have_postgis(connection: Connection, address: Address) -> None:
    if connection.execute(sa.text("SELECT 1 FROM pg_extension WHERE extname = 'postgis'")).first():
        return
    try:
        with connection.begin_nested():
            connection.execute(sa.text("CREATE EXTENSION postgis"))
    except sa.exc.DBAPIError as error:
        raise RecordError(
            f"{address}: the database has no PostGIS, and you may not add it; have its "
            "administrator run CREATE EXTENSION postgis there"
        ) from error
