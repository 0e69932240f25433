"""Words to numbers and back; distinct rows; modules on first use."""

import pkgutil
from importlib import import_module

import numpy as np
import pytest

import saltreach.science.air
import saltreach.science.metal
import saltreach.science.rock
import saltreach.science.time
from saltreach.errors import OptionError
from saltreach.science import lazy, rows
from saltreach.science.lookup import classify, lookup
from saltreach.vocabulary.words import Scale

TABLE = {"dry": 15.0, "wet": 4.0}


def test_words_have_the_numbers_of_their_table_in_any_shape():
    words = np.array([["wet", "dry"], ["", "wet"], [None, "unknown"]], dtype=object)
    found = lookup(words, TABLE, "water", missing=-1.0)
    assert found.tolist() == [[4.0, 15.0], [-1.0, 4.0], [-1.0, -1.0]]
    assert np.isnan(lookup("", TABLE, "water"))
    assert lookup(["high", "low", "high"], Scale(("low", "high")), "band").tolist() == [1, 0, 1]


def test_another_word_is_named_with_those_that_are_known():
    with pytest.raises(OptionError, match=r"water 'damp' is not known.*\['dry', 'wet'\]"):
        lookup(["dry", "damp"], TABLE, "water")


def test_a_value_on_a_limit_belongs_below_it():
    scale = Scale(("low", "middle", "high"))
    found = classify([[0.0, 1.0], [1.1, 2.0], [9.0, np.nan]], (1, 2), scale, unknown="?")
    assert found.tolist() == [["low", "low"], ["middle", "middle"], ["high", "?"]]


COLUMNS = [
    np.array([1.0, 2.0, 1.0, 1.0, np.nan, 2.0, np.nan]),
    np.array([5.0, 5.0, 6.0, 5.0, 5.0, 5.0, 5.0]),
    np.array([0.0, 3.0, 0.0, 0.0, 7.0, 4.0, 7.0]),
]


def test_distinct_rows_of_a_table():
    first, inverse = rows.distinct_rows(COLUMNS)
    assert first.tolist() == [0, 1, 2, 4, 5]
    assert inverse.tolist() == [0, 1, 2, 0, 3, 4, 3]
    first, inverse = rows.distinct_rows([np.array([0.0, -0.0, 1.0]), np.array([True] * 3)])
    assert (first.tolist(), inverse.tolist()) == ([0, 2], [0, 0, 1])
    assert [len(v) for v in rows.distinct_rows([np.empty(0)])] == [0, 0]


def test_rows_whose_mixture_is_one_are_told_apart(monkeypatch):
    monkeypatch.setattr(rows, "_mixed", lambda bits: np.zeros(len(bits[0]), np.uint64))
    first, inverse = rows.distinct_rows(COLUMNS)
    assert first.tolist() == [0, 1, 2, 4, 5]
    assert inverse.tolist() == [0, 1, 2, 0, 3, 4, 3]


def test_rows_that_share_a_sum_of_codes_are_distinct():
    grid = [v.ravel() for v in np.meshgrid(np.arange(3.0), np.arange(4.0), np.arange(5.0))]
    first, inverse = rows.distinct_rows(grid)
    assert len(first) == len(grid[0]) == len(set(inverse.tolist()))


def test_work_in_chunks_sees_each_distinct_row_once(monkeypatch):
    monkeypatch.setattr(rows, "_CHUNK_ROWS", 2)
    calls = []

    def work(a, b):
        calls.append(list(zip(a.tolist(), b.tolist(), strict=True)))
        return a + 10 * b, a - b

    inputs = {"a": [[1.0], [2.0], [1.0]], "b": np.array([0.0, 3.0])}
    total, less = rows.in_chunks(work, inputs)
    assert total.tolist() == [[1.0, 31.0], [2.0, 32.0], [1.0, 31.0]]
    assert less.tolist() == [[1.0, -2.0], [2.0, -1.0], [1.0, -2.0]]
    assert [len(c) for c in calls] == [2, 2]
    assert sorted(sum(calls, [])) == [(1.0, 0.0), (1.0, 3.0), (2.0, 0.0), (2.0, 3.0)]
    assert rows.in_chunks(lambda a: (a**2,), {"a": [3.0, 1.0]})[0].tolist() == [9.0, 1.0]
    none = rows.in_chunks(work, {"a": np.empty((0, 2)), "b": 1.0})
    assert [v.shape for v in none] == [(0, 2), (0, 2)]


GROUPS = [saltreach.science.air, saltreach.science.metal, saltreach.science.rock,
          saltreach.science.time]  # fmt: skip


@pytest.mark.parametrize("group", GROUPS, ids=lambda g: g.__name__.rpartition(".")[2])
def test_a_group_lists_its_modules_and_loads_them(group):
    names = [m.name for m in pkgutil.iter_modules(group.__path__)]
    assert sorted(group.__all__) == sorted(names)
    load = lazy.modules_of(group.__name__, group.__all__)
    assert load(names[0]) is import_module(f"{group.__name__}.{names[0]}")
    with pytest.raises(AttributeError, match="no attribute 'elsewhere'"):
        load("elsewhere")
    assert not hasattr(group, "elsewhere")
