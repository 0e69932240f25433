"""What a region pack changes: the same register with and without each of its parts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from saltreach.assessment.assess import assess
from saltreach.errors import OptionError
from saltreach.intake.options import Options
from saltreach.layers.climate_pack import NAME as CLIMATE
from saltreach.layers.climate_pack import YEARLY, ClimatePack, open_climate_pack
from saltreach.layers.pack import parts_of
from saltreach.vocabulary.columns import columns_of

if TYPE_CHECKING:
    from saltreach.intake import Register

GIVEN: dict[str, tuple[str, ...]] = {
    "coast": ("coast_distance_m", "coast_distance_sd_m", "sea_openness"),
    "rock": ("lithology", "rock_strength_mpa"),
    "heights": ("elevation_m", "sea_shielding"),
    CLIMATE: YEARLY,
    "air": ("so2_mg_m2_d",),
}  # fmt: skip
"""Columns that a part gives, or moves first."""
CLASSES = ("corrosivity_category", "crc", "scc_band")
DECIDED = (*CLASSES, "material_recommended", "risk_band", "inspection_interval_months")
"""Classes and decisions that may follow."""
WHOLE = "all parts"


class Comparison(NamedTuple):
    """What a pack changes.

    `values`: one row for each part and column that it gives: how many anchors have a value without
    and with it, both medians, and the median and 90th percentile of the change (numbers), or how
    many differ. `decisions`: one row for each part and decision: how many anchors change, and from
    what to what. `sources`: where a part has several sources, what each says of the anchors it
    knows, beside the embedded value of the same anchors, whether it is used or not. `anchors`: one
    row for each anchor, part and column that differs.
    """

    values: pd.DataFrame
    decisions: pd.DataFrame
    sources: pd.DataFrame
    anchors: pd.DataFrame


def compare_pack(
    register: Register, options: Options, *, on_step: Callable[[str], None] = lambda _: None
) -> Comparison:
    """Assess a register without a pack, with each part of it alone, and with all.

    Parameters
    ----------
    register : Register
        From `read_register`.
    options : Options
        Settings with a `pack_folder`, and its `pack_parts` where not all are to be compared.
    on_step : callable, optional
        Told the name of each step as it begins.

    Returns
    -------
    Comparison

    Raises
    ------
    OptionError
        No pack is given, or it has no part that gives values.
    LayerError
        The pack cannot be used.
    """
    if options.pack_folder is None:
        raise OptionError("pack_folder: give the region pack to compare with the embedded layers")
    held = parts_of(options.pack_folder)
    there = [name for name in held if name in GIVEN and name in (options.pack_parts or held)]
    if not there:
        raise OptionError(
            f"pack {options.pack_folder} has no part that gives values ({', '.join(GIVEN)})"
        )
    on_step("without the pack")
    before = assess(register, replace(options, pack_folder=None, pack_parts=())).flat.anchors
    runs = {name: (name,) for name in there} | ({WHOLE: tuple(there)} if len(there) > 1 else {})
    values, decisions, anchors = [], [], []
    for name, parts in runs.items():
        on_step(f"with {name}")
        after = assess(register, replace(options, pack_parts=parts)).flat.anchors
        columns = GIVEN.get(name, ())
        values += [_value(name, column, before[column], after[column]) for column in columns]
        decisions += [_decision(name, column, before, after) for column in DECIDED]
        anchors += [_differing(name, column, before, after) for column in (*columns, *DECIDED)]
    climate = replace(options, pack_parts=(CLIMATE,)) if CLIMATE in there else Options()
    return Comparison(
        pd.DataFrame(values), pd.DataFrame(decisions), _sources(open_climate_pack(climate), before),
        pd.concat(anchors, ignore_index=True),
    )  # fmt: skip


def _sources(pack: ClimatePack, before: pd.DataFrame) -> pd.DataFrame:
    """What every source of a pack's climate says, beside the embedded values."""
    rows = []
    at = before["lon"].to_numpy(float), before["lat"].to_numpy(float)
    for source, columns in pack.by_source(*at).items():
        for name, values in columns.items():
            known = np.isfinite(values)
            if not known.any():
                continue
            embedded = before[name].to_numpy(float)[known]
            apart = np.abs(values[known] - embedded)
            rows.append({
                "source": source, "column": name, "unit": columns_of("anchors")[name].unit,
                "anchors": int(known.sum()), "median": np.median(values[known]),
                "median_embedded": np.nan if np.isnan(embedded).all() else np.nanmedian(embedded),
                "median_apart": np.nan if np.isnan(apart).all() else np.nanmedian(apart),
            })  # fmt: skip
    return pd.DataFrame(rows, columns=["source", "column", "unit", "anchors", "median",
                                       "median_embedded", "median_apart"])  # fmt: skip


def _value(part: str, name: str, before: pd.Series, after: pd.Series) -> dict[str, object]:
    column = columns_of("anchors")[name]
    row: dict[str, object] = {
        "part": part, "column": name, "unit": column.unit, "anchors": len(before),
        "known_without": int(_known(before).sum()), "known_with": int(_known(after).sum()),
        "differ": int(_differ(before, after).sum()),
    }  # fmt: skip
    if column.kind in ("number", "integer"):
        a, b = (pd.to_numeric(one, errors="coerce").astype(float) for one in (before, after))
        change = (b - a).abs()
        row |= {
            "median_without": a.median(), "median_with": b.median(),
            "median_change": change.median(), "p90_change": change.quantile(0.9),
        }  # fmt: skip
    return row


def _decision(part: str, name: str, before: pd.DataFrame, after: pd.DataFrame) -> dict[str, object]:
    differ = _differ(before[name], after[name])
    moves = _text(before[name])[differ] + " to " + _text(after[name])[differ]
    counts = moves.value_counts()
    return {
        "part": part, "decision": name, "anchors_changed": int(differ.sum()),
        "changes": "; ".join(f"{count} from {move}" for move, count in counts.items()),
    }  # fmt: skip


def _differing(part: str, name: str, before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    differ = _differ(before[name], after[name]).to_numpy()
    rows = before.loc[differ, ["anchor_id", "crag", "sector"]].copy()
    return pd.DataFrame(rows).assign(
        part=part, column=name, without_pack=_text(before[name])[differ],
        with_pack=_text(after[name])[differ],
    )  # fmt: skip


def _known(column: pd.Series) -> pd.Series:
    return column.notna() & (column.astype(object).astype(str).str.strip() != "") & (
        column.astype(object).astype(str) != "unknown"
    )  # fmt: skip


def _differ(before: pd.Series, after: pd.Series) -> pd.Series:
    """Where two columns of the same anchors differ; unknown equals unknown."""
    if pd.api.types.is_numeric_dtype(before) and pd.api.types.is_numeric_dtype(after):
        a, b = before.to_numpy(float), after.to_numpy(float)
        same = np.isclose(a, b, rtol=1e-9, atol=1e-12, equal_nan=True)
        return pd.Series(~same, index=before.index)
    return _text(before) != _text(after)


def _text(column: pd.Series) -> pd.Series:
    """A column in words; a number to six digits, unknown where nothing is known."""
    if pd.api.types.is_numeric_dtype(column):
        shown = column.map(lambda value: f"{float(value):.6g}", na_action="ignore").astype(object)
    else:
        shown = column.astype(object)
    return shown.where(_known(column), "unknown").astype(str)
