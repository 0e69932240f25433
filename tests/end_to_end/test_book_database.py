"""A book in a real database: many writers at one time, and no password anywhere."""

import datetime as dt
import json
import multiprocessing
from collections import Counter

import pandas as pd
import pytest
import sqlalchemy as sa

from helpers.book_world import NOW, back, register
from helpers.database import running
from saltreach.errors import OutputError, RecordError
from saltreach.records import book_postgis
from saltreach.records.address import address_of
from saltreach.records.book import Appended, open_book, start_book
from saltreach.records.book_check import check_book
from saltreach.records.events import Event
from saltreach.records.reading import read_register

WRITERS, BATCHES, PER_WRITER, SHARED = 8, 4, 400, 800
LATER = NOW + dt.timedelta(days=90)


@pytest.fixture(scope="module")
def server():
    with running() as found:
        yield found


@pytest.fixture
def address(server, monkeypatch, request):
    monkeypatch.setenv("PGPASSWORD", server.password)
    name = "s" + "".join(c for c in request.node.name.lower() if c.isalnum())[:50]
    return server.address("postgres", name)


@pytest.fixture
def book(address):
    return start_book(address, register(), who="Ana", now=NOW)


def look(anchor="A1", day="2026-05-01", **says) -> Event:
    return Event(anchor, "looked at", day, "Bea", says or {"condition": 3}, record_id=f"r-{anchor}")


def run_sql(address: str, statement: str) -> None:
    with book_postgis.engine_of(address_of(address)).begin() as connection:
        connection.execute(sa.text(statement))


def test_a_book_in_a_database_is_what_one_in_a_file_is(book, address, tmp_path):
    other = start_book(tmp_path / "b.gpkg", register(), who="Ana", now=NOW)
    odd = {'a: "%s"; (b)': "x", "empty": None}
    events = [
        look(), look("A2", findings="loose"), Event("A3", "removed", "2026-05-02", "Bea"),
        Event("A1", "corrected", "2026-05-03", "B", odd),
    ]  # fmt: skip
    before = book.checksum
    assert before == other.checksum
    for one in (book, other):
        assert one.append([*events, events[0]], now=LATER) == Appended(4, 1)
        assert one.append(events, now=LATER) == Appended(0, 4)
    assert book.checksum == other.checksum
    pd.testing.assert_frame_equal(book.events(), other.events())
    pd.testing.assert_frame_equal(pd.DataFrame(book.anchors()), pd.DataFrame(other.anchors()))
    on = dt.date(2026, 4, 1)
    pd.testing.assert_frame_equal(book.anchors(on=on), other.anchors(on=on))
    book.append([back(event) for event in events], now=LATER)
    assert book.checksum == before
    assert check_book(book).whole
    assert read_register(address).sha256 == before


def test_nothing_is_overwritten_and_what_is_no_book_is_said_so(book, address, server):
    with pytest.raises(OutputError, match="holds a table saltreach_book already"):
        start_book(address, register(), who="Ana", now=NOW)
    with pytest.raises(RecordError, match="no book in schema 'elsewhere'; start one"):
        open_book(server.address("postgres", "elsewhere"))
    with pytest.raises(RecordError, match="there is no database of that name"):
        open_book(server.address("nowhere", "x"))
    with pytest.raises(RecordError, match="longer than the 63"):
        book.append([Event("A1", "corrected", "2026-05-01", "B", {"x" * 64: "y"})], now=LATER)
    assert len(book.events()) == 3


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE {}.events SET who = 'x'", "only added to, by saltreach"),
        ("DELETE FROM {}.events", "only added to, by saltreach"),
        ("TRUNCATE {}.events", "only added to, by saltreach"),
        ("INSERT INTO {}.events SELECT seq + 9, 'e', anchor_id, kind, happened_on, who, says, "
         "record_id, replaces, source_file, source_sha256, entered_at FROM {}.events", "added to"),
        ("UPDATE {}.anchors SET condition = 0", "made from its events"),
        ("DELETE FROM {}.anchors", "made from its events"),
        ("TRUNCATE {}.anchors", "made from its events"),
    ],
)  # fmt: skip
def test_other_programs_can_change_nothing(book, address, statement, said):
    before, schema = book.checksum, address_of(address).schema
    with pytest.raises(sa.exc.DBAPIError, match=said):
        run_sql(address, statement.replace("{}", schema))
    assert book.checksum == before
    assert book.append([look()], now=LATER) == Appended(1, 0)


def test_a_check_finds_what_was_changed_past_the_guards_and_mends_it(book, address):
    schema, before = address_of(address).schema, book.checksum
    run_sql(address, f"ALTER TABLE {schema}.anchors DISABLE TRIGGER anchors_row")
    run_sql(address, f"UPDATE {schema}.anchors SET geom = ST_SetSRID(ST_MakePoint(1, 1), 4326), "
            "condition = 0 WHERE anchor_id = 'A2'")  # fmt: skip
    run_sql(address, f"ALTER TABLE {schema}.anchors ADD COLUMN mine text DEFAULT 'x'")
    found = check_book(book)
    assert not found.events
    for said in ("guards the book is gone: anchors_row", "anchor A2: its point", "column mine",
                 "anchor A2, condition: 0.0 in the layer"):  # fmt: skip
        assert any(said in one for one in found.layer), said
    book.rebuild()
    assert book.checksum == before
    assert check_book(book).whole


def write(address: str, number: int) -> None:
    """One of several writers: its own events and the shared ones, in overlapping batches."""
    own = [
        look(f"A{i % 40 + 1}", "2026-05-01", condition=i % 5, remark=f"{number} {i}")
        for i in range(PER_WRITER)
    ]
    shared = [look(f"A{i % 40 + 1}", "2026-05-02", remark=f"all {i}") for i in range(SHARED)]
    part = SHARED // WRITERS
    book = open_book(address)
    each = PER_WRITER // BATCHES
    for batch in range(BATCHES):
        first = number * part
        several = [shared[(first + i) % SHARED] for i in range(2 * part)]
        mine = own[batch * each : (batch + 1) * each]
        book.append([*mine, *several[batch * part // 2 :]], now=LATER)


def test_eight_writers_lose_nothing_and_write_nothing_twice(address):
    """4,000 events: 400 of each of 8, and 800 that two of them bring each."""
    book = start_book(address, register(40), who="Ana", now=NOW)
    fork = multiprocessing.get_context("fork")
    writers = [fork.Process(target=write, args=(address, n)) for n in range(WRITERS)]
    for one in writers:
        one.start()
    for one in writers:
        one.join()
    assert [one.exitcode for one in writers] == [0] * WRITERS
    events = book.events()
    assert len(events) == 40 + WRITERS * PER_WRITER + SHARED == 4040
    assert events["event_id"].is_unique
    assert events["seq"].tolist() == list(range(1, 4041))
    said = Counter(json.loads(text).get("remark") for text in events["says"][40:])
    expected = {f"{n} {i}" for n in range(WRITERS) for i in range(PER_WRITER)}
    assert said == Counter(expected | {f"all {i}" for i in range(SHARED)})
    assert check_book(book).whole


def test_no_password_is_ever_shown(server, saltreach, monkeypatch, tmp_path):
    """In the address, in the environment, wrong or right: not on the screen, not in a file."""
    monkeypatch.delenv("PGPASSWORD", raising=False)
    given = server.address("postgres", "shown", password=True)
    table = tmp_path / "anchors.csv"
    register().anchors.drop(columns="geometry").to_csv(table, index=False)

    wrong = given.replace(server.password, "wrongsecret")
    failed = saltreach("book", "start", table, "--book", wrong, "--who", "Ana")
    assert failed.returncode == 2
    assert "lets nobody in of that name" in failed.stderr
    runs = [
        failed,
        saltreach("book", "start", table, "--book", given, "--who", "Ana"),
        saltreach("book", "check", given),
        saltreach("check", given),
        saltreach("assess", given, "--out", tmp_path / "results"),
        saltreach("book", "export", given, "--out", tmp_path / "out.csv"),
        saltreach("book", "check", given.replace("schema=shown", "schema=none")),
    ]
    assert [one.returncode for one in runs] == [2, 0, 0, 0, 0, 0, 2], [r.stderr for r in runs]
    written = [one.read_bytes() for one in tmp_path.rglob("*") if one.is_file()]
    shown = [(one.stdout + one.stderr).encode() for one in runs]
    for text in (*written, *shown):
        assert server.password.encode() not in text
        assert b"wrongsecret" not in text
    provenance = json.loads((tmp_path / "results" / "provenance.json").read_text())["register"]
    assert provenance["file"] == "postgres.shown"
    assert provenance["format"] == "PostGIS, a book"
    assert "127.0.0.1" not in json.dumps(provenance)
    monkeypatch.setenv("PGPASSWORD", server.password)
    ours = read_register(given.replace(f":{server.password}@", "@"))
    assert ours.sha256 == provenance["sha256"]
