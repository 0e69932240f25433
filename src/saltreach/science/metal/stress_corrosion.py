r"""Chloride stress-corrosion cracking: a screening hazard of the place, then the alloy.

The hazard of a place, 0 to 1, is a product, because cracking needs all of its causes at once:

.. math:: h = w\,g\,s\;\frac{D^2}{D^2 + D_{50}^2}\;
          \Big[\tfrac12 L(T_{hot}; 30, 5) + \tfrac12 L(\bar T; 20, 4)\Big]\;
          \Big[0.3 + 0.7\,\frac{q}{q + 0.15}\Big]

D is the chloride that lies on the metal (deposition on a plate times the days it stays), w what
washing leaves of the hazard, g the rock, s seeping sulphate, L a logistic curve,
:math:`T_{hot}` the metal at its warmest in the warmest month, :math:`\bar T` the annual mean,
q the share of the year in which only
the brines of MgCl2 and CaCl2 are liquid (33 to 75 % relative humidity).

*Published* (each weight of `WEIGHTS` names its source): 304 and 316L crack under MgCl2 and CaCl2
from 30 °C at low humidity, more so when warmer and drier (Prosek and others 2009); 304L under dried
sea water cracked at 1 g/m² of chloride and 45 °C, not at 0.1 g/m² (Materials 13:5640, 2020), so
thin salt counts for less than in proportion; failures in the field come from confined, unwashed
zones warmed by the sun (Lieberzeit and others 2019); washing retards or arrests cracks, 316L cracks
2 to 3 times slower than 304, rock type does not matter much (second part, Corrosion 75:1371, 2019);
316L cracks under 145 mg/m² of chloride when strained plastically, 1450 mg/m² when elastically
(Örnek 2019).

*Our own judgement*: the form, every number marked so in `WEIGHTS`, the band limits, the metals
of `MINIMUM_MATERIAL`. It ranks places. It is no probability and certifies nothing.

*Conflicts in the literature*: (a) Sjong and Eiselstein (2008) report a 316L hanger broken after
10 years in Thailand; the 2019 series knows no rigorously documented failure of 316. So the case
counts as disputed and the risk as real; a preliminary report of 2026 has 316L broken by
another route (hydrogen): lower, not nil. (b) Older work makes the calcium and magnesium of
limestone a cause, the 2019 laboratory work does not; the weight of rock is therefore low
(less than one band) and can be set to 1. (c) Others find sulphate and its bacteria on all failed
anchors, and not chloride alone: a factor of its own. The three schools are three weights.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.distributions import normal_nodes
from saltreach.science.labelled import Axis, labelled
from saltreach.science.lookup import classify, lookup
from saltreach.science.types import Floats, Texts, Values, Words, number, numbers
from saltreach.vocabulary.metals import MATERIAL_BY_NAME, MATERIAL_NAMES
from saltreach.vocabulary.words import BANDS, UNKNOWN, YES_NO

SCC_BAND_LIMITS = (0.03, 0.10, 0.25, 0.45)
"""Lower limits of moderate to severe, judgement: set so that warm unwashed sea cliffs are high or
severe, washed ones moderate to raised, washed inland cliffs low. A hazard on a limit is above."""


class Ends(NamedTuple):
    """Hazard with every unknown at its mild and at its harsh end."""

    mild: Floats
    harsh: Floats


class Weight(NamedTuple):
    """One number of the hazard: value, unit, whence, and `published` or `judgement`."""

    value: float
    unit: str
    source: str
    status: str


_J = "judgement"
WEIGHTS: dict[str, Weight] = {
    "deposit_half_mg_m2": Weight(
        1450, "mg/m2", "Örnek 2019, 10.5006/3090: 316L, 0.1 % elastic strain; that it is the "
        "half point is ours", "published"),
    "deposit_power": Weight(
        2, "1", "304L cracked under 1 g/m2 of chloride and not under 0.1 (Materials 13:5640, "
        "2020, abstract): steeper than in proportion; 2 is ours", _J),
    "candle_over_plate": Weight(
        2.4, "1", "a wet candle catches so many times what a dry plate does: ISO 9225:2012, from "
        "memory; metal in rock is taken as a plate", "published"),
    "retention_washed_d": Weight(
        20, "d", "days between rains that wash, dry seasons counted; washing at short intervals "
        "retards: Corrosion 75:1371", _J),
    "retention_unwashed_d": Weight(60, "d", "salt stays until it sheds by itself", _J),
    "washed_left": Weight(
        0.5, "1", "washing also stops cracks that have begun (Corrosion 75:1371, 2019)", _J),
    "washing_doubt": Weight(
        0.25, "1", "chance that a place called washed is not (edges, pockets behind a hanger, dry "
        "seasons): so the word alone lowers a hazard to a quarter at most; documented cracking "
        "of 304 on coasts called washed bounds it", _J),
    "hot_mid_c": Weight(
        30, "degC", "Prosek 2009, Corrosion 65:105: susceptible from 30 degC", "published"),
    "hot_scale_c": Weight(5, "degC", "no sharp threshold in the field", _J),
    "mean_mid_c": Weight(20, "degC", "field cases lie at 20 to 25 degC, from memory", _J),
    "mean_scale_c": Weight(4, "degC", "spread of those cases", _J),
    "hot_share": Weight(0.5, "1", "warmest hours against the whole year", _J),
    "day_excess_c": Weight(4, "degC", "warmest hour above the month's mean", _J),
    "season_excess_c": Weight(8, "degC", "warmest month above the annual mean if unknown", _J),
    "sun_excess_c": Weight(
        12, "degC", "metal in full sun above the air; that sun matters: Lieberzeit 2019", _J),
    "humidity_half": Weight(0.15, "1", "share of the year in the band at half effect", _J),
    "humidity_floor": Weight(0.3, "1", "sun-warmed metal passes the band on most days", _J),
    "humidity_unknown": Weight(0.5, "1", "share of the year if unknown: a dry coast", _J),
    "carbonate": Weight(
        1.15, "1", "school of rock: Sjong & Eiselstein 2008 and UIAA 2015 for, Corrosion 75:1371 "
        "(2019) against", _J),
    "sulphate": Weight(
        1.5, "1", "school of sulphate: sulphides on all failed anchors of high-sulphate sea "
        "cliffs (Reeve, reports 2020 to 2023, not peer reviewed)", _J),
    "sulphate_unknown": Weight(
        0.02, "1", "share of anchors in sulphate seepage where nobody looked", _J),
}  # fmt: skip
"""Every weight of the hazard; pass a changed copy of its values as `weights`."""


MINIMUM_MATERIAL: dict[str, str] = {
    "low": "304",
    "moderate": "316",
    "raised": "duplex",
    "high": "superaustenitic",
    "severe": "superaustenitic",
}
"""Least metal by hazard band, judgement. The standard's class may ask for more; this only raises
it. High and severe never end at 304 or 316, whatever a table given in place of this one says."""


@labelled({"mild": "1", "harsh": "1"}, returns=Ends)
def scc_hazard(
    chloride_mg_m2_d: Values,
    temperature_c: Values,
    *,
    rain_washed: Words = UNKNOWN,
    chloride_sigma_ln: Values = 0.0,
    warm_month_c: Values = np.nan,
    sun: Values = np.nan,
    humidity_share: Values = np.nan,
    carbonate_rock: Values = np.nan,
    sulphate: Values = np.nan,
    weights: Mapping[str, float] | None = None,
) -> Ends:
    """Stress-corrosion hazard of a place, 0 to 1.

    Parameters
    ----------
    chloride_mg_m2_d : array_like
        Median chloride deposition, mg/(m² d).
    temperature_c : array_like
        Annual mean air temperature, °C.
    rain_washed : array_like of str
        ``yes``, ``no`` or ``unknown``.
    chloride_sigma_ln : array_like
        Standard deviation of ln(chloride); the hazard is the mean over that lognormal.
    warm_month_c : array_like
        Mean air temperature of the warmest month, °C.
    sun : array_like
        From `sunlight.sun_exposure`, 0 to 1.
    humidity_share : array_like
        Share of the year with 33 to 75 % relative humidity at the metal, 0 to 1
        (`wetness.deliquescent_share_of_year`).
    carbonate_rock : array_like
        1 limestone, dolomite, marble or chalk, 0 other rock.
    sulphate : array_like
        1 where sulphate seeps, 0 where not; unknown is a small share of 1, not both ways.
    weights : mapping, optional
        Values that replace those of `WEIGHTS`.

    Returns
    -------
    Ends
        Hazard with every unknown (NaN) at its mild and at its harsh end, equal where everything
        is known; decisions take the harsh one. NaN where chloride or temperature is unknown.

    Raises
    ------
    OptionError
        A word for `rain_washed`, or a name in `weights`, that is not known.

    References
    ----------
    The equation at the top of the module; sources of each number in `WEIGHTS`.

    Examples
    --------
    >>> h = scc_hazard([225, 225, 5], [27.5, 27.5, 15], rain_washed=["no", "yes", "yes"], sun=0.3)
    >>> scc_band(h.harsh).tolist()
    ['severe', 'high', 'low']
    """
    w = _values(weights)
    chloride, sigma, temperature = numbers(chloride_mg_m2_d, chloride_sigma_ln, temperature_c)
    node, share = normal_nodes(9)
    ends = []
    for harsh in (False, True):
        days, factors = _place(
            temperature, harsh, w, rain_washed, warm_month_c, sun, humidity_share, carbonate_rock,
            sulphate,
        )  # fmt: skip
        mean = sum(
            p * factor * _deposit_share(chloride * np.exp(sigma * z) * stay, w)
            for z, p in zip(node, share, strict=True)
            for stay, factor in zip(days, factors, strict=True)
        )
        ends.append(np.minimum(mean, 1.0))
    return Ends(*ends)


@labelled(None)
def scc_band(hazard: Values) -> Texts:
    """Hazard in words: low, moderate, raised, high, severe; `unknown` for NaN.

    Parameters
    ----------
    hazard : array_like
        0 to 1.

    Returns
    -------
    numpy.ndarray of str

    References
    ----------
    Limits: judgement, see `SCC_BAND_LIMITS`.

    Examples
    --------
    >>> scc_band([0.0, 0.03, 0.449, 0.45]).tolist()
    ['low', 'moderate', 'high', 'severe']
    """
    # a hazard on a limit belongs above, and `classify` puts it below
    return classify(np.nextafter(number(hazard), np.inf), SCC_BAND_LIMITS, BANDS)


@labelled("1", gives=Axis("scc_band", BANDS))
def scc_band_probabilities(
    chloride_mg_m2_d: Values,
    temperature_c: Values,
    chloride_sigma_ln: Values,
    *,
    rain_washed: Words = UNKNOWN,
    warm_month_c: Values = np.nan,
    sun: Values = np.nan,
    humidity_share: Values = np.nan,
    carbonate_rock: Values = np.nan,
    sulphate: Values = np.nan,
    weights: Mapping[str, float] | None = None,
) -> Floats:
    """Chance of each band when only the chloride is uncertain, exact.

    Parameters
    ----------
    chloride_mg_m2_d, temperature_c : array_like
        As for `scc_hazard`.
    chloride_sigma_ln : array_like
        Standard deviation of ln(chloride), above 0.
    rain_washed, warm_month_c, sun, humidity_share, carbonate_rock, sulphate : array_like
        As for `scc_hazard`; unknowns at their harsh end.
    weights : mapping, optional
        As for `scc_hazard`.

    Returns
    -------
    numpy.ndarray, shape (..., 5)
        Rows sum to 1; NaN where chloride or temperature is unknown.

    References
    ----------
    Closed form of the equation at the top of the module for a lognormal chloride.

    Examples
    --------
    >>> p = scc_band_probabilities(100.0, 17.0, 0.9, rain_washed="no", sun=0.5)
    >>> round(float(p.sum()), 9)
    1.0
    """
    from scipy.special import ndtr

    w = _values(weights)
    median, sigma, temperature = numbers(chloride_mg_m2_d, chloride_sigma_ln, temperature_c)
    days, (washed, dry) = _place(
        temperature, True, w, rain_washed, warm_month_c, sun, humidity_share, carbonate_rock,
        sulphate,
    )  # fmt: skip
    median, sigma, washed, dry = np.broadcast_arrays(median, sigma, washed, dry)
    unknown = np.isnan(median + washed + dry)
    whole = w["candle_over_plate"] * w["deposit_half_mg_m2"]
    below = []
    power = w["deposit_power"]
    short, long = ((stay / whole) ** power for stay in days)
    for limit in SCC_BAND_LIMITS:
        # the hazard is a sum of two saturating parts; it reaches the limit at the root of a
        # quadratic in a power of the chloride, never where both parts together stay below it
        square = short * long * (washed + dry - limit)
        linear = washed * short + dry * long - limit * (short + long)
        root = np.sqrt(np.maximum(linear**2 + 4 * square * limit, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = np.where(square > 0, (root - linear) / (2 * square), np.inf)
            score = (np.log(reach) / power - np.log(median)) / sigma
        below.append(np.where(unknown, np.nan, ndtr(score)))
    below.append(np.where(unknown, np.nan, 1.0))
    return np.diff(np.stack(below, axis=-1), axis=-1, prepend=0.0)


@labelled(None)
def scc_minimum_material(
    hazard_band: Words, *, duplex_allowed: bool = False, table: dict[str, str] | None = None
) -> Texts:
    """Least metal that the hazard band allows.

    Parameters
    ----------
    hazard_band : array_like of str
        From `scc_band`.
    duplex_allowed : bool
        Whether the user accepts duplex where it would do; else the next better metal.
    table : dict, optional
        In place of `MINIMUM_MATERIAL`.

    Returns
    -------
    numpy.ndarray of str
        `unknown` where the band is.

    Raises
    ------
    OptionError
        A table with an unknown metal, one that falls with the hazard, or one that leaves high
        or severe hazard to 304, 316 or coated steel.

    References
    ----------
    Judgement, see `MINIMUM_MATERIAL`.

    Examples
    --------
    >>> scc_minimum_material(["low", "raised", "severe", "unknown"]).tolist()
    ['304', 'superaustenitic', 'superaustenitic', 'unknown']
    """
    chosen = MINIMUM_MATERIAL if table is None else table
    rank = _checked_ranks(chosen)
    if not duplex_allowed:
        duplex = MATERIAL_BY_NAME["duplex"].rank
        rank = {b: r + 1 if r == duplex else r for b, r in rank.items()}
    return np.asarray(MATERIAL_NAMES.word(lookup(hazard_band, rank, "hazard band"), UNKNOWN))


def _values(changed: Mapping[str, float] | None) -> dict[str, float]:
    wrong = [name for name in changed or {} if name not in WEIGHTS]
    if wrong:
        raise OptionError(f"weight {wrong[0]!r} is not known; use one of {list(WEIGHTS)}")
    return {name: weight.value for name, weight in WEIGHTS.items()} | dict(changed or {})


def _deposit_share(deposit_mg_m2: Floats, w: Mapping[str, float]) -> Floats:
    half_mg_m2 = w["candle_over_plate"] * w["deposit_half_mg_m2"]
    salt = (deposit_mg_m2 / half_mg_m2) ** w["deposit_power"]
    return salt / (salt + 1.0)


def _logistic(value: Floats) -> Floats:
    return 0.5 * (1.0 + np.tanh(0.5 * value))


def _place(
    temperature_c: Floats,
    harsh: bool,
    w: Mapping[str, float],
    rain_washed: Words,
    warm_month_c: Values,
    sun: Values,
    humidity_share: Values,
    carbonate_rock: Values,
    sulphate: Values,
) -> tuple[tuple[float, float], tuple[Floats, Floats]]:
    """Days that chloride stays where it is washed and where not, and the factors of both parts.

    A place called washed is unwashed with the chance `washing_doubt`.
    """

    def known_or(value: Values, mild: Values, worse: Values) -> Floats:
        found = number(value)
        return np.where(np.isnan(found), worse if harsh else mild, found)

    said = known_or(lookup(rain_washed, YES_NO, "rain_washed"), 1.0, 0.0)
    washed = said * (1.0 - w["washing_doubt"])
    carbonate = known_or(carbonate_rock, 0.0, 1.0)
    share = known_or(humidity_share, 0.0, w["humidity_unknown"])
    warm = known_or(warm_month_c, temperature_c, temperature_c + w["season_excess_c"])
    hot = np.maximum(warm, temperature_c) + w["day_excess_c"]
    hot = hot + w["sun_excess_c"] * known_or(sun, 0.0, 1.0)
    warmth = w["hot_share"] * _logistic((hot - w["hot_mid_c"]) / w["hot_scale_c"])
    warmth = warmth + (1 - w["hot_share"]) * _logistic(
        (temperature_c - w["mean_mid_c"]) / w["mean_scale_c"]
    )
    damp = w["humidity_floor"] + (1 - w["humidity_floor"]) * share / (share + w["humidity_half"])
    seeps = number(sulphate)
    seeps = np.where(np.isnan(seeps), w["sulphate_unknown"], seeps)
    place = warmth * damp * (1.0 + carbonate * (w["carbonate"] - 1.0))
    place = place * (1.0 + seeps * (w["sulphate"] - 1.0))
    days = (w["retention_washed_d"], w["retention_unwashed_d"])
    return days, (place * washed * w["washed_left"], place * (1.0 - washed))


def _checked_ranks(table: dict[str, str]) -> dict[str, float]:
    where = f"hazard table {table}"
    if set(table) != set(BANDS) or any(m not in MATERIAL_BY_NAME for m in table.values()):
        raise OptionError(f"{where}: give one of {list(MATERIAL_NAMES)} for each of {list(BANDS)}")
    ranks = [float(MATERIAL_BY_NAME[table[band]].rank) for band in BANDS]
    if ranks != sorted(ranks):
        raise OptionError(f"{where}: a higher band may not have a lesser metal; reorder it")
    if ranks[3] <= MATERIAL_BY_NAME["316"].rank:
        raise OptionError(f"{where}: high and severe hazard never end at 304 or 316; raise them")
    return dict(zip(BANDS, ranks, strict=True))
