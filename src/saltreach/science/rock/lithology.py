"""Lithologies: what each is called, its GLiM class, and the range of strength we start from.

The table is `lithology.csv` beside this module; `read_lithologies` reads an edited copy.
The sixteen two-letter classes are the first level of the Global Lithological Map (GLiM):
Hartmann and Moosdorf (2012), doi 10.1029/2012GC004370. Strength, density and mi ranges are
wide textbook ranges quoted from memory; each row says what its range leans on.
"""

from __future__ import annotations

import csv
import functools
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import ndtri

from saltreach.errors import LayerError
from saltreach.vocabulary.words import UNKNOWN

GRAVITY_M_S2 = 9.81

GLIM_SECOND_LEVEL = frozenset(
    ("ad", "ds", "lo", "la", "or", "mx", "sh", "ss", "am", "gr", "pu", "py", "__")
)
"""Second-level codes of GLiM (Hartmann and Moosdorf 2012, Table A2, from a public copy)."""

_NUMBERS = (
    "ucs_low_mpa",
    "ucs_high_mpa",
    "density_low_t_m3",
    "density_high_t_m3",
    "mi",
)
_COLUMNS = ("name", "glim", *_NUMBERS, "status", "source", "words_en", "words_es")


@dataclass(frozen=True)
class Lithology:
    """One rock class: its words, its GLiM codes, and its wide typical ranges.

    `ucs_*` is uniaxial compressive strength, MPa; `density_*` t/m3; `mi` the Hoek-Brown
    constant of intact rock. NaN where the table is empty. `status` says how far the range can
    be trusted and `source` what it leans on.
    """

    name: str
    glim: tuple[str, ...]
    ucs_low_mpa: float
    ucs_high_mpa: float
    density_low_t_m3: float
    density_high_t_m3: float
    mi: float
    status: str
    source: str
    words: tuple[str, ...]


def _plain(text: object) -> str:
    """Lower case, no accents, single spaces; underscores stay, GLiM codes have them."""
    split = unicodedata.normalize("NFKD", str(text).casefold())
    bare = "".join(c for c in split if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9_]+", " ", bare).strip()


def read_lithologies(path: str | Path | None = None) -> dict[str, Lithology]:
    """Read a lithology table.

    Parameters
    ----------
    path : path, optional
        CSV (UTF-8) with the columns of the table in the package. Words are separated by
        semicolons, GLiM codes by spaces. Default: the table in the package.

    Returns
    -------
    dict
        `Lithology` by name, in the order of the file.

    Raises
    ------
    LayerError
        Missing column, a number that is none, a low above its high, or a word, code or name
        used twice; the message names file, row, column, value and fix.
    """
    file = Path(path) if path is not None else Path(__file__).with_name("lithology.csv")
    with file.open(encoding="utf-8-sig", newline="") as handle:
        reader = csv.DictReader(handle)
        missing = [c for c in _COLUMNS if c not in (reader.fieldnames or ())]
        if missing:
            raise LayerError(
                f"{file.name}: columns {', '.join(missing)} are missing; "
                f"the table needs {', '.join(_COLUMNS)}"
            )
        rows = list(enumerate(reader, start=2))
    table: dict[str, Lithology] = {}
    owner: dict[str, str] = {}
    for line, row in rows:
        rock = _lithology(file.name, line, row)
        for key in (*rock.words, *(f"code {c}" for c in rock.glim)):
            if owner.setdefault(key, rock.name) != rock.name:
                raise LayerError(
                    f"{file.name}, row {line}: {key!r} belongs to {owner[key]!r} already; "
                    "a word or code may stand for one lithology only"
                )
        if rock.name in table:
            raise LayerError(
                f"{file.name}, row {line}, column name: {rock.name!r} is there twice; "
                "keep one row per lithology"
            )
        table[rock.name] = rock
    return table


def _lithology(file: str, line: int, row: Mapping[str, str | None]) -> Lithology:
    cells = {name: (row[name] or "").strip() for name in _COLUMNS}
    numbers = {name: _number(file, line, name, cells[name]) for name in _NUMBERS}
    for low, high in ((_NUMBERS[0], _NUMBERS[1]), (_NUMBERS[2], _NUMBERS[3])):
        if numbers[low] > numbers[high]:
            raise LayerError(
                f"{file}, row {line}, column {low}: {numbers[low]:g} is above {high} "
                f"{numbers[high]:g}; swap them"
            )
    listed = f"{cells['name']};{cells['words_en']};{cells['words_es']}".split(";")
    words = tuple(dict.fromkeys(filter(None, map(_plain, listed))))
    return Lithology(
        name=cells["name"],
        glim=tuple(cells["glim"].lower().split()),
        status=cells["status"],
        source=cells["source"],
        words=words,
        **numbers,
    )


def _number(file: str, line: int, column: str, text: str) -> float:
    if not text:
        return float("nan")
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not value > 0:
        raise LayerError(
            f"{file}, row {line}, column {column}: {text!r} is not a positive number; "
            "give a number with a decimal point, or leave it empty if it is not known"
        )
    return value


@functools.lru_cache(maxsize=1)
def lithologies() -> Mapping[str, Lithology]:
    """Return the table of the package, read once."""
    return read_lithologies()


def _match(
    text: str, words: Mapping[str, str], codes: Mapping[str, str], longest_phrase: int
) -> str:
    plain = _plain(text)
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


def lithology_of(texts: object, table: Mapping[str, Lithology] | None = None) -> np.ndarray:
    """Name the lithology of each text.

    Parameters
    ----------
    texts : array_like of str
        Rock names in English or Spanish, legend sentences, or GLiM codes of two, four or six
        letters (`sc`, `scpu`, `ssmx__`); case, accents and plurals do not matter. NaN, None
        and empty are allowed.
    table : mapping, optional
        From `read_lithologies`. Default: the table of the package.

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
    rocks = lithologies() if table is None else table
    words = {word: rock.name for rock in rocks.values() for word in rock.words}
    codes = {code: rock.name for rock in rocks.values() for code in rock.glim}
    longest_phrase = max((len(word.split()) for word in words), default=0)
    # NaN and None become the words nan and None here, which name no rock
    keys = np.asarray(texts, dtype=object).astype(str).astype(object)
    names = {text: _match(text, words, codes, longest_phrase) for text in set(keys.ravel())}
    return _looked_up(keys, names)


def _looked_up(keys: np.ndarray, values: Mapping[str, object]) -> np.ndarray:
    """Value of each key: hashing a million texts is quicker than sorting them."""
    return np.asarray(np.frompyfunc(values.__getitem__, 1, 1)(keys), dtype=object)


def _values_of(names: object, attribute: str, table: Mapping[str, Lithology] | None) -> np.ndarray:
    rocks = lithologies() if table is None else table
    keys = np.asarray(names, dtype=object).astype(str).astype(object)
    values = {
        name: getattr(rocks[name], attribute) if name in rocks else np.nan
        for name in set(keys.ravel())
    }
    return _looked_up(keys, values).astype(float)


def strength_prior(
    names: object, table: Mapping[str, Lithology] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    r"""Strength we expect of a lithology before any test: a lognormal distribution.

    Parameters
    ----------
    names : array_like of str
        Names of the table, as `lithology_of` gives them.
    table : mapping, optional
        From `read_lithologies`. Default: the table of the package.

    Returns
    -------
    median_mpa, sigma_ln : numpy.ndarray
        Median of the uniaxial compressive strength, MPa, and standard deviation of its
        natural logarithm, in the shape of `names`. NaN for unknown and for soils.

    Notes
    -----
    Our choice: the low and high of the table are the 10th and 90th percentiles, so the
    median is their geometric mean and :math:`\sigma = \ln(high/low) / (2 \times 1.2816)`.
    The range describes fresh to slightly weathered hand specimens of a whole rock family, not
    one cliff: only tests narrow it.

    Examples
    --------
    >>> median_mpa, sigma_ln = strength_prior("granite")
    >>> round(float(median_mpa), 1), round(float(sigma_ln), 3)
    (158.1, 0.357)
    """
    low = _values_of(names, "ucs_low_mpa", table)
    high = _values_of(names, "ucs_high_mpa", table)
    return np.sqrt(low * high), np.log(high / low) / (2 * ndtri(0.9))


QUALIFIERS: tuple[tuple[str, float, tuple[str, ...]], ...] = (
    ("welded", 4.0, ("welded", "soldada", "soldado", "verschweisst", "verschweißt", "soude")),
    ("silicified", 1.6, ("silicified", "silicificada", "silicificado", "verkieselt", "silicifie")),
    ("well cemented", 1.3, ("well cemented", "bien cementada", "bien cementado")),
    ("weathered", 0.5, ("weathered", "meteorizada", "meteorizado", "verwittert", "altere",
                        "alterada", "alterado")),
    ("rotten", 0.1, ("rotten", "decomposed", "friable", "crumbly", "descompuesta", "descompuesto",
                     "pourri", "morsch")),
    ("soft", 0.5, ("soft", "weak", "poorly cemented", "blanda", "blando", "weich", "tendre")),
    ("porous", 0.6, ("porous", "vuggy", "porosa", "poroso", "poros", "poreux")),
)  # fmt: skip
"""Words beside a rock's name that change its strength, and the factor on the median: judgement.
`welded` counts for tuff and other pyroclastic rock alone."""
_PYROCLASTIC = ("tuff", "pyroclastic")


def strength_qualifier(
    texts: object, names: object, *, weathering_known: object = False
) -> np.ndarray:
    """Factor on the strength to expect by what a rock's name says besides the rock.

    Parameters
    ----------
    texts : array_like of str
        Rock names as the register or a map writes them.
    names : array_like of str
        Their lithologies, from `lithology_of`.
    weathering_known : array_like of bool
        Where a weathering grade was noted: it counts, and the word does not count twice.

    Returns
    -------
    numpy.ndarray
        The product of the factors of the words in each text, 1 where there is none.

    Examples
    --------
    >>> strength_qualifier(["welded tuff", "weathered granite", "tuff"],
    ...     ["tuff", "granite", "tuff"]).tolist()
    [4.0, 0.5, 1.0]
    """
    text = np.asarray(texts, dtype=object).astype(str).astype(object)
    rock = np.asarray(names, dtype=object).astype(str).astype(object)
    text, rock = np.broadcast_arrays(text, rock)
    plain = {t: f" {_plain(t)} " for t in set(text.ravel())}
    factor = np.ones(text.shape)
    for word, value, spellings in QUALIFIERS:
        said = {t: any(f" {_plain(s)} " in p for s in spellings) for t, p in plain.items()}
        has = np.asarray(_looked_up(text, said), dtype=bool)
        if word == "welded":
            has = has & np.isin(rock, _PYROCLASTIC)
        if word == "weathered":
            has = has & ~np.asarray(weathering_known, dtype=bool)
        factor = np.where(has, factor * value, factor)
    return factor


def unit_weight_kn_m3(names: object, table: Mapping[str, Lithology] | None = None) -> np.ndarray:
    """Unit weight of a lithology, the middle of its density range times gravity.

    Parameters
    ----------
    names : array_like of str
        Names of the table.
    table : mapping, optional
        From `read_lithologies`. Default: the table of the package.

    Returns
    -------
    numpy.ndarray
        Unit weight, kN/m3; NaN where the lithology is unknown.

    Examples
    --------
    >>> round(float(unit_weight_kn_m3("granite")), 1)
    26.0
    """
    low = _values_of(names, "density_low_t_m3", table)
    high = _values_of(names, "density_high_t_m3", table)
    return GRAVITY_M_S2 * (low + high) / 2


def hoek_brown_mi(names: object, table: Mapping[str, Lithology] | None = None) -> np.ndarray:
    """Hoek-Brown constant mi of intact rock by lithology.

    Parameters
    ----------
    names : array_like of str
        Names of the table.
    table : mapping, optional
        From `read_lithologies`. Default: the table of the package.

    Returns
    -------
    numpy.ndarray
        mi, without unit; NaN where the table has none.

    Examples
    --------
    >>> float(hoek_brown_mi("sandstone"))
    17.0
    """
    return _values_of(names, "mi", table)
