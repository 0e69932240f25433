"""The one-page statement: it stays one page, shows names as text and needs no system font."""

from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader

from helpers.holding_region import HOSTILE, anchors, assessment, holding, landowner_data
from saltreach.intake.holding import Contact, Work
from saltreach.outputs.landowner.statement import statement_pdf

A4_PT = (210 / 25.4 * 72, 297 / 25.4 * 72)
"""ISO 216: 210 mm by 297 mm."""


def pages_of(pdf):
    return PdfReader(BytesIO(pdf)).pages


def told(pdf):
    return "\n".join(page.extract_text() for page in pages_of(pdf))


def test_hostile_names_stand_as_text():
    points = anchors()
    pdf = statement_pdf(landowner_data(assessment(points), holding(points)))
    said = told(pdf)
    flat = "".join(said.replace("\u200b", "").split())
    for name in (*HOSTILE, "Test & <b>Sons</b>"):
        assert "".join(name.split())[:36] in flat, name
    assert "+44 1632 960123" in said
    assert "never a certificate" in said


def test_one_page_of_a4_however_much_there_is_to_say():
    names = tuple(f"A crag with a rather long name, number {k:02d} of many" for k in range(30))
    points = anchors(count=900, names=names)
    long = "Very long words about what will be done here and why it matters " * 6
    here = holding(
        points,
        name="a landholding whose name does not come to an end " * 6,
        contact=Contact("An organisation with a long name " * 6, "P" * 200, "112", "a@example.org"),
        works=tuple(Work(name, long, "2027-04") for name in names),
    )
    pdf = statement_pdf(landowner_data(assessment(points), here))
    assert len(pages_of(pdf)) == 1
    box = pages_of(pdf)[0].mediabox
    assert (box.width, box.height) == pytest.approx(A4_PT, abs=0.1)
    assert "more places (" in told(pdf)


def test_a_few_places_fill_one_page():
    points = anchors(names=("Cabo Uno", "Peña Dos"))
    pdf = statement_pdf(landowner_data(assessment(points), holding(points)))
    assert len(pages_of(pdf)) == 1
    assert "more places" not in told(pdf)


def test_same_data_same_bytes_and_the_day_is_the_assessments():
    points = anchors()
    data = landowner_data(assessment(points), holding(points))
    assert statement_pdf(data) == statement_pdf(data)
    made = PdfReader(BytesIO(statement_pdf(data))).metadata.creation_date
    assert made == datetime(2026, 7, 1, tzinfo=UTC)


def test_fonts_are_in_the_file_and_it_is_tagged_for_screen_readers():
    points = anchors()
    pdf = statement_pdf(landowner_data(assessment(points), holding(points)))
    reader = PdfReader(BytesIO(pdf))
    assert reader.root_object["/MarkInfo"]["/Marked"]
    fonts = [font.get_object() for font in reader.pages[0]["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        inner = font["/DescendantFonts"][0].get_object()
        file = inner["/FontDescriptor"].get_object()
        assert {"/FontFile2", "/FontFile3"} & set(file), "a font is not in the file"
        assert font["/BaseFont"].split("+")[1].startswith(("LibertinusSerif", "DejaVuSans"))
