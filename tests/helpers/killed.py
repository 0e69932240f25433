"""Returns written into copies of a book by processes that are killed, each at a later moment.

A script: `killed.py FOLDER MOMENTS` with `region.gpkg`, `r.zip` and `r.csv` in the folder. It
prints JSON: what the book held before and after, and for each moment what was found.
"""

import hashlib
import json
import os
import shutil
import signal
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

from helpers.returned import NOW, TODAY
from saltreach.records.book import open_book
from saltreach.records.returns import Proposal, apply_returns, read_returns

AGAIN = 4
"""After every so many moments the same is written again."""


class Moments:
    """Counts statements and steps of SQLite, syncs and renames; kills its process at the last."""

    def __init__(self, last: int = 0) -> None:
        self.seen, self.last = 0, last
        connect = sqlite3.connect

        def connected(*given, **how):
            database = connect(*given, **how)
            database.set_trace_callback(self.tick)
            database.set_progress_handler(self.tick, 100)
            return database

        sqlite3.connect = connected
        self.hook(os, "fsync")
        self.hook(Path, "replace")

    def hook(self, place: object, name: str) -> None:
        done = getattr(place, name)

        def counted(*given):
            self.tick()
            return done(*given)

        setattr(place, name, counted)

    def tick(self, *_: object) -> int:
        self.seen += 1
        if self.seen == self.last:
            os.kill(os.getpid(), signal.SIGKILL)
        return 0


def write(found: Proposal, book: Path, last: int) -> int:
    """Write returns in a process of its own; how many moments it saw, 0 where it was killed."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        moments = Moments(last)
        apply_returns(found, open_book(book), book, now=NOW)
        moments.tick()  # written, and nobody was told
        os.write(writer, str(moments.seen).encode())
        os._exit(0)
    os.close(writer)
    os.waitpid(child, 0)
    with os.fdopen(reader) as stream:
        return int(stream.read() or 0)


def held(book: Path) -> list:
    """What a book holds, for a reader who comes after: events, cells of the register."""
    events = len(open_book(book).events())
    with closing(sqlite3.connect(book)) as database:
        sound = database.execute("PRAGMA integrity_check").fetchone()[0]
        cells = database.execute("SELECT * FROM anchors ORDER BY anchor_id").fetchall()
    return [events, hashlib.sha256(repr(cells).encode()).hexdigest(), sound]


def main(folder: Path, count: int) -> None:
    """Try all moments."""
    whole = folder / "region.gpkg"

    def copied(at: int) -> Path:
        place = folder / str(at)
        place.mkdir()
        shutil.copyfile(whole, place / whole.name)
        return place / whole.name

    files = [folder / "r.zip", folder / "r.csv"]
    found = read_returns(files, open_book(whole), today=TODAY)
    before = held(whole)
    first = copied(0)
    moments = write(found, first, 0)
    after = held(first)
    tried = []
    for number in range(count):
        at = 1 + number * (moments - 1) // (count - 1)
        book = copied(at)
        killed = write(found, book, at) == 0
        then = held(book)
        again, photos = None, []
        if number % AGAIN == 0:
            write(found, book, 0)
            again = held(book)
            photos = sorted(p.name for p in (book.parent / "region_photos").iterdir())
        tried.append([killed, then, again, photos])
    print(json.dumps({"before": before, "after": after, "moments": moments, "tried": tried}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
