"""Free days, closures over the year's end, months by the calendar."""

import calendar
import datetime as dt
from itertools import product

import numpy as np
import pandas as pd
import pytest

from helpers.planning_world import closed, team
from saltreach.planning.windows import (
    add_months,
    day_number,
    day_text,
    in_window,
    open_days,
    team_days,
)
from saltreach.vocabulary.words import WEEKDAYS

DAYS = np.arange(day_number("2027-01-01"), day_number("2030-01-01"))


def dates(days):
    return [dt.date.fromisoformat(day_text(d)) for d in days]


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("token", ["SA", "1SA", "3SU", "-1FR", "5WE"])
def test_free_weekdays_are_those_of_rfc_5545(token):
    # counted in the calendar of each month
    weekday, number = WEEKDAYS.index(token[-2:]), int(token[:-2] or 0)
    expected = []
    for year, month in product(range(2027, 2030), range(1, 13)):
        weeks = calendar.monthcalendar(year, month)
        mine = [dt.date(year, month, week[weekday]) for week in weeks if week[weekday]]
        at = number - (number > 0)
        expected += mine if not number else mine[at : at + 1 or None]
    assert dates(team_days(team(days_free=(token,)), DAYS)) == expected


@pytest.mark.pinned("worked")
def test_several_free_weekdays_join():
    january = dates(team_days(team(days_free=("1SA", "-1SU", "WE")), DAYS[:31]))
    assert [d.day for d in january] == [2, 6, 13, 20, 27, 31]


@pytest.mark.pinned("worked")
def test_away_also_and_service_dates_limit_free_days():
    found = dates(
        team_days(
            team(
                days_free=("SA",),
                away=((dt.date(2027, 2, 1), dt.date(2027, 2, 28)),),
                also=((dt.date(2027, 1, 5), dt.date(2027, 1, 6)),),
                **{"from": dt.date(2027, 1, 3), "until": dt.date(2027, 3, 6)},
            ),
            DAYS,
        )
    )
    assert found == [
        dt.date(2027, 1, d) for d in (5, 6, 9, 16, 23, 30)
    ] + [dt.date(2027, 3, 6)]  # fmt: skip


@pytest.mark.parametrize(
    ("first", "last", "inside", "outside"),
    [
        ("02-01", "07-31", ["2027-02-01", "2028-07-31"], ["2027-01-31", "2027-08-01"]),
        # southern nesting runs over the end of the year
        (
            "08-15",
            "01-31",
            ["2027-08-15", "2028-01-31", "2027-12-31"],
            ["2027-02-01", "2027-08-14"],
        ),
        ("02-29", "03-01", ["2028-02-29", "2027-03-01"], ["2027-02-28"]),
        ("2027-05-01", "2027-05-02", ["2027-05-01", "2027-05-02"], ["2028-05-01"]),
    ],
)
def test_a_window_holds_both_its_days(first, last, inside, outside):
    window = {"from": first, "until": last}
    for texts, expected in ((inside, True), (outside, False)):
        days = np.array([day_number(t) for t in texts])
        assert (in_window(window, days) == expected).all()


def test_open_only_seasons_join_and_closures_win():
    rows = [
        closed("c", "03-01", "04-30", access="open only"),
        closed("c", "09-01", "10-31", access="open only"),
        closed("c", "2027-03-10", "2027-03-20"),
    ]
    is_open = dict(zip(dates(DAYS), open_days(rows, DAYS), strict=True))
    assert is_open[dt.date(2027, 3, 9)] and is_open[dt.date(2027, 10, 31)]
    assert not is_open[dt.date(2027, 3, 15)] and not is_open[dt.date(2027, 6, 1)]
    assert is_open[dt.date(2028, 3, 15)]


@pytest.mark.pinned("peer", answers=5)
def test_months_are_added_as_pandas_adds_them():
    days = DAYS[::7]
    for months in (1, 3, 6, 12, 60):
        expected = pd.to_datetime(days, unit="D") + pd.DateOffset(months=months)
        found = add_months(days, months).astype("datetime64[D]")
        assert (found == expected.to_numpy().astype("datetime64[D]")).all()
