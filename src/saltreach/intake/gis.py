"""GIS forms of a register: GeoJSON, GeoPackage, and frames of a program (XML forms: `gis_xml`)."""

from __future__ import annotations

import json
import math
import re
import reprlib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import sizes
from saltreach.intake.formats import Request, Table, cell_text, text_frame
from saltreach.intake.gdal import layer_read, layers_of, quietly, readable

if TYPE_CHECKING:
    import geopandas as gpd

SMALLER = "cut it to the region, or save it as CSV"
"""What to do with a GIS file that is too large."""
_WHOLE_DIGITS = 300
"""A whole number of more digits fits no float, and Python refuses to read some."""


def small_enough(data: bytes, where: str) -> None:
    """Refuse text of a GIS file that would fill the memory once it is taken apart."""
    sizes.within(len(data), sizes.TEXT_BYTES, where, "bytes", SMALLER, RegisterError)


def features_table(
    records: Sequence[dict[str, Any]],
    points: np.ndarray,
    odd: np.ndarray,
    rows: np.ndarray,
    where: str,
    **more: Any,
) -> Table:
    """Table of features given as one mapping each; columns in the order first seen.

    Parameters
    ----------
    records : sequence of dict
        Fields of each feature.
    points : ndarray, shape (n, 2)
        Longitude and latitude, NaN where there is none.
    odd : ndarray of object
        What stands in place of a position, NaN where one does or where nothing stands.
    rows : ndarray of int
        Number of each feature in the file.
    where : str
        The file, for messages.
    **more
        Other fields of `Table`.
    """
    count = len(records)
    fix = "leave out fields that are no columns of a register"
    headers: dict[str, None] = {}
    for record in records:
        headers |= dict.fromkeys(record)
        sizes.within(len(headers), sizes.FIELDS, where, "different fields", fix, RegisterError)
    sizes.within(count * len(headers), sizes.CELLS, where, "cells", fix, RegisterError)
    return Table(
        tuple(map(_whole_text, headers)),
        text_frame(
            [[_whole_text(record.get(name)) for record in records] for name in headers], count
        ),
        rows,
        points=points,
        odd_geometry=odd,
        **more,
    )


def _whole_text(value: Any) -> Any:
    """A value whose text can be written: half of a surrogate pair becomes a question mark."""
    if isinstance(value, dict | list):
        try:
            value = cell_text(value)
        except RecursionError:  # read a level or two nearer to Python's limit
            return "..."
    if isinstance(value, str) and not value.isascii():
        return value.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return value


class _Twice(dict[str, Any]):
    """An object of JSON in which one key stands twice with different values."""

    key = ""


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    # of lists and objects only the last is kept, and it is not worth comparing them
    differ = [
        key for key, value in pairs
        if value is not found[key] and (isinstance(value, dict | list) or value != found[key])
    ]  # fmt: skip
    if differ:
        found = _Twice(found)
        found.key = differ[0]
    return found


def _whole_number(text: str) -> int | float:
    return int(text) if len(text) < _WHOLE_DIGITS else float(text)


def _json_text(data: bytes, where: str) -> tuple[str, tuple[str, ...]]:
    """Text of a JSON file in any of its encodings, or in Windows-1252, which is said."""
    encoding = json.detect_encoding(data)
    try:
        return data.decode(encoding).removeprefix("\ufeff"), ()
    except UnicodeDecodeError as error:
        try:
            return data.decode("cp1252"), (
                "text is not UTF-8 and was read as Windows-1252: check accents",
            )
        except UnicodeDecodeError:
            raise RegisterError(
                f"{where}: neither UTF-8 nor Windows-1252 text at byte {error.start}; "
                "save it as GeoJSON in UTF-8"
            ) from error


def _document(data: bytes, where: str) -> tuple[Any, tuple[str, ...]]:
    text, notes = _json_text(data, where)
    parts = data.count(b"{") + data.count(b"[")
    sizes.within(parts, sizes.JSON_PARTS, where, "objects and lists", SMALLER, RegisterError)
    sizes.within(data.count(b","), sizes.JSON_VALUES, where, "values", SMALLER, RegisterError)
    try:
        return json.loads(text, object_pairs_hook=_object, parse_int=_whole_number), notes
    except json.JSONDecodeError as error:
        cut = error.pos >= len(text.rstrip()) or error.msg.startswith("Unterminated string")
        said = "ends before it is complete (cut off?)" if cut else error.msg
        raise RegisterError(
            f"{where}: not readable as GeoJSON: line {error.lineno}, column {error.colno}: {said}; "
            "copy or export it again"
        ) from error
    except (RecursionError, MemoryError) as error:
        raise RegisterError(
            f"{where}: not readable as GeoJSON: lists or objects lie too deep inside each other; "
            "export the points again"
        ) from error


def _geojson_point(geometry: Any) -> tuple[float, float, Any]:
    """Longitude, latitude, and what stands there where that is no position."""
    if not isinstance(geometry, dict):
        return np.nan, np.nan, np.nan if geometry is None else reprlib.repr(geometry)
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if kind == "MultiPoint" and isinstance(coordinates, list) and len(coordinates) == 1:
        kind, coordinates = "Point", coordinates[0]
    if kind != "Point":
        return np.nan, np.nan, kind if isinstance(kind, str) else reprlib.repr(kind)
    if coordinates in (None, []):
        return np.nan, np.nan, np.nan
    if isinstance(coordinates, list) and len(coordinates) >= 2:
        numbers = [
            float(v) if isinstance(v, int | float) and not isinstance(v, bool) else math.nan
            for v in coordinates[:2]
        ]
        if all(map(math.isfinite, numbers)):
            return numbers[0], numbers[1], np.nan
    return np.nan, np.nan, f"coordinates {reprlib.repr(coordinates)}"


def _broken_feature(feature: Any) -> tuple[str, str, str] | None:
    """Value, reason and fix of an entry that is no feature, or says one thing in two ways."""
    if not isinstance(feature, dict):
        shown = "null" if feature is None else reprlib.repr(feature)
        return shown, "not a feature", "remove it, or give one feature per anchor"
    for part in (feature, feature.get("properties"), feature.get("geometry")):
        if isinstance(part, _Twice):
            return part.key, "this key stands twice, with different values", "keep the right one"
    return None


def read_geojson(path: Path, data: bytes, request: Request) -> Table:
    """Read GeoJSON points; WGS 84 (RFC 7946) unless an older file names its own CRS."""
    del request
    where = path.name
    small_enough(data, where)
    document, notes = _document(data, where)
    kind = document.get("type") if isinstance(document, dict) else None
    features = document.get("features") if kind == "FeatureCollection" else None
    if not isinstance(features, list):
        raise RegisterError(
            f"{where}: not a GeoJSON FeatureCollection; export the points as GeoJSON (RFC 7946)"
        )
    if isinstance(document, _Twice):
        raise RegisterError(
            f"{where}: the key {document.key!r} of the collection stands twice, with different "
            "values; keep the right one"
        )
    if not features:
        raise RegisterError(f"{where}: no features in the file; give one point per anchor")
    sizes.within(len(features), sizes.FEATURES, where, "features", SMALLER, RegisterError)
    broken = {i: why for i, f in enumerate(features) if (why := _broken_feature(f))}
    kept = [i for i in range(len(features)) if i not in broken]
    found = [_geojson_point(features[i].get("geometry")) for i in kept]
    given = [features[i].get("properties") for i in kept]
    named = document.get("crs")
    about = named.get("properties") if isinstance(named, dict) else None
    own = about.get("name") if isinstance(about, dict) else None
    own = own if isinstance(own, str) else None
    if not kept:
        value, reason, fix = broken[0]
        raise RegisterError(f"{where}: no feature can be read; the first, {value}: {reason}; {fix}")
    return features_table(
        [p if isinstance(p, dict) else {} for p in given],
        np.array([f[:2] for f in found], dtype=float),
        np.array([f[2] for f in found], dtype=object),
        np.array(kept, dtype=np.int64) + 1,
        where,
        format="GeoJSON",
        notes=notes,
        # what says its CRS in a way that cannot be read must not pass for WGS 84
        crs="EPSG:4326" if named is None else own,
        crs_is_assumed=named is None,
        bad_rows=tuple((i + 1, *said) for i, said in broken.items()),
    )


def _geometry(frame: gpd.GeoDataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates of points (single points of multipoints too), and types of the others."""
    return points_of(np.asarray(frame.geometry, dtype=object))


def points_of(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates of points, and types of what is none, of an array of geometries of shapely.

    A single point in a multipoint is a point; an empty geometry is none, and no other type.
    """
    import shapely

    single = (shapely.get_type_id(shapes) == 4) & (shapely.get_num_geometries(shapes) == 1)
    shapes = np.where(single, shapely.get_geometry(shapes, 0), shapes)
    shapes = np.where(shapely.is_empty(shapes), np.array(None, dtype=object), shapes)
    kinds = shapely.get_type_id(shapes)
    points = np.column_stack([shapely.get_x(shapes), shapely.get_y(shapes)])
    odd = np.full(len(shapes), np.nan, dtype=object)
    other = kinds > 0
    odd[other] = [shape.geom_type for shape in shapes[other]]
    return np.where((kinds == 0)[:, None], points, np.nan), odd


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
    if layers and all(kind is None for _, kind in layers):
        raise RegisterError(
            f"{where}: tables without points ({names}); save them as a layer of points, or as CSV"
        )
    raise RegisterError(f"{where}: {problem}; name one with --layer. Layers: {names}")


def read_gpkg(path: Path, data: bytes, request: Request) -> Table:
    """Read one point layer of an OGC GeoPackage."""
    import geopandas as gpd
    import pyogrio

    where = path.name
    if not data.startswith(b"SQLite format 3\x00"):
        raise RegisterError(f"{where}: not a GeoPackage (it is no SQLite file)")
    most = sizes.FEATURES
    fix = (
        "it is damaged, was not copied whole, or is no GeoPackage; copy it again, or open it in "
        "a GIS and save the layer anew"
    )
    with readable(path, f"{where}: not a readable GeoPackage", fix, RegisterError):
        layer = _chosen_layer(layers_of(path), request.layer, where)
        fields = len(quietly(pyogrio.read_info, path, layer=layer)["fields"])
        fewer = min(most, sizes.CELLS // max(fields, 1))
        # one more than is allowed: what the file says of its own length may be wrong
        frame, notes = layer_read(path, layer, max_features=fewer + 1)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise RegisterError(f"{where}: layer {layer!r} has no geometry; name a point layer")
    what = f"features of {fields} fields"
    sizes.within(len(frame), fewer, where, what, SMALLER, RegisterError)
    if not len(frame):
        raise RegisterError(f"{where}: layer {layer!r} has no features; give one point per anchor")
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


_LON_LAT = re.compile("lon|lat")


def named_values(rejected: pd.DataFrame, table: Table, anchor_id: pd.Series | None) -> pd.DataFrame:
    """Refused positions of a GIS file with the anchor's name: no program shows row numbers there.

    Parameters
    ----------
    rejected : DataFrame
        Refused rows.
    table : Table
        What was read.
    anchor_id : Series or None
        Names of its rows.
    """
    if table.points is None or anchor_id is None or not len(rejected):
        return rejected
    name = rejected["row"].map(anchor_id.set_axis(table.rows))
    placed = rejected["column"].str.match(_LON_LAT) & name.notna()
    said = rejected["value"] + " (anchor " + name.map(repr) + ")"
    return rejected.assign(value=rejected["value"].where(~placed, said.str.strip()))
