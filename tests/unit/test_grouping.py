"""Groups found once: counts, sentences and quantiles against a plain loop, and by parts."""

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltreach.assessment.corrosivity import probabilities_json
from saltreach.assessment.grouping import (
    counts_text,
    groups_of,
    joined,
    most_common,
    of_all,
    quantiles,
    sentences_in,
    texts_in_order,
)
from saltreach.assessment.priority import rank_of_sector, sector_sums
from saltreach.assessment.reasons import Reasons
from saltreach.assessment.sectors import aggregate
from saltreach.assessment.state import failure_curves
from saltreach.vocabulary.words import BANDS

KEYS = ["crag", "sector"]
WORDS = st.sampled_from(["", "A.", "B.", "A. | B.", "B. | A. | B.", "Z", "é | A."])
ROWS = st.lists(st.tuples(st.sampled_from("pqr"), st.sampled_from("st"), WORDS), min_size=1)


def frame(rows):
    return pd.DataFrame(rows, columns=[*KEYS, "said"]).astype("str")


@settings(max_examples=60)
@given(ROWS)
def test_groups_words_and_sentences_are_those_of_a_plain_loop(rows):
    table = frame(rows)
    groups = groups_of(table, KEYS)
    names = sorted({row[:2] for row in rows})
    assert [*groups.names.itertuples(index=False, name=None)] == names
    assert [names[at] for at in groups.of] == [row[:2] for row in rows]
    entered = {name: [r[2] for r in rows if r[:2] == name] for name in names}
    counted, once = [], []
    for name in names:
        own = entered[name]
        best = sorted(set(own), key=lambda word: (-own.count(word), word))
        counted.append("; ".join(f"{word} x {own.count(word)}" for word in best))
        first = dict.fromkeys(s for text in own for s in text.split(" | ") if s)
        once.append(" | ".join(first))
    assert counts_text(groups, table["said"]).tolist() == counted
    assert texts_in_order(groups, table["said"], np.ones(len(rows), bool)).tolist() == once
    tally = sentences_in(groups, table["said"], empty=True)
    found = {
        (names[g], tally.words[w]): n
        for g, w, n in zip(tally.group, tally.word, tally.number, strict=True)
    }
    said = [(row[:2], s) for row in rows for s in row[2].split(" | ")]
    assert found == {pair: said.count(pair) for pair in said}


NUMBERS = st.lists(
    st.tuples(st.integers(0, 3), st.floats(0, 1) | st.just(np.nan)), min_size=1, max_size=40
)


@settings(max_examples=60)
@given(NUMBERS)
def test_a_quantile_of_groups_is_that_of_each_alone(rows):
    groups = groups_of(pd.DataFrame({"crag": [g for g, _ in rows]}), ["crag"])
    values = np.array([v for _, v in rows])
    found = quantiles(groups, np.column_stack([values, values[::-1]]), 0.8)
    for at in range(len(groups)):
        for column, own in zip(found[at], (values, values[::-1]), strict=True):
            known = own[(groups.of == at) & ~np.isnan(own)]
            wanted = np.quantile(known, 0.8) if len(known) else np.nan
            assert column == pytest.approx(wanted, nan_ok=True)
    highest, lowest = groups.highest(values), groups.lowest(values)
    for at in range(len(groups)):
        known = values[(groups.of == at) & ~np.isnan(values)]
        assert (highest[at], lowest[at]) == (
            (known.max(), known.min()) if len(known) else pytest.approx((np.nan,) * 2, nan_ok=True)
        )


@pytest.mark.pinned("worked", answers=8)
def test_small_groups_by_hand():
    table = pd.DataFrame({"crag": ["b", "a", "b", None, "b"], "sector": ["x", "x", "y", "x", "y"]})
    groups = groups_of(table, KEYS)
    assert groups.of.tolist() == [1, 0, 2, 3, 2]
    assert groups.size.tolist() == [1, 1, 2, 1]
    assert groups.within(["crag"]).of.tolist() == [1, 0, 1, 2, 1]
    words = pd.Series(["316", "", "316 x 2", "", "316"], dtype="str")
    by_crag = groups.within(["crag"])
    assert most_common(by_crag, words).tolist() == ["", "316", ""]
    assert of_all(np.array([1, 2]), np.array([3, 2])).tolist() == [" (1 of 3 anchors)", ""]
    assert joined(groups, np.array([1, 1, 3]), np.array(["p", "q", "r"])).tolist() == [
        "", "p | q", "", "r",
    ]  # fmt: skip
    curve = np.array([[0.1], [0.00001], [1.0], [np.nan], [0.5]])
    assert failure_curves(curve, groups) == ["[1e-05]", "[0.1]", "[0.9]", ""]


def test_probabilities_read_as_each_number_alone():
    rng = np.random.default_rng(1)
    values = np.concatenate(
        [rng.random((500, 2)), [[0.0005, 0.0015], [0.0025, 0.1235], [-0.0, 0.0], [1.0, 1e-9]],
         rng.integers(0, 2001, (500, 2)) / 2000.0, [[np.nan, 0.5], [-1e-9, 1.5]]]
    )  # fmt: skip
    table = pd.DataFrame(values, columns=["probability_C1", "probability_C2"])
    found = probabilities_json(table, tuple(table))
    for text, (a, b) in zip(found, values, strict=True):
        assert text == ("" if np.isnan(a) else f'{{"C1": {a:.3f}, "C2": {b:.3f}}}')
    assert json.loads(found.iloc[0]).keys() == {"C1", "C2"}


@pytest.mark.pinned("worked", answers=4)
def test_chances_in_the_middle_of_two_thousandths_are_written_each_by_itself():
    """Written in binary 0.0005 is a little more and 0.0055 a little less, so that they read 0.001
    and 0.005; counted in thousandths both lie in the middle, and the even ones beside are 0 and 6:
    what 0.0004 and 0.0061 read as."""
    table = pd.DataFrame({"probability_C1": [0.0004, 0.0005, 0.0061, 0.0055]})
    said = probabilities_json(table, tuple(table)).tolist()
    assert said == [f'{{"C1": {text}}}' for text in ("0.000", "0.001", "0.006", "0.005")]


def test_reasons_gather_in_order_for_each_row():
    reasons = Reasons(pd.Index([7, 5, 9]))
    reasons.add([True, True, False], "A.")
    reasons.add([False, True, True], np.array(["x", "B.", "C."], object))
    reasons.add(True, "D.")
    reasons.add([False] * 3, "E.")
    text = reasons.text()
    assert text.tolist() == ["A. | D.", "A. | B. | D.", "C. | D."]
    assert text.index.tolist() == [7, 5, 9]


def test_ranks_and_words_keep_index_and_name():
    words = pd.Series(["high", "", None, "odd", "low"], index=[4, 3, 2, 1, 0], name="band")
    ranks = BANDS.rank(words)
    pd.testing.assert_series_equal(
        ranks, pd.Series([3.0, *[np.nan] * 3, 0.0], index=[4, 3, 2, 1, 0], name="band")
    )
    assert BANDS.rank(words.astype("category")).equals(ranks)
    assert BANDS.word(ranks).tolist() == ["high", "", "", "", "low"]
    assert BANDS.word(ranks).dtype == object


def test_parts_of_whole_crags_give_the_same_rows(assessed_demo):
    """Bit for bit: whoever assesses a region by parts gets the same tables."""
    table = pd.DataFrame(assessed_demo.working)
    anchors = pd.DataFrame(assessed_demo.flat.anchors)
    extra = [c for c in table if c not in anchors]
    anchors = anchors.join(table[extra])
    crags = sorted(anchors["crag"].unique())
    parts = [anchors[anchors["crag"].isin(crags[a::3])] for a in range(3)]
    for by in (KEYS, ["crag"]):
        whole = aggregate(anchors, by)
        again = pd.concat([aggregate(part, by) for part in parts]).sort_values(by)
        pd.testing.assert_frame_equal(whole, again.reset_index(drop=True), check_exact=True)
    sums = pd.concat([sector_sums(part) for part in parts])
    pd.testing.assert_frame_equal(
        sector_sums(anchors), sums.sort_values(KEYS, ignore_index=True), check_exact=True
    )
    sectors = assessed_demo.flat.sectors
    ranks = pd.concat(
        [rank_of_sector(groups_of(p, KEYS), sectors).set_axis(p.index) for p in parts]
    )
    assert ranks.sort_index().equals(anchors["priority_rank"].sort_index())
