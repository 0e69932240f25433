"""Registers as volunteers keep them: what is read is what they mean, and every guess is said.

README.md in this folder says what the files are; the truth beside each was worked out by hand.
"""

import datetime as dt
import re
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach import read_register
from saltreach.errors import RegisterError
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.words import UNKNOWN

HERE = Path(__file__).parent
TODAY = dt.date(2026, 11, 25)
POSITION = ("lon", "lat")
WITHIN_DEG = 1e-6
"""The truth has six places."""
NAMES = sorted(path.name.removesuffix(".expect.toml") for path in HERE.glob("*.expect.toml"))


def expected(name):
    return tomllib.loads((HERE / f"{name}.expect.toml").read_text(encoding="utf-8"))


def truth_of(name):
    path = HERE / f"{name}.truth.csv"
    return pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8")


def file_of(name):
    (path,) = [p for p in HERE.glob(f"{name}.*") if p.suffixes in ([".csv"], [".xlsx"])]
    return path


def read(name, **options):
    return read_register(file_of(name), today=TODAY, **options)


def holds(text, words):
    """Whether a text holds one of the words that stand between bars, as words of their own."""
    either = (re.escape(word) for word in words.split("|"))
    return re.search(rf"(?<!\w)({'|'.join(either)})(?!\w)", text, re.IGNORECASE) is not None


def lacking(text, wanted):
    return [words for words in wanted if not holds(text, words)]


def as_text(value):
    """A cell of the result as the truth would have it."""
    unknown = value is None or (isinstance(value, float) and np.isnan(value)) or value == UNKNOWN
    return "" if unknown else str(value)


def differences(name, anchors, truth, within_deg):
    """Cells that are not what the file means: row, column, found, meant."""
    found = []
    for column in truth.columns.drop("source_row"):
        kind = REGISTER_BY_NAME[column].kind
        for row, meant, got in zip(
            truth["source_row"], truth[column], anchors[column], strict=True
        ):
            if kind in ("number", "integer"):
                close = np.isclose(
                    got, float(meant or "nan"), equal_nan=True,
                    rtol=0 if column in POSITION else 1e-9,
                    atol=within_deg if column in POSITION else 0,
                )  # fmt: skip
            else:
                close = as_text(got) == meant
            if not close:
                found.append((int(row), column, got, meant))
    return found


@pytest.mark.parametrize("name", NAMES)
def test_a_messy_file_is_read_as_it_is_meant(name):
    wanted, truth = expected(name), truth_of(name)
    try:
        register = read(name, **wanted.get("options", {}))
    except RegisterError as error:
        assert "or_error" in wanted, error
        assert not lacking(str(error), wanted["or_error"])
        return
    refused = sorted(set(register.rejected["row"]))
    assert refused == wanted.get("refused", []), register.rejected.to_string()
    assert register.rows_read == wanted["rows_read"] == len(register.anchors) + len(refused)
    assert register.anchors["source_row"].tolist() == truth["source_row"].astype(int).tolist()
    within = wanted.get("within_deg", WITHIN_DEG)
    assert not differences(name, register.anchors, truth, within)
    said = "\n".join([*register.notes, *register.doubts[["value", "reason", "fix"]].astype(str)
                      .agg(" ".join, axis=1)])  # fmt: skip
    assert not lacking(said, wanted["said"]), said
    told = " ".join(register.rejected["reason"] + " " + register.rejected["fix"])
    assert not lacking(told, wanted.get("refused_said", [])), told
    doubted = set(zip(register.doubts["row"], register.doubts["column"], strict=True))
    assert {(row, column) for row, column in wanted.get("unknown", [])} <= doubted


@pytest.mark.parametrize("name", [name for name in NAMES if "asked" in expected(name)])
def test_what_can_be_read_in_two_ways_is_asked_for(name):
    """By an error where nothing could be placed, else in the fix of each cell in doubt."""
    try:
        doubts = read(name).doubts
        said = " ".join(doubts["column"] + " " + doubts["fix"])
    except RegisterError as error:
        said = str(error)
    assert not lacking(said, expected(name)["asked"]["words"]), said


@pytest.mark.parametrize("name", [n for n in NAMES if expected(n).get("unknown")])
def test_a_cell_that_would_become_unknown_refuses_its_row_when_strict(name):
    wanted = expected(name)
    register = read(name, strict=True, **wanted.get("options", {}))
    refused = {row for row, _ in wanted["unknown"]} | set(wanted.get("refused", []))
    assert refused <= set(register.rejected["row"])
    assert register.rows_read == len(register.anchors) + register.rejected["row"].nunique()


def test_every_file_has_its_truth_and_every_truth_its_rows():
    assert len(NAMES) >= 60
    for name in NAMES:
        wanted, truth = expected(name), truth_of(name)
        assert file_of(name).stat().st_size > 0
        assert wanted["rows_read"] == len(truth) + len(wanted.get("refused", [])), name
        rows = truth["source_row"].astype(int)
        assert rows.is_monotonic_increasing and rows.is_unique, name
        assert set(truth.columns) - {"source_row"} <= set(REGISTER_BY_NAME), name
        for row, column in wanted.get("unknown", []):
            assert truth.set_index(rows).loc[row, column] == "", (name, row, column)


def test_a_truth_says_the_words_of_the_register():
    for name in NAMES:
        truth = truth_of(name)
        for column in truth.columns.drop("source_row"):
            choices, kind = REGISTER_BY_NAME[column].choices, REGISTER_BY_NAME[column].kind
            given = truth.loc[truth[column] != "", column]
            if choices:
                assert set(given) <= set(choices), (name, column)
            elif kind in ("number", "integer"):
                given.astype(float)
            elif kind == "date":
                assert given.str.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?").all(), (name, column)
