"""Where a table stands in its file, and what its cells in doubt become (own rules)."""

import datetime as dt
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pytest

from saltreach.errors import RegisterError
from saltreach.intake import headers, read_register, sizes
from saltreach.intake.decoding import decoded
from saltreach.intake.layout import find_headers, is_unit_row
from saltreach.intake.understood import UNDERSTOOD_COLUMNS

HEAD = "anchor_id,crag,sector,lon,lat"
TODAY = dt.date(2026, 6, 15)
KNOWN = {"id", "crag", "Länge", "Breite", "Pos Länge", "depth", "depth (cm)"}


def file(tmp_path, text, name="a.csv", encoding="utf-8"):
    (tmp_path / name).write_bytes(text.encode(encoding))
    return tmp_path / name


def book(tmp_path, rows, merge=(), **sheets):
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(row)
    for area in merge:
        made.active.merge_cells(area)
    for title, cells in sheets.items():
        made.create_sheet(title).append(cells)
    made.save(tmp_path / "a.xlsx")
    return tmp_path / "a.xlsx"


SAMPLE = "Höhle;Größe;Côte;Peña;São;è\n"


@pytest.mark.parametrize(
    ("encoding", "name"),
    [("cp1252", "Windows-1252"), ("mac_roman", "Mac Roman"), ("cp850", "DOS 850")],
)
def test_letters_tell_the_encoding_and_it_is_said(encoding, name):
    text, notes = decoded(SAMPLE.encode(encoding), "a.csv")
    assert text == SAMPLE
    assert notes == (f"text is not UTF-8 and was read as {name} (a guess): check accents",)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32"])
def test_what_says_its_encoding_needs_no_note(encoding):
    assert decoded(SAMPLE.encode(encoding), "a.csv") == (SAMPLE, ())


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_read_and_said(encoding):
    text = SAMPLE * 3
    assert decoded(text.encode(encoding), "a.csv") == (
        text, (f"text has no byte order mark and was read as {encoding.upper()}",),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"a,b\x00\n" * 5, "holds zero bytes"),
        ("a".encode("utf-16") + b"x", "its mark says UTF-16, but byte"),
        (bytes(range(256)) * 9, "holds zero bytes"),
    ],
)
def test_bytes_that_are_no_text_are_refused(data, says):
    with pytest.raises(RegisterError, match=says):
        decoded(data, "a.csv")


def test_a_zero_byte_among_many_letters_hurts_its_own_cell_only(tmp_path):
    """A disk's slip once refused the whole file. The share of them is a judgement."""
    rows = [f"{n},C,S,0.5{n},41,9\x000,fine enough" for n in range(1, 4)]
    rows[1:] = [row.replace("\x00", "") for row in rows[1:]]
    text = "\n".join(["anchor_id,crag,sector,lon,lat,embedment_mm,notes", *rows])
    found = read_register(file(tmp_path, text))
    assert found.anchors["embedment_mm"].tolist()[1:] == [90, 90]
    assert np.isnan(found.anchors["embedment_mm"][0])
    assert found.doubts[["row", "column", "value"]].values.tolist() == [
        [2, "embedment_mm", "9\N{REPLACEMENT CHARACTER}0"]
    ]
    said = "1 zero byte read as \N{REPLACEMENT CHARACTER}: a damaged file?"
    assert found.notes[0] == said
    assert decoded(b"\x00" + b"a" * 99, "a.csv")[1] == (said,)
    with pytest.raises(RegisterError, match="holds zero bytes"):
        decoded(b"\x00" + b"a" * 98, "a.csv")


def test_headers_stand_where_most_are_known():
    found = find_headers(
        [("Our bolts", ""), ("", ""), ("id", "crag"), ("1", "C")], KNOWN.__contains__
    )
    assert (found.first, found.after, found.names) == (2, 3, ("id", "crag"))
    assert found.notes == (
        "1 title row above the headers left out ('Our bolts'); the headers are in row 3",
    )


def test_headers_of_two_lines_are_put_together_where_that_is_known():
    rows = [("id", "Pos", "", "crag"), ("", "Länge", "Breite", ""), ("1", "8", "53", "C")]
    found = find_headers(rows, KNOWN.__contains__)
    assert found.names == ("id", "Pos Länge", "Breite", "crag")
    assert found.after == 2
    assert found.notes == ("header lines put together from rows 1 to 2",)


def test_a_line_of_units_goes_to_the_headers():
    rows = [("id", "crag", "depth"), ("", "text", "[cm]"), ("1", "C", "9")]
    found = find_headers(rows, KNOWN.__contains__)
    assert found.names == ("id", "crag", "depth (cm)")
    assert found.notes == ("row 2 read as the units of the columns",)
    assert is_unit_row(("", "mm", "TT.MM.JJJJ")) and not is_unit_row(("mm", "", ""))
    assert not is_unit_row(("A1", "mm"))


def test_titles_separators_units_remarks_rules_and_headers_again(tmp_path):
    text = (
        "sep=|\nClub of the cliffs||||||\n\n"
        "anchor_id|crag|sector|lon|lat|notes\n|||deg|deg|\n----|----|----|----|----|----\n"
        "1|C|S|0.5|41|a\n|||||a stray remark\nanchor_id|crag|sector|lon|lat|notes\n"
        "2|C|S|0.5|41|b\nTotal: 2|||||\n3|||||\n"
    )
    found = read_register(file(tmp_path, text))
    assert found.anchors[["anchor_id", "source_row"]].values.tolist() == [["1", 7], ["2", 10]]
    assert set(found.rejected["row"]) == {12}  # a row with its number alone is an anchor, unplaced
    assert found.rows_read == 3
    assert found.notes == (
        "1 title row above the headers left out ('Club of the cliffs'); the headers are in row 4",
        "row 5 read as the units of the columns",
        "header repeated in row 9: left out",
        "lines of signs in row 6: left out",
        "2 rows (8, 11): a title, total, footer or remark, no anchor, left out ('a stray remark')",
    )


def test_merged_cells_are_filled_downwards_and_said(tmp_path):
    rows = [
        ["anchor_id", "crag", "sector", "lon", "lat"],
        ["1", "C", "S", 0.5, 41],
        ["2", None, None, 0.5, 41],
        ["3", None, "T", 0.5, 41],
    ]
    found = read_register(book(tmp_path, rows, merge=("B2:B4", "C2:C3")))
    assert found.anchors["crag"].tolist() == ["C", "C", "C"]
    assert found.anchors["sector"].tolist() == ["S", "S", "T"]
    assert "merged cells filled downwards: crag (2 cells), sector (1 cells)" in found.notes
    alone = read_register(book(tmp_path, rows[:3]))  # nothing is merged: half empty, so filled too
    assert "crag: 1 empty cells taken as the name above them, as in a sheet with merged cells" in (
        alone.notes
    )


@pytest.mark.parametrize(
    ("crags", "read"),
    [
        (["C", "", "D", ""], ["C", "C", "D", "D"]),
        (["C", "C", "", "D"], ["C", "C", None, "D"]),  # a name in two rows: no merged cells
        (["C", "", "D", "E"], ["C", None, "D", "E"]),  # fewer empty than filled
        (["", "", "D", ""], [None, None, "D", "D"]),
    ],
)
def test_empty_cells_go_on_only_where_the_column_looks_merged(tmp_path, crags, read):
    rows = [f"{i},{crag},S{i},0.5,41" for i, crag in enumerate(crags)]
    found = read_register(file(tmp_path, "\n".join([HEAD, *rows])))
    kept = dict(zip(found.anchors["anchor_id"], found.anchors["crag"], strict=True))
    assert [kept.get(str(i)) for i in range(len(crags))] == read


def test_a_sector_never_runs_into_another_crag(tmp_path):
    rows = ["1,C,S,0.5,41", "2,,,0.5,41", "3,D,,0.5,41", "4,,,0.5,41"]
    found = read_register(file(tmp_path, "\n".join([HEAD, *rows])))
    assert found.anchors[["anchor_id", "sector"]].values.tolist() == [["1", "S"], ["2", "S"]]
    assert set(found.rejected["column"]) == {"sector"}


def test_a_stray_cell_in_the_last_column_costs_nothing(tmp_path):
    made = openpyxl.Workbook()
    made.active.append(HEAD.split(","))
    made.active.append(["1", "C", "S", 0.5, 41])
    made.active["XFD1048576"] = "x"
    made.active["XFD2"] = "y"
    made.save(tmp_path / "a.xlsx")
    found = read_register(tmp_path / "a.xlsx")
    assert found.anchors["anchor_id"].tolist() == ["1"] and found.rejected.empty
    assert "2 cells beyond column 500 left out" in found.notes


def test_a_workbook_that_unpacks_to_too_much_is_not_opened(tmp_path, monkeypatch):
    path = book(tmp_path, [HEAD.split(",")])
    monkeypatch.setattr(sizes, "UNPACKED_BYTES", 1000)
    with pytest.raises(RegisterError, match=r"it unpacks to .* GB; at most 1e-06 GB are read"):
        read_register(path)


def test_too_many_rows_and_columns_are_said(tmp_path, monkeypatch):
    with pytest.raises(RegisterError, match="601 columns; at most 500 are read"):
        read_register(file(tmp_path, ",".join(["x"] * 596 + HEAD.split(",")) + "\n"))
    rows = [f"{i},C,S,0.5,41" for i in range(9)]
    monkeypatch.setattr(sizes, "ROWS", 8)
    with pytest.raises(RegisterError, match="more than 8 rows; divide the file"):
        read_register(file(tmp_path, "\n".join([HEAD, *rows])))


def test_a_formula_without_a_stored_value_is_said(tmp_path):
    path = book(tmp_path, [HEAD.split(","), ["1", "C", "S", 0.5, 41], ["=A2", "C", "S", 0.5, 41]])
    found = read_register(path)
    assert any(note.startswith("1 formulas have no stored value") for note in found.notes)
    assert set(found.rejected["column"]) == {"anchor_id"}


def test_a_hidden_sheet_is_read_only_when_asked_for(tmp_path):
    made = openpyxl.load_workbook(book(tmp_path, [HEAD.split(","), ["1", "C", "S", 0.5, 41]]))
    old = made.copy_worksheet(made.active)
    old.title, old.sheet_state = "old", "hidden"
    made.save(tmp_path / "a.xlsx")
    found = read_register(tmp_path / "a.xlsx")
    assert "sheet 'Sheet' read; the other sheets (1 hidden) were not: 'old'" in found.notes
    assert len(read_register(tmp_path / "a.xlsx", sheet="old").anchors) == 1


def test_an_error_of_a_formula_is_unknown_or_refuses(tmp_path):
    rows = ["1,C,S,0.5,41,#REF!", "2,#N/A,S,0.5,41,12"]
    found = read_register(file(tmp_path, "\n".join([f"{HEAD},diameter_mm", *rows])))
    assert found.doubts[["row", "column", "value"]].values.tolist() == [[2, "diameter_mm", "#REF!"]]
    assert found.doubts["reason"].tolist() == ["the spreadsheet shows an error here"]
    assert found.rejected[["row", "column"]].values.tolist() == [[3, "crag"]]


BAD = [
    ("diameter_mm", "thick", "not a number"),
    ("diameter_mm", "400", "not in 4..40"),
    ("material", "kryptonite", "not one of the words of material"),
    ("installed_on", "2031", "in the future (today is 2026-06-15)"),
    ("face_slope_deg", "-5", "not in 0..180"),
]


@pytest.mark.parametrize(("column", "cell", "reason"), BAD)
def test_a_bad_optional_cell_is_unknown_and_its_anchor_stays(tmp_path, column, cell, reason):
    path = file(tmp_path, f"{HEAD},{column}\n1,C,S,0.5,41,{cell}\n")
    found = read_register(path, today=TODAY)
    assert found.rejected.empty
    (doubt,) = found.doubts.to_dict("records")
    assert doubt["file"] == "a.csv" and doubt["row"] == 2
    assert (doubt["column"], doubt["value"], doubt["reason"]) == (column, cell, reason)
    value = found.anchors[column].iloc[0]
    assert value == "unknown" if column == "material" else pd.isna(value)
    strict = read_register(path, today=TODAY, strict=True)
    assert strict.anchors.empty and strict.doubts.empty
    assert strict.rejected[["column", "value", "reason"]].values.tolist() == [
        [column, cell, reason]
    ]


def test_two_cells_that_contradict_are_both_unknown(tmp_path):
    text = f"{HEAD},material,grade,embedment_mm,diameter_mm\n1,C,S,0.5,41,duplex,1.4301,10,12\n"
    found = read_register(file(tmp_path, text))
    assert set(found.doubts["column"]) == {"embedment_mm, diameter_mm", "grade, material"}
    anchor = found.anchors.iloc[0]
    assert anchor["material"] == "unknown" and pd.isna(anchor["grade"])
    assert np.isnan(anchor["embedment_mm"]) and np.isnan(anchor["diameter_mm"])


def test_a_refused_row_tells_all_that_is_wrong_with_it_once(tmp_path):
    text = f"{HEAD},diameter_mm\n1,,S,0.5,41,thick\n2,C,S,0.5,41,thick\n"
    found = read_register(file(tmp_path, text))
    assert found.rejected[["row", "column"]].values.tolist() == [[2, "crag"], [2, "diameter_mm"]]
    assert found.doubts[["row", "column"]].values.tolist() == [[3, "diameter_mm"]]


def test_what_was_understood_of_each_column(tmp_path):
    head = "Haken Nr;crag;sector;lon;lat;Durchmesser;colour"
    text = f"{head}\n1;C;S;0,5;41,1;12;red\n2;C;S;0,6;41;;red\n"
    table = read_register(file(tmp_path, text)).understood
    assert tuple(table.columns) == UNDERSTOOD_COLUMNS
    rows = table.set_index("header")
    assert rows.loc["Durchmesser", ["column", "unit", "filled_pct", "examples"]].tolist() == [
        "diameter_mm", "mm", 50.0, "12",
    ]  # fmt: skip
    assert rows.loc["lon", "reading"] == "2 cells written with a decimal comma"
    assert rows.loc["lon", "examples"] == "0.5; 0.6"
    assert rows.loc["colour", ["column", "meaning", "examples"]].tolist() == ["", "", "red"]


def test_a_zip_with_a_bomb_of_a_sheet_is_refused_before_it_is_read(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 5_000_000)
    with pytest.raises(RegisterError, match="not a readable XLSX"):
        read_register(tmp_path / "a.xlsx")


def test_millions_of_empty_rows_are_read_in_passing(tmp_path):
    rows = HEAD + "\n1,C,S,0.5,41\n" + ",,,,\n" * 300_000 + "2,C,S,0.5,41\n" + ",,,,\n" * 300_000
    found = read_register(file(tmp_path, rows))
    assert found.anchors["source_row"].tolist() == [2, 300_003]
    assert found.rows_read == 2


def test_remarks_behind_a_header_are_looked_at_twice_at_most(monkeypatch):
    """Each remark may end in three ways: a sentence of many words took minutes."""
    looked, plainly = [], headers._meaning

    def counted(*given, **more):
        looked.append(given[0])
        return plainly(*given, **more)

    monkeypatch.setattr(headers, "_meaning", counted)
    assert headers.column_of("a (b) c (d) e (f) g (h) i (j) k (l) m", grid=False) is None
    assert len(looked) <= 1 + 3 + 9
    looked.clear()
    assert headers.column_of(" ".join(["(a word) here"] * 40), grid=False) is None
    assert len(looked) == 1
    assert headers.column_of("Einbaudatum (TT.MM.JJJJ) *", grid=False) == "installed_on"


def test_an_anchor_with_a_doubtful_cell_counts_among_its_neighbours(tmp_path):
    """It was left out of the comparison, so that its wrong sign went unseen."""
    rows = [f"{i},C,S,-1.500{i},42.5,0" for i in range(1, 4)] + ["4,C,S,1.5003,42.5,worn-ish"]
    found = read_register(file(tmp_path, "\n".join([f"{HEAD},condition", *rows])))
    assert found.anchors["anchor_id"].tolist() == ["1", "2", "3"]
    place = found.rejected[found.rejected["column"] == "lon, lat"].iloc[0]
    assert place["row"] == 5 and "the other sign of lon would put it among them" in place["fix"]
    near = [row.replace(",0", ",fine-ish") for row in rows[:3]] + ["4,C,S,1.5003,42.5,0"]
    found = read_register(file(tmp_path, "\n".join([f"{HEAD},condition", *near])))
    assert found.anchors["anchor_id"].tolist() == ["1", "2", "3"]


def test_a_sum_with_words_is_no_anchor(tmp_path):
    rows = ["1,C,S,0.5,41", "Summe,11 Haken,,,", "média,,,0.5,41"]
    found = read_register(file(tmp_path, "\n".join([HEAD, *rows])))
    assert found.rows_read == 1 and found.rejected.empty


def test_a_file_without_headers_says_so(tmp_path):
    with pytest.raises(RegisterError, match="a.csv: no headers in it; begin with a row of headers"):
        read_register(file(tmp_path, ";;;\n;;;\n"))
    with pytest.raises(RegisterError, match="no headers in it"):
        read_register(file(tmp_path, '"\n"\n'))
