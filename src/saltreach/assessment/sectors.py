"""From anchors to sectors and crags: medians, worst cases, and one advice each."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import PROBABILITY_COLUMNS, probabilities_json
from saltreach.assessment.resistance import sector_kind
from saltreach.assessment.rock import rmr_class_or_empty
from saltreach.assessment.warnings import SENTENCES
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import (
    BANDS,
    DO_NOT_PLACE,
    LEFT_OUT,
    RISK_SOURCES,
    SEPARATOR,
    UNKNOWN,
    YES_NO,
    YES_NO_UNKNOWN,
    Scale,
)

WORST_SHARE = 0.2
"""A sector shows its worst anchor's band where at least this share of its anchors has it (or a
worse one); else one band below it. Both the worst and the share are said. Judgement."""


def aggregate(anchors: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """One row per group of anchors.

    Parameters
    ----------
    anchors : DataFrame
        Assessed anchors.
    by : list of str
        `["crag", "sector"]` or `["crag"]`.

    Returns
    -------
    DataFrame
        The columns of the vocabulary's table `sectors` or `crags` that are worked out from
        anchors alone, each as its `sector` rule says, in the vocabulary's order. A group's metal
        is the best any of its anchors needs: one metal is bought for a sector, and another
        suffices only where it does at each of them. Bands of risk by
        `WORST_SHARE`, with `worst_band` and `risk_share`, the sentence on both.
    """
    keys = [anchors[name] for name in by]
    groups = anchors.groupby(by, dropna=False)
    columns = columns_of(by[-1] + "s")
    out = groups.size().rename("anchors").to_frame()
    for how in ("median", "min", "max"):
        names = [c.name for c in columns.values() if c.sector == how]
        out = out.join(getattr(groups[names], how)())
    for column in columns.values():
        if (rule := _RULES.get(column.sector.split(" of ")[0])) is not None:
            out[column.name] = rule(column, anchors, keys)
    out["material_alternative"] = _alternative(anchors, keys, out["material_recommended"])
    out["worst_band"] = _worst(columns["risk_band"], anchors, keys)
    out["risk_share"] = _risk_share(anchors["risk_band"], keys, out)
    out["risk_governed_by"] = _governs(out)
    out["rmr_class"] = rmr_class_or_empty(out["rmr89"])
    if "sector" in by:
        out = out.join(sector_kind(anchors, by))
        refused = out["kind_advised"] == DO_NOT_PLACE
        out["embedment_required_mm"] = out["embedment_required_mm"].mask(refused)
    chances = groups[list(PROBABILITY_COLUMNS)].mean()
    out["category_probabilities"] = probabilities_json(chances, PROBABILITY_COLUMNS)
    rank = PLACEABLE.rank(anchors["material_recommended"])
    sets_metal = rank == rank.groupby(keys, dropna=False).transform("max")
    months = anchors["inspection_interval_months"].astype(float)
    sets_interval = months == months.groupby(keys, dropna=False).transform("min")
    out["reasons"] = _texts(anchors, "material_reasons", sets_metal | rank.isna(), by)
    out["interval_reasons"] = _texts(anchors, "interval_reasons", sets_interval | months.isna(), by)
    out["warnings"] = _warnings(anchors, by, out["anchors"])
    for name in ("reasons", "interval_reasons", "warnings"):
        out[name] = out[name].fillna("")
    out = out.reset_index()
    return out[[name for name in columns if name in out]]


def _worst(column: Column, anchors: pd.DataFrame, keys: list[pd.Series]) -> pd.Series:
    """The last of a column's words that any anchor of a group has."""
    order = YES_NO if set(column.choices) == set(YES_NO_UNKNOWN) else Scale(column.choices)
    rank = order.rank(anchors[column.name])
    return order.word(rank.groupby(keys, dropna=False).max())


def _alternative(anchors: pd.DataFrame, keys: list[pd.Series], recommended: pd.Series) -> pd.Series:
    """The least metal that suffices at every anchor of a group, where it is not the one advised."""
    own, other = (PLACEABLE.rank(anchors[f"material_{n}"]) for n in ("recommended", "alternative"))
    least = other.fillna(own).groupby(keys, dropna=False).max()
    return PLACEABLE.word(least.where(least != PLACEABLE.rank(recommended)))


def _first(column: Column, anchors: pd.DataFrame, keys: list[pd.Series]) -> pd.Series:
    """The earliest day of a group."""
    days = anchors[column.name].replace("", None)
    return days.groupby(keys, dropna=False).min().fillna("")


def _number(column: Column, anchors: pd.DataFrame, keys: list[pd.Series]) -> pd.Series:
    """How many anchors of a group have the word that `to_...` names."""
    source = column.sector.split(" of ")[1]
    word = column.name.removeprefix("to_").replace("_", " ")
    return (anchors[source] == word).groupby(keys, dropna=False).sum().astype("Int64")


def _counted(column: Column, anchors: pd.DataFrame, keys: list[pd.Series]) -> pd.Series:
    return _counts(anchors[column.sector.split(" of ")[1]].replace("", UNKNOWN), keys)


def _most_common(column: Column, anchors: pd.DataFrame, keys: list[pd.Series]) -> pd.Series:
    """The most frequent entry of a group, empty ones aside."""
    values = anchors[column.name]
    known = values != ""
    most = _counts(values[known], [key[known] for key in keys]).str.split(" x ").str[0]
    return most.reindex(values.groupby(keys, dropna=False).size().index).fillna("")


def _shared(column: Column, anchors: pd.DataFrame, keys: list[pd.Series]) -> pd.Series:
    return _shared_band(anchors[column.name], keys)


def _shared_band(band: pd.Series, keys: list[pd.Series]) -> pd.Series:
    """Band of a group: the worst a share of it has, or one below its worst anchor's."""
    place = BANDS.rank(band)
    groups = place.groupby(keys, dropna=False)
    worst = groups.max()
    # the band that a fifth of the anchors, rounded up, has or exceeds; unknown ones do not count
    fifth = groups.agg(
        lambda p: np.sort(p.dropna())[-_share_count(p)] if p.notna().any() else np.nan
    )
    return BANDS.word(np.maximum(fifth, worst - 1.0))


def _share_count(place: pd.Series) -> int:
    return max(1, int(np.ceil(WORST_SHARE * int(place.notna().sum()) - 1e-9)))


def _risk_share(band: pd.Series, keys: list[pd.Series], out: pd.DataFrame) -> pd.Series:
    """`severe at 1 of 13 anchors`: the worst band of a group and how many have it."""
    place = BANDS.rank(band)
    worst = place.groupby(keys, dropna=False).transform("max")
    count = (place == worst).groupby(keys, dropna=False).sum()
    text = (
        out["worst_band"].astype("str")
        + " at "
        + count.astype("str")
        + " of "
        + out["anchors"].astype("str")
        + np.where(out["anchors"] == 1, " anchor", " anchors")
    )
    return text.where(out["worst_band"] != "", "risk unknown")


def _governs(out: pd.DataFrame) -> np.ndarray:
    metal, rock = BANDS.rank(out["metal_band"]), BANDS.rank(out["rock_band"])
    cases = [metal > rock, rock > metal, metal.notna()]
    return np.select(cases, RISK_SOURCES, "").astype(object)


def _counts(values: pd.Series, keys: list[pd.Series]) -> pd.Series:
    """`316 x 12; unknown x 3`, the most frequent first."""
    count = values.groupby([*keys, values], dropna=False).size()
    count = count.rename_axis([*(k.name for k in keys), "value"]).rename("n").reset_index()
    count = count.sort_values(["n", "value"], ascending=[False, True], kind="stable")
    count["text"] = count["value"].astype("str") + " x " + count["n"].astype("str")
    return count.groupby([k.name for k in keys], dropna=False)["text"].agg("; ".join)


def _texts(anchors: pd.DataFrame, name: str, rows: pd.Series, by: list[str]) -> pd.Series:
    """The distinct sentences of a group's rows, in the order they first appear."""
    parts = anchors.loc[rows, [*by, name]].drop_duplicates()
    parts = parts.assign(**{name: parts[name].str.split(SEPARATOR, regex=False)}).explode(name)
    parts = parts[parts[name] != ""].drop_duplicates()
    return parts.groupby(by, dropna=False)[name].agg(SEPARATOR.join)


def _warnings(anchors: pd.DataFrame, by: list[str], size: pd.Series) -> pd.Series:
    """The warnings of a group, most pressing first, each with how many anchors it is about."""
    parts = anchors[[*by, "warnings"]]
    parts = parts.assign(warnings=parts["warnings"].str.split(SEPARATOR, regex=False))
    parts = parts.explode("warnings")
    parts = parts[parts["warnings"] != ""]
    count = parts.groupby([*by, "warnings"], dropna=False).size().rename("n")
    count = count.reset_index().join(size.rename("of"), on=by)
    order = {sentence: i for i, sentence in enumerate(SENTENCES.values())}
    count["order"] = count["warnings"].map(order).fillna(len(order))
    count.loc[count["warnings"].str.startswith(LEFT_OUT), "order"] = -1
    count = count.sort_values("order", kind="stable")
    some = " (" + count["n"].astype("str") + " of " + count["of"].astype("str") + " anchors)"
    count["warnings"] += some.where(count["n"] < count["of"], "")
    return count.groupby(by, dropna=False)["warnings"].agg(SEPARATOR.join)


_RULES: dict[str, Callable[[Column, pd.DataFrame, list[pd.Series]], pd.Series]] = {
    "worst": _worst,
    "shared": _shared,
    "first": _first,
    "most common": _most_common,
    "counts": _counted,
    "number": _number,
}
"""How a group carries a column of words or days, by the name of the rule (`Column.sector`)."""
