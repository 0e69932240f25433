"""A register in parts: who is in which, and that neither their size nor their order shows.

Judgement and own rules; the same answers in one go are the reference.
"""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from helpers.decided import TODAY
from saltreach.assessment.assess import assess
from saltreach.assessment.parts import parts_of, shrunk, together
from saltreach.errors import OptionError
from saltreach.intake import read_register
from saltreach.intake.options import Options
from saltreach.layers.embedded import embedded_file

CRAGS = pd.DataFrame(
    {
        "crag": ["b", "a", "b", "c", "a", "d", "b"],
        "lon": [10.0, 10.01, 10.0, -70.0, 10.01, -70.01, 10.0],
        "lat": [50.0, 50.0, 50.0, -20.0, 50.0, -20.0, 50.0],
    }
)


def test_a_part_holds_whole_crags_and_near_ones_share_it():
    parts = [set(rows.tolist()) for rows in parts_of(CRAGS, 2)]
    assert sorted(parts, key=min) == [{0, 2, 6}, {1, 4}, {3, 5}]
    assert all((np.diff(rows) > 0).all() for rows in parts_of(CRAGS, 2))


def test_a_crag_larger_than_a_part_stays_whole():
    parts = [set(rows.tolist()) for rows in parts_of(CRAGS, 1)]
    assert sorted(parts, key=min) == [{0, 2, 6}, {1, 4}, {3}, {5}]


def test_one_part_is_the_register():
    (rows,) = parts_of(CRAGS, 7)
    assert rows.tolist() == list(range(7))


def test_what_is_put_together_stands_in_the_order_of_the_register():
    table = pd.DataFrame(
        {
            "text": pd.Series(["x", "y", "x", None, "z", "", "y"], dtype="str"),
            "number": [0.0, 1.0, np.nan, 3.0, 4.0, 5.0, 6.0],
            "whole": pd.array([0, 1, None, 3, 4, 5, 6], dtype="Int64"),
        }
    )
    rows = parts_of(CRAGS, 2)
    parts = [shrunk(table.iloc[at].reset_index(drop=True)) for at in rows]
    assert len(parts) > 1
    assert_frame_equal(pd.DataFrame(together(parts, rows)), table)


@pytest.fixture(scope="module")
def register():
    return read_register(embedded_file("demo/anchors.csv"), today=TODAY)


def tables_of(result):
    """Those there are, by name."""
    found = {f.name: getattr(result.flat, f.name) for f in dataclasses.fields(result.flat)}
    return {name: table for name, table in found.items() if table is not None}


@pytest.mark.parametrize("part_rows", [1, 60, 200])
def test_results_do_not_depend_on_the_size_of_the_parts(register, assessed_demo, part_rows):
    options = Options(today=TODAY)
    parts = assess(register, options, part_rows=part_rows, keep_working=True)
    assert tables_of(parts).keys() == tables_of(assessed_demo).keys()
    for name, table in tables_of(assessed_demo).items():
        assert_frame_equal(tables_of(parts)[name], table, check_exact=True, obj=name)
    assert_frame_equal(parts.working, assessed_demo.working, check_exact=True, obj="working")
    record = {**parts.provenance, "time": ""}
    assert record == {**assessed_demo.provenance, "time": ""}
    assert assess(register, options, part_rows=part_rows).working is None


def test_a_cluster_that_does_not_answer_is_said_of_a_small_register_too(register):
    with pytest.raises(OptionError, match="nonsense://x does not answer"):
        assess(register, Options(today=TODAY), scheduler="nonsense://x")
