"""What the words of a register or a map's legend mean, and which of the two is used.

A word is read by the user's own mapping first (CSV with columns `code` and `lithology`), then by
the words and GLiM codes of `vocabulary/lithologies.csv`. What neither knows stays unknown and is
listed. `rock_families.csv` says which wider classes a rock may also be called by, so that
"limestone" against "carbonate sedimentary" is no disagreement.
"""

from __future__ import annotations

import csv
import functools
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import LayerError
from saltreach.vocabulary.rocks import lithologies, lithology_of
from saltreach.vocabulary.words import UNKNOWN

MAPPING_COLUMNS = ("code", "lithology")


def _key(text: object) -> str:
    """How codes compare: case, blanks and a trailing .0 do not matter."""
    plain = " ".join(str(text).casefold().split())
    try:
        return f"{float(plain):g}"
    except ValueError:
        return plain


def read_rock_mapping(path: str | Path) -> dict[str, str]:
    """Read the user's mapping of legend entries to lithologies.

    Parameters
    ----------
    path : path
        CSV (UTF-8) with the columns of `MAPPING_COLUMNS`: an entry of the map's legend, and a
        name of the lithology table or any word it knows; `unknown` is allowed.

    Returns
    -------
    dict
        Lithology by legend entry, entries in the form they compare by.

    Raises
    ------
    LayerError
        The file cannot be read, a column is missing, a lithology is not known, or an entry
        stands for two; the message names file, row, value and fix.
    """
    file = Path(path)
    try:
        with file.open(encoding="utf-8-sig", newline="") as handle:
            reader = csv.DictReader(handle)
            missing = [c for c in MAPPING_COLUMNS if c not in (reader.fieldnames or ())]
            rows = [] if missing else list(enumerate(reader, start=2))
    except (OSError, UnicodeDecodeError) as error:
        raise LayerError(f"rock mapping {file}: cannot be read ({error}); give a CSV") from error
    if missing:
        raise LayerError(
            f"rock mapping {file.name}: columns {', '.join(missing)} are missing; give "
            f"{' and '.join(MAPPING_COLUMNS)}, separated by a comma"
        )
    table: dict[str, str] = {}
    for line, row in rows:
        code, word = ((row[name] or "").strip() for name in MAPPING_COLUMNS)
        if not code:
            continue
        name = _lithology_named(word)
        if name == UNKNOWN and word.casefold() != UNKNOWN:
            raise LayerError(
                f"rock mapping {file.name}, row {line}, column lithology: {word!r} names no rock; "
                f"use one of {', '.join(lithologies())}"
            )
        if table.setdefault(_key(code), name) != name:
            raise LayerError(
                f"rock mapping {file.name}, row {line}, column code: {code!r} stands for "
                f"{table[_key(code)]!r} already; keep one row per code"
            )
    return table


def _lithology_named(word: str) -> str:
    return word if word in lithologies() else str(lithology_of([word])[0])


def mapped_lithology(legend: Any, mapping: Mapping[str, str]) -> np.ndarray:
    """Lithology of each legend entry: the user's mapping first, then the table's words.

    Parameters
    ----------
    legend : array_like of str
        Legend entries, codes or rock names.
    mapping : mapping
        From `read_rock_mapping`; may be empty.

    Returns
    -------
    numpy.ndarray of str
        Names of the lithology table, or `unknown`.

    Examples
    --------
    >>> mapped_lithology(["7.0", "Calizas"], {"7": "granite"}).tolist()
    ['granite', 'limestone']
    """
    texts = pd.Series(np.asarray(legend, dtype=object)).fillna("").astype("str")
    distinct = texts.unique()
    names = dict(zip(distinct, lithology_of(distinct), strict=True)) if len(distinct) else {}
    names |= {text: mapping[_key(text)] for text in distinct if _key(text) in mapping}
    return texts.map(names).to_numpy(object)


@functools.lru_cache(maxsize=1)
def rock_families() -> Mapping[str, frozenset[str]]:
    """Wider classes each rock may also be called by, from `rock_families.csv`."""
    file = Path(__file__).with_name("rock_families.csv")
    with file.open(encoding="utf-8", newline="") as handle:
        return {
            row["name"]: frozenset(row["families"].split(";")) for row in csv.DictReader(handle)
        }


def same_rock(first: Any, second: Any) -> np.ndarray:
    """Tell whether two names may mean one rock: equal, or one the wider class of the other.

    Parameters
    ----------
    first, second : array_like of str
        Names of the lithology table.

    Returns
    -------
    numpy.ndarray of bool
        True also where either is unknown: nothing contradicts it.

    Examples
    --------
    >>> same_rock(["limestone", "limestone"], ["carbonate sedimentary", "granite"]).tolist()
    [True, False]
    """
    wider = rock_families()
    a, b = (pd.Series(np.asarray(v, dtype=object)).astype("str") for v in (first, second))
    pairs = pd.MultiIndex.from_arrays([a, b])
    same = {
        (x, y): x == y or UNKNOWN in (x, y) or x in wider.get(y, ()) or y in wider.get(x, ())
        for x, y in pairs.unique()
    }
    return np.asarray(pairs.map(same), dtype=bool)
