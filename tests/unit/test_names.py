"""Names that are one, names that are near, and what no file can hold.

Expected values follow from the letters themselves (Unicode 15, chapter 3.11 for the forms); which
names are near is our own rule.
"""

import json

import numpy as np
import pandas as pd
import pytest

from saltreach.errors import RegisterError
from saltreach.intake import read_register
from saltreach.intake.names import clean_name, name_key, safe_text, whole
from saltreach.intake.near_names import are_near, near_pairs

NO_BREAK, ZERO_WIDTH, RIGHT_TO_LEFT = "\N{NO-BREAK SPACE}", "\N{ZERO WIDTH SPACE}", "\u202e"
FULL_WIDTH = "Ｒｏｔｅ Ｂｕｃｈｔ"


def read(rows, **more):
    frame = pd.DataFrame(rows, columns=["anchor_id", "crag", "sector", "lon", "lat"])
    return read_register(frame, **more)


@pytest.mark.parametrize(
    "spelling",
    ["rote bucht", "ROTE BUCHT", f"Rote{NO_BREAK}Bucht", "Rote   Bucht", f"Rote{ZERO_WIDTH} Bucht",
     f" Rote Bucht{RIGHT_TO_LEFT}", "Rote\nBucht", "Rote\tBucht ", FULL_WIDTH, "Rote\x00 Bucht"],
)  # fmt: skip
def test_one_name_whatever_is_only_seen(spelling):
    register = read([("a", "Rote Bucht", "N", 5.9, 43.1), ("b", spelling, "N", 5.9, 43.1)])
    assert register.anchors["crag"].tolist() == ["Rote Bucht", "Rote Bucht"]
    assert register.notes != ()


def test_accents_in_one_or_two_characters_are_one_name_and_their_lack_is_another():
    rows = [("a", "Pen\u0303a", "N", 5.9, 43.1), ("b", "Pe\u00f1a", "N", 5.9, 43.1),
            ("c", "Pena", "N", 5.9, 43.1)]  # fmt: skip
    register = read(rows)
    assert register.anchors["crag"].tolist() == ["Pe\u00f1a", "Pe\u00f1a", "Pena"]
    assert register.notes == (
        "are 'Peña' and 'Pena' (0.0 km apart) one crag? If so give --same-crag 'Pena=Peña'",
        "crag: blanks, invisible characters or accents tidied in row 1",
    )


def test_what_was_read_as_one_is_said_with_counts():
    names = ["Rote Bucht", "rote bucht", "rote bucht", "ROTE BUCHT", "Blau", "blau"]
    rows = [(f"{i}", name, "N" if i else "n", 5.9, 43.1) for i, name in enumerate(names)]
    assert read(rows).notes == (
        "crag 'Rote Bucht' is also written 'rote bucht' (2 rows), 'ROTE BUCHT' (1 row): "
        "read as one",
        "crag 'Blau' is also written 'blau' (1 row): read as one",
        "sector 'n' is also written 'N' (3 rows): read as one",
    )


def test_lists_in_notes_are_short():
    letters = [chr(ord("A") + i) * 9 for i in range(8)]
    rows = [(f"{name}", name, "N", 5.9, 43.1) for name in letters]
    rows += [(f"{name} 2", name.lower(), "N", 5.9, 43.1) for name in letters]
    notes = read(rows).notes
    assert len(notes) == 6
    assert notes[-1] == "and 3 more crags written in more than one way"
    blanks = read([(f"{i}", "A  B", "N", 5.9, 43.1) for i in range(9)]).notes
    assert blanks == (
        "crag: blanks, invisible characters or accents tidied in 9 rows (1, 2, 3, 4, 5 and 4 more)",
    )


def test_sectors_are_one_within_a_crag_only():
    rows = [("a", "P", "Nord", 5.9, 43.1), ("b", "Q", "NORD", 5.9, 43.1),
            ("c", "p", "nord", 5.9, 43.1)]  # fmt: skip
    assert read(rows).anchors["sector"].tolist() == ["Nord", "NORD", "Nord"]


@pytest.mark.parametrize("again", ["a1", " A1 ", "Ａ１", f"A1{ZERO_WIDTH}"])
def test_ids_are_compared_as_names_are(again):
    register = read([("A1", "P", "N", 5.9, 43.1), (again, "P", "N", 5.9, 43.1)])
    assert register.anchors["anchor_id"].tolist() == ["A1"]
    reason = register.rejected["reason"].item()
    assert reason.startswith("anchor_id already used in row 1")
    assert reason.endswith("with the same data")


def test_inner_blanks_and_accents_tell_ids_apart():
    ids = ["A1", "A 1", "A-1", "Á1"]
    assert read([(i, "P", "N", 5.9, 43.1) for i in ids]).anchors["anchor_id"].tolist() == ids


def test_a_name_of_marks_alone_is_missing():
    register = read([("a", f"{ZERO_WIDTH}\x00", "N", 5.9, 43.1)])
    assert register.rejected["reason"].tolist() == ["missing"]


@pytest.mark.parametrize(
    ("given", "clean", "free"),
    [("A\x00B", "AB", "AB"), ("A\nB", "A B", "A\nB"), ("A\r\nB", "A B", "A\r\nB"),
     ("A\ufffeB", "AB", "AB"), ("A\ufdd0B", "AB", "AB"), ("A\U0010ffffB", "AB", "AB"),
     ("A\ud800B", "A\ufffdB", "A\ufffdB"), ("A\x1bB\x85", "AB", "AB"),
     ("A\u202eB", "AB", "A\u202eB"), ("می\u200cروم", "می\u200cروم", "می\u200cروم")],
)  # fmt: skip
def test_what_no_file_can_hold_is_taken_out(given, clean, free):
    assert clean_name(given) == clean
    assert safe_text(given) == free
    assert whole(given).encode("utf-8")


def test_halves_of_characters_in_a_file_are_said(tmp_path):
    properties = {"anchor_id": "a", "crag": "P", "sector": "N\ud800", "owner\ud800": "x\ud800"}
    point = {"type": "Point", "coordinates": [5.9, 43.1]}
    feature = {"type": "Feature", "geometry": point, "properties": properties}
    document = {"type": "FeatureCollection", "features": [feature]}
    (tmp_path / "a.geojson").write_text(json.dumps(document))
    register = read_register(tmp_path / "a.geojson")
    assert register.anchors[["sector", "owner\ufffd"]].iloc[0].tolist() == ["N\ufffd", "x\ufffd"]
    assert [note for note in register.notes if "could not be read" in note] == [
        "sector: letters that could not be read stand as \ufffd in row 1; correct them, or save "
        "the file as UTF-8",
        "owner\ufffd: letters that could not be read stand as \ufffd in row 1; correct them, or "
        "save the file as UTF-8",
    ]


NEAR = [
    ("Rote Bucht", "Rote Buchd"), ("Rote Bucht", "RoteBucht"), ("Rote-Bucht", "Rote Bucht"),
    ("Peñón", "Penon"), ("Mühlwand", "Muehlwand"), ("Punta Roja 3", "Punta Rosa 3"),
    ("Cala Forn", "Cala Fornn"), ("Bucht Rote", "Rote Bucht"), ("St. Anna", "St Anna"),
]  # fmt: skip
APART = [
    ("Sector 1", "Sector 2"), ("Sector1", "Sector2"), ("Turm I", "Turm II"), ("Turm IV", "Turm VI"),
    ("Wand A", "Wand B"), ("Wand N", "Wand S"), ("Rote Bucht Nord", "Rote Bucht Süd"),
    ("Rote Bucht", "Rote Bucht Nord"), ("Pared derecha", "Pared izquierda"),
    ("Nordwand", "Südwand"), ("Ostwand", "Westwand"), ("Obere Wand", "Untere Wand"),
    ("Rote Bucht", "Blaue Bucht"),
    ("Turm XXVII", "Turm XXVIII"), ("Sonnenplatte A", "Sonnenplate B"),
    ("Cala Norte", "Cala Forte"), ("Sektor 10001", "Sektor 10002"),
    ("San Juan", "San Blas"), ("Ala", "Ela"), ("Rote Bucht", "Rote Bucht (2)"), ("12", "13"),
    ("Falaise gauche", "Falaise droite"), ("山", "川"),
]  # fmt: skip


@pytest.mark.parametrize(("one", "other"), NEAR)
def test_a_slip_is_near(one, other):
    assert are_near(one, other) and are_near(other, one)


@pytest.mark.parametrize(("one", "other"), APART)
def test_two_things_are_not_near(one, other):
    assert not are_near(one, other) and not are_near(other, one)


def test_the_same_name_is_not_near_itself():
    assert not are_near("Rote Bucht", "ROTE  BUCHT")


# a degree of latitude at 43 N is 111.1 km (WGS 84, from memory)
@pytest.mark.parametrize(("km", "asked"), [(0.3, True), (1.9, True), (2.1, False), (50, False)])
def test_near_names_are_asked_about_within_two_kilometres(km, asked):
    rows = [("a", "Rote Bucht", "N", 5.9, 43.1), ("b", "Rote Bucht", "N", 5.9, 43.1),
            ("c", "Rote Buchd", "N", 5.9, 43.1 + km / 111.1)]  # fmt: skip
    register = read(rows)
    assert register.anchors["crag"].nunique() == 2
    assert register.notes == (
        f"are 'Rote Bucht' and 'Rote Buchd' ({km} km apart) one crag? If so give --same-crag "
        "'Rote Buchd=Rote Bucht'",
    ) * asked  # fmt: skip


def test_the_nearest_anchors_count_and_the_antimeridian_does_not():
    lon = np.array([179.999, 179.0, -179.999])
    names = pd.Series(["Rote Bucht", "Rote Bucht", "Rote Buchd"])
    ((one, other, apart, within),) = near_pairs(names, lon, np.zeros(3))
    assert (one, other, within) == ("Rote Bucht", "Rote Buchd", "")
    assert apart == pytest.approx(222.6, abs=0.1)  # 0.002 degrees of the equator, 111.319 km each


def test_near_sectors_of_one_crag_are_asked_about():
    rows = [("a", "P", "Rote Wand", 5.9, 43.1), ("b", "P", "Rotte Wand", 5.9, 43.1),
            ("c", "Q", "Rode Wand", 5.9, 43.1)]  # fmt: skip
    assert read(rows).notes == (
        "are 'Rote Wand' and 'Rotte Wand' (0.0 km apart) one sector of 'P'? If so write them "
        "alike in the register",
    )


ASKED = [
    ("a", "Rote Bucht", "N", 5.9, 43.1), ("b", "Rote Buchd", "n", 5.9, 43.1),
    ("c", "Rodebucht", "S", 5.9, 43.1),
]  # fmt: skip


def test_the_answer_makes_them_one():
    register = read(ASKED, same_crag={"rote buchd": "ROTE BUCHT", "Rodebucht": "Rote Buchd"})
    assert set(register.anchors["crag"]) == {"Rote Bucht"}
    assert register.anchors["sector"].tolist() == ["N", "N", "S"]
    assert register.notes == (
        "crag 'Rote Buchd' (1 row) read as 'Rote Bucht', as told",
        "crag 'Rodebucht' (1 row) read as 'Rote Bucht', as told",
        "sector 'N' is also written 'n' (1 row): read as one",
    )


@pytest.mark.parametrize(
    ("answer", "message"),
    [({"Rote Buch": "Rote Bucht"}, "no crag 'Rote Buch' in the register; nearest: 'Rote Bucht'"),
     ({"Rote Buchd": "Zzz"}, "no crag 'Zzz' in the register"),
     ({"Rote Bucht": "Rote Buchd", "Rote Buchd": "Rote Bucht"}, "comes back to itself")],
)  # fmt: skip
def test_an_answer_that_fits_nothing_stops(answer, message):
    with pytest.raises(RegisterError, match="same_crag"):
        read(ASKED, same_crag=answer)
    try:
        read(ASKED, same_crag=answer)
    except RegisterError as error:
        assert message in str(error)


def test_a_crag_told_to_be_itself_stays():
    assert read(ASKED[:1], same_crag={"rote bucht": "Rote Bucht"}).notes == ()


def test_a_name_with_an_equals_sign_is_not_told_as_an_option():
    rows = [("a", "Rote=Bucht", "N", 5.9, 43.1), ("b", "Rote=Buchd", "N", 5.9, 43.1)]
    (note,) = read(rows).notes
    assert note.endswith("one crag? If so write them alike in the register")


def test_keys_fold_what_compatibility_letters_hide():
    assert name_key("ﬁx") == name_key("FIX")
    assert name_key("Straße") == name_key("STRASSE")
    assert name_key("⛰\ufe0f A") == name_key("⛰ a")
