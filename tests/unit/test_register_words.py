"""Words and dates of a register."""

import calendar
import datetime as dt

import numpy as np
import pandas as pd
import pytest

from saltreach.intake.dates import day_limits, parse_dates, year_fraction
from saltreach.intake.values import parse_choices, parse_column
from saltreach.vocabulary.columns import REGISTER, REGISTER_BY_NAME
from saltreach.vocabulary.metals import MATERIAL_BY_NAME
from saltreach.vocabulary.words import YES_NO_UNKNOWN

# EN 1993-1-4:2006+A1:2015 Table A.3: corrosion resistance class of each grade (from memory).
EN_CLASS = {
    1: "1.4003 1.4016 1.4512",
    2: "1.4301 1.4307 1.4311 1.4541 1.4318 1.4306 1.4567 1.4482",
    3: "1.4401 1.4404 1.4435 1.4571 1.4429 1.4432 1.4578 1.4662 1.4362 1.4062 1.4162",
    4: "1.4439 1.4462 1.4539",
    5: "1.4565 1.4529 1.4547 1.4410 1.4501 1.4507",
}
GRADES = [(grade, crc) for crc, grades in EN_CLASS.items() for grade in grades.split()]


def material(*given):
    values, notes = parse_choices(pd.Series(given, dtype="str"), REGISTER_BY_NAME["material"])
    return values.values.tolist(), notes


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(("grade", "crc"), GRADES)
def test_no_grade_is_read_as_a_metal_above_its_en_class(grade, crc):
    (name,), notes = material(grade)
    assert (name == "430") == (crc == 1)
    assert MATERIAL_BY_NAME[name].crc <= crc
    if MATERIAL_BY_NAME[name].crc < crc:
        assert notes, "a class lost must be told"


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("A2", "304"), ("a4-80", "316"), ("AISI 316L", "316"), ("304 stainless steel", "304"),
        ("1.4404", "316"), ("EN 1.4462", "duplex"), ("HCR", "superaustenitic"),
        ("254 SMO", "superaustenitic"), ("6Mo", "superaustenitic"), ("Ti", "titanium"),
        ("TI GR 2", "titanium"), ("Titanio", "titanium"), ("titanium grade 5", "titanium"),
        ("Acero inoxidable 316L", "316"), ("INOX A4", "316"), ("zincado", "zinc-plated steel"),
        ("Zinc-Plated Steel", "zinc-plated steel"), ("hot-dip galvanised", "galvanised steel"),
        ("feuerverzinkt", "galvanised steel"), ("galvanizado", "galvanised steel"),
        ("super-austenitic", "superaustenitic"),
    ],
)  # fmt: skip
def test_usual_spellings_of_metals(given, name):
    assert material(given)[0] == [name]


def test_doubtful_metals_are_told():
    for word, name in (
        ("904L", "duplex"),
        ("inox", "stainless"),
        ("2304", "316"),
        ("2507", "duplex"),
    ):
        names, notes = material(word, word)
        assert names == [name, name]
        assert len(notes) == 1 and "2 rows" in notes[0]


@pytest.mark.parametrize("word", ["304/316", "grade 2", "chrome", "1.4", "Ti or 316", "steel"])
def test_words_that_are_no_metal_are_not_guessed(word):
    values, _ = parse_choices(pd.Series([word], dtype="str"), REGISTER_BY_NAME["material"])
    assert values.reason.notna().all()
    assert values.values.isna().all()


@pytest.mark.parametrize("name", [c.name for c in REGISTER if c.choices == YES_NO_UNKNOWN])
def test_each_yes_or_no_column_reads_what_people_and_programs_write(name):
    given = pd.Series(["True", "FALSE", "1", "0", "sí", "Nein", "oui", "unknown"], dtype="str")
    values, notes = parse_choices(given, REGISTER_BY_NAME[name])
    assert values.values.tolist() == ["yes", "no", "yes", "no", "yes", "no", "yes", "unknown"]
    assert notes == []


def dates(*given, today=dt.date(2026, 6, 15)):
    return parse_dates(pd.Series(given, dtype="str"), today)[0]


@pytest.mark.parametrize(
    ("given", "iso"),
    [
        ("2014", "2014"), ("2014-06", "2014-06"), ("2014/6", "2014-06"), ("06/2014", "2014-06"),
        ("2014-06-12", "2014-06-12"), ("2014/06/12", "2014-06-12"), ("20140612", "2014-06-12"),
        ("2014.06.12", "2014-06-12"), ("25.12.2014", "2014-12-25"), ("25/12/2014", "2014-12-25"),
        ("12/25/2014", "2014-12-25"), ("05/05/2014", "2014-05-05"),
        ("2014-06-12T10:30:00Z", "2014-06-12"), ("2014-06-12 10:30:00.5+02:00", "2014-06-12"),
        ("2016-02-29", "2016-02-29"), ("2026", "2026"), ("2026-06", "2026-06"),
        ("2026-06-15", "2026-06-15"), ("1900", "1900"),
    ],
)  # fmt: skip
def test_dates_with_one_reading(given, iso):
    parsed = dates(given)
    assert parsed.reason.isna().all(), parsed.reason.tolist()
    assert parsed.values.tolist() == [iso]


@pytest.mark.parametrize(
    "given",
    ["2014.5", "2014-00", "2014-06-00", "2015-02-29", "31/04/2014", "12-06-14", "2014-6-12-1",
     "32/13/2014", "2014-06/12", "2027", "2026-07", "0000", "-2014",
     "June", "14"],
)  # fmt: skip
def test_dates_without_one_reading_are_refused(given):
    parsed = dates(given)
    assert parsed.values.isna().all()
    assert parsed.reason.notna().all() and parsed.fix.notna().all()


@pytest.mark.pinned("peer")
def test_every_day_of_four_centuries_like_the_calendar_of_python():
    days = pd.date_range("1900-01-01", "2299-12-31", freq="13D")
    text = pd.Series(days.strftime("%d/%m/%Y"), dtype="str")
    parsed, notes = parse_dates(text, dt.date(2300, 1, 1))
    assert parsed.reason.isna().all()
    assert (parsed.values == days.strftime("%Y-%m-%d")).all()
    assert notes == ["dates that can be read both ways read day-first, as the whole column shows"]
    both = (days.day <= 12) & (days.day != days.month)
    open_, notes = parse_dates(text[both], dt.date(2300, 1, 1))
    assert (open_.values == days[both].strftime("%Y")).all() and notes == []
    assert set(open_.reason) == {"day and month can be read both ways; the year is kept"}


@pytest.mark.pinned("peer")
def test_day_limits_like_the_calendar_of_python():
    months = pd.Series([f"{y}-{m:02d}" for y in (1900, 2000, 2023, 2024) for m in range(1, 13)])
    first, last = day_limits(months)
    for text, start, end in zip(months, first, last, strict=True):
        year, month = map(int, text.split("-"))
        assert start.astype(dt.date) == dt.date(year, month, 1)
        assert end.astype(dt.date) == dt.date(year, month, calendar.monthrange(year, month)[1])
    first, last = day_limits(pd.Series([np.nan, "2014"], dtype="str"))
    assert np.isnat(first[0]) and np.isnat(last[0])
    assert str(last[1]) == "2014-12-31"


@pytest.mark.pinned("worked", answers=3)
def test_year_fraction():
    """Arithmetic only: day 172 (of 366) of 2012 is 20 June, noon is 171.5 days in."""
    mid, half = year_fraction(pd.Series(["2014", "2012-06-20", np.nan, "2013-12"], dtype="str"))
    assert mid[0] == 2014.5 and half[0] == 0.5
    assert mid[1] == pytest.approx(2012 + 171.5 / 366)
    assert half[1] == pytest.approx(0.5 / 366)
    assert np.isnan(mid[2]) and np.isnan(half[2])
    assert mid[3] + half[3] == pytest.approx(2014.0)
    assert half[3] == pytest.approx(31 / 2 / 365)


def test_no_dates_at_all():
    mid, half = year_fraction(pd.Series([], dtype="str"))
    assert mid.shape == half.shape == (0,)
    assert dates().values.tolist() == []


def test_a_word_for_nothing_known_that_is_a_word_of_the_column_is_that_word():
    """`none` of seepage is an answer; of a tap it says that nothing is known."""
    text = pd.Series(["none", "n/a", "water"])
    seepage, _ = parse_column(text, REGISTER_BY_NAME["seepage"])
    assert seepage.values.tolist() == ["none", "unknown", "water"]
    tap, _ = parse_column(pd.Series(["none", "dull"]), REGISTER_BY_NAME["tap_response"])
    assert tap.values.fillna("").tolist() == ["", "dull"] and tap.reason.isna().all()
