"""The kind of anchor advised for each sector: the worst advice among its places, and why."""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.assessment.grouping import Groups, joined, of_all, sentences_in
from saltreach.vocabulary.words import ADVICE, SEPARATOR, UNKNOWN


def sector_kind(anchors: pd.DataFrame, groups: Groups) -> pd.DataFrame:
    """The kind advised for each sector, and why.

    Parameters
    ----------
    anchors : DataFrame
        Columns `kind_advised`, `kind_reasons` and `embedment_required_mm`.
    groups : Groups
        Sectors of these anchors.

    Returns
    -------
    DataFrame
        `kind_advised`: the worst advice among the places of the group where an anchor may be
        placed at all. A hollow tap, rotten rock or a crack too near holds for its own spot:
        `spots_refused` counts these, and only a group of nothing else is `do not place here`.
        `kind_reasons`: the distinct reasons of the anchors that set it, each with how many of
        the group it is about, and those of the spots refused.
    """
    rank = ADVICE.rank(anchors["kind_advised"]).to_numpy(float)
    refused = rank == 0
    worst = groups.lowest(np.where(refused, np.nan, rank))
    worst = np.where(np.isnan(worst), groups.lowest(rank), worst)
    own = worst[groups.of]
    sets = (rank == own) | np.isnan(own) | refused
    tally = sentences_in(groups, anchors["kind_reasons"], sets, empty=True)
    # the depth of the deepest place stands for all of them: one length is bought for a sector
    other = np.array([" governs." not in word for word in tally.words], dtype=bool)[tally.word]
    group, word, count = tally.group[other], tally.word[other], tally.number[other]
    pieces = tally.words[word] + of_all(count, groups.size[group])
    deep, said = _deepest(anchors, groups, sets & ~refused)
    group, pieces = np.append(group, deep), np.append(pieces, said)
    order = np.argsort(group, kind="stable")
    return pd.DataFrame(
        {
            "kind_advised": ADVICE.word(pd.Series(worst), UNKNOWN),
            "spots_refused": pd.array(groups.number(refused), dtype="Int64"),
            "kind_reasons": joined(groups, group[order], pieces[order]),
        }
    )


def _deepest(
    anchors: pd.DataFrame, groups: Groups, rows: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Groups that ask for a depth, and what the deepest of their rows says of it."""
    depth = anchors["embedment_required_mm"].to_numpy(float)
    asked = np.flatnonzero(rows & ~np.isnan(depth))
    order = asked[np.lexsort((depth[asked], groups.of[asked]))]
    last = order[np.diff(groups.of[order], append=-1) != 0]
    texts = anchors["kind_reasons"].iloc[last]
    said = ["Deepest place: " + text.split(SEPARATOR)[-1] for text in texts]
    return groups.of[last], np.array(said, dtype=object)
