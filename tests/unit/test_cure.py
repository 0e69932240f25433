"""Gel and cure time from an invented data sheet, by hand."""

import datetime as dt

import pytest

from saltreach.assessment.cure import cure_advice
from saltreach.errors import OptionError
from saltreach.intake.datasheet import read_cure_table
from saltreach.vocabulary.words import CAUTION

DAY = dt.date(2026, 11, 25)


@pytest.fixture
def sheet(tmp_path):
    file = tmp_path / "sheet.csv"
    file.write_text("rock_temperature_c,gel_min,cure_min\n0,40,400\n10,20,200\n20,10,50\n")
    return read_cure_table(file)


def advice(sheet, degrees, *, wet=False, expires_on="2027-01", on=DAY):
    return cure_advice(sheet, degrees, wet=wet, expires_on=expires_on, on=on)


@pytest.mark.pinned("worked", answers=10)
def test_times_between_the_rows_follow_the_arrhenius_law(sheet):
    """ln t is linear in 1/T. 5 degC, 278.15 K: (1/278.15 - 1/273.15) / (1/283.15 - 1/273.15) =
    6.58103e-5 / 1.292976e-4 = 0.508988. Gel 40 x 0.5^0.508988 = 28.1 min, cure 400 x
    0.5^0.508988 = 281.1 min. 18 degC, 291.15 K, from 283.15 to 293.15 K: 9.70428e-5 /
    1.204752e-4 = 0.805495. Gel 20 x 0.5^0.8055 = 11.4 min, cure 200 x 0.25^0.8055 = 65.5 min. In a
    wet hole the cure takes twice as long (common practice, no source), the gel does not."""
    found = {d: advice(sheet, d) for d in (0.0, 5.0, 10.0, 18.0, 20.0)}
    assert {d: (f["gel_min"], f["cure_min"]) for d, f in found.items()} == {
        0.0: (40.0, 400.0), 5.0: (28.1, 281.1), 10.0: (20.0, 200.0), 18.0: (11.4, 65.5),
        20.0: (10.0, 50.0),
    }  # fmt: skip
    wet = advice(sheet, 5.0, wet=True)
    assert (wet["gel_min"], wet["cure_min"]) == (28.1, 562.2)


def test_what_is_said_beside_the_times(sheet):
    assert advice(sheet, 10, wet=True) == {
        "table": "sheet.csv", "rock_temperature_c": 10, "wet_hole": True, "gel_min": 20.0,
        "cure_min": 400.0, "expiry": "in date", "notes": [], "caution": CAUTION,
    }  # fmt: skip
    unread = advice(sheet, 10, expires_on="")
    assert (unread["expiry"], unread["wet_hole"]) == ("unknown", False)


def test_an_expired_cartridge_is_refused_from_the_day_after(sheet):
    assert advice(sheet, 10, expires_on="2026-11-25")["expiry"] == "in date"
    with pytest.raises(OptionError) as caught:
        advice(sheet, 10, expires_on="2026-11-24")
    assert str(caught.value) == (
        "the cartridge expired (2026-11-24, used on 2026-11-25): do not use it"
    )
    assert advice(sheet, 10, expires_on="2026-11-24", on=dt.date(2026, 11, 24))["gel_min"] == 20.0


@pytest.mark.parametrize("degrees", [float("nan"), float("inf"), -float("inf")])
def test_a_temperature_that_is_none_is_refused(sheet, degrees):
    with pytest.raises(OptionError) as caught:
        advice(sheet, degrees)
    assert str(caught.value) == f"rock temperature {degrees}: give degrees Celsius"


@pytest.mark.parametrize("degrees", [-0.1, 20.1])
def test_nothing_is_said_outside_the_sheet(sheet, degrees):
    with pytest.raises(OptionError, match="outside the table of sheet"):
        advice(sheet, degrees)
