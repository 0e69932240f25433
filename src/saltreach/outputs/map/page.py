"""The interactive map of the sectors: one HTML file that opens with no network."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.assessment.attributions import attributions_of
from saltreach.assessment.land import land_around
from saltreach.assessment.risk import BAND_LIMITS_PER_Y
from saltreach.folders.files import whole_file
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
from saltreach.outputs.map.surface import surface_data
from saltreach.outputs.map.texts import catalogue, catalogues
from saltreach.outputs.map.tiles import TILE_ANCHORS, needed, overview, tile_elements
from saltreach.outputs.shore import window_coast
from saltreach.outputs.window import map_window
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import CATEGORIES

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.assessment.backdrop import Backdrop
    from saltreach.assessment.result import Assessment
    from saltreach.assessment.surface_picture import Picture


SCRIPTS = tuple(
    f"map/{name}.js"
    for name in (
        "base",
        "anchors",
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
VERTICES = (30_000, 90_000)
"""Of the shore away from the anchors; a very large map has more islets near them."""
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
        As for `map_pieces`.

    Returns
    -------
    pathlib.Path
        The same path.

    Raises
    ------
    OptionError
        As `map_pieces`.
    """
    pieces = _pieces_of(
        result, title=title, tiles=tiles, language=language, trips=trips, left_out=left_out,
        surface=surface,
    )  # fmt: skip
    return write_pieces(path, pieces)


def write_pieces(path: Path, pieces: Iterable[str]) -> Path:
    """Write a page piece by piece, whole or not at all: it may be larger than one text should be.

    Returns
    -------
    pathlib.Path
        The same path.
    """
    with whole_file(path) as stream:
        for piece in pieces:
            stream.write(piece.encode("utf-8"))
    return path


def map_of(result: Assessment, *, title: str | None = None, **how: Any) -> str:
    """The interactive map of an assessment as HTML; `how` is that of `map_pieces`."""
    return "".join(_pieces_of(result, title=title, **how))


def _pieces_of(result: Assessment, *, title: str | None = None, **how: Any) -> Iterator[str]:
    title = title or Path(result.provenance["register"]["file"]).stem
    tables = (result.flat.sectors, result.flat.anchors, land_around(result).shapes)
    how |= {"backdrop": result.backdrop, "events": result.events}
    return map_pieces(*tables, result.provenance, title=title, **how)


def map_page(*tables: Any, **how: Any) -> str:
    """The interactive map as HTML, from what `map_pieces` takes."""
    return "".join(map_pieces(*tables, **how))


def map_pieces(
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
    tile_anchors: int | None = None,
) -> Iterator[str]:
    """The interactive map as HTML, in pieces. The same input gives the same text.

    All but the tiles of a very large map is computed before the first piece is asked for.

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
    tile_anchors : int, optional
        Put the anchors into tiles of so many, whatever their number; else only those of a very
        large map are (`saltreach.outputs.map.tiles`).

    Returns
    -------
    iterator of str
        One page with everything in it.

    Raises
    ------
    OptionError
        When `tiles` is neither known nor a URL, or `language` is not one of the map's.
    """
    catalogue(language)  # refuses an unknown language before any work
    words = catalogues()
    tiled = tile_anchors is not None or needed(len(anchors), len(sectors))
    region = _Region(sectors, anchors)
    data = _frame_data(region, coast, provenance, title=title, backdrop=backdrop)
    shown = anchor_columns(anchors, region.ordered, region.centre_lon)
    happened = _events(shown["anchor_id"], events)
    elements: Iterable[str] = ()
    if tiled:
        full = tile_anchors or TILE_ANCHORS
        data["sectors"], data["anchors"], own = overview(
            region.ordered, shown, region.centre_lon, full
        )
        data["tiled"] = True
        elements = tile_elements(own, region.ordered, shown, happened, region.centre_lon)
    else:
        data["sectors"], data["anchors"] = _whole_sectors(region), shown
    data["trips"] = _trips(region.ordered, trips)
    data["events"] = {} if tiled else happened
    if left_out:
        data["provenance"]["assumptions"] = [left_out, *provenance.get("assumptions", ())]
    data["language"] = language
    data["raster"] = None if surface is None else surface_data(surface)

    body, frame_script, data["tiles"], origins = leaflet_frame(data["map"], data["region"], tiles)
    scripts = [asset_text("map/leaflet.js"), frame_script, *map(asset_text, SCRIPTS)]
    styles = [asset_text("map/leaflet.css"), asset_text("map/map.css")]
    page = render_template(
        "map/map.html",
        title=title,
        texts=words[language],
        left_out=bool(left_out or provenance.get("left_out")),
        attributions=attributions_of(provenance, backdrop),
        backdrop=backdrop is not None,
        raster=data["raster"],
        languages=[(code, own_words["language_name"]) for code, own_words in words.items()],
        colourings=[(one["column"], one["label"]) for one in data["colourings"]],
        policy=page_policy(scripts, styles, origins),
        styles=styles,
        scripts=scripts,
        map_body=body,
        leaflet_licence=asset_text("map/LEAFLET_LICENSE.txt"),
        blocks=[json_block(words, "map-texts"), json_block(data, "map-data")],
    )
    # the tiles come last: the map is drawn while the browser still reads them
    most, _, end = page.rpartition("</body>")
    return chain([most], elements, [f"</body>{end}"])


def map_data(
    sectors: gpd.GeoDataFrame,
    anchors: gpd.GeoDataFrame,
    coast: gpd.GeoDataFrame,
    provenance: Mapping[str, Any],
    *,
    title: str,
    backdrop: Backdrop | None = None,
) -> dict[str, Any]:
    """What the page knows, as plain columns; see `map_pieces` for the parameters.

    Parameters
    ----------
    sectors, anchors, coast : geopandas.GeoDataFrame
        As for `map_pieces`.
    provenance : mapping
        As for `map_pieces`.
    title, backdrop
        As for `map_pieces`.

    Returns
    -------
    dict
        Ready for `saltreach.outputs.html.json_text`. Sectors come worst first. Longitudes are
        unwrapped around the region, so a region across the antimeridian is in one piece.
    """
    region = _Region(sectors, anchors)
    data = _frame_data(region, coast, provenance, title=title, backdrop=backdrop)
    data["sectors"] = _whole_sectors(region)
    data["anchors"] = anchor_columns(anchors, region.ordered, region.centre_lon)
    return data


class _Region:
    """Sectors in the order of the list, and where the map lies."""

    def __init__(self, sectors: gpd.GeoDataFrame, anchors: gpd.GeoDataFrame) -> None:
        self.centre_lon, self.bounds, self.window = map_window(sectors, anchors)
        self.ordered = sectors.iloc[worst_first(sectors)].reset_index(drop=True)
        places = np.column_stack([anchors.geometry.x, anchors.geometry.y])
        self.places = places[np.isfinite(places).all(axis=1)]


def _frame_data(
    region: _Region,
    coast: gpd.GeoDataFrame,
    provenance: Mapping[str, Any],
    *,
    title: str,
    backdrop: Backdrop | None,
) -> dict[str, Any]:
    """All that the page knows but sectors and anchors, whose place is kept."""
    room = VERTICES[needed(len(region.places), len(region.ordered))]
    kind, parts = window_coast(coast, region.window, places=region.places, max_vertices=room)
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
        "region": np.round(region.bounds, 5),
        "window": np.round(region.window, 5),
        "coast": {"kind": kind, "parts": [steps(part) for part in parts]},
        "backdrop": None
        if backdrop is None
        else backdrop_data(backdrop, region.window, region.places),
        "sectors": {},
        "anchors": {},
        "provenance": dict(provenance),
    }


def _whole_sectors(region: _Region) -> dict[str, Any]:
    return sector_columns(region.ordered, columns_of("sectors", shown="map")) | sector_places(
        region.ordered, region.centre_lon
    )


def _trips(sectors: pd.DataFrame, trips: pd.DataFrame | None) -> list[dict[str, Any]]:
    """The months of a plan, with the places of its sectors in the page."""
    names = zip(texts(sectors, "crag"), texts(sectors, "sector"), strict=True)
    place = {name: i for i, name in enumerate(names)}
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
    place = {} if events is None else {name: i for i, name in enumerate(anchors)}
    table = pd.DataFrame(columns=["anchor_id"]) if events is None else events
    table = table[table["anchor_id"].isin(place)].reset_index(drop=True)
    said = {name: texts(table, name) for name in ("happened_on", "kind", "who", "said")}
    return {"anchor": [place[name] for name in table["anchor_id"]], **said}
