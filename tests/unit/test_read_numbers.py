"""Numbers as people write them: decimal marks, thousands, units, about so much.

Peers: babel (CLDR, the number formats of countries) and pint (units). The rest is worked by hand
from the rules in `saltreach.intake.numbers` (own rules, no published source).
"""

import math

import numpy as np
import pandas as pd
import pint
import pytest
from babel.numbers import format_decimal

from saltreach.intake.numbers import Evidence, evidence, parse_numbers
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.tables import rows_of
from saltreach.vocabulary.units import factor, is_unit

ELEVATION, DIAMETER = REGISTER_BY_NAME["elevation_m"], REGISTER_BY_NAME["diameter_mm"]
CRACK = REGISTER_BY_NAME["crack_distance_mm"]


def read(column, *cells, **options):
    parsed, notes = parse_numbers(pd.Series(cells, dtype="str"), column, **options)
    return parsed, notes


def values(column, *cells, **options):
    return read(column, *cells, **options)[0].values.tolist()


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("locale", ["en", "de", "es", "it", "pt", "fr", "de_CH", "de_AT", "pt_BR"])
def test_a_column_of_each_country_s_numbers_is_read_as_written(locale):
    meant = [12.5, 1234.5, 987.0, 2500.75, 8000.0, 3.25]
    cells = [format_decimal(value, locale=locale) for value in meant]
    assert values(ELEVATION, *cells) == meant


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("unit", ["mm", "cm", "m", "km", "inch", "ft"])
def test_lengths_are_converted_as_pint_does(unit):
    registry = pint.UnitRegistry()
    meant = registry.Quantity(3, "foot" if unit == "ft" else unit).to("mm").magnitude
    parsed, _ = read(CRACK, f"3 {unit}")
    assert parsed.values.iloc[0] == pytest.approx(meant, rel=1e-12)
    assert parsed.reason.isna().all() or meant > CRACK.high


@pytest.mark.pinned("peer")
def test_factors_between_units_are_pint_s():
    registry = pint.UnitRegistry()
    names = {
        "degrees": "degree",
        "months": None,
        "years": None,
        "%": "percent",
        "daN": "decanewton",
    }
    for row in rows_of("units.csv"):
        for other in rows_of("units.csv"):
            ours = factor(row["unit"], other["unit"])
            assert (ours is not None) == (row["of"] == other["of"])
            first, second = (names.get(one["unit"], one["unit"]) for one in (row, other))
            if ours is None or first is None or second is None or row["of"] in (
                "salinity", "temperature", "concentration",
            ):  # fmt: skip
                continue
            assert ours == pytest.approx(registry.Quantity(1, first).to(second).magnitude)
    assert factor("years", "months") == 12


def test_no_spelling_stands_for_two_units():
    spellings = [
        word for row in rows_of("units.csv") for word in (row["unit"], *row["words"].split("; "))
    ]
    assert len(spellings) == len(set(spellings))
    assert all(is_unit(word) for word in spellings)
    assert not is_unit("bolt")


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("12", 12), ("12.5", 12.5), ("12,5", 12.5), ("12 mm", 12), ("12mm", 12), ("1,2 cm", 12),
        ("0,012 m", 12), ('3/8"', 9.525), ("1/2 inch", 12.7), ("½ Zoll", 12.7), ("Ø 10", 10),
        ("M12", 12), ("ø12 mm", 12), ("10 Millimeter", 10), ("\N{MINUS SIGN}3", -3),
    ],
)  # fmt: skip
def test_sizes(cell, value):
    assert values(DIAMETER, cell) == pytest.approx([value], nan_ok=True)


@pytest.mark.parametrize(
    ("cell", "value", "reason"),
    [
        ("~12", 12, "about so much; 12 in mm is used"),
        ("ca. 12 mm", 12, "about so much; 12 in mm is used"),
        ('10 (3/8")', 10, "with a remark; 10 in mm is used"),
        ("10-12", math.nan, "a range or a limit, not one number"),
        ("8 – 10 mm", math.nan, "a range or a limit, not one number"),
        (">10", math.nan, "a range or a limit, not one number"),
        ("mind. 10", math.nan, "not a number"),
        ("10 kN", math.nan, "more than a number in the cell"),
        ("thick", math.nan, "not a number"),
        ("1e999", math.nan, "not a finite number"),
    ],
)
def test_what_is_not_one_plain_number_says_why(cell, value, reason):
    parsed, _ = read(DIAMETER, cell)
    assert parsed.values.tolist() == pytest.approx([value], nan_ok=True)
    assert parsed.reason.tolist() == [reason]
    assert parsed.fix.notna().all()


def test_a_comma_or_point_before_three_figures_is_what_the_column_shows():
    assert values(ELEVATION, "12,5", "1.234", "1,234") == [12.5, 1234, 1.234]
    assert values(ELEVATION, "12.5", "1.234", "1,234") == [12.5, 1.234, 1234]
    assert values(ELEVATION, "1.234") == [1.234]
    parsed, _ = read(ELEVATION, "1,234")
    assert parsed.values.isna().all()
    assert parsed.reason.tolist() == ["the comma may mark decimals or thousands"]
    assert parsed.fix.tolist() == ["write 1.234 or 1234, or leave it empty"]


def test_what_the_column_shows_goes_before_the_rest_of_the_table():
    assert values(ELEVATION, "1,234", mark=",") == [1.234]
    assert values(ELEVATION, "1,234", mark=".") == [1234]
    assert values(ELEVATION, "1,234", "2.5", mark=",") == [1234, 2.5]
    assert values(ELEVATION, "1.234", mark=",") == [1234]


def test_the_range_of_a_column_decides_where_one_reading_lies_in_it():
    slope = REGISTER_BY_NAME["face_slope_deg"]
    assert values(slope, "1,234") == [1.234]
    assert values(slope, "95,123", mark=".") == [95.123]


def test_evidence_counts_cells_that_can_be_read_one_way():
    text = pd.Series(["12,5", "1.234,5", "1,234", "3.5 m", "x", None], dtype="str")
    assert evidence(text) == Evidence(commas=2, points=1)
    assert evidence(text).mark is None
    assert Evidence(2, 0).mark == "," and Evidence(0, 1).mark == "." and Evidence().mark is None


def test_the_unit_of_a_header_is_of_every_number_without_one():
    parsed, notes = read(CRACK, "9", "0,5", "12 mm", unit="cm")
    assert parsed.values.tolist() == [90, 5, 12]
    assert notes == [
        "crack_distance_mm: 1 cell written with a decimal comma",
        "crack_distance_mm: 1 cell written with its unit",
        "crack_distance_mm: 3 cells written in cm, as the header says, read in mm",
    ]
    assert values(CRACK, "0.1", unit="m") == [100]


def test_every_other_way_of_writing_is_counted():
    _, notes = read(CRACK, "12,5", "9 cm", "8 cm", "1.234,5", "7 mm")
    assert notes == [
        "crack_distance_mm: 1 cell written with a decimal comma",
        "crack_distance_mm: 2 cells written in cm, read in mm",
        "crack_distance_mm: 1 cell written with a mark between thousands",
        "crack_distance_mm: 1 cell written with its unit",
    ]


def test_whole_numbers_stay_whole():
    visits = REGISTER_BY_NAME["condition"]
    parsed, _ = read(visits, "2", "2.5", "2,5")
    assert parsed.values.tolist()[0] == 2 and np.isnan(parsed.values.iloc[1:]).all()
    assert set(parsed.reason.dropna()) == {"not a whole number"}
