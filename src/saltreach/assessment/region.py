"""What the register as a whole says of an anchor of which little is known.

Everything else of an anchor comes from its own row and from the rows of its sector. So these few
numbers are found once, and the rows may then be worked out in parts that hold whole sectors
(`parts.parts_of`), with the same results to the last bit.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple, TypeAlias

import numpy as np
import pandas as pd

from saltreach.intake.dates import year_fraction
from saltreach.science.rock.capacity import (
    KIND_SHARES,
    UNKNOWN_KIND_BONDED,
    UNKNOWN_KIND_DRIVEN,
    is_mechanical,
    kind_shares,
)
from saltreach.science.time.updating import CONDITION_SHARES
from saltreach.vocabulary.metals import FAMILIES, MATERIAL_NAMES
from saltreach.vocabulary.words import UNKNOWN

METAL_PRIOR: dict[str, float] = {
    name: family.trade_share for name, family in FAMILIES.items() if family.trade_share
}
"""Shares of the metals in the trade: judgement."""
METAL_PRIOR_WEIGHT = 10.0
"""The trade's shares of the metals, and its ages, count as this many anchors beside the register's:
new titanium elsewhere says little of an old anchor that nobody wrote down. Judgement."""
CONDITION_PRIOR_WEIGHT = 20.0
"""The trade's shares of the conditions count as at least this many anchors; judgement."""
REGION_WEIGHT = 5.0
"""The region's shares of the metals count as this many anchors beside a crag's own counts;
judgement."""
AGE_PRIOR_Y = (5.0, 12.0, 20.0, 28.0, 35.0)
"""Ages of undated anchors in the trade: judgement."""
AGE_QUANTILES = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Of the ages that the register knows, for those that it does not; judgement."""
OLDEST_Y = 35.0
"""Age of an undated anchor in a register that dates none; judgement."""
TRADE_SIZES_MM = {
    "bonded": ((10.0, 12.0, 12.0, 14.0), (70.0, 80.0, 100.0, 120.0)),
    "mechanical": ((8.0, 10.0, 10.0, 12.0), (50.0, 60.0, 70.0, 80.0)),
}
"""Usual diameters and embedments (common practice, no source), beside the register's own."""
SIZE_QUANTILE = 0.25
"""An unknown size counts as the lower quartile of these; judgement."""
ROCK_PRIOR_MPA, ROCK_PRIOR_SIGMA_LN, ROCK_PRIOR_WEIGHT = 60.0, 0.9, 5.0
"""Rock nobody named: strength of climbed rock at large, worth so many known anchors; judgement."""
KIND_PRIOR_WEIGHT = 5.0
"""The trade's shares of the kinds count as this many known anchors; judgement."""
USUAL_VISITS, USUAL_AGE_Y = 100.0, 20.0
"""Use of a mechanical anchor where visits or date are not known; judgement."""
FAILED = 4
"""Condition of an anchor that failed."""


Sizes: TypeAlias = tuple[tuple[float, float], tuple[float, float]]
"""Usual diameter and embedment (mm), each bonded and mechanical."""


class Metals(NamedTuple):
    """Shares of the metals by crag (a row of 12 for each), and of a crag without a known one."""

    by_crag: pd.DataFrame
    elsewhere: np.ndarray


class OfUnknown(NamedTuple):
    """What an anchor of unknown metal, date or condition may be.

    `ages_y` with `age_weights`; `oldest_y`; `conditions` (5,): how usual 0 to 4 are.
    """

    metals: Metals
    ages_y: np.ndarray
    age_weights: np.ndarray
    oldest_y: float
    conditions: np.ndarray


class Rock(NamedTuple):
    """Sums over the anchors whose rock is known: ln(strength), its square with the variance, count.

    A row of three for each crag, and of all.
    """

    by_crag: pd.DataFrame
    whole: np.ndarray


class Region(NamedTuple):
    """What the register as a whole says.

    `kinds`: share bonded, share of the rest driven in; `visits_per_year` and `age_y`: medians, NaN
    where none is known; `rock`: None until the strength of the rock is known (`with_rock`).
    """

    unknown: OfUnknown
    sizes_mm: Sizes
    kinds: tuple[float, float]
    visits_per_year: float
    age_y: float
    rock: Rock | None = None


def region_of(table: pd.DataFrame, today: date, gone: pd.DataFrame | None = None) -> Region:
    """Find what the register as a whole says, from all of its rows.

    Parameters
    ----------
    table : DataFrame
        Columns of the register `crag`, `material`, `hanger_material`, `installed_on`, `condition`,
        `kind`, `diameter_mm`, `embedment_mm`, `visits_per_year`; with `rock_strength_mpa` and
        `rock_sigma_ln` its `rock` too.
    today : date
        Day the assessment speaks for.
    gone : DataFrame, optional
        As of `state.state_of_anchors`.

    Returns
    -------
    Region
    """
    age = _age(table, today)
    found = Region(
        unknown=unknown_of(table, today, gone),
        sizes_mm=usual_sizes(table),
        kinds=kind_mixture(table["kind"].fillna("").astype("str").to_numpy(object)),
        visits_per_year=median_or_nan(table["visits_per_year"].to_numpy(float)),
        age_y=median_or_nan(age),
    )
    return with_rock(found, table) if "rock_strength_mpa" in table else found


def with_rock(region: Region, table: pd.DataFrame) -> Region:
    """The region with its rock: `crag`, `rock_strength_mpa` and `rock_sigma_ln` of every row."""
    return region._replace(rock=rock_of_crags(table))


def unknown_of(table: pd.DataFrame, today: date, gone: pd.DataFrame | None = None) -> OfUnknown:
    """What an anchor of unknown metal, date or condition may be; parameters as of `region_of`."""
    age = _age(table, today)
    recorded = table.get("condition_recorded", table["condition"])
    return OfUnknown(
        metals_of(table["crag"], metal_in_place(table)),
        *usual_ages(age),
        oldest_y(age),
        condition_shares(recorded, 0 if gone is None else len(gone)),
    )


def _age(table: pd.DataFrame, today: date) -> np.ndarray:
    return table["age_y"].to_numpy(float) if "age_y" in table else age_of_anchors(table, today)


def is_recorded(table: pd.DataFrame, condition: int) -> np.ndarray:
    """Whether an anchor is recorded in a condition; a blank one is not."""
    return (table["condition"] == condition).to_numpy(bool, na_value=False)


def age_of_anchors(table: pd.DataFrame, today: date) -> np.ndarray:
    """Age of each anchor in years, NaN where its date is not known; not below 0."""
    return years_since(table["installed_on"], today)


def years_since(dates: pd.Series, today: date) -> np.ndarray:
    """Years from partial ISO dates until a day, NaN where not known; not below 0."""
    now = today.year + (today.timetuple().tm_yday - 0.5) / 365.25
    return np.maximum(np.asarray(now - year_fraction(dates)[0], float), 0.0)


def oldest_y(age_y: np.ndarray) -> float:
    """Age of the oldest dated anchor, `OLDEST_Y` where none is dated."""
    return float(np.nanmax(age_y)) if (~np.isnan(age_y)).any() else OLDEST_Y


def median_or_nan(values: np.ndarray) -> float:
    """Median of what is known; NaN of nothing."""
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else np.nan


def condition_shares(condition: pd.Series, gone: int = 0) -> np.ndarray:
    """How usual the conditions 0 to 4 are: the register's counts and the trade's prior.

    The prior counts as many anchors as are blank, at least `CONDITION_PRIOR_WEIGHT`: who writes
    down the bad ones only has said little of the others. `gone` failed and were taken away since:
    what is left must not look better for it.
    """
    known = condition.dropna().astype(int).clip(0, len(CONDITION_SHARES) - 1)
    counts = known.value_counts().reindex(range(len(CONDITION_SHARES)), fill_value=0)
    counts[FAILED] += gone
    prior = np.array(CONDITION_SHARES) / np.sum(CONDITION_SHARES)
    weight = max(CONDITION_PRIOR_WEIGHT, float(condition.isna().sum()))
    return counts.to_numpy(float) + weight * prior


def usual_ages(age_y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ages an undated anchor may have and their shares: the register's and the trade's."""
    known = np.sort(age_y[~np.isnan(age_y)])
    if not len(known):
        return np.array(AGE_PRIOR_Y), np.ones(len(AGE_PRIOR_Y))
    ages = np.concatenate([np.quantile(known, AGE_QUANTILES), AGE_PRIOR_Y])
    own = np.full(len(AGE_QUANTILES), len(known) / len(AGE_QUANTILES))
    trade = np.full(len(AGE_PRIOR_Y), METAL_PRIOR_WEIGHT / len(AGE_PRIOR_Y))
    return ages, np.concatenate([own, trade])


def metal_in_place(table: pd.DataFrame) -> pd.Series:
    """The weaker of bolt and hanger where both are known; the bolt's metal otherwise."""
    bolt, hanger = (MATERIAL_NAMES.rank(table[n]) for n in ("material", "hanger_material"))
    weaker = np.minimum(bolt, hanger).fillna(bolt)
    return MATERIAL_NAMES.word(weaker, UNKNOWN)


def metals_of(crag: pd.Series, metal: pd.Series) -> Metals:
    """Shares of the metals an unknown anchor may have, by crag.

    Counts of the crag's known anchors, and the shares of the whole register worth `REGION_WEIGHT`
    anchors, in which `METAL_PRIOR` counts as `METAL_PRIOR_WEIGHT` anchors.
    """
    place, crags = pd.factorize(crag)
    rank = MATERIAL_NAMES.rank(metal).to_numpy(float)
    known = ~np.isnan(rank) & (place >= 0)
    kinds = len(MATERIAL_NAMES)
    at = place[known] * kinds + rank[known].astype(np.int64)
    counts = np.bincount(at, minlength=len(crags) * kinds).reshape(len(crags), kinds).astype(float)
    total = np.bincount(rank[~np.isnan(rank)].astype(np.int64), minlength=kinds).astype(float)
    prior = np.array([METAL_PRIOR.get(name, 0.0) for name in MATERIAL_NAMES])
    region = total + METAL_PRIOR_WEIGHT * prior
    elsewhere = REGION_WEIGHT * region / region.sum()
    return Metals(pd.DataFrame(counts + elsewhere, index=crags), elsewhere)


def metal_shares(crag: pd.Series, metal: pd.Series | Metals) -> np.ndarray:
    """Shares of the metals an unknown anchor of each crag may have, (n, 12).

    Parameters
    ----------
    crag : Series
        Of each anchor.
    metal : Series or Metals
        Of each anchor, from `metal_in_place`; or what `metals_of` found in the whole register.
    """
    found = metal if isinstance(metal, Metals) else metals_of(crag, metal)
    place, crags = pd.factorize(crag)
    at = np.append(found.by_crag.index.get_indexer(crags), -1)[place]
    return np.concatenate([found.by_crag.to_numpy(float), found.elsewhere[None]])[at]


def usual_sizes(table: pd.DataFrame) -> Sizes:
    """Diameter and embedment (mm) of an anchor without, each bonded and mechanical.

    The lower quartile (`SIZE_QUANTILE`) of the register's sizes of that kind and the trade's.
    """
    mechanical = is_mechanical(table["kind"].fillna("").astype("str").to_numpy(object)) > 0
    found = []
    for i, name in enumerate(("diameter_mm", "embedment_mm")):
        size = table[name].to_numpy(float)
        own = [size[some & ~np.isnan(size)] for some in (~mechanical, mechanical)]
        bonded, driven = (
            float(np.quantile(np.concatenate([o, trade[i]]), SIZE_QUANTILE))
            for o, trade in zip(own, TRADE_SIZES_MM.values(), strict=True)
        )
        found.append((bonded, driven))
    return found[0], found[1]


def kind_mixture(kind: np.ndarray) -> tuple[float, float]:
    """What an anchor of unknown kind may be: share bonded, share of the rest driven in.

    The register's own shares, and the trade's worth `KIND_PRIOR_WEIGHT` anchors.
    """
    known = kind[np.isin(kind, list(KIND_SHARES))]
    bonded, driven, _ = kind_shares(known)
    weight = KIND_PRIOR_WEIGHT
    glued = (bonded.sum() + weight * UNKNOWN_KIND_BONDED) / (len(known) + weight)
    rest = (bonded == 0).sum()
    driven_share = ((driven * (bonded == 0)).sum() + weight * UNKNOWN_KIND_DRIVEN) / (rest + weight)
    return float(glued), float(driven_share)


def rock_of_crags(table: pd.DataFrame) -> Rock:
    """Sums of `Rock` from `crag`, `rock_strength_mpa` and `rock_sigma_ln` of every row."""
    median, sigma = (table[n].to_numpy(float) for n in ("rock_strength_mpa", "rock_sigma_ln"))
    known = np.flatnonzero(~np.isnan(median))
    ln = np.log(median[known])
    parts = (ln, ln**2 + sigma[known] ** 2, np.ones(len(known)))
    place, crags = pd.factorize(table["crag"].iloc[known])
    sums = [np.bincount(place, part, minlength=len(crags)) for part in parts]
    return Rock(
        pd.DataFrame(np.column_stack(sums), index=crags), np.array([p.sum() for p in parts])
    )
