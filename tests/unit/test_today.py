"""What an answer owes to the day it is for, and that no clock is read beside it."""

import ast
import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

import saltreach
from saltreach import Options, assess
from saltreach.layers.embedded import embedded_file

DEMO = embedded_file("demo/anchors.csv")
EARLIER, LATER = dt.date(2024, 2, 29), dt.date(2031, 3, 1)
CLOCKS = {
    (
        "cli/commands/returns.py",
        "now",
    ): "when events are entered, and the day of returns without one",
    ("intake/read.py", "today"): "the day of a register read without one",
    ("assessment/assess.py", "today"): "the day of an assessment asked for without one",
    ("records/sources.py", "today"): "the day of lessons asked for without one",
    ("cli/commands/learned.py", "today"): "the day of a command given without one",
    ("cli/commands/book.py", "now"): "when something is entered into a book",
    ("cli/commands/cure.py", "now"): "the day of a command given without one",
    ("assessment/provenance.py", "now"): "when it was run, as a record",
    ("folders/swap.py", "now"): "when files were written, as a record",
    ("folders/claim.py", "now"): "name under which a file in the way is kept",
    ("cli/failures.py", "now"): "name of the log of a failure",
    ("layers/online/bring.py", "now"): "when data were brought, as a record",
    ("layers/online/open_meteo.py", "today"): "which years of weather are whole",
    ("layers/online/web.py", "now"): "how old the answers of a part are, as a record",
    ("layers/online/web.py", "monotonic"): "whose turn it is, and how long an answer takes",
    ("cli/commands/layers.py", "now"): "how old a pack is, for its list",
    ("planning/plan.py", "monotonic"): "how long the search took",
    ("planning/plan.py", "today"): "what can have been done, where the plan does not begin later",
    ("planning/parts.py", "monotonic"): "how long the search may take",
    ("planning/large.py", "monotonic"): "how long the search may take",
}
SHIFTS = {
    "risk_band", "metal_band", "risk_governed_by", "action", "action_reasons", "replace_by",
    "inspection_interval_months", "interval_rule", "interval_reasons", "next_inspection_on",
    "overdue", "failure_probability_y1", "failure_probability_y1_p10", "failure_probability_y1_p90",
    "failure_probability_y10", "failure_probability_y30", "metal_probability_y1",
    "rock_probability_y1", "capacity_kn_p05", "rock_axial_kn_p05", "resistance_mode", "yearly_loss",
    "priority_score", "priority_rank", "replacement_cost",
}  # fmt: skip
"""Columns of the demo's anchors that age, loads borne and the calendar move; the others stay."""


@pytest.fixture(scope="module")
def later():
    return assess(DEMO, Options(today=LATER))


@pytest.fixture(scope="module")
def earlier():
    return assess(DEMO, Options(today=EARLIER))


def test_no_clock_is_read_but_where_a_day_was_not_given():
    root, found = Path(saltreach.__file__).parent, set()
    names = {"today", "now", "utcnow", "time", "monotonic", "perf_counter", "localtime", "gmtime"}
    for path in root.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Attribute) and called.attr in names:
                where = ast.unparse(called.value)
                if where.split(".")[-1] in ("date", "datetime", "time", "Timestamp"):
                    found.add((path.relative_to(root).as_posix(), called.attr))
    assert found == set(CLOCKS)


def test_what_the_day_does_not_move_stays(assessed_demo, later):
    now, then = (r.flat.anchors.set_index("anchor_id") for r in (assessed_demo, later))
    assert {name for name in now if not now[name].equals(then[name])} == SHIFTS
    assert assessed_demo.provenance["assessed_for"] == "2026-11-25"
    assert later.provenance["assessed_for"] == "2031-03-01"


@pytest.mark.pinned("worked")
def test_all_age_by_the_days_between(assessed_demo, later):
    """Days 329 and 60 of their years: 5 - 269 / 365.25."""
    gained = later.working["age_y"] - assessed_demo.working["age_y"]
    assert gained.notna().sum() > 400
    assert gained.dropna().to_numpy() == pytest.approx(4.2635, abs=1e-4)
    risk = "failure_probability_y1"
    assert (later.working[risk] >= assessed_demo.working[risk] - 1e-12).all()


@pytest.mark.pinned("worked", answers=12)
def test_what_is_replaced_is_due_so_many_months_from_the_day(assessed_demo, earlier, later):
    """12, 24, 36 and 60 months by band; 29 February ends with the month."""
    for result, days in (
        (assessed_demo, ["2027-11-25", "2028-11-25", "2029-11-25", "2031-11-25"]),
        (later, ["2032-03-01", "2033-03-01", "2034-03-01", "2036-03-01"]),
        (earlier, ["2025-02-28", "2026-02-28", "2027-02-28", "2029-02-28"]),
    ):
        table = result.flat.anchors
        due = table[table["replace_by"] != ""].groupby("risk_band")["replace_by"].unique()
        found = [due[band].tolist() for band in ("severe", "high", "raised", "moderate")]
        assert found == [[day] for day in days]


@pytest.mark.parametrize("which", ["assessed_demo", "earlier", "later"])
def test_a_look_is_due_so_many_months_after_the_last_but_never_before_the_day(which, request):
    """Worked out by pandas from the register's own dates."""
    result = request.getfixturevalue(which)
    today = pd.Timestamp(result.provenance["assessed_for"])
    table = result.flat.anchors
    dated = table["last_inspected_on"].str.len() == 10
    table = table[dated & table["inspection_interval_months"].notna()]
    assert len(table) > 80
    due = [
        pd.Timestamp(day) + pd.DateOffset(months=int(months))
        for day, months in zip(
            table["last_inspected_on"], table["inspection_interval_months"], strict=True
        )
    ]
    shown = [max(day, today).date().isoformat() for day in due]
    assert table["next_inspection_on"].tolist() == shown
    assert table["overdue"].tolist() == [("no", "yes")[day < today] for day in due]


def test_what_lies_after_the_day_is_unknown_as_the_future(earlier):
    """Counted from the file: the first day a date may mean lies after 29 February 2024."""
    raw = pd.read_csv(DEMO, dtype=str, keep_default_na=False)
    cells = raw[["installed_on", "last_inspected_on"]].to_numpy().ravel()
    ahead = sum(day > EARLIER.isoformat()[: len(day)] for day in cells)
    assert ahead > 300
    listed = pd.concat([earlier.flat.rejected, earlier.flat.doubts])
    assert (listed["reason"] == "in the future (today is 2024-02-29)").sum() == ahead
    assert earlier.flat.anchors["installed_on"].fillna("").max() <= "2024-02-29"
