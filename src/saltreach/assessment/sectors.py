"""From anchors to sectors and crags: medians, worst cases, and one advice each."""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import PROBABILITY_COLUMNS, probabilities_json
from saltreach.assessment.material import rank_of
from saltreach.assessment.resistance import sector_kind
from saltreach.assessment.rock import rmr_class_or_empty
from saltreach.assessment.warnings import SENTENCES
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import (
    ACTIONS,
    BANDS,
    CATEGORIES,
    DO_NOT_PLACE,
    RISK_SOURCES,
    SEPARATOR,
)

WORST_SHARE = 0.2
"""A sector shows its worst anchor's band where at least this share of its anchors has it (or a
worse one); else one band below it. Both the worst and the share are said. Judgement."""

MEDIANS = (
    "coast_distance_m", "coast_distance_sd_m", "elevation_m", "temperature_c",
    "relative_humidity_pct", "rain_mm_y", "wind_speed_m_s", "so2_mg_m2_d", "sea_openness",
    "time_of_wetness_h_y", "liquid_salt_share",
    "chloride_mg_m2_d", "chloride_mg_m2_d_p10", "chloride_mg_m2_d_p90",
    "steel_rate_um_y", "steel_rate_um_y_p10", "steel_rate_um_y_p90",
    "zinc_rate_um_y", "zinc_rate_um_y_p10", "zinc_rate_um_y_p90",
    "rock_strength_mpa", "rock_strength_mpa_p10", "rock_strength_mpa_p90",
    "joint_spacing_mm", "rmr89", "gsi", "capacity_kn_p05", "scc_hazard",
    "failure_probability_y1", "failure_probability_y1_p10", "failure_probability_y1_p90",
    "metal_probability_y1", "rock_probability_y1",
    "failure_probability_y10", "failure_probability_y30", "sea_salinity_g_kg", "salt_lake_m",
)  # fmt: skip
"""Columns of which a sector shows the median of its anchors."""


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
        Group columns, counts, medians of the exposures, worst case of categories, classes,
        metals, bands, intervals and due dates, and the reasons of the anchors that set them.
        A group's metal is the best any of its anchors needs: one metal is bought for a sector.
        Bands of risk by `WORST_SHARE`, with `worst_band` and `risk_share`, the sentence on both.
    """
    groups = anchors.groupby(by, sort=True, dropna=False)
    out = groups.size().rename("anchors").to_frame()
    out = out.join(groups[list(MEDIANS)].median())
    keys = [anchors[name] for name in by]

    def highest(name: str, order: tuple[str, ...]) -> pd.Series:
        rank = anchors[name].map({word: i for i, word in enumerate(order)})
        best = rank.groupby(keys, sort=True, dropna=False).max()
        return best.map(dict(enumerate(order))).astype("object").fillna("")

    for name in ("material_minimum", "material_recommended", "material_alternative"):
        out[name] = highest(name, MATERIAL_NAMES)
    for name, order in (
        ("corrosivity_category", CATEGORIES),
        ("crc", ("I", "II", "III", "IV", "V")),
        ("scc_band", BANDS),
        ("scc_band_confident", BANDS),
        ("overdue", ("no", "yes")),
    ):
        out[name] = highest(name, order)
    for name in ("risk_band", "metal_band", "rock_band"):
        out[name] = _shared_band(anchors[name], keys)
    out["worst_band"] = highest("risk_band", BANDS)
    out["risk_share"] = _risk_share(anchors["risk_band"], keys, out)
    out["risk_governed_by"] = _governs(out)
    for action in ACTIONS:
        at = (anchors["action"] == action).groupby(keys, sort=True, dropna=False).sum()
        out["to_" + action.replace(" ", "_")] = at.astype("Int64")
    out["actions"] = _counts(anchors["action"], keys)
    by_day = anchors["replace_by"].replace("", None)
    out["replace_by"] = by_day.groupby(keys, sort=True, dropna=False).min().fillna("")
    out["salt_lake"] = highest("salt_lake", tuple(sorted(set(anchors["salt_lake"]) - {""})))
    out["crf"] = groups["crf"].min()
    out["inspection_interval_months"] = groups["inspection_interval_months"].min()
    for name in ("rock_axial_kn_p05", "rock_radial_kn_p05"):
        out[name] = groups[name].min()
    for name in ("embedment_required_mm", "diameter_required_mm"):
        out[name] = groups[name].max()
    known = anchors["resistance_mode"] != ""
    modes = _most_common(anchors.loc[known, "resistance_mode"], [key[known] for key in keys])
    out["resistance_mode"] = modes.reindex(out.index).fillna("")
    out["rmr_class"] = rmr_class_or_empty(out["rmr89"])
    out["kinds_advised"] = _counts(anchors["kind_advised"], keys)
    if "sector" in by:
        out = out.join(sector_kind(anchors, by))
        refused = out["kind_advised"] == DO_NOT_PLACE
        out["embedment_required_mm"] = out["embedment_required_mm"].mask(refused)
    due = anchors["next_inspection_on"].replace("", None)
    out["next_inspection_on"] = due.groupby(keys, sort=True, dropna=False).min().fillna("")
    out["sea_cliff"] = highest("sea_cliff", ("no", "yes"))
    out["materials_present"] = _counts(anchors["material"], keys)
    out["risk_bands"] = _counts(anchors["risk_band"].replace("", "unknown"), keys)
    out["lithology"] = _most_common(anchors["lithology"], keys)
    out = out.join(groups[list(PROBABILITY_COLUMNS)].mean())
    out["category_probabilities"] = probabilities_json(out, PROBABILITY_COLUMNS)
    out = out.drop(columns=list(PROBABILITY_COLUMNS))
    rank = rank_of(anchors["material_recommended"])
    sets_metal = rank == rank.groupby(keys, dropna=False).transform("max")
    months = anchors["inspection_interval_months"].astype(float)
    sets_interval = months == months.groupby(keys, dropna=False).transform("min")
    out["reasons"] = _texts(anchors, "material_reasons", sets_metal | rank.isna(), by)
    out["interval_reasons"] = _texts(anchors, "interval_reasons", sets_interval | months.isna(), by)
    out["warnings"] = _warnings(anchors, by, out["anchors"])
    for name in ("reasons", "interval_reasons", "warnings"):
        out[name] = out[name].fillna("")
    return out.reset_index()


def _places(band: pd.Series) -> pd.Series:
    return band.map({word: float(i) for i, word in enumerate(BANDS)})


def _shared_band(band: pd.Series, keys: list[pd.Series]) -> pd.Series:
    """Band of a group: the worst a share of it has, or one below its worst anchor's."""
    place = _places(band)
    groups = place.groupby(keys, sort=True, dropna=False)
    worst = groups.max()
    # the band that a fifth of the anchors, rounded up, has or exceeds; unknown ones do not count
    fifth = groups.agg(
        lambda p: np.sort(p.dropna())[-_share_count(p)] if p.notna().any() else np.nan
    )
    return np.maximum(fifth, worst - 1.0).map(dict(enumerate(BANDS))).fillna("")


def _share_count(place: pd.Series) -> int:
    return max(1, int(np.ceil(WORST_SHARE * int(place.notna().sum()) - 1e-9)))


def _risk_share(band: pd.Series, keys: list[pd.Series], out: pd.DataFrame) -> pd.Series:
    """`severe at 1 of 13 anchors`: the worst band of a group and how many have it."""
    place = _places(band)
    worst = place.groupby(keys, dropna=False).transform("max")
    count = (place == worst).groupby(keys, sort=True, dropna=False).sum()
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
    metal, rock = _places(out["metal_band"]), _places(out["rock_band"])
    cases = [metal > rock, rock > metal, metal.notna()]
    return np.select(cases, RISK_SOURCES, "").astype(object)


def _counts(values: pd.Series, keys: list[pd.Series]) -> pd.Series:
    """`316 x 12; unknown x 3`, the most frequent first."""
    count = values.groupby([*keys, values], dropna=False).size()
    count = count.rename_axis([*(k.name for k in keys), "value"]).rename("n").reset_index()
    count = count.sort_values(["n", "value"], ascending=[False, True], kind="stable")
    count["text"] = count["value"].astype("str") + " x " + count["n"].astype("str")
    return count.groupby([k.name for k in keys], sort=True, dropna=False)["text"].agg("; ".join)


def _most_common(values: pd.Series, keys: list[pd.Series]) -> pd.Series:
    return _counts(values, keys).str.split(" x ").str[0]


def _texts(anchors: pd.DataFrame, name: str, rows: pd.Series, by: list[str]) -> pd.Series:
    """The distinct sentences of a group's rows, in the order they first appear."""
    parts = anchors.loc[rows, [*by, name]].drop_duplicates()
    parts = parts.assign(**{name: parts[name].str.split(SEPARATOR, regex=False)}).explode(name)
    parts = parts[parts[name] != ""].drop_duplicates()
    return parts.groupby(by, sort=True, dropna=False)[name].agg(SEPARATOR.join)


def _warnings(anchors: pd.DataFrame, by: list[str], size: pd.Series) -> pd.Series:
    """The warnings of a group, most pressing first, each with how many anchors it is about."""
    parts = anchors[[*by, "warnings"]]
    parts = parts.assign(warnings=parts["warnings"].str.split(SEPARATOR, regex=False))
    parts = parts.explode("warnings")
    parts = parts[parts["warnings"] != ""]
    count = parts.groupby([*by, "warnings"], sort=True, dropna=False).size().rename("n")
    count = count.reset_index().join(size.rename("of"), on=by)
    order = {sentence: i for i, sentence in enumerate(SENTENCES.values())}
    count["order"] = count["warnings"].map(order).fillna(len(order))
    count = count.sort_values("order", kind="stable")
    some = " (" + count["n"].astype("str") + " of " + count["of"].astype("str") + " anchors)"
    count["warnings"] += some.where(count["n"] < count["of"], "")
    return count.groupby(by, sort=True, dropna=False)["warnings"].agg(SEPARATOR.join)
