"""Dates as people write them: the order is what the whole column shows, and no guess is silent.

Peer: babel (CLDR, names of months and the date formats of countries). The rest is worked by hand
from the rules in `saltreach.intake.dates` (own rules, no published source).
"""

import datetime as dt

import pandas as pd
import pytest
from babel.dates import format_date

from saltreach.intake import read_register
from saltreach.intake.dates import parse_dates

TODAY = dt.date(2026, 6, 15)
FORM = "write YYYY, YYYY-MM or YYYY-MM-DD, or leave it empty"
ORDER = "dates that can be read both ways read"


def read(*cells, order=None):
    return parse_dates(pd.Series(cells, dtype="str"), TODAY, order=order)


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("locale", ["en_GB", "en_US", "de", "es", "fr", "it", "pt"])
def test_a_column_of_each_country_s_dates_is_read_as_written(locale):
    days = [dt.date(2009, 6, 12), dt.date(2012, 12, 25), dt.date(2015, 3, 4), dt.date(2020, 10, 31)]
    for form in ("short", "medium", "long"):
        cells = [format_date(day, form, locale=locale) for day in days]
        assert read(*cells)[0].values.tolist() == [day.isoformat() for day in days], cells


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("locale", ["en", "de", "es", "fr", "it", "pt"])
@pytest.mark.parametrize("month", range(1, 13))
def test_months_by_name_and_year(locale, month):
    day = dt.date(2009, month, 1)
    for form in ("MMMM yyyy", "LLLL yyyy"):
        cell = format_date(day, form, locale=locale)
        assert read(cell)[0].values.tolist() == [f"2009-{month:02d}"], cell


def test_the_column_shows_the_order():
    parsed, notes = read("06/12/2009", "25/12/2009", "1/2/2010")
    assert parsed.values.tolist() == ["2009-12-06", "2009-12-25", "2010-02-01"]
    assert notes == [f"{ORDER} day-first, as the whole column shows"]
    parsed, notes = read("06/12/2009", "12/25/2009")
    assert parsed.values.tolist() == ["2009-06-12", "2009-12-25"]
    assert notes == [f"{ORDER} month-first, as the whole column shows"]
    assert parsed.reason.isna().all()


@pytest.mark.parametrize("cells", [("06/12/2009",), ("06/12/2009", "25/12/2009", "12/25/2009")])
def test_where_it_shows_none_or_both_the_year_is_kept_and_the_order_asked_for(cells):
    parsed, notes = read(*cells)
    assert parsed.values.iloc[0] == "2009"
    assert parsed.reason.iloc[0] == "day and month can be read both ways; the year is kept"
    assert parsed.fix.iloc[0] == (
        "write 2009-12-06 or 2009-06-12, or say the order of the file's dates "
        "(date_order=day-first)"
    )
    assert notes == []
    assert read(*cells, order="day-first")[0].values.iloc[0] == "2009-12-06"
    assert read(*cells, order="month-first")[0].values.iloc[0] == "2009-06-12"
    assert read(*cells, order="day-first")[1] == [f"{ORDER} day-first, as asked"]


def test_a_date_against_the_order_asked_for_is_unknown():
    parsed, _ = read("12/25/2009", "25/12/2009", order="day-first")
    assert parsed.values.isna().tolist() == [True, False]
    assert parsed.reason.iloc[0] == "not day-first, as was asked for"
    parsed, _ = read("12/25/2009", "25/12/2009", order="month-first")
    assert parsed.values.isna().tolist() == [False, True]


def test_dots_are_day_first_everywhere():
    parsed, notes = read("06.12.2009")
    assert parsed.values.tolist() == ["2009-12-06"]
    assert notes == [f"{ORDER} day-first, as the whole column shows"]


def test_years_of_two_figures_are_of_this_century_up_to_this_year():
    parsed, notes = read("12.06.09", "25/12/26", "25/12/27", "31.01.88")
    assert parsed.values.isna().tolist() == [False, True, False, False]  # December 2026 is ahead
    assert parsed.values.tolist()[2:] == ["1927-12-25", "1988-01-31"]
    assert parsed.values.iloc[0] == "2009-06-12"
    assert "years of two figures completed in 4 different dates" in notes


@pytest.mark.parametrize(
    ("cell", "value", "reason"),
    [
        ("summer 2012", "2012", "a season; the year is kept"),
        ("Frühjahr 2012", "2012", "a season; the year is kept"),
        ("été 2012", "2012", "a season; the year is kept"),
        ("2009?", "2009", "about that year; the year is kept"),
        ("ca. 2005", "2005", "about that year; the year is kept"),
        ("um 2005", "2005", "about that year; the year is kept"),
        ("39976", "2009-06-12", "a spreadsheet's day number; 2009-06-12 is used"),
        ("41640.5", "2014-01-01", "a spreadsheet's day number; 2014-01-01 is used"),
        ("vor 1990", None, "a range or a limit, not one date"),
        ("2009/2010", None, "a range or a limit, not one date"),
        ("1995-2000", None, "a range or a limit, not one date"),
        ("Juni", None, "not a date that can be read"),
        ("neu 2010", None, "not a date that can be read"),
        ("Februar/März 2010", None, "not a date that can be read"),
        ("31. Juni 2010", None, "not a date that can be read"),
        ("Juni 2027", None, "in the future (today is 2026-06-15)"),
        ("12-06-09", None, "not a date that can be read"),
    ],
)
def test_what_is_not_one_day_or_month_says_why(cell, value, reason):
    parsed, _ = read(cell)
    assert parsed.values.fillna("").tolist() == [value or ""]
    assert parsed.reason.tolist() == [reason]
    assert parsed.fix.notna().all()


@pytest.mark.pinned("published")
def test_day_numbers_are_those_of_spreadsheets():
    """ECMA-376 part 1, 18.17.4.1: 2003-11-28 is 37953 (from memory)."""
    assert read("37953")[0].values.tolist() == ["2003-11-28"]


def test_a_time_of_day_is_left_out():
    parsed, _ = read("25/06/2020 08:05:10", "12/06/2020 14:20")
    assert parsed.values.tolist() == ["2020-06-25", "2020-06-12"]


def test_another_column_may_show_the_order(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text(
        "anchor_id,crag,sector,lon,lat,installed_on,last_inspected_on\n"
        "1,C,S,0.5,41,06/07/2012,25/12/2022\n"
    )
    found = read_register(file, today=TODAY)
    assert found.anchors["installed_on"].tolist() == ["2012-07-06"]
    assert found.doubts.empty
    assert f"installed_on: {ORDER} day-first, as the whole column shows" not in found.notes
    assert f"installed_on: {ORDER} day-first, as other dates of the file show" in found.notes
