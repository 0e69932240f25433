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

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from saltreach.intake.cells import code
from saltreach.vocabulary.rocks import lithology_of
from saltreach.vocabulary.words import UNKNOWN


def mapped_lithology(legend: ArrayLike, mapping: Mapping[str, str]) -> np.ndarray:
    """Lithology of each legend entry: the user's mapping first, then the table's words.

    Parameters
    ----------
    legend : array_like of str
        Legend entries, codes or rock names.
    mapping : mapping
        From `intake.rock_mapping.read_rock_mapping`; may be empty.

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
    names |= {text: mapping[code(text)] for text in distinct if code(text) in mapping}
    return texts.map(names).to_numpy(object)


@functools.lru_cache(maxsize=1)
def rock_families() -> Mapping[str, frozenset[str]]:
    """Wider classes each rock may also be called by, from `rock_families.csv`."""
    file = Path(__file__).with_name("rock_families.csv")
    with file.open(encoding="utf-8", newline="") as handle:
        return {
            row["name"]: frozenset(row["families"].split(";")) for row in csv.DictReader(handle)
        }


def same_rock(first: ArrayLike, second: ArrayLike) -> np.ndarray:
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
