"""Answers of open services in the shapes that their documentation shows, with invented content."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from rasterio.transform import from_origin
from werkzeug import Response

from helpers import openstreetmap as osm
from helpers.open_answers import hourly_answer, power_answer
from saltreach.layers.online import copernicus_dem


def in_parts(content: bytes, tag: str = "one") -> Callable[[Any], Response]:
    """A file that is given part by part, RFC 9110 section 14."""

    def answer(request: Any) -> Response:
        first, last = (int(n) for n in request.headers["Range"].removeprefix("bytes=").split("-"))
        last = min(last, len(content) - 1)
        head = {"Content-Range": f"bytes {first}-{last}/{len(content)}", "ETag": tag}
        return Response(content[first : last + 1], 206, headers=head)

    return answer


def tile(folder: Path, west: int, south: int, height_m: Callable[..., Any], *, cells: int = 240,
         columns: int | None = None) -> bytes:  # fmt: skip
    """A tile as the Copernicus DEM has it: the first cell's middle on the corner of the degree.

    `cells` a degree in place of 3600 keep it small.
    """
    columns = columns or cells
    lon = west + np.arange(columns) / columns
    lat = south + 1 - np.arange(cells) / cells
    values = np.broadcast_to(height_m(lon[None, :], lat[:, None]), (cells, columns))
    path = folder / f"{west}_{south}.tif"
    with rasterio.open(
        path, "w", driver="COG", width=columns, height=cells, count=1, dtype="float32",
        crs="EPSG:4326", compress="DEFLATE", blocksize=128, overviews="NONE",
        transform=from_origin(west - 0.5 / columns, south + 1 + 0.5 / cells, 1 / columns,
                              1 / cells),
    ) as raster:  # fmt: skip
        raster.write(values.astype("float32"), 1)
    return path.read_bytes()


def serve_tiles(server: Any, tiles: dict[tuple[int, int], bytes], missing: int = 404) -> str:
    """Have a server give tiles by their corner; the address of the bucket."""
    known = {f"/dem/{name}/{name}.tif": content for corner, content in tiles.items()
             for name in [copernicus_dem.tile_name(*corner)]}  # fmt: skip

    def answer(request: Any) -> Response:
        if request.path not in known:
            return Response("<Error><Code>NoSuchKey</Code></Error>", missing)
        return in_parts(known[request.path])(request)

    server.expect_request(re.compile("/dem/.*")).respond_with_handler(answer)
    return str(server.url_for("/dem"))


def unit(lith: str, source_id: int = 1, shape: Any = None, **more: Any) -> dict[str, Any]:
    """One unit as Macrostrat describes it, as a GeoJSON feature."""
    own = {
        "map_id": 7, "source_id": source_id, "name": "Example beds", "strat_name": "", "lith": lith,
        "descrip": "", "comments": "", "t_int_id": 1, "t_int_age": 100.5, "t_int_name": "Albian",
        "b_int_id": 2, "b_int_age": 113.0, "b_int_name": "Aptian", **more,
    }  # fmt: skip
    return {"type": "Feature", "properties": own, "geometry": shape}


def units(*features: dict[str, Any]) -> dict[str, Any]:
    """An answer of Macrostrat with GeoJSON inside."""
    return {"success": {"v": 2, "license": "CC-BY 4.0", "data": collection(*features)}}


def collection(*features: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A GeoJSON collection, RFC 7946."""
    return {"type": "FeatureCollection", "features": list(features), **more}


MAPS = {
    "success": {
        "v": 2,
        "data": [
            {"source_id": 1, "name": "Coarse map", "scale": "small", "authors": "A",
             "ref_year": "1999", "ref_title": "The world in one sheet", "ref_source": None},
            {"source_id": 2, "name": "Sheet 7", "scale": "large", "ref_source": "Example Survey",
             "ref_year": "2011", "ref_title": "Sheet 7"},
        ],
    }
}  # fmt: skip


def square(west: float, south: float, east: float, north: float) -> dict[str, Any]:
    """A GeoJSON polygon."""
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def respond(found: Any) -> Response:
    """JSON as a server sends it."""
    return Response(json.dumps(found), 200, content_type="application/json")


def every_service(server: Any, folder: Path, shore_lat: float) -> str:
    """A server that plays every open service around a place; a file of services that names it.

    The shore runs along a parallel, land south of it: a way of OpenStreetMap drawn westwards.
    """

    def overpass(request: Any) -> Response:
        query = request.form["data"]
        if "coastline" in query:
            return respond(osm.answer(
                osm.way(1, {"natural": "coastline"}, *((lon, shore_lat) for lon in
                        np.round(np.arange(-4.5, -6.51, -0.25), 2).tolist()))
            ))  # fmt: skip
        return respond(osm.answer(
            osm.way(2, {"highway": "trunk", "ref": "N-999", "name": "Camino inventado"},
                    (-5.21, shore_lat - 0.01), (-5.19, shore_lat - 0.01)),
            osm.node(3, {"place": "village", "name": "Aldea <b>inventada</b>"}, -5.2,
                     shore_lat - 0.02),
        ))  # fmt: skip

    def hourly(request: Any, **values: float) -> Response:
        where = (float(request.args[name]) for name in ("longitude", "latitude"))
        days = (request.args[name] for name in ("start_date", "end_date"))
        return respond(hourly_answer(*where, *days, **values))

    def height(lon: Any, lat: Any) -> Any:
        return np.maximum(0.0, (shore_lat - lat) * 4000.0) + 0.0 * lon

    serve_tiles(server, {(-6, 43): tile(folder, -6, 43, height)})
    for path, answer in {
        "/overpass": overpass,
        "/macrostrat/geologic_units/map": lambda _: respond(
            units(unit("Major:{limestone}", 2, square(-6, 43, -5, 44)))
        ),
        "/macrostrat/defs/sources": lambda _: respond(MAPS),
        "/power": lambda request: respond(power_answer(
            float(request.args["longitude"]), float(request.args["latitude"]), RH2M=71.0
        )),
        "/archive": lambda request: hourly(
            request, temperature_2m=12.0, relative_humidity_2m=85.0, precipitation=0.1,
            wind_speed_10m=5.0,
        ),
        "/air": lambda request: hourly(request, sulphur_dioxide=4.0),
    }.items():  # fmt: skip
        server.expect_request(path).respond_with_handler(answer)
    file = folder / "services.toml"
    addresses = {
        "overpass": "/overpass", "macrostrat": "/macrostrat", "copernicus_dem": "/dem",
        "nasa_power": "/power", "open_meteo_archive": "/archive", "open_meteo_air": "/air",
    }  # fmt: skip
    lines = [f'{name} = "{server.url_for(path)}"' for name, path in addresses.items()]
    file.write_text("\n".join(["pause_s = 0.0", *lines]) + "\n")
    return str(file)
