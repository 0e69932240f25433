"""What is broken: valid files of every format, and the function that reads each."""

from __future__ import annotations

import datetime as dt
import functools
import io
import tempfile
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import pandas as pd

from helpers.register_formats import write_all_formats
from helpers.returned import JPG, phone, row
from saltreach.intake.datasheet import read_cure_table
from saltreach.intake.holding import read_holding
from saltreach.intake.options import read_options
from saltreach.intake.policy import read_policy
from saltreach.intake.prices import read_prices
from saltreach.intake.read import Register, read_register
from saltreach.intake.return_file import read_return_file
from saltreach.intake.rock_mapping import read_rock_mapping
from saltreach.intake.services import read_services
from saltreach.intake.sheets import Sheet, read_table
from saltreach.intake.tables import TABLES
from saltreach.intake.templates import example_tables
from saltreach.layers.embedded import embedded_file
from saltreach.outputs.tables.templates import write_templates

MESSY = Path(__file__).resolve().parents[1] / "messy"
TODAY = dt.date(2026, 11, 25)
EVERY_ROW_NEEDED: Mapping[str, Callable[[Path], object]] = {
    "prices": read_prices,
    "data_sheet": read_cure_table,
    "rock_mapping": read_rock_mapping,
}
"""Tables whose reader gives no list of refused rows."""


@dataclass(frozen=True)
class Format:
    """Files of one format.

    Attributes
    ----------
    name : str
        As in the summary, for example `survey csv`.
    suffix : str
        Of the file.
    seeds : tuple of bytes
        Good files, or messy ones, that are broken.
    read : callable
        Reads a file; what has rows gives rows read and what became of them.
    beside : mapping
        Files that stand in the same folder.
    """

    name: str
    suffix: str
    seeds: tuple[bytes, ...]
    read: Callable[[Path], object]
    beside: Mapping[str, bytes] = field(default_factory=dict)


def uncounted(found: object) -> str:
    """What is wrong with the rows of a result: every one is kept or refused, and none is both."""
    if isinstance(found, Register):
        kept = set(found.anchors["source_row"])
        accepted = len(found.anchors)
    elif isinstance(found, Sheet):
        kept = {row["row"] for row in found.rows}
        accepted = len(found.rows)
    else:
        return ""
    refused = set(found.rejected["row"])
    if found.rows_read != accepted + len(refused) or kept & refused:
        return f"{found.rows_read} rows read, {accepted} kept, {len(refused)} refused"
    return ""


def _invented() -> pd.DataFrame:
    """A small register, every word of it invented."""
    return pd.DataFrame(
        {
            "anchor_id": [f"x{i}" for i in range(6)],
            "crag": ["Siskin Scar"] * 4 + ["Möwenküste"] * 2,
            "sector": ["Left", "Left", "Right", "Right", "Süd", "Süd"],
            "lon": [-1.70101, -1.70102, -1.70151, -1.70152, 10.80101, 10.80102],
            "lat": [54.10101, 54.10102, 54.10151, 54.10152, 54.20101, 54.20102],
            "material": ["316", "304", "titanium", None, "zinc-plated steel", "316"],
            "diameter_mm": [12.0, 10.0, 12.0, 10.0, 8.0, 12.0],
            "installed_on": ["2009-06-12", "2009", "2014-06", None, "1988", "2020-01-31"],
            "condition": [0, 1, 0, None, 3, 0],
            "notes": ["fine", None, "a; b, c", None, "<b>&amp;", "ö"],
        }
    )


def _registers(folder: Path) -> list[Format]:
    """The seven formats; CSV and XLSX also begin with the messy files."""
    valid = write_all_formats(_invented(), folder)
    out = []
    for suffix, path in valid.items():
        messy = sorted(p for p in MESSY.glob(f"*.{suffix}") if ".truth" not in p.name)
        seeds = tuple(p.read_bytes() for p in (path, *messy))
        read = partial(read_register, today=TODAY)
        out.append(Format(f"register {suffix}", f".{suffix}", seeds, read))
        if suffix == "kml":
            zipped = io.BytesIO()
            with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr("doc.kml", seeds[0])
            out.append(Format("register kmz", ".kmz", (zipped.getvalue(),), read))
    return out


def _tables(demo: Path, book: bytes) -> list[Format]:
    """Every table beside the register, as CSV and in a workbook of all."""
    cells = {t.name: frame for t, frame in example_tables(demo).items()}
    out = []
    for table in TABLES:
        read = EVERY_ROW_NEEDED.get(table.name, partial(read_table, table=table))
        text = cells[table.name].to_csv(index=False).encode()
        out.append(Format(f"{table.name} csv", ".csv", (text,), read))
        out.append(Format(f"{table.name} xlsx", ".xlsx", (book,), read))
    return out


def _settings(example: Path, demo: Path) -> list[Format]:
    """TOML files and the land of a holding."""

    def text(name: str) -> tuple[bytes, ...]:
        return ((example / f"{name}.toml").read_bytes(), (demo / f"{name}.toml").read_bytes())

    land, contact = (demo / f"holding{suffix}" for suffix in (".geojson", ".toml"))
    beside = {path.name: path.read_bytes() for path in (land, contact)}
    with_us = {"us.toml": _contact_alone(contact.read_bytes())}

    def with_contact(path: Path) -> object:
        return read_holding(path, path.parent / "us.toml")

    def as_contact(path: Path) -> object:
        return read_holding(path.parent / land.name, path)

    return [
        Format("options toml", ".toml", text("options"), read_options),
        Format("policy toml", ".toml", text("policy"), read_policy),
        Format("services toml", ".toml", text("services"), read_services),
        Format("prices toml", ".toml", text("prices"), read_prices),
        Format("holding toml", ".toml", text("holding"), read_holding, beside),
        Format(
            "contact toml", ".toml", tuple(map(_contact_alone, text("holding"))), as_contact, beside
        ),
        Format("holding geojson", ".geojson", (land.read_bytes(),), with_contact, with_us),
    ]


def _returns(folder: Path) -> Format:
    """The return file of the phone page."""
    rows = [row("x1", record_id="r1", condition=2, findings=["loose"]), row("x2", done="closed")]
    made = phone(folder / "r.zip", *rows, photos={"a.jpg": JPG})
    return Format("returns zip", ".zip", (made.read_bytes(),), _records)


def _records(file: Path) -> Sheet:
    """Rows of a return file; a photo that is refused is listed after them, and is no row."""
    sheet, _ = read_return_file(file)
    return replace(sheet, rejected=sheet.rejected[sheet.rejected["row"] <= sheet.rows_read])


def _contact_alone(text: bytes) -> bytes:
    """A holding's file without whose land it is."""
    lines = text.decode("utf-8").splitlines(keepends=True)
    own = ("name =", "land =", "crags =")
    return "".join(line for line in lines if not line.startswith(own)).encode()


@functools.cache
def formats() -> dict[str, Format]:
    """Every format by name."""
    demo = embedded_file("demo/anchors.csv").parent
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_templates(folder, demo)
        example = folder / "example"
        book = (example / "tables.xlsx").read_bytes()
        found = [
            *_registers(folder / "register"),
            *_tables(demo, book),
            *_settings(example, demo),
            _returns(folder),
        ]
    return {one.name: one for one in found}
