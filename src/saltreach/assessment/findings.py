"""What a look found at an anchor, and what follows: answer, interval, day, and how likely it fails.

A finding counts like the condition it implies, for the way of failing that it informs: rust, wear
and cracks for the metal, resin and movement for the hold in the rock. Where it and the recorded
condition (or tap) do not go together, the worse counts and that is said. A finding never makes
anything look better: each anchor keeps the worse of what is so with it and without it.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import numpy as np
import pandas as pd

from saltreach.assessment.placement import has_any, placement_rules
from saltreach.assessment.reasons import Reasons
from saltreach.assessment.state import age_of_anchors
from saltreach.assessment.usual import Usual, usual_of
from saltreach.intake import check
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.vocabulary.columns import REJECTED_COLUMNS
from saltreach.vocabulary.words import FINDINGS, JOIN, OUT_OF_USE, SEPARATOR

NONE = float("nan")


class Found(NamedTuple):
    """What one finding means.

    `answer`: the least of `words.ACTIONS`. `months`: the longest interval. `metal`, `rock`: the
    condition it counts as, for either way of failing; NaN: it tells nothing of it. `by_months`:
    act within so many months. `says`: the sentence.
    """

    answer: str
    months: float
    metal: float
    rock: float
    by_months: float
    says: str


FOUND: dict[str, Found] = {
    "hanger turns": Found(
        "keep", 24, NONE, NONE, NONE,
        "The hanger turns: tighten it at the next visit, and look why it came loose."),
    "wet": Found(
        "keep", 24, NONE, NONE, NONE,
        "Found wet: say whether water or sulphate seeps there, and come back when it is dry."),
    "salty": Found(
        "keep", 24, NONE, NONE, NONE,
        "Salt on it: counted as covered and not washed by rain."),
    "crusted": Found(
        "keep", 24, NONE, NONE, NONE,
        "Crusted: counted as covered and not washed by rain."),
    "rust film": Found(
        "keep", 24, 1, NONE, NONE, "A film of rust: counts as marked (condition 1)."),
    "rust streaks": Found(
        "keep", 24, 2, NONE, NONE, "Streaks of rust: count as worn (condition 2)."),
    "rust flakes": Found(
        "replace", 6, 3, NONE, 24, "Rust comes off in flakes: counts as poor (condition 3)."),
    "bent": Found(
        "replace", 6, 3, NONE, 24, "Bent: it has been overloaded once; counts as poor."),
    "worn": Found(
        "replace", 6, 2, NONE, 24, "Worn through use: measure what is left, and replace it."),
    "resin cracked": Found(
        "replace", 6, NONE, 2, 24,
        "Its resin is cracked: reset or replace it; a proof test tells how soon."),
    "resin missing": Found(
        "replace", 6, NONE, 3, 12, "Resin is missing: reset or replace it."),
    "proud": Found(
        "replace", 6, NONE, NONE, 60,
        "It stands proud of the rock: lowering bends it each time, its life is finite."),
    "hollow": Found(
        "move or remove", 6, NONE, NONE, 12,
        "Hollow around it: counted as a hollow tap at the anchor."),
    "loose": Found(
        OUT_OF_USE, NONE, NONE, 3, NONE,
        "Loose: any movement is suspect. Take it out of use today, until it is reset or "
        "replaced."),
    "cracked": Found(
        OUT_OF_USE, NONE, 4, NONE, NONE,
        "Cracked: counts as failed. Take it out of use today, until it is replaced."),
    "broken": Found(
        OUT_OF_USE, NONE, 4, NONE, NONE,
        "Broken: counts as failed. Take it out of use today, until it is replaced."),
}  # fmt: skip
"""By finding, the worst last. Sources: any movement suspect (federation advice, second-hand); a
proud ring holds over 25 kN at once but not lowering for ever (`PROUD_CYCLES`). Every answer,
month and condition is judgement."""
IMPLIES: dict[str, float] = {
    "rust flakes": 3, "bent": 3, "worn": 2, "resin cracked": 2, "resin missing": 3,
    "loose": 4, "cracked": 4, "broken": 4,
}  # fmt: skip
"""Condition that does not go together with one recorded two or more below it; judgement."""
PROUD_CYCLES = 3100.0
"""Lowers until a ring set 12 mm proud may break: fatigue at 0.6 to 1.6 kN ended from about 3,100
cycles (an alpine federation's summary, dolomite, 2020)."""
LOWERS_PER_VISIT = 1.0
"""One lower a visit, at any anchor but a runner; judgement."""
LOWERS_PER_VISIT_RUNNER = 0.1
"""At a runner; judgement."""
CRUSTS = ("salty", "crusted")
SAID = {"condition": "Condition", "tap_response": "Tap"}
EFFECTS = ("condition", "tap_response", "salt_crust")
"""Columns of the register that findings make worse."""


def found_poor(table: pd.DataFrame) -> np.ndarray:
    """Whether findings imply a condition of 3 or worse, for the metal or for the hold."""
    words = tuple(w for w, rule in FOUND.items() if rule.metal >= 3 or rule.rock >= 3)
    return has_any(table.get("findings", pd.Series("", index=table.index)), words)


def flag(table: pd.DataFrame, name: str) -> np.ndarray:
    """A working column of findings; false throughout where the register has none."""
    if name not in table:
        return np.zeros(len(table), bool)
    return table[name].to_numpy(bool)


def months(table: pd.DataFrame, name: str) -> np.ndarray:
    """A working column of months; NaN throughout where the register has none."""
    return table[name].to_numpy(float) if name in table else np.full(len(table), NONE)


def texts(table: pd.DataFrame, name: str) -> np.ndarray:
    """A working column of sentences; empty throughout where the register has none."""
    found = table[name] if name in table else pd.Series("", index=table.index, dtype=object)
    return found.to_numpy(object)


def found_at(
    table: pd.DataFrame, today: date, policy: Policy = DEFAULT, usual: Usual | None = None
) -> pd.DataFrame:
    """What findings, doubts about the placing and closures change.

    Parameters
    ----------
    table : DataFrame
        Columns of the register.
    today : date
        Day the assessment speaks for.
    policy : Policy
        Its proof test.
    usual : Usual, optional
        Of the region, where these are a part of its anchors.

    Returns
    -------
    DataFrame
        Nothing but the index where no anchor has any. Else the columns of `EFFECTS`, the worse of
        what is recorded and what the findings imply; `condition_recorded`, `condition_rock` (the
        same for the hold in the rock); `found_out`, `found_loose`, `found_replace` (bool),
        `found_months` (longest interval), `found_by_months` (act within, from today),
        `found_says`, `found_warnings` (sentences), `closed_since`; those of
        `placement.placement_rules`.
    """
    names = ("findings", "placement_doubts", "closed_on")
    if not any(_given(table[name]).any() for name in names):
        return pd.DataFrame(index=table.index)
    cells = _cells(table, "findings")
    records = {cell: _together(cell) for cell in cells.unique()}
    metal, rock, longest, by = (
        cells.map({cell: getattr(r, name) for cell, r in records.items()}).to_numpy(float)
        for name in ("metal", "rock", "months", "by_months")
    )
    answer = cells.map({cell: r.answer for cell, r in records.items()})
    recorded = table["condition"].to_numpy(float, na_value=np.nan)
    proud = has_any(cells, ("proud",))
    life = np.where(proud, proud_life_left_months(table, today, usual), NONE)
    hollow = has_any(cells, ("hollow",))
    crusted = has_any(cells, CRUSTS)
    says = Reasons(table.index)
    sentences = cells.map({cell: r.says for cell, r in records.items()}).to_numpy(object)
    says.add(sentences != "", sentences)
    years = np.char.mod("%.0f", np.nan_to_num(life) / 12).astype(object)
    says.add(proud & (life <= 0), "By its visits and age that life is used up.")
    says.add(
        proud & (life > 0) & (life <= FOUND["proud"].by_months),
        np.array("By its visits and age about ", object) + years + " years of it are left.",
    )
    since = _cells(table, "closed_on")
    warned = Reasons(table.index)
    closed = (since != "").to_numpy()
    warned.add(
        closed,
        np.array("Closed since ", object) + since.to_numpy(object)
        + ": out of use until it is reopened.",
    )  # fmt: skip
    for name, _, reason in _apart(table):
        warned.add(reason != "", np.array(f"{SAID[name]} ", object) + reason + ".")
    placed = placement_rules(table, policy)
    test = placed["doubt_says"].to_numpy(object)
    warned.add(test != "", test)
    return placed.assign(
        condition=np.fmax(recorded, metal),
        tap_response=table["tap_response"].where(~hollow, "hollow"),
        salt_crust=table["salt_crust"].where(~crusted, "yes"),
        condition_recorded=recorded,
        condition_rock=np.fmax(recorded, rock),
        found_out=(answer == OUT_OF_USE).to_numpy(),
        found_loose=has_any(cells, ("loose",)),
        found_replace=(answer == "replace").to_numpy(),
        found_months=longest,
        found_by_months=np.fmin(by, np.maximum(np.floor(life), 0.0)),
        found_says=says.text().to_numpy(object),
        found_warnings=warned.text().to_numpy(object),
        closed_since=since.to_numpy(object),
    )


def proud_life_left_months(
    table: pd.DataFrame, today: date, usual: Usual | None = None
) -> np.ndarray:
    """Months until an anchor that stands proud has borne `PROUD_CYCLES` lowers, 0 where it has.

    Uncounted visits are the register's median, else the usual ones; an unknown date counts as the
    oldest dated anchor.
    """
    visits = table["visits_per_year"].to_numpy(float)
    age = age_of_anchors(table, today)
    if usual is None:
        usual = usual_of(visits, age)
    visits = np.where(np.isnan(visits), usual.visits_per_year, visits)
    runner = (table["position"] == "runner").to_numpy(bool)
    lowers = visits * np.where(runner, LOWERS_PER_VISIT_RUNNER, LOWERS_PER_VISIT)
    with np.errstate(divide="ignore"):
        life_y = PROUD_CYCLES / lowers
    return np.maximum(12.0 * (life_y - np.where(np.isnan(age), usual.oldest_y, age)), 0.0)


def findings_apart(anchors: pd.DataFrame, file: str) -> pd.DataFrame:
    """Conditions and taps that do not go together with the findings, as cells in doubt."""
    if not _given(anchors["findings"]).any():
        return pd.DataFrame(columns=list(REJECTED_COLUMNS))
    rows = anchors["source_row"].to_numpy()
    parts = [
        check.rejected_table(
            check.problems(
                reason != "", name, value, pd.Series(reason, dtype="str"),
                "correct whichever is wrong",
            ), rows, file,
        )
        for name, value, reason in _apart(anchors)
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _apart(table: pd.DataFrame) -> list[tuple[str, pd.Series, np.ndarray]]:
    """Column, its cells as text, and why they do not go together with the findings."""
    cells = _cells(table, "findings")
    implied = cells.map(
        {c: max((IMPLIES.get(w, NONE) for w in _words(c)), default=NONE, key=np.nan_to_num)
         for c in cells.unique()}
    ).to_numpy(float)  # fmt: skip
    recorded = table["condition"].to_numpy(float, na_value=np.nan)
    grade = pd.Series(np.char.mod("%.0f", np.nan_to_num(recorded)), index=table.index)
    tap = table["tap_response"].fillna("").astype("str")
    hollow = has_any(cells, ("hollow",)) & tap.isin(["ringing", "mixed", "dull"]).to_numpy()
    found = []
    for name, value, wrong in (
        ("condition", grade, recorded + 2 <= implied), ("tap_response", tap, hollow),
    ):  # fmt: skip
        why = value + " and the findings (" + cells + ") do not go together; the worse counts"
        found.append((name, value.astype("str"), np.where(wrong, why, "").astype(object)))
    return found


def _given(column: pd.Series) -> pd.Series:
    return column.notna() & (column.astype("str") != "")


def _cells(table: pd.DataFrame, name: str) -> pd.Series:
    return table[name].fillna("").astype("str")


def _words(cell: str) -> list[str]:
    return [word for word in cell.split(JOIN) if word in FOUND]


def _together(cell: str) -> Found:
    """The worst of several findings, each in its own respect."""
    found = [FOUND[word] for word in sorted(_words(cell), key=FINDINGS.index, reverse=True)]
    if not found:
        return Found("", NONE, NONE, NONE, NONE, "")
    least = [min((v for v in values if not np.isnan(v)), default=NONE)
             for values in zip(*((f.months, f.by_months) for f in found), strict=True)]  # fmt: skip
    most = [max((v for v in values if not np.isnan(v)), default=NONE)
            for values in zip(*((f.metal, f.rock) for f in found), strict=True)]  # fmt: skip
    return Found(
        found[0].answer, least[0], most[0], most[1], least[1],
        SEPARATOR.join(f.says for f in found),
    )  # fmt: skip
