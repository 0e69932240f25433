"""From anchors to sectors and crags: medians, worst cases, and one advice each."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import PROBABILITY_COLUMNS, probabilities_json
from saltreach.assessment.grouping import (
    Groups,
    counts_text,
    groups_of,
    joined,
    most_common,
    of_all,
    sentences_in,
    texts_in_order,
)
from saltreach.assessment.rock import rmr_class_or_empty
from saltreach.assessment.sector_kind import sector_kind
from saltreach.assessment.warnings import SENTENCES
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import (
    BANDS,
    DO_NOT_PLACE,
    LEFT_OUT,
    RISK_SOURCES,
    UNKNOWN,
    YES_NO,
    YES_NO_UNKNOWN,
    Scale,
)

WORST_SHARE = 0.2
"""A sector shows its worst anchor's band where at least this share of its anchors has it (or a
worse one); else one band below it. Both the worst and the share are said. Judgement."""


def aggregate(anchors: pd.DataFrame, by: list[str], groups: Groups | None = None) -> pd.DataFrame:
    """One row per group of anchors.

    Parameters
    ----------
    anchors : DataFrame
        Assessed anchors: of the whole register, or a part of it that holds whole groups.
    by : list of str
        `["crag", "sector"]` or `["crag"]`.
    groups : Groups, optional
        Of these anchors by those columns, where they are known already.

    Returns
    -------
    DataFrame
        The columns of the vocabulary's table `sectors` or `crags` that are worked out from
        anchors alone, each as its `sector` rule says, in the vocabulary's order. A group's metal
        is the best any of its anchors needs: one metal is bought for a sector, and another
        suffices only where it does at each of them. Bands of risk by
        `WORST_SHARE`, with `worst_band` and `risk_share`, the sentence on both.
    """
    groups = groups_of(anchors, by) if groups is None else groups
    numbers = anchors.groupby(groups.of)
    columns = columns_of(by[-1] + "s")
    out: dict[str, pd.Series] = {"anchors": pd.Series(groups.size)}
    for column in columns.values():
        if column.sector in ("median", "min", "max"):
            out[column.name] = getattr(numbers[column.name], column.sector)()
        elif (rule := _RULES.get(column.sector.split(" of ")[0])) is not None:
            out[column.name] = rule(column, anchors, groups)
    out["material_alternative"] = _alternative(anchors, groups, out["material_recommended"])
    out["worst_band"] = _worst(columns["risk_band"], anchors, groups)
    out["risk_share"] = _risk_share(anchors["risk_band"], groups, out["worst_band"])
    out["risk_governed_by"] = _governs(out)
    out["rmr_class"] = rmr_class_or_empty(out["rmr89"])
    if "sector" in by:
        advised = sector_kind(anchors, groups)
        out |= dict(advised.items())
        refused = advised["kind_advised"] == DO_NOT_PLACE
        out["embedment_required_mm"] = out["embedment_required_mm"].mask(refused)
    chances = numbers[list(PROBABILITY_COLUMNS)].mean()
    out["category_probabilities"] = probabilities_json(chances, PROBABILITY_COLUMNS)
    rank = PLACEABLE.rank(anchors["material_recommended"]).to_numpy(float)
    sets_metal = (rank == groups.highest(rank)[groups.of]) | np.isnan(rank)
    months = anchors["inspection_interval_months"].to_numpy(float, na_value=np.nan)
    sets_interval = (months == groups.lowest(months)[groups.of]) | np.isnan(months)
    out["reasons"] = texts_in_order(groups, anchors["material_reasons"], sets_metal)
    out["interval_reasons"] = texts_in_order(groups, anchors["interval_reasons"], sets_interval)
    out["warnings"] = _warnings(anchors["warnings"], groups)
    table = groups.names.assign(**out)
    return table[[name for name in columns if name in table]]


def _worst(column: Column, anchors: pd.DataFrame, groups: Groups) -> pd.Series:
    """The last of a column's words that any anchor of a group has."""
    order = YES_NO if set(column.choices) == set(YES_NO_UNKNOWN) else Scale(column.choices)
    rank = groups.highest(order.rank(anchors[column.name]).to_numpy(float))
    return order.word(pd.Series(rank))


def _alternative(anchors: pd.DataFrame, groups: Groups, recommended: pd.Series) -> pd.Series:
    """The least metal that suffices at every anchor of a group, where it is not the one advised."""
    own, other = (PLACEABLE.rank(anchors[f"material_{n}"]) for n in ("recommended", "alternative"))
    least = groups.highest(other.fillna(own).to_numpy(float))
    return PLACEABLE.word(pd.Series(least).where(least != PLACEABLE.rank(recommended)))


def _first(column: Column, anchors: pd.DataFrame, groups: Groups) -> pd.Series:
    """The earliest day of a group."""
    code, days = pd.factorize(anchors[column.name].replace("", None), sort=True)
    first = groups.lowest(np.where(code < 0, np.nan, code))
    at = np.where(np.isnan(first), len(days), first).astype(int)
    return pd.Series(np.append(np.asarray(days, dtype=object), "")[at], dtype="str")


def _number(column: Column, anchors: pd.DataFrame, groups: Groups) -> pd.Series:
    """How many anchors of a group have the word that `to_...` names."""
    source = column.sector.split(" of ")[1]
    word = column.name.removeprefix("to_").replace("_", " ")
    return pd.Series(groups.number((anchors[source] == word).to_numpy(bool)), dtype="Int64")


def _counted(column: Column, anchors: pd.DataFrame, groups: Groups) -> pd.Series:
    return counts_text(groups, anchors[column.sector.split(" of ")[1]].replace("", UNKNOWN))


def _most_common(column: Column, anchors: pd.DataFrame, groups: Groups) -> pd.Series:
    return most_common(groups, anchors[column.name])


def _shared(column: Column, anchors: pd.DataFrame, groups: Groups) -> pd.Series:
    return _shared_band(anchors[column.name], groups)


def _shared_band(band: pd.Series, groups: Groups) -> pd.Series:
    """Band of a group: the worst a share of it has, or one below its worst anchor's."""
    place = BANDS.rank(band).to_numpy(float)
    known = ~np.isnan(place)
    cell = groups.of[known] * len(BANDS) + place[known].astype(int)
    count = np.bincount(cell, minlength=len(groups) * len(BANDS)).reshape(-1, len(BANDS))
    # how many have a band or exceed it; unknown ones do not count
    have = np.cumsum(count[:, ::-1], axis=1)[:, ::-1]
    share = np.maximum(1, np.ceil(WORST_SHARE * have[:, 0] - 1e-9))
    fifth = (have >= share[:, None]).sum(axis=1) - 1.0
    worst = (have > 0).sum(axis=1) - 1.0
    band_of_all = np.maximum(fifth, worst - 1.0)
    return BANDS.word(pd.Series(np.where(have[:, 0] > 0, band_of_all, np.nan)))


def _risk_share(band: pd.Series, groups: Groups, worst: pd.Series) -> pd.Series:
    """`severe at 1 of 13 anchors`: the worst band of a group and how many have it."""
    place = BANDS.rank(band).to_numpy(float)
    count = groups.number(place == groups.highest(place)[groups.of])
    said = [
        f"{word} at {n} of {of} {'anchor' if of == 1 else 'anchors'}" if word else "risk unknown"
        for word, n, of in zip(worst, count.tolist(), groups.size.tolist(), strict=True)
    ]
    return pd.Series(said, dtype="str")


def _governs(out: Mapping[str, pd.Series]) -> np.ndarray:
    metal, rock = BANDS.rank(out["metal_band"]), BANDS.rank(out["rock_band"])
    cases = [metal > rock, rock > metal, metal.notna()]
    return np.select(cases, RISK_SOURCES, "").astype(object)


def _warnings(texts: pd.Series, groups: Groups) -> pd.Series:
    """The warnings of a group, most pressing first, each with how many anchors it is about."""
    tally = sentences_in(groups, texts)
    at = {sentence: i for i, sentence in enumerate(SENTENCES.values())}
    pressing = np.array(
        [-1 if w.startswith(LEFT_OUT) else at.get(w, len(at)) for w in tally.words], dtype=int
    )[tally.word]
    pieces = tally.words[tally.word] + of_all(tally.number, groups.size[tally.group])
    order = np.lexsort((tally.word, pressing, tally.group))
    return joined(groups, tally.group[order], pieces[order])


_RULES: dict[str, Callable[[Column, pd.DataFrame, Groups], pd.Series]] = {
    "worst": _worst,
    "shared": _shared,
    "first": _first,
    "most common": _most_common,
    "counts": _counted,
    "number": _number,
}
"""How a group carries a column of words or days, by the name of the rule (`Column.sector`)."""
