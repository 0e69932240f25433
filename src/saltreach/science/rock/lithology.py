"""What a lithology lets us expect: a range of strength, a unit weight (`vocabulary.rocks`)."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from saltreach.science.distributions import Lognormal
from saltreach.science.labelled import labelled
from saltreach.science.types import Flags, Floats, Texts, Words
from saltreach.vocabulary.rocks import lithologies, plain_words, values_by_key

GRAVITY_M_S2 = 9.81


def _texts(words: Words) -> Texts:
    return np.asarray(words, dtype=object).astype(str).astype(object)


def _values_of(names: Words, attribute: str) -> Floats:
    known = {name: getattr(rock, attribute) for name, rock in lithologies().items()}
    keys = _texts(names)
    values = {name: known.get(name, np.nan) for name in set(keys.ravel())}
    return values_by_key(keys, values).astype(float)


@labelled({"median": "MPa", "sigma_ln": "1"}, returns=Lognormal)
def strength_prior(names: Words) -> Lognormal:
    r"""Strength we expect of a lithology before any test: a lognormal distribution.

    .. math:: m = \sqrt{l\,h}, \qquad \sigma = \frac{\ln(h/l)}{2 \times 1.2816}

    Parameters
    ----------
    names : array_like of str
        Names of the lithology table, as `vocabulary.rocks.lithology_of` gives them.

    Returns
    -------
    median_mpa, sigma_ln : numpy.ndarray
        Median of the uniaxial compressive strength, MPa, and standard deviation of its
        natural logarithm, in the shape of `names`. NaN for unknown and for soils.

    Notes
    -----
    Our choice: the low l and high h of the table are the 10th and 90th percentiles.
    The range describes fresh to slightly weathered hand specimens of a whole rock family, not
    one cliff: only tests narrow it.

    References
    ----------
    Ranges of rock-mechanics textbooks, from memory: `vocabulary/lithologies.csv`.

    Examples
    --------
    >>> median_mpa, sigma_ln = strength_prior("granite")
    >>> round(float(median_mpa), 1), round(float(sigma_ln), 3)
    (158.1, 0.357)
    """
    low, high = (_values_of(names, f"ucs_{end}_mpa") for end in ("low", "high"))
    return Lognormal(np.sqrt(low * high), np.log(high / low) / (2 * ndtri(0.9)))


QUALIFIERS: tuple[tuple[str, float, tuple[str, ...]], ...] = (
    ("welded", 4.0, ("welded", "soldada", "soldado", "verschweisst", "verschweißt", "soude")),
    ("silicified", 1.6, ("silicified", "silicificada", "silicificado", "verkieselt", "silicifie")),
    ("well cemented", 1.3, ("well cemented", "bien cementada", "bien cementado")),
    ("weathered", 0.5, ("weathered", "meteorizada", "meteorizado", "verwittert", "altere",
                        "alteree", "alterada", "alterado")),
    ("rotten", 0.1, ("rotten", "decomposed", "friable", "crumbly", "descompuesta", "descompuesto",
                     "pourri", "pourrie", "morsch", "zersetzt", "decomposta", "decomposto")),
    ("soft", 0.5, ("soft", "weak", "poorly cemented", "blanda", "blando", "weich", "tendre",
              "tenera", "tenero", "branda", "brando")),
    ("porous", 0.6, ("porous", "vuggy", "porosa", "poroso", "poros", "poreux", "poreuse")),
)  # fmt: skip
"""Words beside a rock's name that change its strength, and the factor on the median: judgement.
`welded` counts for tuff and other pyroclastic rock alone."""
_PYROCLASTIC = ("tuff", "pyroclastic")


@labelled("1")
def strength_qualifier(texts: Words, names: Words, *, weathering_known: Flags = False) -> Floats:
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

    References
    ----------
    Judgement, see `QUALIFIERS`.

    Examples
    --------
    >>> strength_qualifier(["welded tuff", "weathered granite", "tuff"],
    ...     ["tuff", "granite", "tuff"]).tolist()
    [4.0, 0.5, 1.0]
    """
    text = _texts(texts)
    rock = _texts(names)
    text, rock = np.broadcast_arrays(text, rock)
    plain = {t: f" {plain_words(t)} " for t in set(text.ravel())}
    factor = np.ones(text.shape)
    for word, value, spellings in QUALIFIERS:
        said = {t: any(f" {plain_words(s)} " in p for s in spellings) for t, p in plain.items()}
        has = np.asarray(values_by_key(text, said), dtype=bool)
        if word == "welded":
            has = has & np.isin(rock, _PYROCLASTIC)
        if word == "weathered":
            has = has & ~np.asarray(weathering_known, dtype=bool)
        factor = np.where(has, factor * value, factor)
    return factor


@labelled("kN m-3")
def unit_weight_kn_m3(names: Words) -> Floats:
    r"""Unit weight of a lithology, the middle of its density range times gravity.

    .. math:: \gamma = g\,(\rho_l + \rho_h)/2

    Parameters
    ----------
    names : array_like of str
        Names of the lithology table.

    Returns
    -------
    numpy.ndarray
        Unit weight, kN/m3; NaN where the lithology is unknown.

    References
    ----------
    Ranges of rock-mechanics textbooks, from memory: `vocabulary/lithologies.csv`.

    Examples
    --------
    >>> round(float(unit_weight_kn_m3("granite")), 1)
    26.0
    """
    low, high = (_values_of(names, f"density_{end}_t_m3") for end in ("low", "high"))
    return GRAVITY_M_S2 * (low + high) / 2
