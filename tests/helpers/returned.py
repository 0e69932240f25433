"""A small invented book, and returns to it."""

import csv
import datetime as dt
import hashlib
import json
import zipfile
from pathlib import Path

from saltreach import read_register
from saltreach.records.book import Book, open_book, start_book
from saltreach.records.returns import Proposal, apply_returns, read_returns

TODAY = dt.date(2026, 11, 25)
NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
HEADERS = (
    "anchor_id,crag,sector,lon,lat,kind,material,grade,diameter_mm,embedment_mm,"
    "installed_on,condition,tap_response"
)
REGISTER = f"""{HEADERS}
a1,Alder Point,North,-4.9500,43.4400,expansion,304,,10,70,2001,0,ringing
a2,Alder Point,North,-4.9501,43.4400,bonded,316,,12,100,2010-06-12,1,
a3,Alder Point,South,-4.9502,43.4400,bonded,,,12,90,,,
a4,Alder Point,South,-4.9503,43.4400,bonded,titanium,titanium grade 2,12,100,2020,0,ringing
b1,Birk Head,Left,-4.9000,43.4500,expansion,zinc-plated steel,,8,50,1988,3,dull
"""
JPG = b"\xff\xd8\xff" + b"picture" * 20


def small_book(folder: Path, name: str = "region.gpkg") -> Book:
    register = folder / "register.csv"
    register.write_text(REGISTER)
    return start_book(folder / name, read_register(register, today=TODAY), who="HO", now=NOW)


def row(anchor: str, who: str = "AB", done_on: str = "2026-10-03", **more: object) -> dict:
    return {"anchor_id": anchor, "done_on": done_on, "who": who} | more


def sheet(path: Path, *rows: dict) -> Path:
    names = list(dict.fromkeys(name for one in rows for name in one))
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, names)
        writer.writeheader()
        writer.writerows(rows)
    return path


def phone(path: Path, *rows: object, photos: dict[str, bytes] | None = None, **other: object):
    """A return file; `photos`: name -> bytes, of the first row."""
    photos = photos or {}
    first = rows[0] if rows and isinstance(rows[0], dict) else {}
    listed = [
        {"file": f"photos/{name}", "sha256": hashlib.sha256(data).hexdigest(),
         "anchor_id": first.get("anchor_id"), "record_id": first.get("record_id")}
        for name, data in photos.items()
    ]  # fmt: skip
    whole = {"format": "saltreach return", "version": 1, "trip": "T", "made_from": "M", "who": "AB",
             "rows": list(rows), "photos": listed} | other  # fmt: skip
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("return.json", json.dumps(whole))
        for name, data in photos.items():
            archive.writestr(f"photos/{name}", data)
    return path


def read(book: Book, *paths: Path, **more: object) -> Proposal:
    return read_returns(paths, book, today=TODAY, **more)


def bring(book: Book, folder: Path, *paths: Path, **more: object) -> Proposal:
    found = read(book, *paths, **more)
    apply_returns(found, book, folder / "region.gpkg", now=NOW)
    return found


def state(book: Book, anchor: str) -> dict:
    table = book.anchors().set_index("anchor_id")
    return table.loc[anchor].to_dict()


def changed(found: Proposal) -> dict:
    return {(r.anchor_id, r.column): (r.before, r.after) for r in found.changes.itertuples()}


def said(found: Proposal) -> list[tuple]:
    return [tuple(r) for r in found.rejected[["row", "column", "reason", "fix"]].to_numpy()]


__all__ = ["Book", "open_book"]
