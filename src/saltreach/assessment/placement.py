"""What a doubtful placing costs: until a proof test, and after it.

Doubts come from what was written down when the anchor was placed (`records.placing`) or from the
register itself (`placement_doubts`). A fault that is known weighs more than one that nobody wrote
down. A proof test at the policy's load settles what it can show: that the resin has set and that
the anchor holds today. It makes no hole deeper and no resin younger, so faults that work later
keep a cap. It says nothing of stress-corrosion cracks.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.intake.policy import DEFAULT, Policy
from saltreach.vocabulary.words import JOIN

FAULTS = ("cure time short", "hole too shallow", "hole not cleaned", "adhesive expired")
"""Doubts that are known faults: do not load before a proof test. Of glued anchors that failed in
one sandstone region about 60 % had glue that had not set (a bolting guide, 2011); that a test must
come first is judgement."""
LASTING = ("hole too shallow", "hole not cleaned", "adhesive expired")
"""Faults that stay after a test that held: uncleaned holes reach 0.71 of the clean bond, 0.20 to
1.50 (Cook and Konz 2001, from memory), and a short test says little of sustained load. A cure that
was too short is over by then, and what was only unknown is shown for today. Judgement."""


def has_any(several: pd.Series, words: tuple[str, ...]) -> np.ndarray:
    """Whether each cell of several words holds one of these.

    Examples
    --------
    >>> has_any(pd.Series(["wet; loose", "", None]), ("loose",)).tolist()
    [True, False, False]
    """
    found = {
        cell: not set(words).isdisjoint(cell.split(JOIN))
        for cell in several.dropna().astype("str").unique()
    }
    return several.map(found).eq(True).to_numpy(bool)


def doubts_left(
    doubts: pd.Series, load_kn: object, policy: Policy = DEFAULT, held_s: object = np.nan
) -> pd.Series:
    """Doubts about a placing after a proof test that held.

    Parameters
    ----------
    doubts : Series of str
        Words of `vocabulary.words.PLACEMENT_DOUBTS` between semicolons, or empty.
    load_kn : array_like
        Load of the test, kN, along the axis; NaN: not written down, settles nothing.
    policy : Policy
        Its `proof_load_kn` and `proof_held_s` are what a test must reach.
    held_s : array_like
        Seconds that the load was held; a time below the policy's settles nothing, NaN leaves the
        record's word that it held.

    Returns
    -------
    Series of str
        Where the test reached the policy's load: the faults of `LASTING` only.

    References
    ----------
    Judgement; the policy's load and time as stated there.

    Examples
    --------
    >>> doubts_left(pd.Series(["cure time short; adhesive expired"] * 2), [6.0, 5.0]).tolist()
    ['adhesive expired', 'cure time short; adhesive expired']
    """
    load, held = (np.broadcast_to(np.asarray(v, float), len(doubts)) for v in (load_kn, held_s))
    enough = (load >= policy.proof_load_kn) & ~(held < policy.proof_held_s)
    cells = doubts.fillna("").astype("str")
    kept = {
        cell: JOIN.join(word for word in cell.split(JOIN) if word in LASTING)
        for cell in cells.unique()
    }
    return cells.where(~enough, cells.map(kept)).astype("str")


FAULT_CAP_MONTHS = 6.0
LASTING_CAP_MONTHS = 24.0
DOUBT_CAP_MONTHS = 24.0
"""Longest interval until a test with a known fault, after it with a fault that lasts, and until a
test where something was not written down; judgement."""
FAULT_BY_MONTHS = 6.0
"""Test a known fault, or close the anchor, within so many months; judgement."""


def placement_rules(table: pd.DataFrame, policy: Policy = DEFAULT) -> pd.DataFrame:
    """What the doubts about each placing ask for, today.

    Parameters
    ----------
    table : DataFrame
        Register columns `placement_doubts`, `proof_tested_on`, `proof_load_kn`, `installed_on`.
        A test older than the anchor is one of its predecessor and settles nothing.
    policy : Policy
        Its proof test.

    Returns
    -------
    DataFrame
        `doubt_test` (bool: a known fault, do not load before a test), `doubt_months` (longest
        interval, NaN without doubts), `doubt_by_months` (test within), `doubt_says`.
    """
    given = _column(table, "placement_doubts")
    own = own_tests(table)
    load = np.where(own, pd.to_numeric(table["proof_load_kn"]).to_numpy(float), np.nan)
    left = doubts_left(given, load, policy)
    settled = (left != given).to_numpy() | (own & (load >= policy.proof_load_kn))
    fault = has_any(left, FAULTS) & ~settled
    lasting = has_any(left, LASTING) & settled
    unknown = (left != "").to_numpy() & ~fault & ~lasting
    proof = f"{policy.proof_load_kn:g} kN for {policy.proof_held_s:g} s"
    words = left.str.replace(JOIN, ", ", regex=False).to_numpy(object)
    says = np.select(
        [fault, lasting, unknown],
        [
            np.array("Proof test first (", object) + words + "): do not load it until it has held "
            + proof + ".",
            np.array("It held a proof test, which settles for today only: ", object) + words + ".",
            np.array("Proof test first where it can be done (", object) + words
            + "): what nobody wrote down is in doubt until it has held " + proof + ".",
        ],
        "",
    )  # fmt: skip
    return pd.DataFrame(
        {
            "doubt_test": fault,
            "doubt_months": np.select(
                [fault, lasting, unknown],
                [FAULT_CAP_MONTHS, LASTING_CAP_MONTHS, DOUBT_CAP_MONTHS],
                np.nan,
            ),
            "doubt_by_months": np.where(fault, FAULT_BY_MONTHS, np.nan),
            "doubt_says": says.astype(object),
        },
        index=table.index,
    )


def own_tests(table: pd.DataFrame) -> np.ndarray:
    """Whether each anchor has a proof test that is not one of its predecessor."""
    tested, placed = _column(table, "proof_tested_on"), _column(table, "installed_on")
    own = (tested != "").to_numpy(bool).copy()
    own[own] = ~_before(tested[own], placed[own])
    return own


def _column(table: pd.DataFrame, name: str) -> pd.Series:
    return table[name].fillna("").astype("str")


def _before(tested: pd.Series, placed: pd.Series) -> np.ndarray:
    """Whether one partial ISO date certainly lies before the other."""
    short = np.minimum(tested.str.len(), placed.str.len()).to_numpy()
    before = np.zeros(len(tested), bool)
    for length in (4, 7, 10):
        at = short == length
        before |= at & (tested.str[:length] < placed.str[:length]).to_numpy()
    return before
