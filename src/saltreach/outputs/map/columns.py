"""The tables as the map's page holds them: one column at a time, a million rows as well."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.assessment.shapes import unwrapped_lon
from saltreach.outputs.window import label_points
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.words import BANDS, CATEGORIES, SEPARATOR

if TYPE_CHECKING:
    import geopandas as gpd

FORECAST_YEARS = 30
DECIMALS = 6
"""Of degrees: about 0.1 m."""


def worst_first(sectors: gpd.GeoDataFrame) -> np.ndarray:
    """Order of the list: by priority rank when there is one, then band, then the calendar."""
    keys = pd.DataFrame(
        {
            "rank": _numbers(sectors, "priority_rank"),
            "band": -BANDS.rank(_bands(sectors)),
            "overdue": texts(sectors, "overdue").ne("yes"),
            "due": texts(sectors, "next_inspection_on"),
            "crag": texts(sectors, "crag"),
            "sector": texts(sectors, "sector"),
        }
    )
    return keys.sort_values(list(keys), na_position="last", kind="stable").index.to_numpy()


def sector_columns(sectors: gpd.GeoDataFrame, names: Iterable[str]) -> dict[str, Any]:
    """Some columns of the sectors as the page holds them, in their order."""
    known = columns_of("sectors", shown="map")
    return {name: _shown(sectors, known[name]) for name in names}


def sector_places(sectors: gpd.GeoDataFrame, centre_lon: float) -> dict[str, Any]:
    """`outline`: rings of each shape, each lon, lat, lon, lat ...; `label`: where its mark is."""
    return {
        "outline": outlines(sectors, centre_lon),
        "label": np.round(label_points(sectors.geometry, centre_lon), DECIMALS),
    }


def outlines(sectors: gpd.GeoDataFrame, centre_lon: float) -> list[list[np.ndarray]]:
    """Rings of each shape, every ring as lon, lat, lon, lat ..."""
    places, start, owner = ring_places(sectors, centre_lon)
    found: list[list[np.ndarray]] = [[] for _ in range(len(sectors))]
    for ring, of in zip(np.split(places, start[1:]) if len(start) else [], owner, strict=True):
        found[of].append(ring.ravel())
    return found


def ring_places(
    sectors: gpd.GeoDataFrame, centre_lon: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices of all rings of the shapes, where each ring begins, and whose it is."""
    import shapely

    parts, owner = shapely.get_parts(np.asarray(sectors.geometry.values), return_index=True)
    rings, part_of = shapely.get_rings(parts, return_index=True)
    places, ring = shapely.get_coordinates(rings, return_index=True)
    places[:, 0] = unwrapped_lon(places[:, 0], centre_lon)
    start = np.searchsorted(ring, np.arange(len(rings)))
    return np.round(places, DECIMALS), start, owner[part_of]


def anchor_columns(
    anchors: gpd.GeoDataFrame, sectors: gpd.GeoDataFrame, centre_lon: float
) -> dict[str, Any]:
    """The anchors as the page holds them; a column of words as codes and what they stand for."""
    columns: dict[str, Any] = {
        "anchor_id": texts(anchors, "anchor_id"),
        "lon": np.round(unwrapped_lon(anchors.geometry.x.to_numpy(), centre_lon), DECIMALS),
        "lat": np.round(anchors.geometry.y.to_numpy(), DECIMALS),
        "sector": _named(sectors).get_indexer(_named(anchors)),
    }
    for name, column in columns_of("anchors", shown="anchor").items():
        columns[name] = coded(anchors, name, bands=column.choices == BANDS)
    return columns


def coded(frame: pd.DataFrame, name: str, *, bands: bool = False) -> dict[str, Any]:
    """`codes` (-1: not known) and the sorted `values` that they stand for."""
    codes, words = _factorized(_column(frame, name))
    meant = np.array([word is not None and (not bands or word in BANDS) for word in words], bool)
    values, place = np.unique(words[meant].astype(object), return_inverse=True)
    code_of = np.full(len(words) + 1, -1, dtype=np.int64)  # the last is that of an unknown
    code_of[:-1][meant] = place
    return {"codes": code_of[codes], "values": values.tolist()}


def texts(frame: pd.DataFrame, name: str) -> pd.Series:
    """Text of a column; None where nothing is known. Booleans read yes and no."""
    codes, words = _factorized(_column(frame, name))
    return pd.Series(np.array([*words, None], dtype=object)[codes], dtype=object)


def as_texts(sectors: gpd.GeoDataFrame, names: Iterable[str]) -> pd.DataFrame:
    """Some columns with their text in place of what is no number: parts read as the whole does."""
    known = columns_of("sectors", shown="map")
    return pd.DataFrame(
        {
            name: _column(sectors, name)
            if known[name].kind in ("number", "integer", "probabilities", "curve")
            else texts(sectors, name)
            for name in names
        }
    )


def _named(frame: pd.DataFrame) -> pd.MultiIndex:
    return pd.MultiIndex.from_frame(
        pd.DataFrame({name: texts(frame, name).fillna("") for name in ("crag", "sector")})
    )


def _column(frame: pd.DataFrame, name: str) -> pd.Series:
    """A column with a plain index; empty when the frame lacks it."""
    if name in frame.columns:
        return pd.Series(frame[name].array).reset_index(drop=True)
    return pd.Series([None] * len(frame), dtype=object)


def _factorized(values: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Code of each value (-1: not known) and the text of each code, or None."""
    if values.dtype == object and pd.api.types.infer_dtype(values, skipna=True) != "string":
        codes, found = np.arange(len(values)), values  # True and 1 are one to a table of codes
    else:
        codes, distinct = pd.factorize(values)
        found = pd.Series(distinct)
    known = found.notna()
    if pd.api.types.is_float_dtype(found.dtype) and (found[known] % 1 == 0).all():
        found = found.astype("Int64")  # a grade 3 read beside an unknown is not 3.0
    if pd.api.types.is_datetime64_any_dtype(found.dtype):
        found = found.dt.strftime("%Y-%m-%d")
    text = found.astype(object).map(str).str.strip().replace({"True": "yes", "False": "no"})
    return codes, text.astype(object).where(known & (text != ""), None).to_numpy(dtype=object)


def _numbers(frame: pd.DataFrame, name: str) -> pd.Series:
    return pd.to_numeric(_column(frame, name), errors="coerce").astype(float)


def _bands(frame: pd.DataFrame, name: str = "risk_band") -> pd.Series:
    band = texts(frame, name)
    return band.where(band.isin(BANDS), None)


def _shown(frame: pd.DataFrame, column: Column) -> Any:
    """A column as the page holds it."""
    name = column.name
    if column.kind in ("number", "integer"):
        return _numbers(frame, name).round(column.decimals or 0)
    if column.kind == "day":
        return texts(frame, name).map(lambda day: day[:10], na_action="ignore")
    if column.kind == "probabilities":
        return [_probabilities(value) for value in _column(frame, name)]
    if column.kind == "curve":
        return _curves(_column(frame, name))
    if column.kind == "sentences":
        return [
            [part.strip() for part in (text or "").split(SEPARATOR) if part.strip()]
            for text in texts(frame, name)
        ]
    return _bands(frame, name) if column.choices == BANDS else texts(frame, name)


def _read(value: object) -> object:
    """What a cell of JSON holds; None where it cannot be read."""
    if not isinstance(value, str):
        return value
    try:
        return json.loads(value)
    except json.JSONDecodeError:
        return None


def _probabilities(value: object) -> list[float] | None:
    """Chance of C1 to CX from a mapping or its JSON text; None when it cannot be read."""
    value = _read(value)
    if not isinstance(value, Mapping):
        return None
    return [round(float(value.get(name) or 0.0), 4) for name in CATEGORIES]


def _curves(column: pd.Series) -> list[list[float] | None]:
    """Yearly probabilities from lists or their JSON text; None where there are none to draw."""
    found: list[list[float] | None] = [None] * len(column)
    read = [_read(value) for value in column]
    fits = [
        place
        for place, one in enumerate(read)
        if isinstance(one, list | tuple | np.ndarray) and len(one) == FORECAST_YEARS + 1
    ]
    if not fits:
        return found
    flat = pd.Series([p for place in fits for p in read[place]], dtype=object)  # type: ignore[attr-defined]
    years = pd.to_numeric(flat, errors="coerce").to_numpy(float).reshape(len(fits), -1)
    known = ((years >= 0.0) & (years <= 1.0)).all(axis=1)
    short = np.char.mod("%.3g", years[known]).astype(float)
    for place, curve in zip(np.array(fits)[known], short.tolist(), strict=True):
        found[place] = curve
    return found
