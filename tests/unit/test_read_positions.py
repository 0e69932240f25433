"""Positions as people write them: degrees and minutes, letters, one cell, UTM, named grids.

Degrees, minutes and seconds are worked by hand. UTM and grids are checked against points whose
values follow from the definition of the grid, and against the package utm (its own series).
"""

import warnings

import numpy as np
import pandas as pd
import pytest
import utm

from saltreach.errors import RegisterError
from saltreach.intake import read_register
from saltreach.intake.angles import Angle, means_ost, parse_angles, scanned, signed
from saltreach.intake.place_columns import grid_named, parse_pairs
from saltreach.intake.positions import looks_swapped


def angles(name, *cells, header=""):
    return parse_angles(pd.Series(cells, dtype="str"), name, header)


def pairs(*cells, header="'GPS'"):
    return parse_pairs(pd.Series(cells, dtype="str"), header)


@pytest.mark.parametrize(
    "cell",
    ["36°58'12\"N", "N 36 58.2", "36° 58,2' N", "36 58 12 N", "36.97N", "N36,97", "36:58:12",
     "36º58'12'' N", "36°58′12″ N", "36 58 12", "36.97° North", "Nord 36,97",
     "36.97° N.", "+36.97°"],
)  # fmt: skip
def test_one_latitude_in_many_hands(cell):
    parsed, _ = angles("lat", cell)
    assert parsed.values.tolist() == pytest.approx([36.97], abs=1e-12)
    assert parsed.reason.isna().all()


@pytest.mark.parametrize("cell", ["8 45 30 W", "W8°45.5'", "-8°45'30\"", "8,758333333333333 Oeste"])
def test_west_is_negative(cell):
    parsed, _ = angles("lon", cell)
    assert parsed.values.tolist() == pytest.approx([-8.758333333333333], abs=1e-12)
    assert signed(Angle(33.5, "S"), "lat", None) == -33.5


@pytest.mark.parametrize(
    "cell", ["36°70'", "36 58 75", "N 36°58' W", "12.345.678", "north", "8,758,3"]
)
def test_what_is_no_angle_is_none(cell):
    assert scanned(cell) is None


@pytest.mark.parametrize(
    ("name", "cell", "reason"),
    [
        ("lat", "8°45'W", "the letter W is of the other coordinate"),
        ("lon", "8.7 O", "the letter O is east in one language and west in another"),
        ("lon", "-8.7 W", "a minus sign and a letter of the hemisphere"),
        ("lon", "far west", "not a number"),
    ],
)
def test_what_cannot_be_told_is_refused(name, cell, reason):
    parsed, _ = angles(name, cell)
    assert parsed.values.isna().all()
    assert parsed.reason.tolist() == [reason]


def test_the_letter_o_is_what_the_others_and_the_header_say():
    assert angles("lon", "8.7 O", "8.7 W")[0].values.tolist() == [8.7, -8.7]
    assert angles("lon", "8.7 O", "8.7 E")[0].values.tolist() == [-8.7, 8.7]
    assert angles("lon", "8.7 O", header="Längengrad")[0].values.tolist() == [8.7]
    assert angles("lon", "8.7 O", header="Longitud")[0].values.tolist() == [-8.7]
    assert angles("lon", "8.7 O", "9 Ost")[0].values.tolist() == [8.7, 9]
    assert angles("lon", "8.7 O", "9 Oeste")[0].values.tolist() == [-8.7, -9]
    assert angles("lon", "8.7 O", header="Longitude")[0].values.isna().all()
    assert means_ost({"O", "E", "W"}, "") is None
    assert "lon: the letter O read as west" in angles("lon", "8.7 O", "8.7 E")[1]


@pytest.mark.parametrize(
    "cell",
    ["36.97, -8.75", "36,97; -8,75", "36.97 -8.75", "36,97 -8,75", "36.97/-8.75", "(36.97, -8.75)",
     "36,97, -8,75", "36.97,-8.75", "36°58'12\"N 8°45'W", "N36.97 W8.75", "8°45'W 36°58'12\"N",
     "POINT(-8.75 36.97)", "36.97N, 8.75W", "N 36 58 12; W 8 45"],
)  # fmt: skip
def test_one_place_in_one_cell(cell):
    points, fault, _ = pairs(cell)
    assert points[0] == pytest.approx([-8.75, 36.97], abs=1e-12), fault.tolist()
    assert fault.isna().all()


@pytest.mark.parametrize(
    "cell", ["36,97,-8,75", "36.97", "somewhere", "36°58'N 37°N", "POINT(a b)"]
)
def test_a_cell_that_holds_no_place_says_so(cell):
    points, fault, _ = pairs(cell)
    assert np.isnan(points).all()
    assert fault.notna().all()


def test_the_order_of_two_plain_numbers_is_said():
    assert pairs("36.97, -8.75")[2] == [
        "'GPS': 1 positions read from one cell each",
        "'GPS': read as latitude first, then longitude, where no letter tells",
    ]


@pytest.mark.pinned("peer")
@pytest.mark.parametrize(
    ("cell", "zone", "letter"),
    [("29S 523456 4093456", 29, "S"), ("UTM 30T 412345 4791234", 30, "T"),
     ("Zone 56H, 334567, 6250000", 56, "H"), ("33 U 391234,5 5819876,5", 33, "U")],
)  # fmt: skip
def test_utm_is_where_the_package_utm_puts_it(cell, zone, letter):
    numbers = cell.replace(",5", ".5").replace(",", " ").split()[-2:]
    lat, lon = utm.to_latlon(float(numbers[0]), float(numbers[1]), zone, letter)
    points, fault, notes = pairs(cell)
    assert fault.isna().all()
    assert points[0] == pytest.approx([lon, lat], abs=1e-6)
    assert "'GPS': positions converted from UTM (WGS 84) by their zones" in notes


def test_the_central_meridian_and_the_equator_are_those_of_the_definition():
    points, _, _ = pairs("31N 500000 000000")
    assert points[0] == pytest.approx([3, 0], abs=1e-9)


def test_s_alone_is_a_band_only_where_the_south_would_be_sea():
    north, south, asked = (pairs(c)[0][0] for c in ("29S 523456 4093456", "56S 334567 6250000",
                                                    "19S 523456 4093456"))  # fmt: skip
    assert north[1] == pytest.approx(36.99, abs=0.01)
    assert south[1] == pytest.approx(-33.88, abs=0.01)
    assert np.isnan(asked).all()  # Patagonia or the ocean off Virginia
    assert pairs("19S 523456 4093456", "19T 523456 4593456")[0][0][1] > 0


@pytest.mark.parametrize(
    ("headers", "crs"),
    [
        (("X (Lambert 93)", "Y (Lambert 93)"), "EPSG:2154"),
        (("UTM 30N Easting", "UTM 30N Northing"), "EPSG:32630"),
        (("ETRS89 / UTM 30N E", "ETRS89 / UTM 30N N"), "EPSG:25830"),
        (("UTM 56S Easting", "UTM 56S Northing"), "EPSG:32756"),
        (("Easting (EPSG:27700)", "Northing (EPSG:27700)"), "EPSG:27700"),
        (("OSGB Easting", "OSGB Northing"), "EPSG:27700"),
        (("Rechtswert (EPSG:31467)", "Hochwert (EPSG:31467)"), "EPSG:31467"),
    ],
)
def test_headers_may_name_their_grid(headers, crs):
    found = grid_named(("id", *headers), None)
    assert found is not None
    assert (found.crs, tuple(found.columns.values())) == (crs, headers)


@pytest.mark.parametrize("headers", [("X", "Y"), ("lon (WGS84)", "lat (WGS84)"),
                                     ("Easting", "Northing"),
                                     ("X (Lambert 93)", "Y (LV95)")])  # fmt: skip
def test_headers_that_name_none_or_two_name_none(headers):
    assert grid_named(("id", *headers), None) is None


def test_what_the_user_maps_goes_before_a_named_grid():
    assert grid_named(("X (Lambert 93)", "Y (Lambert 93)"), {"lon": "X (Lambert 93)"}) is None


def register(tmp_path, head, *rows, **options):
    path = tmp_path / "a.csv"
    lines = [f"anchor_id,crag,sector,{head}", *(f"{i},C,S,{row}" for i, row in enumerate(rows))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_register(path, **options)


def test_a_register_with_zones_in_their_own_column(tmp_path):
    found = register(
        tmp_path, "UTM zone,Easting,Northing", "30T,412345,4791234", "31N,500000,4649776"
    )
    lat, lon = utm.to_latlon(412345, 4791234, 30, "T")
    assert found.anchors["lon"].tolist() == pytest.approx([lon, 3], abs=1e-6)
    assert found.anchors["lat"].tolist() == pytest.approx([lat, 42], abs=1e-5)


def test_a_cell_of_both_that_cannot_be_read_refuses_its_row(tmp_path):
    found = register(tmp_path, "GPS", '"36.97, -8.75"', "by the big rock")
    assert found.anchors["lon"].tolist() == [-8.75]
    (refused,) = found.rejected.to_dict("records")
    assert (refused["row"], refused["column"], refused["value"]) == (
        3,
        "lon, lat",
        "by the big rock",
    )
    assert refused["reason"] == "not a position that can be read"


def test_lon_and_lat_go_before_a_column_of_both(tmp_path):
    found = register(tmp_path, "lon,lat,GPS", '0.5,41,"36.97, -8.75"')
    assert found.anchors[["lon", "lat"]].values.tolist() == [[0.5, 41]]


def test_a_whole_table_with_lon_and_lat_exchanged_is_read_the_other_way_round(tmp_path):
    rows = ["-33.8581,151.2041", "-33.8582,151.2042", "-33.8583,151.2043"]
    found = register(tmp_path, "lon,lat", *rows)
    assert found.anchors["lon"].tolist() == [151.2041, 151.2042, 151.2043]
    assert any("exchanged in the file" in note for note in found.notes)
    assert len(register(tmp_path, "lon,lat", *rows[:2]).rejected) == 2  # two rows show too little
    assert len(register(tmp_path, "lon,lat", *rows, "10,20").rejected) == 3


def test_exchanging_is_proposed_only_where_it_leads_to_the_others(tmp_path):
    """Worked by hand: exchanged, 5.9 95 is at 95 E 5.9 N, an ocean away; 43.1 5.9 is home."""
    rows = [f"5.90{n},43.10{n}" for n in range(5)]
    found = register(tmp_path, "lon,lat", *rows, "5.9,95", "43.1,95.9")
    fixes = dict(zip(found.rejected["row"], found.rejected["fix"], strict=True))
    assert set(fixes) == {7, 8}
    assert not any("swapped" in fix for fix in fixes.values())
    assert looks_swapped(
        np.array([5.901, 5.902, 5.903, 43.1]), np.array([43.1, 43.1, 43.1, 5.9]), degrees=True
    ).tolist() == [False, False, False, True]
    # at 60 E 95 among others at 96 E 61: exchanged it lies among them
    assert looks_swapped(
        np.array([96.0, 96.01, 96.02, 61.0]), np.array([61.0, 61.0, 61.0, 96.0]), degrees=True
    ).tolist() == [False, False, False, True]
    assert looks_swapped(np.array([61.0]), np.array([96.0]), degrees=True).tolist() == [True]


def test_a_number_too_large_for_sums_is_refused_without_a_word_of_numpy(tmp_path):
    """Found by broken files."""
    rows = [f"5.90{n},43.10{n}" for n in range(5)]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = register(tmp_path, "lon,lat", *rows, "1e308,-1e308")
    assert found.rejected["row"].unique().tolist() == [7]


def test_of_two_headers_the_one_named_as_the_column_is_proposed(tmp_path):
    with pytest.raises(RegisterError, match="'lon' and 'Longitud' both .* --column lon=lon$"):
        register(tmp_path, "lon,lat,Longitud", "-4.95,43.412,90")


def test_eastings_without_zone_or_crs_ask_for_it(tmp_path):
    with pytest.raises(RegisterError, match="need --crs"):
        register(tmp_path, "Easting,Northing", "412345,4791234")


def test_utm_columns_in_any_way_of_writing_numbers(tmp_path):
    rows = ['30T,"412.345,0","4.791.234,0"', "30T,412345,4791234", "30T,4791234,412345"]
    found = register(tmp_path, "Huso,X,Y", *rows)
    lat, lon = utm.to_latlon(412345, 4791234, 30, "T")
    assert found.anchors["lon"].tolist() == pytest.approx([lon, lon], abs=1e-6)
    assert found.anchors["lat"].tolist() == pytest.approx([lat, lat], abs=1e-6)
    assert found.rejected["reason"].tolist() == ["the easting stands where the northing belongs"]


def test_the_grid_the_user_names_goes_before_a_column_of_zones(tmp_path):
    found = register(tmp_path, "zone,easting,northing", "30T,500000,4649776", crs="EPSG:25831")
    assert found.anchors["lon"].tolist() == pytest.approx([3], abs=1e-6)
