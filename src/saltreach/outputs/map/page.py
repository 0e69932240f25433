"""The interactive map of the sectors: one HTML file that opens with no network."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.assessment.attributions import attributions_of
from saltreach.assessment.land import land_around
from saltreach.assessment.risk import BAND_LIMITS_PER_Y
from saltreach.assessment.shapes import unwrapped_lon
from saltreach.folders.files import atomic_write
from saltreach.outputs.html import (
    asset_text,
    json_block,
    page_policy,
    render_template,
)
from saltreach.outputs.map.behind import backdrop_data, steps
from saltreach.outputs.map.colourings import (
    BAND_STYLES,
    UNKNOWN_STYLE,
    colouring_records,
)
from saltreach.outputs.map.leaflet import leaflet_frame
from saltreach.outputs.map.surface import surface_data
from saltreach.outputs.map.texts import catalogue, catalogues
from saltreach.outputs.shore import window_coast
from saltreach.outputs.window import label_points, map_window
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import BANDS, CATEGORIES, SEPARATOR

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.assessment.backdrop import Backdrop
    from saltreach.assessment.result import Assessment
    from saltreach.assessment.surface_picture import Picture


FORECAST_YEARS = 30

SCRIPTS = tuple(
    f"map/{name}.js"
    for name in (
        "base",
        "colouring",
        "surface",
        "raster",
        "behind",
        "panel",
        "years",
        "trips",
        "card",
        "start",
    )
)
"""In order. A further panel is one more script before the last: it fills the page's `#panels`,
adds to `saltreach.filters` and listens with `saltreach.on`."""
MAP_ELEMENT = "map_sectors"
"""Name of the map's element and of its variable in the page."""


def write_map(
    result: Assessment,
    path: Path,
    *,
    title: str | None = None,
    tiles: str | None = None,
    language: str = "en",
    trips: pd.DataFrame | None = None,
    left_out: str = "",
    surface: Picture | None = None,
) -> Path:
    """Write the interactive map of an assessment, whole or not at all.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.
    path : pathlib.Path
        The HTML file.
    title : str, optional
        Heading; else the name of the register's file.
    tiles, language, trips, left_out, surface
        As for `map_page`.

    Returns
    -------
    pathlib.Path
        The same path.

    Raises
    ------
    OptionError
        As `map_page`.
    """
    page = map_of(
        result, title=title, tiles=tiles, language=language, trips=trips, left_out=left_out,
        surface=surface,
    )  # fmt: skip
    return atomic_write(path, page)


def map_of(result: Assessment, *, title: str | None = None, **how: Any) -> str:
    """The interactive map of an assessment as HTML; `how` is that of `map_page`."""
    title = title or Path(result.provenance["register"]["file"]).stem
    tables = (result.flat.sectors, result.flat.anchors, land_around(result).shapes)
    how |= {"backdrop": result.backdrop, "events": result.events}
    return map_page(*tables, result.provenance, title=title, **how)


def map_page(
    sectors: gpd.GeoDataFrame,
    anchors: gpd.GeoDataFrame,
    coast: gpd.GeoDataFrame,
    provenance: Mapping[str, Any],
    *,
    title: str,
    tiles: str | None = None,
    language: str = "en",
    trips: pd.DataFrame | None = None,
    left_out: str = "",
    backdrop: Backdrop | None = None,
    events: pd.DataFrame | None = None,
    surface: Picture | None = None,
) -> str:
    """The interactive map as HTML. The same input gives the same text.

    Parameters
    ----------
    sectors : geopandas.GeoDataFrame
        Polygons (see `saltreach.assessment.shapes.sector_shapes`), EPSG:4326, with the columns of
        the sector table. A column or value that is missing is shown as not known.
    anchors : geopandas.GeoDataFrame
        Points, EPSG:4326, with `anchor_id`, `crag`, `sector` and what is known of each.
    coast : geopandas.GeoDataFrame
        Land polygons or shoreline lines with a CRS; may be empty. Cut to the region here.
    provenance : mapping
        `time` (ISO), `layers` (list of mappings name, source, version, licence, accuracy),
        `options`, `software`, `register` (file, rows, rejected), `assumptions`.
    title : str
        Heading of the page.
    tiles : str, optional
        Name of a tile provider known to xyzservices, or a URL with {z}, {x}, {y}. Offered as a
        switch that is off at first, and fails softly without network.
    language : str
        Language the page opens in, one of `saltreach.outputs.map.texts.LANGUAGES`; the reader can
        choose another there.
    trips : pandas.DataFrame, optional
        Trips of a plan by month, from `saltreach.planning.visits.trips_by_month`.
    left_out : str
        What that plan left out of its tables, in sentences.
    backdrop : Backdrop, optional
        What is drawn behind the sectors; the reader can turn it off.
    events : pandas.DataFrame, optional
        Last events of anchors, from `saltreach.records.history.last_events`, for the cards.
    surface : Picture, optional
        From `saltreach.assessment.surface_picture`; drawn behind, with a legend and a switch.

    Returns
    -------
    str
        One page with everything in it.

    Raises
    ------
    OptionError
        When `tiles` is neither known nor a URL, or `language` is not one of the map's.
    """
    catalogue(language)  # refuses an unknown language before any work
    texts = catalogues()
    data = map_data(sectors, anchors, coast, provenance, title=title, backdrop=backdrop)
    data["trips"] = _trips(data["sectors"], trips)
    data["events"] = _events(data["anchors"]["anchor_id"], events)
    if left_out:
        data["provenance"]["assumptions"] = [left_out, *provenance.get("assumptions", ())]
    data["language"] = language
    data["raster"] = None if surface is None else surface_data(surface)

    body, frame_script, data["tiles"], origins = leaflet_frame(data["map"], data["region"], tiles)
    scripts = [asset_text("map/leaflet.js"), frame_script, *map(asset_text, SCRIPTS)]
    styles = [asset_text("map/leaflet.css"), asset_text("map/map.css")]
    return render_template(
        "map/map.html",
        title=title,
        texts=texts[language],
        left_out=bool(left_out or provenance.get("left_out")),
        attributions=attributions_of(provenance, backdrop),
        backdrop=backdrop is not None,
        raster=data["raster"],
        languages=[(code, words["language_name"]) for code, words in texts.items()],
        colourings=[(one["column"], one["label"]) for one in data["colourings"]],
        policy=page_policy(scripts, styles, origins),
        styles=styles,
        scripts=scripts,
        map_body=body,
        leaflet_licence=asset_text("map/LEAFLET_LICENSE.txt"),
        blocks=[json_block(texts, "map-texts"), json_block(data, "map-data")],
    )


def map_data(
    sectors: gpd.GeoDataFrame,
    anchors: gpd.GeoDataFrame,
    coast: gpd.GeoDataFrame,
    provenance: Mapping[str, Any],
    *,
    title: str,
    backdrop: Backdrop | None = None,
) -> dict[str, Any]:
    """What the page knows, as plain columns; see `map_page` for the parameters.

    Parameters
    ----------
    sectors, anchors, coast : geopandas.GeoDataFrame
        As for `map_page`.
    provenance : mapping
        As for `map_page`.
    title, backdrop
        As for `map_page`.

    Returns
    -------
    dict
        Ready for `saltreach.outputs.html.json_text`. Sectors come worst first. Longitudes are
        unwrapped around the region, so a region across the antimeridian is in one piece.
    """
    centre_lon, region, window = map_window(sectors, anchors)
    ordered = sectors.iloc[_worst_first(sectors)].reset_index(drop=True)
    places = np.column_stack([anchors.geometry.x, anchors.geometry.y])
    places = places[np.isfinite(places).all(axis=1)]
    kind, parts = window_coast(coast, window, places=places)
    return {
        "title": title,
        "map": MAP_ELEMENT,
        "bands": [asdict(style) for style in BAND_STYLES],
        "band_limits": list(BAND_LIMITS_PER_Y),
        "colourings": colouring_records(),
        "unknown_band": asdict(UNKNOWN_STYLE),
        "categories": list(CATEGORIES),
        "materials": list(PLACEABLE),
        "figures": [[c.name, c.unit] for c in columns_of("sectors", shown="card").values()],
        "region": np.round(region, 5),
        "window": np.round(window, 5),
        "coast": {"kind": kind, "parts": [steps(part) for part in parts]},
        "backdrop": None if backdrop is None else backdrop_data(backdrop, window, places),
        "sectors": _sector_columns(ordered, centre_lon),
        "anchors": _anchor_columns(anchors, ordered, centre_lon),
        "provenance": dict(provenance),
    }


def _trips(sectors: Mapping[str, Any], trips: pd.DataFrame | None) -> list[dict[str, Any]]:
    """The months of a plan, with the places of its sectors in the page."""
    place = {name: i for i, name in enumerate(zip(sectors["crag"], sectors["sector"], strict=True))}
    return [
        {
            "month": month.Index,
            "trips": month.trips,
            "visits": month.visits,
            "sectors": sorted(place[name] for name in month.sectors if name in place),
        }
        for month in ([] if trips is None else trips.itertuples())
    ]


def _events(anchors: pd.Series, events: pd.DataFrame | None) -> dict[str, Any]:
    """Last events, the last first, with the places of their anchors in the page."""
    place = {name: i for i, name in enumerate(anchors)}
    table = pd.DataFrame(columns=["anchor_id"]) if events is None else events
    table = table[table["anchor_id"].isin(place)].reset_index(drop=True)
    texts = {name: _texts(table, name) for name in ("happened_on", "kind", "who", "said")}
    return {"anchor": [place[name] for name in table["anchor_id"]], **texts}


def _worst_first(sectors: gpd.GeoDataFrame) -> np.ndarray:
    """Order of the list: by priority rank when there is one, then band, then the calendar."""
    keys = pd.DataFrame(
        {
            "rank": _numbers(sectors, "priority_rank"),
            "band": -BANDS.rank(_bands(sectors)),
            "overdue": _texts(sectors, "overdue").ne("yes"),
            "due": _texts(sectors, "next_inspection_on"),
            "crag": _texts(sectors, "crag"),
            "sector": _texts(sectors, "sector"),
        }
    )
    return keys.sort_values(list(keys), na_position="last", kind="stable").index.to_numpy()


def _column(frame: pd.DataFrame, name: str) -> pd.Series:
    """A column with a plain index; empty when the frame lacks it."""
    if name in frame.columns:
        return pd.Series(frame[name].array).reset_index(drop=True)
    return pd.Series([None] * len(frame), dtype=object)


def _numbers(frame: pd.DataFrame, name: str) -> pd.Series:
    return pd.to_numeric(_column(frame, name), errors="coerce").astype(float)


def _texts(frame: pd.DataFrame, name: str) -> pd.Series:
    """Text of a column; None where nothing is known. Booleans read yes and no."""
    values = _column(frame, name)
    known = values.notna()
    if pd.api.types.is_float_dtype(values.dtype) and (values[known] % 1 == 0).all():
        values = values.astype("Int64")  # a grade 3 read beside an unknown is not 3.0
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        values = values.dt.strftime("%Y-%m-%d")
    text = values.astype(object).map(str).str.strip().replace({"True": "yes", "False": "no"})
    return text.astype(object).where(known & (text != ""), None)


def _bands(frame: pd.DataFrame, name: str = "risk_band") -> pd.Series:
    band = _texts(frame, name)
    return band.where(band.isin(BANDS), None)


def _dates(frame: pd.DataFrame, name: str) -> pd.Series:
    return _texts(frame, name).map(lambda day: day[:10], na_action="ignore")


def _probabilities(value: object) -> list[float] | None:
    """Chance of C1 to CX from a mapping or its JSON text; None when it cannot be read."""
    if isinstance(value, str):
        try:
            value = json.loads(value)
        except json.JSONDecodeError:
            return None
    if not isinstance(value, Mapping):
        return None
    return [round(float(value.get(name) or 0.0), 4) for name in CATEGORIES]


def _curve(value: object) -> list[float | None] | None:
    """Yearly probabilities from a list or its JSON text; None when there are none to draw."""
    if isinstance(value, str):
        try:
            value = json.loads(value)
        except json.JSONDecodeError:
            return None
    if not isinstance(value, list | tuple | np.ndarray) or len(value) != FORECAST_YEARS + 1:
        return None
    years = pd.to_numeric(pd.Series(list(value)), errors="coerce").astype(float)
    known = years.between(0.0, 1.0)
    return [float(f"{p:.3g}") for p in years] if known.all() else None


def _sector_columns(sectors: gpd.GeoDataFrame, centre_lon: float) -> dict[str, Any]:
    columns = {
        name: _shown(sectors, column) for name, column in columns_of("sectors", shown="map").items()
    }
    columns["outline"] = _outlines(sectors, centre_lon)
    columns["label"] = np.round(label_points(sectors.geometry, centre_lon), 6)
    return columns


def _shown(frame: pd.DataFrame, column: Column) -> Any:
    """A column as the page holds it."""
    name = column.name
    if column.kind in ("number", "integer"):
        return _numbers(frame, name).round(column.decimals or 0)
    if column.kind == "day":
        return _dates(frame, name)
    if column.kind == "probabilities":
        return [_probabilities(value) for value in _column(frame, name)]
    if column.kind == "curve":
        return [_curve(value) for value in _column(frame, name)]
    if column.kind == "sentences":
        return [
            [part.strip() for part in (text or "").split(SEPARATOR) if part.strip()]
            for text in _texts(frame, name)
        ]
    return _bands(frame, name) if column.choices == BANDS else _texts(frame, name)


def _outlines(sectors: gpd.GeoDataFrame, centre_lon: float) -> list[list[np.ndarray]]:
    """Rings of each shape, every ring as lon, lat, lon, lat ..."""
    import shapely

    shapes = sectors.geometry.values
    outlines: list[list[np.ndarray]] = [[] for _ in range(len(shapes))]
    parts, owner = shapely.get_parts(np.asarray(shapes), return_index=True)
    rings, part_of = shapely.get_rings(parts, return_index=True)
    for ring, part in zip(rings, part_of, strict=True):
        coordinates = shapely.get_coordinates(ring)
        coordinates[:, 0] = unwrapped_lon(coordinates[:, 0], centre_lon)
        outlines[owner[part]].append(np.round(coordinates, 6).ravel())
    return outlines


def _anchor_columns(
    anchors: gpd.GeoDataFrame, sectors: gpd.GeoDataFrame, centre_lon: float
) -> dict[str, Any]:
    of_sector = pd.MultiIndex.from_frame(
        pd.DataFrame({name: _texts(sectors, name).fillna("") for name in ("crag", "sector")})
    )
    own = pd.MultiIndex.from_frame(
        pd.DataFrame({name: _texts(anchors, name).fillna("") for name in ("crag", "sector")})
    )
    columns: dict[str, Any] = {
        "anchor_id": _texts(anchors, "anchor_id"),
        "lon": np.round(unwrapped_lon(anchors.geometry.x.to_numpy(), centre_lon), 6),
        "lat": np.round(anchors.geometry.y.to_numpy(), 6),
        "sector": of_sector.get_indexer(own),
    }
    for name, column in columns_of("anchors", shown="anchor").items():
        values = _bands(anchors, name) if column.choices == BANDS else _texts(anchors, name)
        codes, known = pd.factorize(values, sort=True)
        columns[name] = {"codes": codes, "values": list(known)}
    return columns
