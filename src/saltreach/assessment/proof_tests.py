"""Which anchors to proof test next, batch by batch, and what the tests so far prove.

A batch is what one hand placed with one stock: a sector (or crag, as the policy says), a kind and
a year. Only batches with a doubt about a placing or with a test are listed. First come known
faults, then what nobody wrote down, then the worst rock, and last a spread along the wall.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from saltreach.assessment.placement import has_any, own_tests, placement_rules
from saltreach.assessment.state import FAILED
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.science.time.inspection import reliability_lower_bound, zero_failure_sample_size
from saltreach.science.time.proof import proof_tests_asked
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import OUT_OF_USE, UNKNOWN

FAILED_BY = ("loose", "broken")
"""Findings that count as a failed test of their batch; judgement."""
NOT_TESTED = (OUT_OF_USE, "move or remove")
"""Nothing is tested that is to go."""
MOST_NAMED = 12
"""Anchors named in a row, the first to test first; judgement."""
NO_CRACKS = "A proof test says nothing of stress-corrosion cracks."
NAMES = [name for name in columns_of("tests") if name != "caution"]


def tests_of(
    anchors: pd.DataFrame, policy: Policy = DEFAULT, gone: pd.DataFrame | None = None
) -> pd.DataFrame | None:
    """Batches to test, with the anchors to test next.

    Parameters
    ----------
    anchors : DataFrame
        Assessed anchors: register columns (`placement_doubts`, `proof_tested_on`,
        `proof_load_kn`, `findings`, `condition`), `action`, `rock_probability_y1`.
    policy : Policy
        Load, share or reliability, and what a batch is.
    gone : DataFrame, optional
        What failed and is no longer in place (`Register.failed_before`): it counts as placed and
        failed in its batch.

    Returns
    -------
    DataFrame or None
        Columns of the table `tests`, one row a batch, most to test first. None where no anchor
        has a doubt or a test.

    Notes
    -----
    Asked are the shares of BS 8539 (`science.time.proof`), where the policy names a reliability
    as many more as show it without a failure (all after one); and every anchor with a known fault.
    A batch of which nothing is left has no row.
    """
    table = anchors.reset_index(drop=True)
    own = own_tests(table)
    tested_gone = gone is not None and gone["by_test"].any()
    doubted = table["placement_doubts"].fillna("").astype("str") != ""
    if not (doubted.any() or own.any() or tested_gone):
        return None
    rules = placement_rules(table, policy)
    load = pd.to_numeric(table["proof_load_kn"]).to_numpy(float)
    held = own & (load >= policy.proof_load_kn)
    doubt = (rules["doubt_says"] != "").to_numpy()
    if not ((doubt | own).any() or tested_gone):
        return None
    condition = pd.to_numeric(table["condition"]).to_numpy(float, na_value=np.nan)
    bad = has_any(table["findings"], FAILED_BY) | (condition == FAILED)
    can = ~held & ~bad & ~table["action"].isin(NOT_TESTED).to_numpy()
    fault = rules["doubt_test"].to_numpy() & can
    batch = _batches(table, policy)
    keys = list(batch)
    work = batch.assign(
        placed=1, here=1, tested=held, failed=bad, touched=doubt | own, fault=fault, can=can,
        anchor_id=table["anchor_id"].astype("str"),
        first=np.select([fault, doubt & can], [0, 1], 2),
        rock=-table["rock_probability_y1"].fillna(np.inf).to_numpy(float),
    )  # fmt: skip
    work["spread"] = _spread(table, work, keys)
    all_placed = work
    if gone is not None:
        lost = _batches(gone, policy).assign(placed=1, failed=True, touched=gone["by_test"])
        all_placed = pd.concat([work, lost], ignore_index=True)
    summed = ["placed", "here", "tested", "failed", "touched", "fault", "can"]
    counts = (
        all_placed[[*keys, *summed]]
        .fillna(dict.fromkeys(summed, 0))
        .astype(dict.fromkeys(summed, int))
    )
    found = counts.groupby(keys, sort=True).sum().query("touched > 0 and here > 0").reset_index()
    n, failed = (found[c].to_numpy(float) for c in ("placed", "failed"))
    asked = proof_tests_asked(n, failed, policy.proof_load_ratio)
    if policy.proof_reliability > 0:
        size = zero_failure_sample_size(policy.proof_confidence, policy.proof_reliability)
        asked = np.where(failed > 0, n, np.minimum(np.maximum(size, asked), n))
    tested = found["tested"].to_numpy(float)
    more = np.maximum(asked - tested, found["fault"].to_numpy(float))
    more = np.minimum(more, found["can"].to_numpy(float))
    found = found.assign(to_test=more.astype(int))
    shown = np.where(
        (tested > 0) & (failed == 0),
        reliability_lower_bound(np.maximum(tested, 1), policy.proof_confidence),
        np.nan,
    )
    found["reliability_shown"] = np.floor(100 * shown) / 100
    found = found.join(_next(work, keys, found), on=keys)
    found["test_next"] = found["test_next"].fillna("")
    found["test_load_kn"] = policy.proof_load_kn
    found["why"] = _why(found, asked, policy)
    return in_order([found[NAMES]])


def in_order(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Batches of parts of a register, most to test first."""
    keys = ["crag", "sector", "kind", "placed_in"]
    table = parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)
    ascending = [False] + [True] * len(keys)
    return table.sort_values(["to_test", *keys], ascending=ascending, ignore_index=True)


def _batches(table: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """What anchors of one batch have in common."""
    year = table["installed_on"].fillna("").astype("str").str[:4]
    return pd.DataFrame(
        {
            "crag": table["crag"],
            "sector": table["sector"] if policy.proof_batch == "sector" else "",
            "kind": table["kind"].fillna("").replace("", UNKNOWN),
            "placed_in": year.replace("", UNKNOWN),
        }
    )


def _spread(table: pd.DataFrame, work: pd.DataFrame, keys: list[str]) -> np.ndarray:
    """Order in which anchors of a batch lie apart: bits of their place along the wall, reversed."""
    place = table[["lon", "lat"]].astype(float)
    place = place.assign(lon=place["lon"] * np.cos(np.radians(place["lat"])))
    by = [work[k] for k in keys]
    span = place.groupby(by).transform("max") - place.groupby(by).transform("min")
    along = place["lon"].where(span["lon"] >= span["lat"], place["lat"])
    rank = along.groupby(by).rank(method="first").to_numpy(int) - 1
    spread = np.zeros(len(rank))
    for bit in range(int(rank.max(initial=0)).bit_length()):
        spread += ((rank >> bit) & 1) * 0.5 ** (bit + 1)
    return spread


def _next(work: pd.DataFrame, keys: list[str], found: pd.DataFrame) -> pd.Series:
    """The anchors to test next of each batch, as one text."""
    free = work[work["can"]].sort_values([*keys, "first", "rock", "spread", "anchor_id"])
    at = free.groupby(keys).cumcount()
    many = free.join(found.set_index(keys)["to_test"], on=keys)["to_test"]
    chosen = free[(at < many) & (at < MOST_NAMED)]
    return chosen.groupby(keys)["anchor_id"].agg("; ".join).rename("test_next")


def _why(found: pd.DataFrame, asked: np.ndarray, policy: Policy) -> np.ndarray:
    """What was tested, what it proves and what is asked, in sentences."""

    def words(name: str) -> np.ndarray:
        return found[name].astype("str").to_numpy(object)

    tested = found["tested"].to_numpy(int)
    shown = np.char.mod("%.2f", np.nan_to_num(found["reliability_shown"])).astype(object)
    proved = (
        " of " + words("placed") + " tested, none failed: with "
        + f"{100 * policy.proof_confidence:g} % confidence that shows only that a share of "
        + shown + " or more holds."
    )  # fmt: skip
    start = np.select(
        [found["failed"] > 0, tested == 0],
        [
            words("failed") + " failed or is loose, " + words("tested") + " of " + words("placed")
            + " held.",
            "None of " + words("placed") + " tested.",
        ],
        words("tested") + proved,
    )  # fmt: skip
    rule = (
        f"a reliability of {policy.proof_reliability:g} without a failure"
        if policy.proof_reliability > 0
        else f"BS 8539 (second-hand) at {policy.proof_load_ratio:g} times the action"
    )
    number = np.char.mod("%.0f", asked).astype(object)
    wanted = " Asked are " + number + f" in all, by {rule}"
    faults = np.where(found["fault"] > 0, ", and each with a known fault. ", ". ")
    return start + wanted + faults + NO_CRACKS
