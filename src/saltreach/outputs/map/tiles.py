"""A map of very many anchors: what every sector shows at once, and the rest in tiles.

The page of a register of usual size holds all it knows. Beyond that it holds a row of few columns
for each sector, and tiles: some neighbouring sectors each, whole, with all their anchors. A tile is
JSON, deflated (RFC 1950) and written in base 64 (RFC 4648) into the page, where the browser unpacks
it when its sectors come close or their card is opened. So it stays one file that works offline: a
page opened from a disk may not read parts of a file beside it.
"""

from __future__ import annotations

import base64
import json
import re
import unicodedata
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.assessment.risk import BAND_LIMITS_PER_Y
from saltreach.outputs.map.colourings import COLOURINGS
from saltreach.outputs.map.columns import (
    FORECAST_YEARS,
    as_texts,
    ring_places,
    sector_columns,
)
from saltreach.outputs.window import label_points
from saltreach.vocabulary.columns import columns_of

if TYPE_CHECKING:
    import geopandas as gpd

WHOLE_ANCHORS, WHOLE_SECTORS = 100_000, 5_000
"""The page of a map up to this size holds everything at once; our own choice."""
TILE_ANCHORS = 2_000
"""A tile is full with so many anchors: a few hundredths of a second to open; our own choice."""
SECTOR_WEIGHT = 20
"""A sector takes the room of so many anchors in a tile, beside its own."""
BLOCK = 1_500
"""Sectors whose cells are made at a time."""
AT_ONCE = ("crag", "sector", "sea_cliff", "overdue", *(one.column for one in COLOURINGS))
"""What list, filters and drawing need of every sector."""
STEPS = 1e6
"""Of a degree: positions in tiles are whole numbers, each less the one before."""
NOWHERE_DEG = 999.0
"""A position that is not known: off every map."""
_CELLS = 1 << 16


@dataclass(frozen=True, eq=False)
class Tiles:
    """Which tile each sector is in, and the anchors in the order of the tiles.

    `of_sector` (n,): tile of each sector. `order` (m,): anchors as the page counts them.
    `start` (tiles + 1,): where each tile begins in that order.
    """

    of_sector: np.ndarray
    order: np.ndarray
    start: np.ndarray


def needed(anchors: int, sectors: int) -> bool:
    """Whether a map is so large that its page holds tiles."""
    return anchors > WHOLE_ANCHORS or sectors > WHOLE_SECTORS


def tiles_of(label: np.ndarray, sector: np.ndarray, places: np.ndarray, full: int) -> Tiles:
    """Tiles of neighbouring sectors.

    Parameters
    ----------
    label : ndarray, shape (n, 2)
        Longitude and latitude of each sector; NaN where it has none.
    sector : ndarray of int, shape (m,)
        Sector of each anchor; -1 for an anchor without one, which gets a tile with its like.
    places : ndarray, shape (m, 2)
        Longitude and latitude of each anchor.
    full : int
        A tile has at most so many anchors, but for one of a single sector that has more.

    Returns
    -------
    Tiles
        Every anchor is in one of them.
    """
    rank = np.empty(len(label), dtype=np.int64)
    along = np.argsort(_curve_place(label), kind="stable")
    rank[along] = np.arange(len(label))
    held = sector >= 0
    weight = np.bincount(sector[held], minlength=len(label)) + SECTOR_WEIGHT
    before = np.cumsum(weight[along]) - weight[along]
    tile = np.empty(len(label), dtype=np.int64)
    tile[along] = np.unique(before // full, return_inverse=True)[1]
    count = int(tile.max()) + 1 if len(tile) else 0
    # anchors of no sector lie along the same curve, in tiles of their own
    lost = np.flatnonzero(~held)
    lost = lost[np.argsort(_curve_place(places[lost]), kind="stable")]
    of_anchor = np.empty(len(sector), dtype=np.int64)
    within = np.empty(len(sector), dtype=np.int64)
    of_anchor[held], within[held] = tile[sector[held]], rank[sector[held]]
    of_anchor[lost], within[lost] = count + np.arange(len(lost)) // full, np.arange(len(lost))
    order = np.lexsort((within, of_anchor))
    tiles = max(count, int(of_anchor.max()) + 1 if len(of_anchor) else 0)
    start = np.searchsorted(of_anchor[order], np.arange(tiles + 1))
    return Tiles(tile, order, start)


def overview(
    sectors: gpd.GeoDataFrame, anchors: Mapping[str, Any], centre_lon: float, full: int
) -> tuple[dict[str, Any], dict[str, Any], Tiles]:
    """What the page holds at once of a map in tiles.

    Parameters
    ----------
    sectors : geopandas.GeoDataFrame
        In the order of the list.
    anchors : mapping
        From `saltreach.outputs.map.columns.anchor_columns`.
    centre_lon : float
        Longitudes are unwrapped around it.
    full : int
        As for `tiles_of`.

    Returns
    -------
    sectors : dict
        Columns as `codes` and `values`; `label` and `box` (west, south, east, north, in `STEPS`),
        `tile`, `name_rank`, and `bands_to_come`, a digit a year.
    anchors : dict
        `count`, `start` of each tile, `loose`: tiles of anchors without a sector, with their box.
    tiles : Tiles
    """
    label = label_points(sectors.geometry, centre_lon)
    places = np.column_stack([anchors["lon"], anchors["lat"]])
    of = np.asarray(anchors["sector"])
    tiles = tiles_of(label, of, places, full)
    shown = sector_columns(sectors, AT_ONCE)
    curves = sector_columns(sectors, ["failure_curve"])["failure_curve"]
    table: dict[str, Any] = {name: _dictionary(values) for name, values in shown.items()}
    table |= {
        "label": _whole(label),
        "box": _whole(_boxes(sectors, places, of, centre_lon)),
        "tile": tiles.of_sector,
        "name_rank": _name_rank(shown["crag"], shown["sector"]),
        "bands_to_come": _dictionary(pd.Series(_bands_to_come(curves), dtype=object)),
    }
    about = {
        "count": len(of),
        "start": tiles.start,
        "loose": [
            [k, *_around(places[tiles.order[tiles.start[k] : tiles.start[k + 1]]])]
            for k in range(int(tiles.of_sector.max(initial=-1)) + 1, len(tiles.start) - 1)
        ],
    }
    return table, about, tiles


def tile_elements(
    tiles: Tiles,
    sectors: gpd.GeoDataFrame,
    anchors: Mapping[str, Any],
    events: Mapping[str, Any],
    centre_lon: float,
) -> Iterator[str]:
    """A script element for each tile, which holds data and runs nothing.

    Parameters
    ----------
    tiles, sectors, anchors, centre_lon
        As for `overview`.
    events : mapping
        Last events of anchors: `anchor`, the row of `anchors`, and what is said of each.

    Yields
    ------
    str
        HTML.
    """
    names = [name for name in columns_of("sectors", shown="map") if name not in AT_ONCE]
    members = np.argsort(tiles.of_sector, kind="stable")
    first = np.searchsorted(tiles.of_sector[members], np.arange(len(tiles.start)))
    happened = _by_tile(events, tiles)
    cells = as_texts(sectors, names)
    for one, last in _blocks(first):
        own = members[first[one] : first[last]]
        block = sectors.iloc[own]
        made = sector_columns(cells.iloc[own], names)
        columns = {name: _listed(values) for name, values in made.items()}
        rings = _outlines(block, centre_lon)
        for k in range(one, last):
            part = slice(first[k] - first[one], first[k + 1] - first[one])
            rows = tiles.order[tiles.start[k] : tiles.start[k + 1]]
            tile = {
                "sector": own[part].tolist(),
                "columns": {name: values[part] for name, values in columns.items()},
                "outline": rings[part],
                "anchors": _anchors(anchors, rows),
                "events": happened(k),
            }
            yield _element(k, tile)


def _element(number: int, tile: Mapping[str, Any]) -> str:
    text = json.dumps(tile, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    packed = base64.b64encode(zlib.compress(text.encode("utf-8"), 6)).decode("ascii")
    return f'<script type="text/plain" id="tile-{number}">{packed}</script>\n'


def _blocks(first: np.ndarray) -> Iterator[tuple[int, int]]:
    """Runs of tiles that hold about `BLOCK` sectors."""
    tiles, one = len(first) - 1, 0
    while one < tiles:
        last = int(np.searchsorted(first, first[one] + BLOCK, side="right")) - 1
        last = min(max(last, one + 1), tiles)
        yield one, last
        one = last


def _anchors(anchors: Mapping[str, Any], rows: np.ndarray) -> dict[str, Any]:
    found: dict[str, Any] = {
        "anchor_id": anchors["anchor_id"].to_numpy(dtype=object)[rows].tolist(),
        "lon": _steps(anchors["lon"][rows]),
        "lat": _steps(anchors["lat"][rows]),
        "sector": anchors["sector"][rows].tolist(),
    }
    for name, column in anchors.items():
        if name in found:
            continue
        codes = column["codes"][rows]
        used, place = np.unique(codes, return_inverse=True)
        unknown = int(len(used) and used[0] < 0)
        found[name] = {
            "codes": (place - unknown).tolist(),
            "values": [column["values"][code] for code in used[unknown:]],
        }
    return found


def _by_tile(events: Mapping[str, Any], tiles: Tiles) -> Any:
    """What the events of one tile are: `anchor` is the place in the page's own order."""
    place = np.empty(len(tiles.order), dtype=np.int64)
    place[tiles.order] = np.arange(len(tiles.order))
    at = place[np.asarray(events["anchor"], dtype=np.int64)]
    of = np.searchsorted(tiles.start, at, side="right") - 1
    rows = {k: np.flatnonzero(of == k) for k in np.unique(of).tolist()}

    def happened(k: int) -> dict[str, Any]:
        own = rows.get(k, np.array([], dtype=np.int64))
        said = {name: np.asarray(v, dtype=object)[own].tolist() for name, v in events.items()}
        return {**said, "anchor": at[own].tolist()}

    return happened


def _outlines(sectors: gpd.GeoDataFrame, centre_lon: float) -> list[list[list[int]]]:
    """Rings of each shape as steps."""
    places, start, owner = ring_places(sectors, centre_lon)
    found: list[list[list[int]]] = [[] for _ in range(len(sectors))]
    whole = np.round(places * STEPS).astype(np.int64)
    for ring, of in zip(np.split(whole, start[1:]) if len(start) else [], owner, strict=True):
        found[of].append(np.diff(ring, axis=0, prepend=0).ravel().tolist())
    return found


def _boxes(
    sectors: gpd.GeoDataFrame, places: np.ndarray, sector: np.ndarray, centre_lon: float
) -> np.ndarray:
    """West, south, east, north of each sector's shape and anchors; NaN where it has neither."""
    rings, start, owner = ring_places(sectors, centre_lon)
    of_vertex = np.repeat(owner, np.diff(np.append(start, len(rings))))
    known = (sector >= 0) & np.isfinite(places).all(axis=1)
    xy = np.concatenate([rings, places[known]])
    of = np.concatenate([of_vertex, sector[known]])
    low, high = np.full((len(sectors), 2), np.inf), np.full((len(sectors), 2), -np.inf)
    np.minimum.at(low, of, xy)
    np.maximum.at(high, of, xy)
    return np.where(np.isfinite(np.hstack([low, high])), np.hstack([low, high]), np.nan)


def _around(places: np.ndarray) -> list[int]:
    known = places[np.isfinite(places).all(axis=1)]
    if not len(known):
        return [0, 0, 0, 0]
    edges = np.concatenate([known.min(axis=0), known.max(axis=0)])
    return np.round(edges * STEPS).astype(np.int64).tolist()


def _whole(degrees: np.ndarray) -> list[list[int] | None]:
    """Rows of degrees in `STEPS`; None where one is not known."""
    known = np.isfinite(degrees).all(axis=1)
    rows: list[Any] = np.round(np.where(known[:, None], degrees, 0) * STEPS).astype(int).tolist()
    for at in np.flatnonzero(~known):
        rows[at] = None
    return rows


def _steps(degrees: np.ndarray) -> list[int]:
    whole = np.round(np.nan_to_num(degrees, nan=NOWHERE_DEG) * STEPS).astype(np.int64)
    steps: list[int] = np.diff(whole, prepend=0).tolist()
    return steps


def _listed(values: Any) -> Any:
    """A column of some sectors as JSON can say it."""
    if not isinstance(values, pd.Series):
        return values
    if values.dtype.kind == "f":
        values = values.where(np.isfinite(values))
    return values.astype(object).where(values.notna(), None).tolist()


def _dictionary(values: pd.Series) -> dict[str, Any]:
    codes, distinct = pd.factorize(pd.Series(values, dtype=object))
    return {"codes": codes, "values": list(distinct)}


def _bands_to_come(curves: list[list[float] | None]) -> list[str | None]:
    """How many limits of the bands the probability of each year reaches, as digits."""
    fits = [place for place, curve in enumerate(curves) if curve is not None]
    found: list[str | None] = [None] * len(curves)
    if fits:
        years = np.array([curves[place] for place in fits])
        reached = np.searchsorted(np.array(BAND_LIMITS_PER_Y), years, side="right")
        digits = (reached + ord("0")).astype(np.uint8).view(f"S{FORECAST_YEARS + 1}")
        for place, one in zip(fits, digits.ravel().tolist(), strict=True):
            found[place] = one.decode("ascii")
    return found


def _name_rank(crags: Iterable[str | None], sectors: Iterable[str | None]) -> np.ndarray:
    """Place of each sector in the order of names: numbers in them count as numbers."""
    keys = pd.DataFrame({"crag": _natural(crags), "sector": _natural(sectors)})
    rank = np.empty(len(keys), dtype=np.int64)
    rank[keys.sort_values(["crag", "sector"], kind="stable").index] = np.arange(len(keys))
    return rank


def _natural(names: Iterable[str | None]) -> pd.Series:
    codes, distinct = pd.factorize(pd.Series(names, dtype=object))
    folded = [unicodedata.normalize("NFKD", name).casefold() for name in distinct]
    plainer = ["".join(c for c in name if not unicodedata.combining(c)) for name in folded]
    keys = [re.sub(r"\d+", lambda n: n.group().zfill(12), name) for name in plainer]
    return pd.Series(np.array([*keys, "\uffff"], dtype=object)[codes])


def _curve_place(lonlat: np.ndarray) -> np.ndarray:
    """Place along a curve that fills the plane (Morton's), so that neighbours stand together."""
    known = np.isfinite(lonlat).all(axis=1)
    if not known.any():
        return np.zeros(len(lonlat), dtype=np.int64)
    low, high = lonlat[known].min(axis=0), lonlat[known].max(axis=0)
    share = (np.where(known[:, None], lonlat, high) - low) / np.where(high > low, high - low, 1.0)
    cell = np.minimum(share * _CELLS, _CELLS - 1).astype(np.int64)
    for shift, mask in ((8, 0x00FF00FF), (4, 0x0F0F0F0F), (2, 0x33333333), (1, 0x55555555)):
        cell = (cell | (cell << shift)) & mask
    return np.asarray(cell[:, 0] | (cell[:, 1] << 1))
