"""A run that is killed while it writes into a book: before or after, never between."""

import os
import shutil
import signal
import sqlite3
from contextlib import closing

import pyogrio
import pytest

from helpers.book_world import NOW, register
from saltreach.intake.book_layer import is_book_file
from saltreach.records import book_gpkg
from saltreach.records.book import open_book, start_book
from saltreach.records.book_check import check_book
from saltreach.records.events import Event

SAYS = {"condition": 3, "remark": "x" * 900}
EVENTS = [Event(f"A{i + 1}", "looked at", "2026-05-01", "Bea", SAYS) for i in range(40)]
MOMENTS = 10


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    file = tmp_path_factory.mktemp("killed") / "region.gpkg"
    start_book(file, register(40), who="Ana", now=NOW)
    return file


class Counted:
    """A connection that counts its statements, and kills its process before one of them."""

    def __init__(self, database, last: int) -> None:
        self.database, self.count, self.last = database, 0, last
        # pages go to the disk long before the transaction ends, as with a large return
        database.execute("PRAGMA cache_size = 1")

    def _step(self) -> None:
        if self.count == self.last:
            os.kill(os.getpid(), signal.SIGKILL)
        self.count += 1

    def execute(self, *given):
        self._step()
        return self.database.execute(*given)

    def executemany(self, *given):
        self._step()
        return self.database.executemany(*given)

    def close(self) -> None:
        self.database.close()


def append(file, monkeypatch, last: int) -> int:
    """Append the events by such a connection; how many statements that took."""
    connect, made = sqlite3.connect, []

    def counting(*args, **more):
        made.append(Counted(connect(*args, **more), last))
        return made[-1]

    given = open_book(file)
    with monkeypatch.context() as patch:
        patch.setattr(book_gpkg.sqlite3, "connect", counting)
        given.append(EVENTS, now=NOW)
    return sum(one.count for one in made)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs forks")
def test_a_killed_append_is_done_or_not_begun(started, tmp_path, monkeypatch):
    whole = tmp_path / "whole.gpkg"
    shutil.copy(started, whole)
    steps = append(whole, monkeypatch, -1)
    assert steps > 2 * MOMENTS
    old, new = open_book(started).checksum, open_book(whole).checksum
    for moment in [*range(steps - 1, 0, -(steps // MOMENTS))][:MOMENTS]:
        file = tmp_path / f"{moment}.gpkg"
        shutil.copy(started, file)
        child = os.fork()
        if child == 0:
            append(file, monkeypatch, moment)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status), moment
        assert is_book_file(file)  # as any command asks first
        with closing(sqlite3.connect(file)) as database:
            assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert len(pyogrio.read_dataframe(file, layer="events")) == 40
        book = open_book(file)
        assert book.checksum == old
        assert not book.faults()
        assert book.append(EVENTS, now=NOW).new == 40  # the next run goes on from there
        assert book.checksum == new


def test_what_was_committed_stays_though_the_run_is_killed_then(started, tmp_path):
    file = tmp_path / "b.gpkg"
    shutil.copy(started, file)
    child = os.fork()
    if child == 0:
        open_book(file).append(EVENTS, now=NOW)
        os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(child, 0)
    assert check_book(open_book(file)).whole
    assert len(open_book(file).events()) == 80
