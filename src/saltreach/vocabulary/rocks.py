"""Lithologies: what each is called, its GLiM class, and the range of strength we start from.

The table is `lithologies.csv` beside this module. The sixteen two-letter classes are the first
level of the Global Lithological Map (GLiM): Hartmann and Moosdorf (2012), doi
10.1029/2012GC004370. Strength and density are wide textbook ranges quoted from memory; each row
says what its range leans on.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from saltreach.vocabulary.tables import rows_of
from saltreach.vocabulary.words import UNKNOWN

GLIM_SECOND_LEVEL = frozenset(
    ("ad", "ds", "lo", "la", "or", "mx", "sh", "ss", "am", "gr", "pu", "py", "__")
)
"""Second-level codes of GLiM (Hartmann and Moosdorf 2012, Table A2, from a public copy)."""


class Lithology(NamedTuple):
    """One rock class: its GLiM codes, its wide typical ranges, and its words.

    `ucs_*` is uniaxial compressive strength, MPa; `density_*` t/m3; NaN where the table is empty.
    `status` says how far the range can be trusted and `source` what it leans on.
    """

    name: str
    glim: tuple[str, ...]
    ucs_low_mpa: float
    ucs_high_mpa: float
    density_low_t_m3: float
    density_high_t_m3: float
    status: str
    source: str
    words: tuple[str, ...]


def plain_words(text: object) -> str:
    """Lower case, no accents, single spaces; underscores stay, GLiM codes have them."""
    split = unicodedata.normalize("NFKD", str(text).casefold())
    bare = "".join(c for c in split if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9_]+", " ", bare).strip()


def _lithology(row: Mapping[str, str]) -> Lithology:
    numbers = [float(row[name] or "nan") for name in Lithology._fields[2:6]]
    listed = [row["name"], *(row[name] for name in row if name.startswith("words_"))]
    words = tuple(dict.fromkeys(filter(None, map(plain_words, ";".join(listed).split(";")))))
    own = (row["status"], row["source"], words)
    return Lithology._make((row["name"], tuple(row["glim"].split()), *numbers, *own))


@functools.lru_cache(maxsize=1)
def lithologies() -> Mapping[str, Lithology]:
    """Every lithology by its name, in the order of the table."""
    return {row["name"]: _lithology(row) for row in rows_of("lithologies.csv")}


@functools.lru_cache(maxsize=1)
def _owners() -> tuple[Mapping[str, str], Mapping[str, str], int]:
    """Lithology by word and by GLiM code, and the words of the longest phrase."""
    words = {word: rock.name for rock in lithologies().values() for word in rock.words}
    codes = {code: rock.name for rock in lithologies().values() for code in rock.glim}
    return words, codes, max(len(word.split()) for word in words)


def _match(text: str) -> str:
    words, codes, longest_phrase = _owners()
    plain = plain_words(text)
    tokens = plain.split()
    for start in range(len(tokens)):
        for length in range(min(longest_phrase, len(tokens) - start), 0, -1):
            for candidate in _singulars(tokens[start : start + length]):
                if candidate in words:
                    return words[candidate]
    is_code = re.fullmatch(r"[a-z]{2}|[a-z]{2}[a-z_]{2}|[a-z]{2}[a-z_]{4}", plain)
    if is_code and (len(plain) == 2 or plain[2:4] in GLIM_SECOND_LEVEL):
        return codes.get(plain[:2], UNKNOWN)
    return UNKNOWN


def _singulars(phrase: list[str]) -> tuple[str, ...]:
    """Return the phrase and its singulars: English and Spanish plurals end in s or es."""
    less = {
        cut: " ".join(t[:-cut] if t.endswith("es"[2 - cut :]) and len(t) > 4 else t for t in phrase)
        for cut in (1, 2)
    }
    return (" ".join(phrase), less[1], less[2])


def lithology_of(texts: Any) -> np.ndarray:
    """Name the lithology of each text.

    Parameters
    ----------
    texts : array_like of str
        Rock names in English, Spanish, German, French, Italian or Portuguese, legend
        sentences, or GLiM codes of two, four or six
        letters (`sc`, `scpu`, `ssmx__`); case, accents and plurals do not matter. NaN, None
        and empty are allowed.

    Returns
    -------
    numpy.ndarray of str
        Names of the table, or `unknown`, in the shape of `texts`.

    Notes
    -----
    The first rock a text names wins ("limestone with marl" is limestone): legends put the
    dominant rock first. Among phrases that start at the same word the longest wins
    ("dolomitic limestone" is dolomite). Deeper GLiM codes are read by their first two
    letters. A text that names no rock of the table stays unknown; nothing is guessed.

    Examples
    --------
    >>> lithology_of(["Calizas grises", "GRANITE", "ssmx__", "", "moon dust"]).tolist()
    ['limestone', 'granite', 'siliciclastic sedimentary', 'unknown', 'unknown']
    """
    # NaN and None become the words nan and None here, which name no rock
    keys = np.asarray(texts, dtype=object).astype(str).astype(object)
    return values_by_key(keys, {text: _match(text) for text in set(keys.ravel())})


def values_by_key(keys: np.ndarray, values: Mapping[str, object]) -> np.ndarray:
    """Value of each key: hashing a million texts is quicker than sorting them."""
    return np.asarray(np.frompyfunc(values.__getitem__, 1, 1)(keys), dtype=object)
