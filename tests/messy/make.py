"""Writes the messy files that are not plain text: workbooks, and text in other encodings.

Everything is invented. The same bytes come out every time. Example: python tests/messy/make.py
"""

from __future__ import annotations

import datetime as dt
import io
import re
import sys
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

HERE = Path(__file__).parent

ACCENTS = (
    "Haken-Nr.;Gebiet;Sektor;Breitengrad;Längengrad;Werkstoff;Setztiefe;Bemerkung",
    "1;Mühlenküste;Süßwinkel;54,101010;10,801010;V4A;100;für später",
    "2;Mühlenküste;Süßwinkel;54,101020;10,801020;V4A;100;",
    "3;Mühlenküste;Süßwinkel;54,101030;10,801030;verzinkt;80;Öse verbogen, rät zum Tausch",
    "4;Mühlenküste;Bärenhöhle;54,101510;10,801510;V2A;80;",
    "5;Mühlenküste;Bärenhöhle;54,101520;10,801520;V2A;;große Abplatzung",
)
SPANISH = (
    "Código de anclaje\tEscuela\tSector\tLatitud\tLongitud\tMaterial\tObservaciones",
    "001\tPeñón del Búho\tUmbría\t42,401010\t-3,601010\tInox A4\táéíóú ñ",
    "002\tPeñón del Búho\tUmbría\t42,401020\t-3,601020\tZincado\t¿cambiar?",
    "003\tPeñón del Búho\tSolana\t42,401510\t-3,601510\tInox A4\t",
    "004\tPeñón del Búho\tSolana\t42,401520\t-3,601520\t\tÑ",
)
PLAIN = (
    "anchor_id;crag;sector;lat;lon;material",
    "1;Whinchat Edge;Left;53.701010;-1.901010;316",
    "2;Whinchat Edge;Left;53.701020;-1.901020;304",
    "3;Whinchat Edge;Right;53.701510;-1.901510;316",
    "4;Whinchat Edge;Right;53.701520;-1.901520;",
)
ENCODED: dict[str, tuple[Iterable[str], str, str]] = {
    "utf8_bom_crlf": (ACCENTS, "utf-8-sig", "\r\n"),
    "utf16_le_bom_tab": (SPANISH, "utf-16-le with mark", "\r\n"),
    "utf16_be_bom_tab": (SPANISH, "utf-16-be with mark", "\r\n"),
    "utf16_le": (ACCENTS, "utf-16-le", "\r\n"),
    "utf16_be": (ACCENTS, "utf-16-be", "\n"),
    "windows1252": (ACCENTS, "cp1252", "\r\n"),
    "latin_tab": (SPANISH, "cp1252", "\n"),
    "mac_roman_cr": (ACCENTS, "mac_roman", "\r"),
    "dos_cp850": (ACCENTS, "cp850", "\r\n"),
    "cr_only": (PLAIN, "ascii", "\r"),
    "mixed_line_ends": (PLAIN, "ascii", "mixed"),
}
"""Name -> lines, encoding, line end."""


def encoded(lines: Iterable[str], encoding: str, end: str) -> bytes:
    """Bytes of a text file."""
    rows = list(lines)
    if end == "mixed":
        ends = ["\r\n", "\n", "\r\n", "\n", "\n\n"]
        text = "".join(row + at for row, at in zip(rows, ends, strict=True))
    else:
        text = end.join(rows) + end
    bare, _, mark = encoding.partition(" with ")
    return ("\ufeff" * bool(mark) + text).encode(bare)


def fill(sheet: Worksheet, rows: Iterable[Iterable[object]]) -> None:
    """Puts rows of values from the first cell on; None leaves a cell out."""
    for y, row in enumerate(rows, 1):
        for x, value in enumerate(row, 1):
            if value is not None:
                sheet.cell(y, x, value)


def merged_cells(book: openpyxl.Workbook) -> None:
    """Crag and sector merged over their anchors, a title merged over the table."""
    sheet = book.active
    fill(sheet, [
        ["Ankerliste Bergfreunde Talblick"],
        ["Gebiet", "Sektor", "Haken-Nr.", "Breitengrad", "Längengrad", "Werkstoff", "Einbaudatum"],
        ["Hirschfels", "Unterer Rang", 1, 48.301010, 8.501010, "V4A", dt.date(2009, 6, 12)],
        [None, None, 2, 48.301020, 8.501020, "V4A", dt.date(2009, 6, 12)],
        [None, None, 3, 48.301030, 8.501030, "V2A", dt.date(2001, 9, 1)],
        [None, "Oberer Rang", 4, 48.301510, 8.501510, "V2A", dt.date(2001, 9, 1)],
        [None, None, 5, 48.301520, 8.501520, None, None],
        ["Rehkanzel", "Hauptwand", 6, 48.311010, 8.511010, "verzinkt", 1988],
        [None, None, 7, 48.311020, 8.511020, "verzinkt", 1988],
    ])  # fmt: skip
    for area in ("A1:G1", "A3:A7", "B3:B5", "B6:B7", "A8:A9", "B8:B9"):
        sheet.merge_cells(area)


def merged_headers(book: openpyxl.Workbook) -> None:
    """Two header lines with merged groups, a line of units, and merged values of other columns."""
    sheet = book.active
    fill(sheet, [
        ["Haken", None, None, "Lage", None, "Anker", None, None],
        ["Nummer", "Gebiet", "Sektor", "Breite", "Länge", "Werkstoff", "Durchmesser", "Setztiefe"],
        [None, None, None, "Grad", "Grad", None, "mm", "cm"],
        ["F1", "Luchsstein", "Kamin", 49.101010, 9.901010, "V4A", 12, 10],
        ["F2", "Luchsstein", "Kamin", 49.101020, 9.901020, None, 12, 10],
        ["F3", "Luchsstein", "Kamin", 49.101030, 9.901030, None, 12, 9.5],
        ["F4", "Luchsstein", "Pfeiler", 49.101510, 9.901510, "V2A", 10, 8],
        ["F5", "Luchsstein", "Pfeiler", 49.101520, 9.901520, "V2A", 10, 8],
    ])  # fmt: skip
    for area in ("A1:C1", "D1:E1", "F1:H1", "F4:F6"):
        sheet.merge_cells(area)


def second_sheet(book: openpyxl.Workbook) -> None:
    """A cover, the register, an old register that is hidden, and a list of phone numbers."""
    cover = book.active
    cover.title = "Deckblatt"
    fill(cover, [["Inventar 2024"], ["Bitte nur das Blatt 'Haken' ausfüllen"]])
    columns = ["anchor_id", "crag", "sector", "lat", "lon", "material"]
    fill(book.create_sheet("Haken"), [
        columns,
        ["1", "Otter Cliff", "Left", 44.101010, -68.301010, "316"],
        ["2", "Otter Cliff", "Left", 44.101020, -68.301020, "316"],
        ["3", "Otter Cliff", "Right", 44.101510, -68.301510, "304"],
        ["4", "Otter Cliff", "Right", 44.101520, -68.301520, None],
    ])  # fmt: skip
    old = book.create_sheet("Haken alt")
    fill(old, [columns, ["1", "Otter Cliff", "Left", 44.2, -68.4, "zinc"]])
    old.sheet_state = "hidden"
    fill(book.create_sheet("Telefon"), [["Name", "Telefon"], ["Ann", "000 123"]])


def errors_and_formulas(book: openpyxl.Workbook) -> None:
    """Formulas with the values a spreadsheet kept, and cells that hold errors."""
    sheet = book.active
    fill(sheet, [
        ["anchor_id", "crag", "sector", "lat", "lon", "diameter_mm", "embedment_mm",
         "installed_on", "material", "notes"],
        ["1", "Lynx Tower", "A", 46.101010, 7.101010, 12, 100, 2010, "316", "fine"],
        ["2", "Lynx Tower", "A", 46.101020, 7.101020, "#REF!", 100, "#N/A", "316", None],
        ["3", "Lynx Tower", "A", 46.101030, 7.101030, 12, "#DIV/0!", 2010, "#NAME?", None],
        ["4", "Lynx Tower", "B", 46.101510, 7.101510, 12, "#VALUE!", 2012, "304", "#N/A"],
        ["5", "Lynx Tower", "B", "#N/A", 7.101520, 12, 100, 2012, "304", None],
        ["6", "Lynx Tower", "B", 46.101530, 7.101530, 12, 100, 2012, "304", None],
    ])  # fmt: skip
    for row in sheet.iter_rows():
        for cell in row:
            if isinstance(cell.value, str) and cell.value.startswith("#"):
                cell.data_type = "e"
    sheet["G2"], sheet["G6"], sheet["H7"] = "=10*10", "=G2", "=YEAR(41000)"


KEPT = {"G2": "100", "G6": "100", "H7": "2012"}
"""What the spreadsheet that saved the formulas kept as their values."""


def stray_cells(book: openpyxl.Workbook) -> None:
    """Blanks in the last row and the last columns that a sheet can have."""
    sheet = book.active
    fill(sheet, [
        ["anchor_id", "crag", "sector", "lat", "lon", "material"],
        ["1", "Marten Buttress", "A", 45.901010, 6.901010, "316"],
        ["2", "Marten Buttress", "A", 45.901020, 6.901020, "316"],
        ["3", "Marten Buttress", "B", 45.901510, 6.901510, "304"],
        ["4", "Marten Buttress", "B", 45.901520, 6.901520, "304"],
    ])  # fmt: skip
    sheet["XFD1048576"] = " "
    sheet["XFC3"] = " "
    sheet["A1048000"] = " "


def stray_word(book: openpyxl.Workbook) -> None:
    """A remark far below the table and another far to its right: no anchors, but said."""
    sheet = book.active
    fill(sheet, [
        ["anchor_id", "crag", "sector", "lat", "lon", "material"],
        ["1", "Marten Buttress", "A", 45.901010, 6.901010, "316"],
        ["2", "Marten Buttress", "A", 45.901020, 6.901020, "316"],
        ["3", "Marten Buttress", "B", 45.901510, 6.901510, "304"],
        ["4", "Marten Buttress", "B", 45.901520, 6.901520, "304"],
    ])  # fmt: skip
    sheet["AZ3"] = "ask Ben"
    sheet["A900"] = "counted by Ben, May 2021"


def typed_and_text(book: openpyxl.Workbook) -> None:
    """One column holds numbers, numbers as text, dates, texts of dates and day numbers."""
    sheet = book.active
    fill(sheet, [
        ["anchor_id", "crag", "sector", "lat", "lon", "diameter", "embedment", "installed",
         "last inspected", "rain washed"],
        [1, "Badger Tor", "A", 53.101010, -1.601010, 10, "90", dt.datetime(2009, 6, 12),
         "25/12/2019", True],
        [2.0, "Badger Tor", "A", "53.101020", "-1.601020", "10", 90.0, 2009, 43831, "yes"],
        ["3", "Badger Tor", "A", 53.101030, "-1,601030", "10 mm", "9 cm", 39976,
         dt.date(2020, 1, 2), False],
        ["004", "Badger Tor", "B", 53.101510, -1.601510, "'12", "100 ", "25/06/2009",
         "01/02/2020", "x"],
        [5, "Badger Tor", "B", 53.101520, -1.601520, None, " ", dt.datetime(2011, 3, 4, 10, 30),
         None, None],
    ])  # fmt: skip
    sheet["A5"].quotePrefix = True


def empty_start(book: openpyxl.Workbook) -> None:
    """Three empty rows, two empty columns, a logo's line, then the table; totals and a date."""
    sheet = book.active
    fill(sheet, [
        [],
        [None, None, "CLUB ALPIN DU VAL IMAGINAIRE"],
        [None, None, "Inventaire des ancrages", None, None, None, dt.date(2023, 5, 4)],
        [],
        [None, None, "Falaise", "Secteur", "N° d'ancrage", "Latitude", "Longitude", "Matériau",
         "Profondeur (cm)"],
        [None, None, "Roc du Hibou", "Bas", 1, "44°15'36.5\"N", "6°07'12.3\"E", "inox 316L", 10],
        [None, None, None, None, 2, "44°15'36.6\"N", "6°07'12.4\"E", "inox 316L", 9.5],
        [None, None, None, "Haut", 3, "44°15'40.0\"N", "6°07'15.0\"E", "zingué", "7,5"],
        [],
        [None, None, "Total", None, 3],
        [None, None, "Mis à jour le 04/05/2023"],
    ])  # fmt: skip


BOOKS: dict[str, Callable[[openpyxl.Workbook], None]] = {
    made.__name__: made
    for made in (
        merged_cells, merged_headers, second_sheet, errors_and_formulas, stray_cells, stray_word,
        typed_and_text, empty_start,
    )
}  # fmt: skip


def workbook(made: Callable[[openpyxl.Workbook], None]) -> bytes:
    """Bytes of a workbook, without the time it was made, with the kept values of formulas."""
    book, raw, out = openpyxl.Workbook(), io.BytesIO(), io.BytesIO()
    made(book)
    book.save(raw)
    with zipfile.ZipFile(raw) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            text = old.read(name).decode("utf-8")
            if name == "docProps/core.xml":
                text = re.sub(r"\d{4}-\d\d-\d\dT[\d:]+Z", "2024-01-01T00:00:00Z", text)
            if made is errors_and_formulas and name.startswith("xl/worksheets/sheet"):
                for cell, value in KEPT.items():
                    text = re.sub(
                        rf'(<c r="{cell}"[^>]*><f>[^<]*</f>)<v ?/>', rf"\1<v>{value}</v>", text
                    )
            info = zipfile.ZipInfo(name, (2024, 1, 1, 0, 0, 0))
            new.writestr(info, text, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def files() -> dict[str, bytes]:
    """Every file by name."""
    texts = {f"{name}.csv": encoded(*how) for name, how in ENCODED.items()}
    return texts | {f"{name}.xlsx": workbook(made) for name, made in BOOKS.items()}


if __name__ == "__main__":
    for file, data in files().items():
        (HERE / file).write_bytes(data)
        sys.stdout.write(f"{file}\n")
