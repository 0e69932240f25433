"""The printed sheet of a trip: every field, plain text whatever the names, the same bytes."""

import re
from dataclasses import replace
from io import BytesIO

import openpyxl
import pytest
from pypdf import PdfReader

from helpers.trips import HOSTILE, ROD, both_kinds, spot, stop, trip
from saltreach.errors import OptionError
from saltreach.outputs.sheets.drawing import qr_svg, stop_svg
from saltreach.outputs.sheets.fields import (
    ROW,
    form_rows,
    headers_of,
    known_of,
    label_of_field,
    ticks_of,
)
from saltreach.outputs.sheets.page import blank_rows, file_stem, file_stems, write_sheets
from saltreach.outputs.sheets.sheet import (
    minutes_text,
    sheet_data,
    sheet_pdf,
    texts,
    whole_sentences,
)
from saltreach.outputs.sheets.steps import STEPS, step_svg
from saltreach.planning.places import CLOSED_TODAY
from saltreach.planning.trip import LOOK, PLACE
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import CAUTION, FINDINGS, OUT_OF_USE, REBOLT, UNKNOWN


def flat(text):
    return "".join(text.replace("\u200b", "").split())


def told(pdf):
    return flat("\n".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages))


@pytest.fixture(scope="module")
def pdf():
    return sheet_pdf(both_kinds())


@pytest.fixture(scope="module")
def said(pdf):
    return told(pdf)


FORMS = {LOOK: columns_of("returns", shown=LOOK), PLACE: columns_of("returns", shown=PLACE)}


@pytest.mark.parametrize("form", FORMS)
def test_a_form_has_every_field_once_in_rows_of_one_width(form):
    rows = [*form_rows(form, stop=True), *form_rows(form, stop=False)]
    names = [field["column"] for row in rows for field in row]
    assert sorted(names) == sorted({*FORMS[form], "who", "done_on", "trip", "done"})
    assert all(sum(field["width"] for field in row) == ROW for row in rows)
    assert [h["column"] for h in headers_of([form])] == names


@pytest.mark.parametrize("name", {**FORMS[LOOK], **FORMS[PLACE]})
def test_every_field_stands_on_the_paper_with_its_header_and_words(name, said):
    column = columns_of("returns")[name]
    assert flat(f"{label_of_field(name)}: {name}") in said
    assert all(flat(word) in said for word in ticks_of(column))
    assert said.count(flat(label_of_field(name))) > 1


def test_some_of_the_findings_can_be_ticked_and_grades_are_written():
    assert ticks_of(columns_of("returns")["findings"]) == list(FINDINGS)
    assert ticks_of(columns_of("returns")["grade"]) == []
    assert ticks_of(columns_of("returns")["legs"]) == ["1", "2"]
    assert ticks_of(columns_of("returns")["condition"])[0] == "0 sound"
    assert ticks_of(columns_of("sectors")["anchors"]) == []


def test_the_caution_is_on_every_page(pdf):
    pages = PdfReader(BytesIO(pdf)).pages
    assert len(pages) > 3
    assert all(flat(CAUTION) in flat(page.extract_text()) for page in pages)


def test_the_steps_have_the_computed_distances_and_hours(said):
    for step in ("1 Choose the spot", "5 Blow and brush and blow", "9 Proof test"):
        assert flat(step) in said
    assert flat("14 × 90 mm 150 mm 80 mm 240 mm") in said
    assert flat("may be loaded after 3 h 51 min; in a wet hole after 7 h 42 min") in said
    assert flat("None is asked for on this trip") in said


def test_a_proof_test_is_asked_with_its_load():
    place = stop([spot(1, piece=ROD)], REBOLT)
    asked = told(sheet_pdf(trip([place], proof_load_kn=6.0)))
    assert flat("pull it along its axis to 6 kN") in asked
    assert flat("None is asked for") not in asked


@pytest.mark.parametrize("degrees", [None, 4.0])
def test_without_times_the_data_sheet_is_named(degrees):
    cure = {"temperature_c": degrees, "temperature_from": "the climate", "gel_min": None,
            "cure_min": None, "cure_wet_min": None, "source": "", "note": "Read it."}  # fmt: skip
    found = told(sheet_pdf(trip([stop([spot(1, piece=ROD)], REBOLT, cure=cure)])))
    assert flat("see the data sheet") in found
    assert flat("unknown: the climate" if degrees is None else "4 °C: the climate") in found


def test_a_trip_to_look_has_no_steps_and_no_place_fields():
    found = told(sheet_pdf(trip([stop([spot(1)])])))
    assert flat("Placing an anchor") not in found
    assert flat("how the old one came out") not in found


def test_unknown_is_printed_as_unknown():
    known = tuple({"column": c, "label": c, "value": UNKNOWN} for c in ("rock_type", "grade"))
    found = told(sheet_pdf(trip([stop([spot(1, known=known)], risk_band=UNKNOWN)])))
    assert flat("Unknown: rock_type, grade") in found
    assert flat("Risk: unknown") in found


def test_what_is_asked_is_marked_and_the_rest_stands_above():
    known = tuple(
        {"column": c, "label": c, "value": v}
        for c, v in (("kind", "bonded"), ("tap_response", UNKNOWN), ("grade", UNKNOWN),
                     ("rock_type", "granite"))
    )  # fmt: skip
    beside, rest, unknown = known_of(spot(1, known=known), LOOK)
    assert beside == {"kind": "bonded"}
    assert [k["column"] for k in rest] == ["rock_type"]
    assert unknown == ["grade"]


def test_a_closed_stop_says_so_first_and_what_was_left_out_too():
    closed = stop([spot(1)], access=(CLOSED_TODAY, "Closed each year."), closed=True)
    one = trip([closed], left_out=("LEFT OUT: row 3 of windows.csv",), notes=("Assumed so.",))
    found = told(sheet_pdf(one))
    assert flat(CLOSED_TODAY) in found
    assert flat("LEFT OUT: row 3") in found
    assert found.index(flat("LEFT OUT")) < found.index(flat("To bring"))
    assert flat("Assumed so.") in found


def hostile():
    spots = [
        spot(i, anchor_id=name, route=name, to_do=name, reasons=(name,), warnings=(name,),
             known=({"column": "rock_type", "label": "rock", "value": name},))
        for i, name in enumerate(HOSTILE, 1)
    ]  # fmt: skip
    stops = [
        stop(spots[:4], crag=name, sector=name, access=(name,), tell=(name,), reasons=(name,),
             order_rule=name)
        for name in HOSTILE[:3]
    ]  # fmt: skip
    stops.append(stop(spots))
    return trip(stops, trip=HOSTILE[1], title=HOSTILE[0], team=HOSTILE[2], left_out=HOSTILE[:1])


def test_names_stand_as_text_whatever_is_in_them():
    found = told(sheet_pdf(hostile()))
    for name in HOSTILE[:4]:
        assert flat(name)[:20] in found, name
    assert re.search("שלום|םולש", found)


def test_the_drawings_hold_no_name():
    data = sheet_data(hostile())
    for one in data["trip"]["stops"]:
        assert "onerror" not in one["svg"]
        assert "import" not in one["svg"]


@pytest.mark.parametrize("count", [0, 1, 200])
def test_any_number_of_anchors_fits(count):
    one = trip([stop([spot(i) for i in range(1, count + 1)])])
    reader = PdfReader(BytesIO(sheet_pdf(one)))
    last = len(reader.pages) - 1
    ends = [reader.pages[i] for i in sorted({1, min(2, last), last - 1, last} - {0})]
    text = flat("\n".join(page.extract_text() for page in ends))
    assert all(f"A-{i}" in text for i in (1, count) if count)
    assert (flat(texts()["nothing"]) in text) == (count == 0)
    assert len(reader.pages) >= count / 3


def test_the_same_trip_gives_the_same_bytes_dated_by_its_results(pdf):
    assert sheet_pdf(both_kinds()) == pdf
    made = PdfReader(BytesIO(pdf)).metadata.creation_date
    assert made.isoformat() == "2026-11-25T10:00:00+00:00"


def test_it_is_tagged_for_screen_readers_and_carries_its_fonts(pdf):
    reader = PdfReader(BytesIO(pdf))
    root = reader.root_object
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert "<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data().decode()
    kinds = []

    def walk(node):
        node = node.get_object()
        if isinstance(node, list):
            for one in node:
                walk(one)
        elif isinstance(node, dict) and "/S" in node:
            kinds.append((node["/S"], "/Alt" in node))
            walk(node.get("/K", []))

    for one in [root["/StructTreeRoot"]["/K"]]:
        walk(one)
    assert {"/H1", "/H2", "/H3"} <= {kind for kind, _ in kinds}
    figures = [alt for kind, alt in kinds if kind == "/Figure"]
    assert len(figures) == 1 + 2 + len(STEPS)
    assert all(figures)
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(inner["/FontDescriptor"].get_object())


def test_there_is_no_colour(pdf):
    """Black, white and greys: what is printed loses nothing."""
    for page in PdfReader(BytesIO(pdf)).pages:
        for red, green, blue in re.findall(
            rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG|scn?|SCN?)\b", page.get_contents().get_data()
        ):
            assert red == green == blue


def test_the_code_holds_names_and_no_position():
    data = sheet_data(both_kinds())
    assert "<svg" in data["qr"]
    assert data["qr"] == qr_svg("2027-01-10 Team\nCrag / Sector")


def test_a_drawing_numbers_what_has_room_and_counts_the_rest():
    few, left = stop_svg(stop([spot(i) for i in range(1, 6)]).drawn)
    assert left == 0
    assert few.count("<circle") == 5
    assert ">20 m<" not in few
    assert ">5 m<" in few
    crowd = {
        "kind": "map", "width_m": 4.0, "height_m": 0.0, "scale_m": 1.0,
        "points": [{"order": i, "east_m": i % 5, "north_m": 0.0} for i in range(400)],
    }  # fmt: skip
    drawn, left = stop_svg(crowd)
    assert drawn.count("<circle") == 400
    assert drawn.count("<text") + left == 400 + 2
    assert left > 0
    told = sheet_data(trip([replace(stop([spot(1)]), drawn=crowd)]))["trip"]["stops"][0]
    assert f"{left} numbers had no room" in told["drawing_note"]


def test_a_line_is_drawn_in_rows():
    points = [{"order": i, "east_m": 0.0, "north_m": 0.0} for i in range(1, 19)]
    drawn, left = stop_svg({"kind": "line", "points": points})
    assert (left, drawn.count("<circle"), drawn.count("<path")) == (0, 18, 16)


@pytest.mark.parametrize("step", STEPS)
def test_every_step_is_drawn_in_black_and_white(step):
    colours = set(re.findall(r"#[0-9a-f]{3,6}", step_svg(step)))
    assert colours <= {"#000", "#fff", "#ccc", "#888", "#555", "#9a9a9a"}


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (15.2, "16 min"),
        (25.2, "26 min"),
        (60.0, "1 h"),
        (150.0, "2 h 30 min"),
        (360.1, "6 h 1 min"),
    ],
)
def test_times_are_never_shortened(minutes, text):
    assert minutes_text(minutes) == text


@pytest.mark.pinned("worked", answers=3)
def test_what_sets_is_rounded_down():
    assert [minutes_text(m, down=True) for m in (15.9, 60.9, 0.5)] == [
        "15 min",
        "1 h",
        "under 1 min",
    ]


def test_reasons_are_whole_sentences_the_worst_first():
    reasons = ("Its metal is poor.", "Rock may be weaker. 70 mm bonded governs.", "No.")
    assert whole_sentences(reasons, 30) == reasons[0]
    assert whole_sentences(reasons, 0) == reasons[0]
    assert whole_sentences(reasons, 0, least=0) == ""
    many = tuple(f"Reason {i} is a sentence of some length that ends." for i in range(30))
    (one,) = sheet_data(trip([stop([spot(1, reasons=many)])]))["trip"]["stops"]
    assert one["anchors"][0]["small"].endswith("that ends.")


def test_page_one_closes_anchors_and_sends_rescuers():
    shut = spot(19, anchor_id="DEMO-0091", action=OUT_OF_USE)
    one = trip([stop([spot(1), shut], position={"lat": 43.5, "lon": -7.04991})])
    first = flat(PdfReader(BytesIO(sheet_pdf(one))).pages[0].extract_text())
    assert flat("Close today: no. 19, DEMO-0091") in first
    assert flat("For rescuers: 43.5000, -7.0499") in first
    assert flat("it stays with the team") in told(sheet_pdf(one))


def test_forms_are_headed_by_a_closure_on_each_page_and_no_other_page():
    closed = stop([spot(i) for i in range(9)], access=(CLOSED_TODAY,), closed=True)
    place = stop([spot(1, piece=ROD)], REBOLT)
    pages = PdfReader(BytesIO(sheet_pdf(trip([closed, place])))).pages
    texts_of = [flat(page.extract_text()) for page in pages]
    shut = [flat(CLOSED_TODAY) in text for text in texts_of]
    forms = [flat("tap around it") in text for text in texts_of]
    placing = [flat("hole when filled") in text for text in texts_of]
    looking = [f and not p for f, p in zip(forms, placing, strict=True)]
    assert shut == [True, *looking[1:]]
    under = [flat(texts()["underlined"]) in text for text in texts_of]
    assert under == [False, *forms[1:-1], False]


def test_the_rows_of_the_data_sheet_stand_on_the_steps():
    rows = ({"rock_temperature_c": 0.0, "gel_min": 40.5, "cure_min": 360.2},)
    found = told(sheet_pdf(replace(both_kinds(1), cure_times=rows, cure_source="s.csv")))
    assert flat("0 °C 40 min 6 h 1 min 12 h 1 min") in found
    assert flat("Outside the table: do not set.") in found
    assert flat("Then tick replaced.") in found


def test_files_are_named_after_trips_and_told_apart():
    names = ["2027-01-10 Central team", "Peña / Wall", "Pena / Wall", "שלום", "x" * 99, "../..", ""]
    stems = file_stems([replace(both_kinds(1), trip=name) for name in names])
    assert stems[0] == "2027-01-10-central-team"
    assert len({*stems}) == len(names)
    assert all(re.fullmatch(r"[a-z0-9-]+", stem) for stem in stems)
    assert stems[3] == file_stem("שלום")
    assert max(map(len, stems)) < 80


def test_all_files_or_none(tmp_path):
    one = both_kinds(1)
    files = write_sheets([one], tmp_path / "out", blank_sheet=True)
    assert [f.name for f in files] == ["2027-01-10-team.pdf", "2027-01-10-team.xlsx"]
    broken = replace(one, made_from="no time")
    with pytest.raises(ValueError, match="no time"):
        write_sheets([replace(one, trip="new"), broken], tmp_path / "out")
    assert sorted(f.name for f in (tmp_path / "out").glob("*.pdf")) == ["2027-01-10-team.pdf"]
    with pytest.raises(OptionError, match="no trip is left"):
        write_sheets([], tmp_path / "other")
    assert not (tmp_path / "other").exists()


def test_the_workbook_has_the_columns_of_returns_and_names_every_anchor(tmp_path):
    one = trip([stop([spot(i, anchor_id=name) for i, name in enumerate(HOSTILE, 1)])])
    (_, book) = write_sheets([one], tmp_path, blank_sheet=True)
    sheet = openpyxl.load_workbook(book)["returns"]
    rows = list(sheet.iter_rows(values_only=True))
    header = [str(h).replace(" ", "_") for h in rows[0]]
    first = ["trip", "anchor_id", "crag", "sector", "done", "done_on", "who"]
    asked = [h["column"] for h in headers_of([LOOK])]
    assert header == [*first, *(c for c in asked if c not in first)]
    assert "elevation_m" not in header and "cure_needed_min" not in header
    ids = [row[1] for row in rows[1:]]
    assert ids == list(HOSTILE)
    filled = {h for h, *cells in zip(*rows, strict=True) if any(cells)}
    assert {str(h).replace(" ", "_") for h in filled} == {"trip", "anchor_id", "crag", "sector"}
    assert all(cell.data_type != "f" for line in sheet.iter_rows() for cell in line)
    assert list(blank_rows(one)["anchor_id"]) == list(HOSTILE)
