"""What holds for every name and for every order of the rows."""

import unicodedata

import numpy as np
import pandas as pd
from hypothesis import example, given
from hypothesis import strategies as st

from saltreach.intake import read_register
from saltreach.intake.names import clean_name, keys_of, merged, name_key, safe_text
from saltreach.intake.near_names import are_near

TEXT = st.text(st.characters(), max_size=12)
SPELLINGS = st.sampled_from(
    ["Rote Bucht", "rote bucht", "ROTE  BUCHT", "Rote\u00a0Bucht", "Ｒｏｔｅ Ｂｕｃｈｔ",
     "Rote Buchd", "Blau\u0308", "Blaü", "BLAÜ", "Sector 1", "Sector 2"]
)  # fmt: skip
PLACES = st.sampled_from([(5.9, 43.1), (5.91, 43.1), (-5.9, 43.1), (9.9, 43.1), (43.1, 5.9)])
ROWS = st.lists(st.tuples(SPELLINGS, st.sampled_from("NnS"), PLACES), min_size=1, max_size=12)


@example("\u0345\u03b1\u0323 \u200d\u1e9e")
@example("\u0130\u00a8\ufb03")
@given(TEXT)
def test_tidying_and_comparing_are_idempotent(text):
    for function in (clean_name, safe_text, name_key):
        assert function(function(text)) == function(text)
    assert name_key(clean_name(text)) == name_key(text)


@given(TEXT)
def test_a_clean_name_is_one_line_that_any_file_holds(text):
    clean = clean_name(text)
    clean.encode("utf-8")
    assert clean == clean.strip() and "  " not in clean
    assert not {unicodedata.category(c) for c in clean} & {"Cc", "Cs", "Zl", "Zp"}
    assert unicodedata.is_normalized("NFC", clean)


@given(TEXT, TEXT)
def test_near_is_the_same_both_ways_and_never_one(one, other):
    assert are_near(one, other) == are_near(other, one)
    assert not are_near(one, one)


@given(ROWS)
def test_merging_twice_is_merging_once(rows):
    crag, sector, _ = (pd.Series(list(each), dtype="str").map(str) for each in
                       zip(*[(c, s, "") for c, s, _ in rows], strict=True))  # fmt: skip
    once = merged(crag.map(clean_name), sector)
    again = merged(once[0], once[1])
    assert again[0].tolist() == once[0].tolist() and again[1].tolist() == once[1].tolist()
    assert again[2] == []


def read(rows):
    frame = pd.DataFrame(
        [(name, crag, sector, *place) for name, (crag, sector, place) in rows],
        columns=["anchor_id", "crag", "sector", "lon", "lat"],
    )
    return frame, read_register(frame)


@given(ROWS, st.integers(0, 2**32 - 1))
def test_the_order_of_rows_changes_no_group_and_no_refusal(rows, seed):
    """But for the spelling that is shown."""
    named = [(f"a{i:02}", row) for i, row in enumerate(rows)]
    order = np.random.default_rng(seed).permutation(len(named))
    seen = []
    for each in (named, [named[i] for i in order]):
        frame, register = read(each)
        anchors = register.anchors
        refused = frame["anchor_id"].iloc[register.rejected["row"] - 1].tolist()
        groups = dict(zip(anchors["anchor_id"], zip(keys_of(anchors["crag"]),
                      keys_of(anchors["sector"]), strict=True), strict=True))  # fmt: skip
        seen.append((groups, sorted(refused)))
    assert seen[0] == seen[1]


@given(ROWS)
def test_good_rows_read_again_keep_their_crags(rows):
    _, register = read([(f"a{i:02}", row) for i, row in enumerate(rows)])
    columns = ["anchor_id", "crag", "sector", "lon", "lat"]
    again = read_register(pd.DataFrame(register.anchors[columns]))
    assert again.rejected.empty
    assert again.anchors["crag"].tolist() == register.anchors["crag"].tolist()
