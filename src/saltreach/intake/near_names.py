"""Near spellings of places that lie near each other: asked about, never merged."""

from __future__ import annotations

import difflib
import re
import shlex
import unicodedata
from collections import Counter
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pandas as pd

from saltreach.intake.names import name_key, shortened
from saltreach.intake.together import earth_m, pairs_within, thinned
from saltreach.vocabulary.tables import rows_of

NEAR_M = 2000.0
"""Names are compared where anchors of both lie within this; judgement."""
NEAR_RATIO = 0.75
"""Letters in common, twice over all letters, of what two names do not share; judgement."""
NEAR_LETTERS = 4
"""Shorter differences say two things more often than they are a slip; judgement."""

_SIDES = frozenset(word for row in rows_of("sides.csv") for word in row["words"].split("; "))
"""Words that tell two places of one name apart, without accents. Common words; no source."""
_SIDE_PREFIX = re.compile(r"^(nord|sud|ost|west|ober|unter|north|south|east)(?=\w{3})")
_ROMAN = re.compile(r"^(?=.)x{0,3}(?:ix|iv|v?i{0,3})$")
_DIGITS = re.compile(r"\d+")
_PARTS = re.compile(r"\d+|[^\W\d_]+")


@lru_cache(maxsize=10_000)
def _words(name: str) -> Counter[str]:
    """Words and numbers of a name, without accents and case."""
    bare = unicodedata.normalize("NFKD", name_key(name))
    parts = _PARTS.findall("".join(c for c in bare if not unicodedata.combining(c)))
    split = (_SIDE_PREFIX.sub(r"\1 ", part).split() for part in parts)
    return Counter(word for part in split for word in part)


def _numbers(name: str) -> list[str]:
    return sorted(_DIGITS.findall(name))


def _tells_apart(word: str) -> bool:
    return len(word) == 1 or word.isdigit() or word in _SIDES or bool(_ROMAN.match(word))


def are_near(first: str, second: str) -> bool:
    """Whether two names may be one, written with a slip.

    Names that differ in a number, a Roman numeral, a single letter or a word for a side are not
    near. Of the others the words they do not share are compared.

    Examples
    --------
    >>> are_near("Rote Bucht", "Rote Buchd"), are_near("Peñón", "Penon")
    (True, True)
    >>> are_near("Sector 1", "Sector 2"), are_near("Rote Bucht", "Rote Bucht Nord")
    (False, False)
    """
    if first.isascii() and second.isascii() and _numbers(first) != _numbers(second):
        return False
    one, other = _words(first), _words(second)
    left, right = one - other, other - one
    if not left and not right:
        return name_key(first) != name_key(second)
    if any(map(_tells_apart, (*left, *right))):
        return False
    # in the order of the names, so that words written together meet those written apart
    left_text, right_text = sorted(
        "".join(w for w in words if w in rest)
        for words, rest in ((list(one.elements()), left), (list(other.elements()), right))
    )
    if min(len(left_text), len(right_text)) < NEAR_LETTERS:
        return False
    return difflib.SequenceMatcher(None, left_text, right_text).ratio() >= NEAR_RATIO


def near_pairs(
    name: pd.Series,
    lon: np.ndarray,
    lat: np.ndarray,
    *,
    within: pd.Series | None = None,
    spelled: pd.Series | None = None,
) -> list[tuple[str, str, float, str]]:
    """Names that may be one, of places near each other.

    Parameters
    ----------
    name : Series of str
        Name of each anchor's place.
    lon, lat : ndarray
        Degrees, known.
    within : Series of str, optional
        Only names of the same one of these are compared.
    spelled : Series of str, optional
        How each name is written in the file, where that differs.

    Returns
    -------
    list of (name, other, distance in metres, within)
        The name with more anchors first; nearest pairs first.
    """
    outer = pd.Series("", index=name.index) if within is None else within
    inside, outers = pd.factorize(outer)
    named, names = pd.factorize(name)
    place, first = pd.factorize(inside.astype(np.int64) * max(len(names), 1) + named)
    if len(first) < 2:
        return []
    told = _told(name if spelled is None else spelled, named, len(names))
    xyz = earth_m(lon, lat)
    found = []
    size = np.bincount(place, minlength=len(first))
    ordered, ends = xyz[np.argsort(place, kind="stable")], np.cumsum(size)
    for a, b in _neighbours(xyz, place, inside):
        one, other = first[a] % len(names), first[b] % len(names)
        if not are_near(told[one], told[other]):
            continue
        apart = _least_distance(*(ordered[ends[p] - size[p] : ends[p]] for p in (a, b)))
        if apart <= NEAR_M:
            pair = sorted([(-size[a], names[one]), (-size[b], names[other])])
            found.append((apart, pair[0][1], pair[1][1], outers[first[a] // len(names)]))
    return [(one, other, apart, around) for apart, one, other, around in sorted(found)]


def _told(text: pd.Series, code: np.ndarray, count: int) -> list[str]:
    """The last text of each code."""
    last = np.zeros(count, dtype=np.int64)
    last[code] = np.arange(len(code))
    return text.iloc[last].tolist()


def _neighbours(xyz: np.ndarray, place: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Pairs of places with anchors near each other, (n, 2)."""
    step_m = NEAR_M / 4
    some, _ = thinned(xyz, place, step_m)
    slack_m = 2 * np.sqrt(3) * step_m  # anchors lie anywhere in their cubes
    kept, _, pairs = pairs_within(xyz[some], inside[some], NEAR_M + slack_m, owner=place[some])
    both = np.sort(place[some[kept]][pairs], axis=1)
    return np.unique(both[both[:, 0] != both[:, 1]], axis=0)


def _least_distance(one: np.ndarray, other: np.ndarray) -> float:
    from scipy.spatial import cKDTree

    return float(cKDTree(one).query(other)[0].min())


def questions(
    crag: pd.Series, base: pd.Series, sector: pd.Series, lon: np.ndarray, lat: np.ndarray
) -> list[str]:
    """What is asked of near spellings of crags, and of sectors within a crag.

    Parameters
    ----------
    crag, sector : Series of str
        Names of placed anchors.
    base : Series of str
        The crag as the file names it, where places of one name were told apart.
    lon, lat : ndarray
        Degrees.
    """
    code, crags_of = pd.factorize(crag)
    name_of = dict(zip(crags_of, _told(base, code, len(crags_of)), strict=True))

    def crags(one: str, other: str, apart: str, _: str) -> str:
        answer = shlex.quote(f"{name_of[other]}={name_of[one]}")
        how = (
            "write them alike in the register"
            if "=" in name_of[one] + name_of[other]
            else f"give --same-crag {answer}"
        )
        return f"are {one!r} and {other!r} ({apart}) one crag? If so {how}"

    def sectors(one: str, other: str, apart: str, around: str) -> str:
        return (
            f"are {one!r} and {other!r} ({apart}) one sector of {around!r}? If so write them "
            "alike in the register"
        )

    def said(pairs: list[tuple[str, str, float, str]], ask: Callable[..., str]) -> list[str]:
        return shortened(
            [ask(a, b, f"{d / 1000:.1f} km apart", around) for a, b, d, around in pairs],
            "near spellings",
        )

    return [
        *said(near_pairs(crag, lon, lat, spelled=base), crags),
        *said(near_pairs(sector, lon, lat, within=crag), sectors),
    ]
