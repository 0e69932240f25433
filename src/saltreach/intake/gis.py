"""GIS forms of a register: GeoJSON, GeoPackage, GPX, KML, and frames of a program."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake.formats import Request, Table, key_value_pairs, text_frame
from saltreach.intake.headers import column_of

if TYPE_CHECKING:
    import geopandas as gpd

_KML_OWN_FIELDS = frozenset(
    ("id", "Name", "description", "timestamp", "begin", "end", "altitudeMode", "tessellate",
     "extrude", "visibility", "drawOrder", "icon", "snippet")
)  # fmt: skip
"""Fields the KML driver makes of the standard's own elements; not the user's columns."""


def _from_records(
    records: list[dict[str, Any]], points: np.ndarray, odd: np.ndarray, **more: Any
) -> Table:
    """Table of features given as one mapping each; columns in the order first seen."""
    headers = tuple(dict.fromkeys(key for record in records for key in record))
    columns = [[record.get(name) for record in records] for name in headers]
    return Table(
        headers,
        text_frame(columns, len(records)),
        np.arange(len(records)) + 1,
        points=points,
        odd_geometry=odd,
        **more,
    )


def _geojson_point(geometry: Any) -> tuple[float, float, Any]:
    if not isinstance(geometry, dict):
        return np.nan, np.nan, np.nan
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if kind == "MultiPoint" and isinstance(coordinates, list) and len(coordinates) == 1:
        kind, coordinates = "Point", coordinates[0]
    if kind != "Point":
        return np.nan, np.nan, str(kind)
    if not isinstance(coordinates, list) or len(coordinates) < 2:
        return np.nan, np.nan, np.nan
    numbers = [
        float(v) if isinstance(v, int | float) and not isinstance(v, bool) else np.nan
        for v in coordinates[:2]
    ]
    return numbers[0], numbers[1], np.nan


def read_geojson(path: Path, data: bytes, request: Request) -> Table:
    """Read GeoJSON points; WGS 84 (RFC 7946) unless an older file names its own CRS."""
    del request
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise RegisterError(f"{path.name}: not readable as GeoJSON ({error})") from error
    kind = document.get("type") if isinstance(document, dict) else None
    features = document.get("features") if kind == "FeatureCollection" else None
    if not isinstance(features, list) or not all(isinstance(f, dict) for f in features):
        raise RegisterError(
            f"{path.name}: not a GeoJSON FeatureCollection; export the points as GeoJSON (RFC 7946)"
        )
    if not features:
        raise RegisterError(f"{path.name}: no features in the file; give one point per anchor")
    found = [_geojson_point(f.get("geometry")) for f in features]
    records = [p if isinstance(p := f.get("properties"), dict) else {} for f in features]
    named = document.get("crs")
    about = named.get("properties") if isinstance(named, dict) else None
    own = about.get("name") if isinstance(about, dict) else None
    return _from_records(
        records,
        np.array([f[:2] for f in found], dtype=float),
        np.array([f[2] for f in found], dtype=object),
        format="GeoJSON",
        crs=own or "EPSG:4326",
        crs_is_assumed=own is None,
    )


def _geometry(frame: gpd.GeoDataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates of points (single points of multipoints too), and types of the others."""
    import shapely

    shapes = np.asarray(frame.geometry, dtype=object)
    single = (shapely.get_type_id(shapes) == 4) & (shapely.get_num_geometries(shapes) == 1)
    shapes = np.where(single, shapely.get_geometry(shapes, 0), shapes)
    shapes = np.where(shapely.is_empty(shapes), np.array(None, dtype=object), shapes)
    kinds = shapely.get_type_id(shapes)
    points = np.column_stack([shapely.get_x(shapes), shapely.get_y(shapes)])
    odd = np.full(len(shapes), np.nan, dtype=object)
    other = kinds > 0
    odd[other] = [shape.geom_type for shape in shapes[other]]
    return np.where((kinds == 0)[:, None], points, np.nan), odd


def _opened(path: Path, layer: str | int) -> tuple[gpd.GeoDataFrame, list[str]]:
    """One layer read by GDAL, and what GDAL warned of."""
    import pyogrio

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        frame = pyogrio.read_dataframe(path, layer=layer)
    return frame, [f"reading the file: {w.message}" for w in caught[:3]]


def _layers(path: Path) -> list[tuple[str, str | None]]:
    import pyogrio

    with warnings.catch_warnings():
        # What GDAL warns of here it says again when the layer is read.
        warnings.simplefilter("ignore")
        return [(str(name), kind) for name, kind in pyogrio.list_layers(path)]


def _chosen_layer(layers: list[tuple[str, str | None]], wanted: str | None, where: str) -> str:
    names = ", ".join(repr(name) for name, _ in layers) or "none"
    if wanted is not None:
        if wanted not in [name for name, _ in layers]:
            raise RegisterError(f"{where}: no layer {wanted!r}; layers: {names}")
        return wanted
    points = [name for name, kind in layers if kind and "Point" in kind]
    untyped = [name for name, kind in layers if kind in ("Unknown", "Unknown Z")]
    found = points or untyped
    if len(found) == 1:
        return found[0]
    problem = f"{len(found)} point layers" if found else "no point layer"
    raise RegisterError(f"{where}: {problem}; name one with --layer. Layers: {names}")


def read_gpkg(path: Path, data: bytes, request: Request) -> Table:
    """Read one point layer of an OGC GeoPackage."""
    from pyogrio.errors import DataSourceError, FieldError, GeometryError

    if not data.startswith(b"SQLite format 3\x00"):
        raise RegisterError(f"{path.name}: not a GeoPackage (it is no SQLite file)")
    try:
        layer = _chosen_layer(_layers(path), request.layer, path.name)
        frame, notes = _opened(path, layer)
    except (DataSourceError, FieldError, GeometryError) as error:
        raise RegisterError(f"{path.name}: not a readable GeoPackage ({error})") from error
    if not hasattr(frame, "geometry"):
        raise RegisterError(f"{path.name}: layer {layer!r} has no geometry; name a point layer")
    return from_frame(frame, "GeoPackage", tuple(notes))


def from_frame(
    frame: pd.DataFrame, format_: str, notes: tuple[str, ...] = (), *, keep_types: bool = False
) -> Table:
    """Table of a DataFrame, or of a GeoDataFrame with its points and CRS; the frame stays."""
    import geopandas as gpd

    geometry: dict[str, Any] = {}
    table = pd.DataFrame(frame)
    if isinstance(frame, gpd.GeoDataFrame) and frame.active_geometry_name is not None:
        points, odd = _geometry(frame)
        geometry = {"points": points, "odd_geometry": odd, "crs": frame.crs}
        table = table.loc[:, table.columns != frame.active_geometry_name]
    columns = [table.iloc[:, i].reset_index(drop=True) for i in range(table.shape[1])]
    known = pd.api.types.is_numeric_dtype  # truth values are numbers to it
    return Table(
        tuple(str(c) for c in table.columns),
        text_frame(columns, len(table)),
        np.arange(len(table)) + 1,
        format_,
        notes,
        typed={i: c for i, c in enumerate(columns) if known(c.dtype)} if keep_types else {},
        **geometry,
    )


def read_kml(path: Path, data: bytes, request: Request) -> Table:
    """Read the placemarks of all folders of a KML file (or of the folder named as layer)."""
    import pyogrio
    from pyogrio.errors import DataSourceError, FieldError, GeometryError

    if b"<kml" not in data[:4096]:
        raise RegisterError(f"{path.name}: not a KML file (no <kml> element at its start)")
    if "LIBKML" not in pyogrio.list_drivers():
        raise RegisterError(
            f"{path.name}: this GDAL cannot read the fields of KML (no LIBKML driver); "
            "save the register as GeoJSON"
        )
    try:
        layers = [name for name, _ in _layers(path)]
        if request.layer is not None:
            _chosen_layer([(name, None) for name in layers], request.layer, path.name)
        wanted = [
            i for i, name in enumerate(layers) if request.layer is None or name == request.layer
        ]
        opened = [_opened(path, i) for i in wanted]
    except (DataSourceError, FieldError, GeometryError) as error:
        raise RegisterError(f"{path.name}: not a readable KML file ({error})") from error
    frames = [f for f, _ in opened if len(f) and hasattr(f, "geometry")]
    if not frames:
        raise RegisterError(f"{path.name}: no placemarks in the file; give one point per anchor")
    notes = [note for _, more in opened for note in more]
    if len(frames) > 1:
        notes.append(f"placemarks of {len(frames)} folders read, in the order of the file")
    placemarks = pd.concat([pd.DataFrame(f) for f in frames], ignore_index=True)
    shapes = [_geometry(f) for f in frames]
    fields = [c for c in placemarks.columns if c not in _KML_OWN_FIELDS and c != "geometry"]
    columns = {name: placemarks[name] for name in fields}
    by_hand = request.columns or {}
    known = {column_of(name, grid=False) for name in fields} | set(by_hand)
    for own, name in (("Name", "anchor_id"), ("description", "notes")):
        if own in by_hand.values():
            columns[own] = placemarks[own]
        elif name not in known and placemarks[own].notna().any():
            columns[name] = placemarks[own]
    return Table(
        tuple(columns),
        text_frame(list(columns.values()), len(placemarks)),
        np.arange(len(placemarks)) + 1,
        "KML",
        tuple(notes),
        np.concatenate([points for points, _ in shapes]),
        np.concatenate([odd for _, odd in shapes]),
        "EPSG:4326",
    )


def _gpx_fields(waypoint: Any) -> dict[str, Any]:
    """Fields of one waypoint: its own elements, then key=value text, then extensions."""
    record: dict[str, Any] = {"anchor_id": waypoint.name}
    if waypoint.elevation is not None:
        record["elevation_m"] = waypoint.elevation
    free = []
    for text in (waypoint.description, waypoint.comment):
        pairs, rest = key_value_pairs(text or "")
        record |= pairs
        free += [rest] if rest and rest not in free else []
    for extension in waypoint.extensions:
        for element in extension.iter():
            if len(element) == 0 and element.text and isinstance(element.tag, str):
                record[element.tag.rpartition("}")[2]] = element.text
    if free:
        record.setdefault("notes", "; ".join(free))
    return record


def read_gpx(path: Path, data: bytes, request: Request) -> Table:
    """Read the waypoints of a GPX file."""
    del request
    import gpxpy
    from gpxpy.gpx import GPXException

    try:
        waypoints = gpxpy.parse(data.decode("utf-8-sig")).waypoints
    except (GPXException, ValueError) as error:
        raise RegisterError(f"{path.name}: not a readable GPX file ({error})") from error
    if not waypoints:
        raise RegisterError(f"{path.name}: no waypoints in the file; give one per anchor")
    points = np.array([[w.longitude, w.latitude] for w in waypoints], dtype=float)
    return _from_records(
        [_gpx_fields(w) for w in waypoints],
        points,
        np.full(len(waypoints), np.nan, dtype=object),
        format="GPX",
        crs="EPSG:4326",
    )
