"""The list of columns and the lists of words: complete, without contradiction, written once."""

import ast
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.outputs.map.texts import LANGUAGES, catalogue
from saltreach.vocabulary import words
from saltreach.vocabulary.columns import ANCHORS_BY_NAME, COLUMNS, SECTORS_BY_NAME, columns_of
from saltreach.vocabulary.words import BANDS, Scale

SOURCE = Path(__file__).parents[2] / "src" / "saltreach"
KINDS = {
    "text", "number", "integer", "choice", "several", "date", "day", "sentences", "probabilities",
    "curve", "days", "season day", "time", "weekdays", "words", "skills", "code", "lithology",
}  # fmt: skip
RULES = {
    "", "key", "own", "median", "min", "max", "worst", "shared", "first", "most common", "counts",
    "number", "texts",
}  # fmt: skip


def test_a_name_stands_once_in_a_table():
    count = Counter((c.name, table) for c in COLUMNS for table in c.tables)
    assert not [name for name, n in count.items() if n > 1]


@pytest.mark.parametrize("column", COLUMNS, ids=lambda c: f"{c.tables[0]}.{c.name}")
def test_a_column_says_what_it_is(column):
    assert column.kind in KINDS
    assert len(column.meaning.split()) > 1 or column.meaning.startswith("WGS")
    assert bool(column.choices) == (column.kind in ("choice", "several", "probabilities"))
    assert column.sector.split(" of ")[0] in RULES
    if " of " in column.sector:
        assert column.sector.split(" of ")[1] in ANCHORS_BY_NAME
    if column.sector in ("median", "min", "max"):
        assert column.kind in ("number", "integer")
    if "card" in column.shown:
        assert "map" in column.shown


UNITS = {
    "_m": "m", "_mm": "mm", "_km2": "km²", "_c": "°C", "_pct": "%", "_mm_y": "mm/y", "_m_s": "m/s",
    "_um_y": "µm/y", "_mg_m2_d": "mg/(m²·d)", "_mpa": "MPa", "_kn": "kN", "_deg": "degrees",
    "_y": "y", "_h_y": "h/y", "_months": "months", "_g_kg": "g/kg", "_ug_m3": "µg/m³",
    "_hours": "h", "_ml": "ml", "_days": "days", "_nm": "N·m", "_s": "s", "_min": "min",
    "_mg_m2": "mg/m²", "_um": "µm",
}  # fmt: skip


@pytest.mark.parametrize("column", COLUMNS, ids=lambda c: f"{c.tables[0]}.{c.name}")
def test_the_unit_in_the_name_is_the_unit(column):
    name = column.name
    for end in ("_p10", "_p90", "_p05", "_sd", "_used"):
        name = name.removesuffix(end)
    name = name.replace("_sd_", "_")
    ends = [end for end in UNITS if name.endswith(end)]
    if column.kind in ("number", "integer") and ends:
        assert column.unit == UNITS[max(ends, key=len)]


def test_columns_that_share_a_name_share_the_unit():
    units = {}
    for column in COLUMNS:
        assert units.setdefault(column.name, column.unit) == column.unit


def test_what_the_card_shows_has_a_label_in_every_language():
    figures = [*columns_of("sectors", shown="card")]
    for language in LANGUAGES:
        missing = [name for name in figures if f"figure_{name}" not in catalogue(language)]
        assert not missing, language


def test_no_module_lists_columns_again():
    """A literal list of five names or more that are all columns of one table.

    Keys of a dictionary are where columns are computed; headers in other words are
    `synonyms.py`.
    """
    tables = {table: set(columns_of(table)) for c in COLUMNS for table in c.tables}
    found = []
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Tuple | ast.List | ast.Set):
                continue
            texts = [e.value for e in node.elts if isinstance(e, ast.Constant)]
            if len(texts) >= 5 and any(set(texts) <= names for names in tables.values()):
                found.append((path.name, node.lineno, texts))
    assert not found


WORDS = {
    name: value
    for name, value in vars(words).items()
    if isinstance(value, tuple) and all(isinstance(v, str) for v in value)
}


def test_no_module_lists_words_again():
    """A literal list that equals, in any order, a list of words of three or more."""
    lists = {frozenset(value): name for name, value in WORDS.items() if len(value) > 2}
    found = []
    for path in SOURCE.rglob("*.py"):
        if path.name == "words.py":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Tuple | ast.List | ast.Set):
                texts = [e.value for e in node.elts if isinstance(e, ast.Constant)]
                if len(texts) == len(node.elts) and frozenset(texts) in lists:
                    found.append((path.name, node.lineno, lists[frozenset(texts)]))
    assert not found


@pytest.mark.parametrize("name", [n for n, v in WORDS.items() if isinstance(v, Scale)])
def test_a_scale_ranks_its_words_and_names_its_ranks(name):
    scale = WORDS[name]
    given = pd.Series([*scale, "", "no such word", None], index=range(5, len(scale) + 8))
    rank = scale.rank(given)
    assert rank.iloc[: len(scale)].tolist() == list(range(len(scale)))
    assert rank.iloc[len(scale) :].isna().all()
    assert (rank.index == given.index).all()
    assert scale.word(rank).tolist() == [*scale, "", "", ""]
    assert scale.word(rank.to_numpy(), "?").tolist() == [*scale, "?", "?", "?"]
    assert list(pd.Series(list(scale)[::-1]).astype(scale.dtype()).sort_values()) == list(scale)


def test_ranks_keep_the_shape_of_arrays():
    assert BANDS.rank(np.array([["low", "severe"], ["", "high"]], object)).shape == (2, 2)
    assert BANDS.rank("high") == 3.0


def test_a_sector_carries_every_column_of_the_map_and_the_card():
    shown = [c for c in COLUMNS if c.shown & {"map", "card"}]
    assert {c.name for c in shown} <= set(SECTORS_BY_NAME)
