"""What the rock bears: resistance as placed, embedment required, kind advised, and a risk word.

Everything here is the rock's side: the metal is taken as whole. OUR OWN RULES, common practice
without a source, are the tables `RESISTANCE_BANDS` and `STRENGTH_BANDS`.

Registers hold many equal anchors, and the science is computed once for each distinct row. To
keep those few, inputs are rounded to the weaker side: strength down in steps of 3 %, its sigma
up in steps of 0.02, distances down to the centimetre (5 cm beyond 20 cm), joint spacing down in
steps of 5 %, GSI down to even numbers, embedment down to the millimetre. So a result is never
higher than the exact one, and lower by a few percent at most.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from saltreach.decisions.reasons import SEPARATOR
from saltreach.science.capacity import anchor_resistance, is_mechanical
from saltreach.science.placement import (
    BONDED_LONGER,
    DO_NOT_PLACE,
    EN959_RADIAL_KN,
    MECHANICAL_OR_BONDED,
    MECHANICAL_STRENGTH_P10_MPA,
    SOFT_ROCK_MEDIAN_MPA,
    TOO_WEAK_MEDIAN_MPA,
    advised_kind,
    en959_minimum_mm,
    required_diameter_mm,
    required_embedment_mm,
    too_close,
)

STRENGTH_STEP_LN, SIGMA_STEP, SPACING_STEP_LN, GSI_STEP = 0.03, 0.02, 0.05, 2.0
NEAR_STEP_MM, FAR_STEP_MM, FAR_MM = 10.0, 50.0, 200.0
CRACK_FAR_MM, EDGE_FAR_MM = 500.0, 1000.0
"""Farther than these a crack or an edge takes nothing from an anchor of 300 mm, the longest."""

RESISTANCE_BANDS = ((1.25, "low"), (1.0, "moderate"), (0.75, "raised"), (0.5, "high"),
                    (0.0, "severe"))  # fmt: skip
"""Least 5th percentile of the resistance over the required load, the worse of axial and radial,
for each band. Soft rock (median below 25 MPa) is `raised` at best; hollow sound, W5, W6 and rock
of 5 MPa or less are `severe`."""

STRENGTH_BANDS = "moderate", "raised", "high", "severe"
"""Where length or diameter in the rock is not known, strength alone: 50 MPa or more with 90 %
probability, median of 25 MPa or more, above 5 MPa, weaker."""

SPOILT = "Too near its crack or edge for any embedment."
"""Reason of a place that its own crack or edge spoils and not its rock: see `sector_kind`."""


def _floor_steps(values: Any, step: float) -> np.ndarray:
    return np.floor(np.asarray(values, dtype=float) / step + 1e-9) * step


def _floor_ln(values: Any, step: float) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.exp(_floor_steps(np.log(np.asarray(values, dtype=float)), step))


def _floor_distance(values: Any, far: float) -> np.ndarray:
    distance = np.minimum(np.asarray(values, dtype=float), far)
    near = _floor_steps(distance, NEAR_STEP_MM)
    return np.where(distance >= FAR_MM, _floor_steps(distance, FAR_STEP_MM), near)


def rounded_rock(table: pd.DataFrame) -> dict[str, Any]:
    """The rock's inputs of the resistance, rounded to the weaker side (see the module).

    Parameters
    ----------
    table : DataFrame
        Columns `rock_strength_mpa`, `rock_sigma_ln`, `crack_distance_mm`, `edge_distance_mm`,
        `joint_spacing_mm`, `gsi`.

    Returns
    -------
    dict
        Arguments of `capacity.anchor_resistance` and `placement.required_embedment_mm`.
    """
    sigma = table["rock_sigma_ln"].to_numpy(float)
    return {
        "strength_median_mpa": _floor_ln(table["rock_strength_mpa"], STRENGTH_STEP_LN),
        "strength_sigma_ln": np.ceil(sigma / SIGMA_STEP - 1e-9) * SIGMA_STEP,
        "crack_distance_mm": _floor_distance(table["crack_distance_mm"], CRACK_FAR_MM),
        "edge_distance_mm": _floor_distance(table["edge_distance_mm"], EDGE_FAR_MM),
        "joint_spacing_mm": _floor_ln(table["joint_spacing_mm"], SPACING_STEP_LN),
        "gsi": _floor_steps(table["gsi"], GSI_STEP),
    }


def rock_resistance(
    table: pd.DataFrame, axial_kn: float, radial_kn: float = EN959_RADIAL_KN
) -> pd.DataFrame:
    """Resistance as placed, and what to place instead.

    Parameters
    ----------
    table : DataFrame
        Columns `kind`, `diameter_mm`, `embedment_mm`, those of `rounded_rock`, and `rock_veto`.
    axial_kn, radial_kn : float
        Required loads, kN.

    Returns
    -------
    DataFrame
        The result columns from `rock_axial_kn_p05` to `kind_reasons`, and the working columns
        `rock_too_close` (distances that break the rule of thumb), `embedment_short` (below
        EN 959's length) and `resistance_short` (5th percentile below a required load).

    Notes
    -----
    The embedment required is that of a new anchor in this place: bonded, or mechanical where
    the rock allows it and a mechanical one stands there now. Its diameter is that of the
    anchor in place, but never thinner than `diameter_required_mm`.
    """
    kind = table["kind"].fillna("").astype("str").to_numpy(object)
    diameter, embedment = (table[n].to_numpy(float) for n in ("diameter_mm", "embedment_mm"))
    veto = table["rock_veto"].to_numpy(object)
    rock = rounded_rock(table)
    found = anchor_resistance(kind, diameter, _floor_steps(embedment, 1.0), **rock)
    axial, radial = found.axial_kn_p05 / axial_kn, found.radial_kn_p05 / radial_kn
    least = float(required_diameter_mm(axial_kn, radial_kn))
    advice, why, needed = _advice(kind, np.fmax(diameter, least), rock, table, axial_kn, radial_kn)
    too_near, _ = too_close(
        embedment,
        edge_distance_mm=table["edge_distance_mm"].to_numpy(float),
        crack_distance_mm=table["crack_distance_mm"].to_numpy(float),
    )
    ratio = np.minimum(axial, radial)
    mode = np.where(axial <= radial, found.axial_mode + ", axial", found.radial_mode + ", radial")
    return pd.DataFrame(
        {
            "rock_kn_p05": np.minimum(found.axial_kn_p05, found.radial_kn_p05),
            "rock_kn_p50": np.minimum(found.axial_kn_p50, found.radial_kn_p50),
            "rock_axial_kn_p05": found.axial_kn_p05,
            "rock_radial_kn_p05": found.radial_kn_p05,
            "resistance_mode": np.where(np.isnan(ratio), "", mode),
            "rock_band": rock_band(ratio, table["rock_strength_mpa"],
                                   table["rock_strength_mpa_p10"], veto),
            "embedment_required_mm": needed,
            "diameter_required_mm": least,
            "kind_advised": advice,
            "kind_reasons": why,
            "rock_too_close": too_near,
            "embedment_short": embedment < en959_minimum_mm(kind, diameter),
            "resistance_short": ratio < 1.0,
        },
        index=table.index,
    )  # fmt: skip


def _advice(
    kind: np.ndarray,
    diameter_mm: np.ndarray,
    rock: dict[str, Any],
    table: pd.DataFrame,
    axial_kn: float,
    radial_kn: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Kind advised, the sentences why, and the embedment it needs."""
    loads = {"axial_kn": axial_kn, "radial_kn": radial_kn}
    veto = table["rock_veto"].to_numpy(object)
    needed, governs = required_embedment_mm("bonded", diameter_mm, **rock, **loads)
    advice, reason = advised_kind(
        table["rock_strength_mpa"], table["rock_sigma_ln"], veto=veto, required_mm=needed
    )
    as_now = (advice == MECHANICAL_OR_BONDED) & (is_mechanical(kind) > 0)
    if as_now.any():
        some = {name: values[as_now] for name, values in rock.items()}
        needed[as_now], governs[as_now] = required_embedment_mm(
            kind[as_now], diameter_mm[as_now], **some, **loads
        )
    refused = (advice == DO_NOT_PLACE) | np.isnan(needed)
    needed = np.where(advice == DO_NOT_PLACE, np.nan, needed)
    what = np.where(as_now, "mechanical", "bonded").astype(object)
    depth = (
        pd.Series(needed).map("{:.0f}".format).to_numpy(object)
        + " mm "
        + what
        + " at "
        + pd.Series(diameter_mm).map("{:g}".format).to_numpy(object)
        + " mm diameter: "
        + governs
        + " governs."
    )
    reason = pd.Series(reason).map({r: f"{r[:1].upper()}{r[1:]}." for r in set(reason)})
    reason = reason.mask(_spoilt(advice, veto, diameter_mm, rock, loads), SPOILT)
    why = reason.to_numpy(object) + np.where(refused, "", SEPARATOR + depth)
    return advice, why, needed


def _spoilt(
    advice: np.ndarray,
    veto: np.ndarray,
    diameter_mm: np.ndarray,
    rock: dict[str, Any],
    loads: dict[str, float],
) -> np.ndarray:
    """Refused places whose rock would bear the loads farther from the crack or edge."""
    out = np.zeros(len(advice), dtype=bool)
    near = ~np.isnan(rock["crack_distance_mm"]) | ~np.isnan(rock["edge_distance_mm"])
    asked = np.flatnonzero((advice == DO_NOT_PLACE) & (veto == "") & near)
    if len(asked):
        clear = {name: values[asked] for name, values in rock.items() if "distance" not in name}
        needed, _ = required_embedment_mm("bonded", diameter_mm[asked], **clear, **loads)
        strong = rock["strength_median_mpa"][asked] > TOO_WEAK_MEDIAN_MPA
        out[asked] = ~np.isnan(needed) & strong
    return out


def rock_band(ratio: Any, strength_mpa: Any, strength_p10_mpa: Any, veto: Any) -> np.ndarray:
    """Risk of the rock in one of five words, by `RESISTANCE_BANDS` and `STRENGTH_BANDS`.

    Parameters
    ----------
    ratio : array_like
        5th percentile of the resistance over the required load; NaN where not known.
    strength_mpa, strength_p10_mpa : array_like
        Median and 10th percentile of the strength, MPa.
    veto : array_like of str
        Why no anchor should stand here, or empty.

    Returns
    -------
    numpy.ndarray of str
        A band, empty where neither strength nor a veto is known.

    Examples
    --------
    >>> rock_band([1.3, 1.3, float("nan")], [150, 20, 150], [90, 9, 90], "").tolist()
    ['low', 'raised', 'moderate']
    """
    ratio, median, low, veto = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (ratio, strength_mpa, strength_p10_mpa)),
        np.asarray(veto, dtype=object),
    )
    words = [word for _, word in RESISTANCE_BANDS]
    by_ratio = np.select([ratio >= least for least, _ in RESISTANCE_BANDS], range(5), -1)
    by_strength = np.select(
        [low >= MECHANICAL_STRENGTH_P10_MPA, median >= SOFT_ROCK_MEDIAN_MPA,
         median > TOO_WEAK_MEDIAN_MPA],
        [words.index(w) for w in STRENGTH_BANDS[:3]],
        words.index(STRENGTH_BANDS[3]),
    )  # fmt: skip
    place = np.where(np.isnan(ratio), by_strength, by_ratio)
    place = np.where(median < SOFT_ROCK_MEDIAN_MPA, np.maximum(place, words.index("raised")), place)
    place = np.where(median <= TOO_WEAK_MEDIAN_MPA, words.index("severe"), place)
    place = np.where(veto != "", words.index("severe"), place)
    known = ~np.isnan(median) | (veto != "")
    return np.array([*words, ""], dtype=object)[np.where(known, place, len(words))]


def sector_kind(anchors: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """The kind advised for each sector, and why.

    Parameters
    ----------
    anchors : DataFrame
        Columns `kind_advised`, `kind_reasons` and the group's.
    by : list of str
        Columns of the group.

    Returns
    -------
    DataFrame
        `kind_advised`: the worst advice of the group's anchors, so that one hollow place turns
        all of it to `do not place here`. A place that only its own crack or edge spoils
        (`SPOILT`) does not count unless every place is so: the sector's next anchor goes
        elsewhere. `kind_reasons`: the distinct reasons of the anchors that set it, each with
        how many of the group it is about.
    """
    order = (DO_NOT_PLACE, BONDED_LONGER, "bonded", MECHANICAL_OR_BONDED)
    rank = anchors["kind_advised"].map({word: float(i) for i, word in enumerate(order)})
    spoilt = anchors["kind_reasons"] == SPOILT
    counts = rank.where(~spoilt)
    keys = [anchors[name] for name in by]
    worst = counts.groupby(keys, sort=True, dropna=False).transform("min")
    worst = worst.fillna(rank.groupby(keys, sort=True, dropna=False).transform("min"))
    sets = (rank == worst) | worst.isna()
    parts = anchors.loc[sets, [*by, "kind_reasons"]]
    parts = parts.assign(kind_reasons=parts["kind_reasons"].str.split(SEPARATOR, regex=False))
    parts = parts.explode("kind_reasons")
    # the depth of the deepest place stands for all of them: one length is bought for a sector
    first = parts[~parts["kind_reasons"].str.contains(" governs.", regex=False)]
    count = first.groupby([*by, "kind_reasons"], sort=True, dropna=False).size().rename("n")
    size = anchors.groupby(by, sort=True, dropna=False).size().rename("of")
    count = count.reset_index().join(size, on=by)
    some = " (" + count["n"].astype("str") + " of " + count["of"].astype("str") + " anchors)"
    count["kind_reasons"] += some.where(count["n"] < count["of"], "")
    deepest = anchors.assign(depth=anchors["embedment_required_mm"].where(sets))
    deepest = deepest[deepest["depth"].notna()].sort_values("depth", kind="stable")
    last = deepest["kind_reasons"].str.split(SEPARATOR, regex=False).str[-1]
    deepest = deepest.assign(kind_reasons="Deepest place: " + last)
    deepest = deepest.drop_duplicates(by, keep="last")
    text = pd.concat([count[[*by, "kind_reasons"]], deepest[[*by, "kind_reasons"]]])
    out = rank.where(sets).groupby(keys, sort=True, dropna=False).min().to_frame("kind_advised")
    out["kind_advised"] = out["kind_advised"].map(dict(enumerate(order))).fillna("unknown")
    out["kind_reasons"] = text.groupby(by, sort=True, dropna=False)["kind_reasons"].agg(
        SEPARATOR.join
    )
    return out.fillna({"kind_reasons": ""})
