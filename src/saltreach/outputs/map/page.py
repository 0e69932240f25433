"""The interactive map of the sectors: one HTML file that opens with no network."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.assessment.attributions import attributions_of
from saltreach.assessment.land import land_around
from saltreach.assessment.risk import BAND_LIMITS_PER_Y
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
from saltreach.outputs.map.columns import (
    anchor_columns,
    sector_columns,
    sector_places,
    texts,
    worst_first,
)
from saltreach.outputs.map.leaflet import leaflet_frame
from saltreach.outputs.map.texts import catalogue, catalogues
from saltreach.outputs.shore import window_coast
from saltreach.outputs.window import map_window
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import CATEGORIES

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.assessment.backdrop import Backdrop
    from saltreach.assessment.result import Assessment


SCRIPTS = tuple(
    f"map/{name}.js"
    for name in (
        "base",
        "colouring",
        "surface",
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
    tiles, language, trips, left_out
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
        result, title=title, tiles=tiles, language=language, trips=trips, left_out=left_out
    )
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
    words = catalogues()
    data = map_data(sectors, anchors, coast, provenance, title=title, backdrop=backdrop)
    data["trips"] = _trips(data["sectors"], trips)
    data["events"] = _events(data["anchors"]["anchor_id"], events)
    if left_out:
        data["provenance"]["assumptions"] = [left_out, *provenance.get("assumptions", ())]
    data["language"] = language

    body, frame_script, data["tiles"], origins = leaflet_frame(data["map"], data["region"], tiles)
    scripts = [asset_text("map/leaflet.js"), frame_script, *map(asset_text, SCRIPTS)]
    styles = [asset_text("map/leaflet.css"), asset_text("map/map.css")]
    return render_template(
        "map/map.html",
        title=title,
        texts=words[language],
        left_out=bool(left_out or provenance.get("left_out")),
        attributions=attributions_of(provenance, backdrop),
        backdrop=backdrop is not None,
        languages=[(code, own["language_name"]) for code, own in words.items()],
        colourings=[(one["column"], one["label"]) for one in data["colourings"]],
        policy=page_policy(scripts, styles, origins),
        styles=styles,
        scripts=scripts,
        map_body=body,
        leaflet_licence=asset_text("map/LEAFLET_LICENSE.txt"),
        blocks=[json_block(words, "map-texts"), json_block(data, "map-data")],
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
    ordered = sectors.iloc[worst_first(sectors)].reset_index(drop=True)
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
        "sectors": sector_columns(ordered, columns_of("sectors", shown="map"))
        | sector_places(ordered, centre_lon),
        "anchors": anchor_columns(anchors, ordered, centre_lon),
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
    said = {name: texts(table, name) for name in ("happened_on", "kind", "who", "said")}
    return {"anchor": [place[name] for name in table["anchor_id"]], **said}
