"""Sheets that people print: no word is cut, no row lies over the next.

The needed size is worked out here from another font's metrics than the writer uses (Helvetica,
whose widths Arial and Liberation Sans share, from the metrics file that matplotlib carries), and
where LibreOffice is at hand the page that it makes is looked at word by word.
"""

import os
import re
import shutil
import signal
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import matplotlib
import openpyxl
import pandas as pd
import pytest
from fontTools.afmLib import AFM
from fontTools.agl import UV2AGL

from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.outputs.tables.text_size import width_em, wrapped
from saltreach.vocabulary.words import CAUTION

LONG = (
    "By rule closure: nobody may be at the crag from February to June because birds nest there, "
    "and the three teams have no free day before the closure begins."
)
TABLE = pd.DataFrame(
    {
        "date": ["2027-03-06", "2027-03-07", "2027-11-28"],
        "team": ["North", "A team with quite a long name", "=South"],
        "stop": [1, 2, 10],
        "begins": ["09:05", "13:40", "10:00"],
        "crag": ["Cabo", "Peñas Blancas de la Entrecosta", "Überhang <b>"],
        "anchors_to_replace": [4, 120, 7],
        "cost": [36.0, 12345.6, 0.5],
        "avoided_pct": [0.004, 12.345, None],
        "days_late": [0, 12, 365],
        "trip_leaves": ["07:30", "07:30", "08:00"],
        "why": [LONG, "", LONG * 5],
        "extraordinarily_short_rule": ["x", "y", "z"],
    }
)
SHEETS = {"Plan": TABLE, "Empty": TABLE.iloc[:0], "One": TABLE[["why"]]}
ABOUT = ["Short.", LONG, LONG * 3]


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "print.xlsx"
    write_workbook(path, SHEETS, ABOUT, title="A plan (advice)")
    return path


def helvetica(bold):
    name = "phvb8a.afm" if bold else "phvr8a.afm"
    metrics = AFM(str(Path(matplotlib.get_data_path()) / "fonts" / "afm" / name))
    return {letter: metrics[letter][1] for letter in metrics.chars()}


def needed(text, size_pt, bold, room_pt):
    """Widest word and whole text in Helvetica, points, and the lines it takes."""
    metrics = helvetica(bold)

    def width(part):
        return sum(metrics[UV2AGL[ord(letter)]] for letter in part) / 1000 * size_pt

    lines, used = 1, 0.0
    for word in text.split():
        if used and used + width(" " + word) > room_pt:
            lines, used = lines + 1, width(word)
        else:
            used += width(" " + word if used else word)
    return max(map(width, text.split()), default=0.0), width(text), lines


def test_every_cell_holds_its_text(book):
    for sheet in openpyxl.load_workbook(book):
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value is None:
                    continue
                # 7 pixels of 1/96 inch a unit, 5 of them kept free (ECMA-376, 18.3.1.13).
                room = (sheet.column_dimensions[cell.column_letter].width * 7 - 5) * 72 / 96
                height = sheet.row_dimensions[cell.row].height
                text = cell.value if isinstance(cell.value, str) else shown(cell)
                word, whole, lines = needed(text, cell.font.sz, cell.font.b, room)
                where = f"{sheet.title}!{cell.coordinate} {text[:30]!r}"
                assert word <= room, where
                if not cell.alignment.wrap_text:
                    assert whole + cell.font.sz / 3 <= room, where  # a bracket is 0.333 em
                    lines = 1
                # 1.15 is the line distance of Arial.
                assert height >= lines * cell.font.sz * 1.15, where


def shown(cell):
    if cell.is_date:
        return cell.value.strftime("%Y-%m-%d")
    digits = len(cell.number_format.removesuffix("_)").partition(".")[2])
    return f"{cell.value:.{digits}f}"


def test_numbers_dates_and_words_are_set_as_such(book):
    sheet = openpyxl.load_workbook(book)["Plan"]
    head = {cell.value: cell.column_letter for cell in sheet[1]}
    assert [shown(c) for c in sheet[head["cost"]][1:]] == ["36.00", "12345.60", "0.50"]
    assert [shown(c) for c in sheet[head["avoided pct"]][1:3]] == ["0.004", "12.345"]
    assert [shown(c) for c in sheet[head["date"]][1:]] == list(TABLE["date"])
    assert all(c.is_date for c in sheet[head["date"]][1:])
    for name in ("cost", "stop", "days late"):
        for cell in sheet[head[name]][1:]:
            assert cell.alignment.horizontal == "right"
            assert cell.number_format.endswith("_)")  # air before the next column
    assert sheet[head["team"]][3].value == "=South"
    assert sheet[head["team"]][3].data_type == "s"


def test_the_page_is_set_up_for_paper(book):
    for sheet in openpyxl.load_workbook(book):
        assert sheet.page_setup.orientation == "landscape"
        assert int(sheet.page_setup.paperSize) == int(sheet.PAPERSIZE_A4)
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
        assert CAUTION in sheet.oddFooter.left.text
        if sheet.title != "About":
            assert sheet.print_title_rows == "$1:$1"
            used = sum(d.width * 7 * 72 / 96 for d in sheet.column_dimensions.values())
            # A4 across less 10 mm on both sides, shrunk to three quarters at most.
            assert used <= 785.2 / 0.75 + 60, sheet.title


def words_of(pdf):
    """Words of each page with their boxes, as pdftotext finds them."""
    html = subprocess.run(
        ["pdftotext", "-bbox", pdf, "-"], capture_output=True, text=True, check=True
    ).stdout
    tree = ET.fromstring(re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "", html))
    for page in tree.iter("{http://www.w3.org/1999/xhtml}page"):
        yield [
            (word.text, *(float(word.get(k)) for k in ("xMin", "yMin", "xMax", "yMax")))
            for word in page.iter("{http://www.w3.org/1999/xhtml}word")
        ]


def overlaps(words):
    """Pairs of words that lie over each other by more than the air around letters."""
    found = []
    words = sorted(words, key=lambda w: w[2])
    for at, (text, x0, y0, x1, y1) in enumerate(words):
        for other, u0, v0, u1, v1 in words[at + 1 :]:
            if v0 >= y1:
                break
            across = min(x1, u1) - max(x0, u0)
            down = min(y1, v1) - max(y0, v0)
            if across > 0.5 and down > 0.3 * min(y1 - y0, v1 - v0):
                found.append((text, other))
    return found


def printed(path, folder):
    if shutil.which("soffice") is None or shutil.which("pdftotext") is None:
        pytest.skip("no LibreOffice or no poppler on this machine: the printed page is not seen")
    # soffice is a script: at a timeout the program it started must end with it.
    with subprocess.Popen(
        ["soffice", f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
         "--convert-to", "pdf", "--outdir", folder, path],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    ) as office:  # fmt: skip
        try:
            assert office.wait(timeout=600) == 0
        finally:
            if office.poll() is None:
                os.killpg(office.pid, signal.SIGKILL)
    return list(words_of(folder / f"{path.stem}.pdf"))


def test_printed_words_do_not_overlap_and_none_is_lost(book, tmp_path):
    pages = printed(book, tmp_path)
    for words in pages:
        assert overlaps(words) == []
    text = " ".join(word[0] for words in pages for word in words)
    squeezed = text.replace(" ", "")
    for said in (LONG, "12345.60", "2027-11-28", "Entrecosta", "extraordinarily", CAUTION):
        assert said.replace(" ", "") in squeezed or set(said.split()) <= set(text.split()), said
    assert text.count("extraordinarily") >= 2  # on the sheet of rows and on the empty one
    assert "###" not in text


def test_overlapping_words_are_found():
    assert overlaps([("a", 0, 0, 10, 10), ("b", 5, 2, 15, 12)]) == [("a", "b")]
    assert overlaps([("a", 0, 0, 10, 10), ("b", 11, 0, 15, 10), ("c", 0, 9, 10, 19)]) == []


@pytest.mark.pinned("published", answers=3)
def test_widths_are_those_of_the_font():
    """DejaVu Sans: 1303 of 2048 for a digit, 651 for a space; bold 1425 (its hmtx table)."""
    assert width_em("0") == pytest.approx(1303 / 2048)
    assert width_em(" ") == pytest.approx(651 / 2048)
    assert width_em("0", bold=True) == pytest.approx(1425 / 2048)
    assert width_em("e\u0301") == width_em("e")
    assert width_em("\u4e2d") == 1.0
    assert wrapped("aa bb", 2.0) == ["aa", "bb"]
    assert wrapped("", 5.0) == [""]
    assert wrapped("a\n\nb", 5.0) == ["a", "", "b"]
    assert "".join(wrapped("x" * 100, 5.0)) == "x" * 100
    assert all(width_em(line) <= 5.0 for line in wrapped("x" * 100 + " yy zz", 5.0))
