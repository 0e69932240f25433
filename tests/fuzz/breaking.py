"""Breaks a file: its bytes, the parts of its archive, its cells. A seed gives the same bytes."""

from __future__ import annotations

import codecs
import csv
import datetime as dt
import functools
import io
import json
import random
import re
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from typing import Any

import openpyxl

Rows = list[list[Any]]

ABSURD: tuple[str, ...] = (
    "", " ", "-", "?", "0", "-1", "1e308", "-1e308", "1e-400", "nan", "inf", "-Infinity",
    "99999999999999999999", "1e99999", "0x1F", "1_000", "١٢٣", "²", "½", "𝟙", "1,234,567.89",
    "1.234.567", "−5", "1/0", "=1+1", "#REF!", "'", '"', '""', "\\", "\x00", "\x07", "\x0b",
    "\x1b[31m", "\r", "\n\n", "\t", "\u2028", "\u202e", "\ufeff", "\u00a0", "\u200b",
    "e\u0301" * 200, "\U0001f9d7\u200d\u2640", "9" * 400, "A" * 40_000, ";" * 300, "," * 300,
    "0000-00-00", "9999-12-31", "0001-01-01",
    "31.02.2010", "12/13/2010", "13/13/2010", "1/1/1", "-2009", "25569", "2958466", "99:99",
    "N 91 00.000", "36°61'61\"N", "400°", "W", "° ' \"", "29S 0 0", "61T 1 1", "60X 999999999 1",
    "36.9, -8.7, 12", "null", "None", "true", "yes no", "<b>&lt;", "&#0;", "&#x110000;", "{}", "[]",
    "../../x", "C:\\x", "http://example.org/", "%s%n", "{0}", "summer", "ca.", "vor", "..",
    "2027-08-31..2027-08-01", "SA SU 9MO", "24:01",
)  # fmt: skip
ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "mac_roman", "cp850", "utf-16", "utf-16-le",
             "utf-16-be", "utf-32", "utf-7", "shift_jis")  # fmt: skip
LONG = 3_000_000
"""Bytes above which a broken file is cut: what is tested is the content, not the size."""


def broken(suffix: str, seed: bytes, rng: random.Random) -> bytes:
    """A broken copy of a file."""
    ways: list[Callable[[bytes, random.Random], bytes]] = [_bytes, *WAYS[suffix]]
    return rng.choice(ways)(seed, rng)[:LONG]


def _bytes(data: bytes, rng: random.Random) -> bytes:
    """Flips, deletes, inserts, doubles, swaps or cuts a few spans."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 6)):
        at, to = sorted(rng.randint(0, len(out)) for _ in "12")
        to = min(to, at + rng.choice((1, 2, 8, 64, 4096)))
        what = rng.randrange(6)
        if what == 0 and out:
            out[min(at, len(out) - 1)] ^= 1 << rng.randrange(8)
        elif what == 1:
            del out[at:to]
        elif what == 2:
            out[at:at] = rng.randbytes(rng.choice((1, 2, 8, 64)))
        elif what == 3:
            out[at:at] = out[at:to] * rng.choice((1, 1, 2, 50))
        elif what == 4:
            other = rng.randint(0, len(out))
            span = bytes(out[at:to])
            del out[at:to]
            out[other:other] = span
        elif rng.random() < 0.2:
            del out[at:]
    return bytes(out)


def _absurd(rng: random.Random) -> str:
    return rng.choice(ABSURD)


def _cells(rows: Rows, rng: random.Random) -> Rows:
    """Breaks a few cells, rows or columns of a table."""
    rows = [list(row) for row in rows] or [[""]]
    for _ in range(rng.randint(1, 8)):
        y = rng.randrange(len(rows))
        row = rows[y] = rows[y] or [""]
        x = rng.randrange(len(row))
        other = rng.choice(rows)
        what = rng.randrange(15)
        if what <= 3:
            row[x] = _absurd(rng)
        elif what == 4:
            row[x] = ""
        elif what == 5 and other:
            at = rng.randrange(len(other))
            row[x], other[at] = other[at], row[x]
        elif what == 6:
            row[x] = f"{row[x] or ''}{_absurd(rng)}"
        elif what == 7:  # as merged cells are exported
            for below in rows[y + 1 : y + rng.randint(2, 9)]:
                if x < len(below):
                    below[x] = ""
        elif what == 8:
            row.insert(x, "")
        elif what == 9:
            del row[x]
        elif what == 10:
            rows.insert(y, [rng.choice(("", _absurd(rng)))] * rng.choice((0, 1, len(row))))
        elif what == 11:
            rows.insert(y, list(rows[0]))
        elif what == 12:
            for each in rows:
                each.insert(min(x, len(each)), _absurd(rng) if rng.random() < 0.1 else "")
        elif what == 13:
            for each in rows:
                del each[x : x + 1]
        else:
            rows.insert(y, list(other))
    return rows


def _csv(data: bytes, rng: random.Random) -> bytes:
    """Breaks cells, and writes them with any delimiter, encoding and line end."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    csv.field_size_limit(2**31 - 1)
    old = max(",;\t|", key=text.count)
    rows = list(csv.reader(io.StringIO(text.replace("\x00", ""), newline=""), delimiter=old))
    new = old if rng.random() < 0.7 else rng.choice(",;\t|:")
    out = io.StringIO()
    end = rng.choice(("\n", "\n", "\r\n", "\r"))
    csv.writer(out, delimiter=new, lineterminator=end).writerows(_cells(rows, rng))
    encoding = "utf-8" if rng.random() < 0.7 else rng.choice(ENCODINGS)
    return out.getvalue().encode(encoding, errors="replace")


def _reencoded(data: bytes, rng: random.Random) -> bytes:
    """The same text in another encoding, or with a mark that is another's."""
    text = data.decode("utf-8", errors="replace")
    marks = (b"", b"", codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
    return rng.choice(marks) + text.encode(rng.choice(ENCODINGS), errors="replace")


@functools.lru_cache(maxsize=64)
def _sheets(data: bytes) -> dict[str, Rows]:
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True)
    out = {}
    for sheet in book.worksheets:
        sheet.reset_dimensions()
        out[sheet.title] = [list(row) for row in sheet.iter_rows(max_row=80, values_only=True,
                                                                 max_col=60)]  # fmt: skip
    book.close()
    return out


def _xlsx_cells(data: bytes, rng: random.Random) -> bytes:
    """Breaks cells of a workbook, merges some, hides sheets, puts cells far away."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    sheets = _sheets(data)
    chosen = rng.choice(list(sheets))
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for y, row in enumerate(_cells(rows, rng) if title == chosen else rows, 1):
            for x, value in enumerate(row, 1):
                if isinstance(value, str):
                    value = openpyxl.cell.cell.ILLEGAL_CHARACTERS_RE.sub("\ufffd", value)[:32_000]
                if value not in (None, ""):
                    sheet.cell(y, x, value)
    sheet = book[chosen]
    if rng.random() < 0.2:
        y, x = rng.randint(1, 8), rng.randint(1, 8)
        sheet.merge_cells(start_row=y, start_column=x, end_row=y + rng.randint(0, 4),
                          end_column=x + rng.randint(0, 4))  # fmt: skip
    if rng.random() < 0.1:
        sheet.cell(rng.choice((900, 70_000, 1_048_576)), rng.choice((1, 60, 16_384)), " ")
    if rng.random() < 0.1 and len(sheets) > 1:
        sheet.sheet_state = rng.choice(("hidden", "veryHidden"))
    out = io.BytesIO()
    book.save(out)
    return _rezipped(_parts(out.getvalue()))


def _parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _rezipped(parts: dict[str, bytes]) -> bytes:
    """An archive without the time of its making."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, part in parts.items():
            if name == "docProps/core.xml":
                part = re.sub(rb"\d{4}-\d\d-\d\dT[\d:]+Z", b"2024-01-01T00:00:00Z", part)
            archive.writestr(zipfile.ZipInfo(name, (2024, 1, 1, 0, 0, 0)), part,
                             zipfile.ZIP_DEFLATED)  # fmt: skip
    return out.getvalue()


def _xlsx_parts(data: bytes, rng: random.Random) -> bytes:
    """Breaks the XML inside a workbook: its bytes, its texts and attributes, or a part gone."""
    parts = _parts(data)
    names = [n for n in parts if "sheet" in n] * 3 + list(parts)
    for _ in range(rng.choice((1, 1, 2))):
        name = rng.choice(names)
        if name not in parts:
            continue
        if rng.random() < 0.1:
            del parts[name]
        else:
            parts[name] = rng.choice((_bytes, _xml))(parts[name], rng)
    return _rezipped(parts)


def _xml(data: bytes, rng: random.Random) -> bytes:
    """Breaks texts, attributes and elements of an XML file."""
    text = data.decode("utf-8", errors="replace")
    for _ in range(rng.randint(1, 4)):
        spots = list(re.finditer(r'>([^<>]*)<|="([^"]*)"', text))
        if not spots:
            break
        spot = rng.choice(spots)
        group = 1 if spot.group(1) is not None else 2
        what = rng.randrange(5)
        if what <= 2:
            new = _absurd(rng)
            if rng.random() < 0.8:
                for sign, name in (("&", "&amp;"), ("<", "&lt;"), ('"', "&quot;")):
                    new = new.replace(sign, name)
            text = text[: spot.start(group)] + new + text[spot.end(group) :]
        elif what == 3:
            tags = list(re.finditer(r"<[^>]*>", text))
            tag = rng.choice(tags)
            text = text[: tag.start()] + text[tag.end() :]
        else:
            one, two = sorted(rng.choices(spots, k=2), key=lambda s: s.start())
            text = text[: one.start()] + text[one.start() : two.start()] * 2 + text[two.start() :]
    return text.encode("utf-8", errors="replace")


def _json(data: bytes, rng: random.Random) -> bytes:
    """Replaces, deletes, doubles or moves a few values of a JSON file."""
    document = json.loads(data)
    for _ in range(rng.randint(1, 4)):
        places: list[tuple[Any, Any]] = []
        _walk(document, places)
        if not places:
            break
        inside, key = rng.choice(places)
        what = rng.randrange(6)
        if what <= 2:
            absurd = (None, True, [], {}, [[]], 1e308, -181, 91, float("nan"), float("inf"), 10**30)
            inside[key] = rng.choice((rng.choice(absurd), _absurd(rng)))
        elif what == 3:
            del inside[key]
        elif what == 4:
            other, there = rng.choice(places)
            inside[key] = json.loads(json.dumps(other[there]))
        elif isinstance(inside, list):
            inside.insert(key, json.loads(json.dumps(inside[key])))
    return json.dumps(document, ensure_ascii=rng.random() < 0.5).encode("utf-8", errors="replace")


def _walk(node: Any, places: list[tuple[Any, Any]]) -> None:
    """Every place of a document that holds a value."""
    items = node.items() if isinstance(node, dict) else enumerate(node)
    for key, value in items:
        places.append((node, key))
        if isinstance(value, dict | list):
            _walk(value, places)


def _gpkg(data: bytes, rng: random.Random) -> bytes:
    """Puts absurd values, broken shapes or other names into the tables of a GeoPackage."""
    with closing(sqlite3.connect(":memory:")) as base:
        base.deserialize(data)
        base.execute("PRAGMA trusted_schema = on")
        names = [r[0] for r in base.execute("select name from sqlite_master where type='trigger'")]
        for name in names:
            base.execute(f'drop trigger "{name}"')
        tables = ["anchors"] * 3 + [
            "gpkg_contents",
            "gpkg_geometry_columns",
            "gpkg_spatial_ref_sys",
        ]
        for _ in range(rng.randint(1, 3)):
            table = rng.choice(tables)
            columns = [r[1] for r in base.execute(f'pragma table_info("{table}")')]
            column = rng.choice(columns)
            rows = [r[0] for r in base.execute(f'select rowid from "{table}"')]
            if not rows:
                continue
            row = rng.choice(rows)
            where = f'"{table}" where rowid = {row}'
            (old,) = base.execute(f'select "{column}" from {where}').fetchone()
            new: Any = _absurd(rng).encode("utf-8", "replace").decode("utf-8")
            if isinstance(old, bytes) and rng.random() < 0.8:
                new = _bytes(old, rng)
            elif rng.random() < 0.2:
                new = rng.choice((None, b"\x00\xff", 2**62, -1e308))
            try:
                if rng.random() < 0.1:
                    base.execute(f"delete from {where}")
                else:
                    base.execute(f'update "{table}" set "{column}" = ? where rowid = {row}', (new,))
            except sqlite3.Error:
                continue
        base.commit()
        return base.serialize()


def _parquet(data: bytes, rng: random.Random) -> bytes:
    """Puts absurd texts, broken shapes, other types, names or words on the geometry into a file."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pq.read_table(pa.BufferReader(data))
    about = dict(table.schema.metadata or {})
    columns, names = [c.to_pylist() for c in table.columns], list(table.column_names)
    types: list[pa.DataType | None] = list(table.schema.types)
    for _ in range(rng.randint(1, 3)):
        what, y = rng.randrange(5), rng.randrange(len(names))
        row = rng.randrange(max(len(columns[y]), 1))
        old = columns[y][row] if columns[y] else None
        if what == 0 and b"geo" in about:
            about[b"geo"] = _json(about[b"geo"], rng)
        elif what == 1:
            names[y] = rng.choice((_absurd(rng), rng.choice(names)))
        elif what == 2 and isinstance(old, bytes):
            columns[y][row] = _bytes(old, rng)
        elif what == 3:
            absurd = (
                b"\x00\xff",
                2**62,
                1e308,
                dt.datetime(9999, 1, 1),
                [1, None],
                {"a": [b"x"]},
                True,
            )
            columns[y] = [rng.choice(absurd)] * len(columns[y])
            types[y] = None
        else:
            columns[y] = [_absurd(rng) if rng.random() < 0.4 else None for _ in columns[y]]
            types[y] = rng.choice((pa.string(), pa.large_string()))
    out = io.BytesIO()
    try:
        arrays = [pa.array(c, type=t) for c, t in zip(columns, types, strict=True)]
        made = pa.table(arrays, names=names).replace_schema_metadata(about)
        pq.write_table(made, out, row_group_size=rng.choice((1, 3, 1000)))
    except (pa.ArrowException, UnicodeError, ValueError, TypeError):
        return _bytes(data, rng)
    return out.getvalue()


def _toml(data: bytes, rng: random.Random) -> bytes:
    """Breaks values and lines of a TOML file."""
    lines = data.decode("utf-8").split("\n")
    absurd = ("true", "[]", "{}", '""', "-1", "0", "nan", "inf", "1e308", "10" * 200, "2027-02-30",
              "9999-12-31", "00:00:00", '"\\u0000"', '["", ""]', "'''x'''", '"316"', "[[1], [2]]",
              '{ a = "b" }', "1979-05-27T07:32:00Z")  # fmt: skip
    for _ in range(rng.randint(1, 5)):
        y = rng.randrange(len(lines))
        what = rng.randrange(7)
        name, equals, _ = lines[y].partition(" = ")
        if what <= 3 and equals:
            new = rng.choice(absurd) if rng.random() < 0.6 else json.dumps(_absurd(rng))
            lines[y] = f"{name.removeprefix('# ')} = {new}"
        elif what == 4:
            lines[y] = lines[y].removeprefix("# ")
        elif what == 5:
            lines.insert(y, rng.choice(lines))
        else:
            lines[y] = rng.choice(("", _absurd(rng), f'{_absurd(rng)} = "x"', "[contact]"))
    return "\n".join(lines).encode("utf-8", errors="replace")


def _return_file(data: bytes, rng: random.Random) -> bytes:
    """Breaks what is in the archive: the records, or a photo."""
    out = io.BytesIO()
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
            for name in old.namelist():
                part = old.read(name)
                broken_part = _json(part, rng) if name.endswith(".json") else _bytes(part, rng)
                new.writestr(name, broken_part)
    except (zipfile.BadZipFile, ValueError):
        return _bytes(data, rng)
    return out.getvalue()


WAYS: dict[str, tuple[Callable[[bytes, random.Random], bytes], ...]] = {
    ".csv": (_csv, _csv, _csv, _reencoded),
    ".xlsx": (_xlsx_cells, _xlsx_cells, _xlsx_parts, _xlsx_parts),
    ".geojson": (_json, _json, _json, _reencoded),
    ".gpkg": (_gpkg, _gpkg),
    ".gpx": (_xml, _xml, _reencoded),
    ".kml": (_xml, _xml, _reencoded),
    ".kmz": (_bytes,),
    ".parquet": (_parquet, _parquet, _parquet),
    ".toml": (_toml, _toml, _toml, _reencoded),
    ".zip": (_return_file, _return_file, _bytes),
}
"""Suffix -> what is done to such a file, beside breaking its bytes; more often named, more often
done."""
