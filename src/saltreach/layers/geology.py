"""Rock type from a geological map: polygons with a legend column, or coded cells.

No lithology is embedded: no package of the public registries carries one. Rock type comes from
the register, from a file the user gives, from a region pack, or is unknown. How entries are read:
`rock_types`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from saltreach.errors import LayerError
from saltreach.intake import sizes
from saltreach.intake.cells import number_text
from saltreach.intake.gdal import about_layers, existing, layer_read, readable
from saltreach.intake.positions import is_usable
from saltreach.intake.rock_mapping import read_rock_mapping
from saltreach.layers import rock_units
from saltreach.layers.embedded import sha256_of
from saltreach.layers.layer import Layer, Origin, Value, joined, lonlat
from saltreach.layers.pack import packed
from saltreach.layers.raster import cell_position, open_raster, windows
from saltreach.layers.rock_types import mapped_lithology, same_rock
from saltreach.vocabulary.words import UNKNOWN

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.intake.options import Options

RASTER_SUFFIXES = frozenset((".tif", ".tiff", ".vrt", ".asc", ".img", ".grd"))
_FIX = (
    "give polygons (GeoPackage, GeoJSON, shapefile ...) or a raster "
    f"({', '.join(sorted(RASTER_SUFFIXES))})"
)


@dataclass(frozen=True)
class RockMap:
    """What a geological map says at the anchors.

    `legend` is the map's text or code at each anchor (empty outside), `unit` all the map says
    there in one line, `lithology` our name for it or `unknown`. `overlaps` counts anchors on which
    polygons of different rock lie.
    """

    legend: np.ndarray
    lithology: np.ndarray
    unit: np.ndarray
    origin: Origin
    overlaps: int = 0
    mapping: Mapping[str, str] = field(default_factory=dict)


def rock_map_at(
    lon: ArrayLike,
    lat: ArrayLike,
    path: str | Path,
    *,
    column: str | None = None,
    mapping: Mapping[str, str] | None = None,
    more: Sequence[str] = (),
    origin: Origin | None = None,
) -> RockMap:
    """What a geological map says at positions.

    Parameters
    ----------
    lon, lat : array_like
        WGS 84 degrees, shape (n,).
    path : path
        Polygons in any format GDAL reads, or a raster of codes (`RASTER_SUFFIXES`). It must
        name its CRS; positions are moved into it.
    column : str, optional
        Column of the polygons that names the rock; required for polygons, refused for rasters.
    mapping : mapping, optional
        From `read_rock_mapping`; required for rasters, whose codes mean nothing alone.
    more : sequence of str, optional
        Further columns of the polygons to show with the rock.
    origin : Origin, optional
        What the map is; by default a file of the user's.

    Returns
    -------
    RockMap

    Raises
    ------
    LayerError
        The file is missing, unreadable, without CRS, without the column, or holds no polygons.

    Notes
    -----
    Where polygons overlap the smallest governs, it is the more detailed unit; among equals the
    first of the file. A position on a shared boundary is such an overlap. Outside the map, and
    in empty cells, the rock is unknown.
    """
    file = Path(path)
    existing(file, "geology file", LayerError)
    position = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
    known = dict(mapping or {})
    overlaps = 0
    if file.suffix.lower() in RASTER_SUFFIXES:
        if column is not None:
            raise LayerError(
                f"geology file {file.name} is a raster and has no columns; leave --rock-column out"
            )
        if not known:
            raise LayerError(
                f"geology file {file.name} is a raster of codes; say what they mean with "
                "--rock-mapping FILE (CSV with columns code and lithology)"
            )
        legend = unit = _raster_codes(file, *position)
    else:
        legend, unit, overlaps = _polygon_legend(file, column, more, known, *position)
    return RockMap(
        legend=legend,
        lithology=mapped_lithology(legend, known),
        unit=unit,
        origin=origin or map_origin(file, column),
        overlaps=overlaps,
        mapping=known,
    )


def map_origin(file: Path, column: str | None) -> Origin:
    """What a geological map is, for the provenance."""
    return Origin(
        name=f"geology-file-{file.name}",
        quantity="lithology",
        source=file.name,
        licence="the user's",
        accuracy="the map's own scale; not known here",
        sha256=sha256_of(file),
        note=(f"legend column {column}; " if column else "")
        + "the smallest polygon governs where several overlap",
    )


def rock_values(
    anchors: pd.DataFrame, rock_map: RockMap | None, mapping: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Rock of each anchor: the register's own word first, then the map's.

    Parameters
    ----------
    anchors : DataFrame
        Column `rock_type`.
    rock_map : RockMap or None
        What `rock_map_at` said at these anchors.
    mapping : mapping, optional
        The user's mapping; it reads the register's words as well.

    Returns
    -------
    DataFrame
        `lithology`, `lithology_source` (register, the layer's name, or unknown), `rock_unit` (all
        that the map says there), and the
        working columns `rock_disagreement` (a sentence where register and map name different
        rocks) and `rock_unread` (an entry that names no rock of the table, where that leaves
        the rock unknown). Same rows, same index.
    """
    word = anchors["rock_type"].astype(object).fillna("").astype("str").str.strip()
    own = pd.Series(mapped_lithology(word, mapping or {}), index=anchors.index)
    if rock_map is None:
        mapped = pd.Series(UNKNOWN, index=anchors.index, dtype=object)
        legend = unit = pd.Series("", index=anchors.index)
        layer = ""
    else:
        mapped = pd.Series(rock_map.lithology, index=anchors.index)
        unit = pd.Series(rock_map.unit, index=anchors.index)
        legend, layer = pd.Series(rock_map.legend, index=anchors.index), rock_map.origin.name
    given, found = own != UNKNOWN, mapped != UNKNOWN
    both = (given & found).to_numpy()
    disagreement = pd.Series("", index=anchors.index)
    apart = np.flatnonzero(both)[~same_rock(own[both], mapped[both])]
    disagreement.iloc[apart] = (
        "Rock: the register says " + own.iloc[apart] + ", the map " + mapped.iloc[apart]
        + "; the register's is used."
    )  # fmt: skip
    neither = np.flatnonzero(~given & ~found)
    entry = pd.Series(np.where(word != "", word, legend)[neither], dtype="str")
    unread = pd.Series("", index=anchors.index)
    unread.iloc[neither] = entry.where(entry.str.casefold() != UNKNOWN, "").to_numpy()
    return pd.DataFrame(
        {
            "lithology": own.where(given, mapped),
            "lithology_source": np.select([given, found], ["register", layer], UNKNOWN),
            "rock_unit": unit,
            "rock_disagreement": disagreement,
            "rock_unread": unread,
        },
        index=anchors.index,
    ).astype({"lithology": object, "lithology_source": object, "rock_unit": object})


def rock_record(values: pd.DataFrame, rock_map: RockMap | None) -> dict[str, Any]:
    """What the rock types rest on, for `provenance.json`.

    Parameters
    ----------
    values : DataFrame
        From `rock_values`.
    rock_map : RockMap or None
        As given to it.

    Returns
    -------
    dict
        Counts by source, disagreements, and the entries that name no rock of the table.
    """
    entries = pd.Series(
        values["rock_unread"] if rock_map is None else
        np.where(rock_map.lithology == UNKNOWN, rock_map.legend, values["rock_unread"])
    )  # fmt: skip
    unread = entries[entries != ""].value_counts().sort_index()
    record: dict[str, Any] = {
        "anchors_by_source": {
            str(k): int(n) for k, n in values["lithology_source"].value_counts().items()
        },
        "disagreements": int((values["rock_disagreement"] != "").sum()),
        "unmapped_entries": {str(k): int(n) for k, n in unread.items()},
    }
    if rock_map is not None:
        record |= {
            "file": rock_map.origin.source,
            "anchors_outside_the_map": int((rock_map.legend == "").sum()),
            "anchors_on_overlaps": rock_map.overlaps,
            "mapping": dict(rock_map.mapping),
        }
    return record


def _moved(
    lon: np.ndarray, lat: np.ndarray, crs: str | None, file: Path
) -> tuple[np.ndarray, np.ndarray]:
    """Positions in the CRS of the map; what it cannot hold becomes NaN."""
    import pyproj

    own = None if crs is None else pyproj.CRS.from_user_input(crs)
    if own is None or not is_usable(own):
        raise LayerError(f"geology file {file.name} has no CRS; give it one (for example a .prj)")
    to_map = pyproj.Transformer.from_crs(4326, own, always_xy=True)
    easting, northing = to_map.transform(lon, lat)
    inside = np.isfinite(easting) & np.isfinite(northing)
    return np.where(inside, easting, np.nan), np.where(inside, northing, np.nan)


def _layer_with(file: Path, column: str | None) -> tuple[str, str | None]:
    """Layer of the file that has the column, and the layer's CRS."""
    about = about_layers(file, f"geology file {file.name}", LayerError)
    columns = {name: [str(f) for f in info["fields"]] for name, info in about.items()}
    listed = "; ".join(f"{name}: {', '.join(fields)}" for name, fields in columns.items())
    if column is None:
        raise LayerError(
            f"geology file {file.name}: say which column names the rock with --rock-column; "
            f"columns: {listed}"
        )
    fitting = [name for name, fields in columns.items() if column in fields]
    if len(fitting) != 1:
        what = "no layer has" if not fitting else "several layers have"
        raise LayerError(
            f"geology file {file.name}: {what} a column {column!r}; columns: {listed}"
            + ("; keep one of the layers in the file" if fitting else "")
        )
    kind = str(about[fitting[0]]["geometry_type"] or "no")
    if not kind.startswith(("Polygon", "MultiPolygon", "Unknown")):
        raise LayerError(f"geology file {file.name} holds {kind} shapes; give polygons only")
    return fitting[0], about[fitting[0]]["crs"]


def _polygon_legend(
    file: Path,
    column: str | None,
    more: Sequence[str],
    mapping: Mapping[str, str],
    lon: np.ndarray,
    lat: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, int]:
    """Legend and whole entry at each position, and how many lie on polygons of different rock."""
    import shapely

    legend = np.full(len(lon), "", dtype=object)
    unit = legend.copy()
    with readable(file, f"geology file {file.name} cannot be read", _FIX, LayerError):
        name, crs = _layer_with(file, column)
        easting, northing = _moved(lon, lat, crs, file)
        placed = np.flatnonzero(~np.isnan(easting))
        if not len(placed):
            return legend, unit, 0
        points = shapely.points(easting[placed], northing[placed])
        box = shapely.total_bounds(points)
        shapes, entries, wholes = _polygons(file, name, column, more, box)
        # the polygon is the prepared side of the test: one large polygon, many points. One that
        # crosses itself holds what lies an odd number of times inside; it is not repaired first,
        # which takes hours for a small polygon of many crossings
        shape, point = shapely.STRtree(points).query(shapes, predicate="intersects")
        order = np.lexsort((shape, shapely.area(shapes)[shape], point))
    point, shape = point[order], shape[order]
    first = np.r_[True, point[1:] != point[:-1]] if len(point) else np.zeros(0, bool)
    legend[placed[point[first]]] = entries[shape[first]]
    unit[placed[point[first]]] = wholes[shape[first]]
    rock = mapped_lithology(entries, mapping)
    pairs = pd.DataFrame({"point": point, "rock": rock[shape] if len(shape) else []})
    overlaps = int((pairs.groupby("point")["rock"].nunique() > 1).sum())
    return legend, unit, overlaps


def _polygons(
    file: Path, layer: str, column: str | None, more: Sequence[str], box: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Polygons of a layer that reach into a box, their entries in the legend, and all they say."""
    frame = _areas(file, layer, [column, *more], tuple(box))
    entries, *others = (
        frame[one].map(_entry, na_action=None).to_numpy(object) for one in [column, *more]
    )
    return frame.geometry.to_numpy(), entries, joined(entries, *others)


def _areas(
    file: Path, layer: str, columns: Sequence[str | None], box: tuple[float, ...]
) -> gpd.GeoDataFrame:
    """Polygons of a layer that reach into a box of its CRS."""
    import geopandas as gpd
    import shapely

    frame, _ = layer_read(file, layer, columns=list(columns), bbox=box)
    if not isinstance(frame, gpd.GeoDataFrame):
        raise LayerError(f"geology file {file.name} holds no shapes; give polygons")
    frame = frame[~(frame.geometry.isna() | frame.geometry.is_empty)].reset_index(drop=True)
    kinds = set(frame.geom_type)
    if not kinds <= {"Polygon", "MultiPolygon"}:
        raise LayerError(
            f"geology file {file.name} holds {', '.join(sorted(kinds))}; give polygons only"
        )
    sizes.within(
        int(shapely.get_num_coordinates(frame.geometry.to_numpy()).sum()), sizes.SHAPE_VERTICES,
        f"geology file {file.name}", "vertices around the anchors",
        "cut it to the region of the register, or use a coarser map", LayerError,
    )  # fmt: skip
    return frame


def units_around(
    file: Path, columns: Sequence[str], boxes: Sequence[tuple[float, float, float, float]]
) -> gpd.GeoDataFrame:
    """Polygons of a geological map that reach into boxes, in WGS 84.

    Parameters
    ----------
    file : path
        Polygons in any format GDAL reads.
    columns : sequence of str
        Columns to keep; the first names the rock and tells the layer.
    boxes : sequence of tuple of float
        West, south, east, north, degrees, WGS 84.

    Raises
    ------
    LayerError
        As `rock_map_at`.
    """
    import geopandas as gpd
    import pyproj

    layer, crs = _layer_with(file, columns[0])
    if crs is None or not is_usable(pyproj.CRS.from_user_input(crs)):
        raise LayerError(f"geology file {file.name} has no CRS; give it one (for example a .prj)")
    to_map = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    found = [_areas(file, layer, columns, to_map.transform_bounds(*box)) for box in boxes]
    frame = pd.concat([one.to_crs(4326) for one in found], ignore_index=True)
    return gpd.GeoDataFrame(frame.drop_duplicates(), geometry="geometry", crs=4326)


def _entry(value: object) -> str:
    """Text of a legend cell, whole numbers without a point."""
    if pd.isna(value):
        return ""
    if isinstance(value, float | np.floating):
        return number_text(float(value))
    return str(value).strip()


def _raster_codes(file: Path, lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Code of the cell at each position, empty outside and where there is no data."""
    codes = np.full(len(lon), np.nan)
    with open_raster(file, "geology file") as raster:
        if raster.count > 1:
            raise LayerError(
                f"geology file {file.name} has {raster.count} bands; give the one with the codes "
                "alone (for example gdal_translate -b 1)"
            )
        row, column = cell_position(raster, lon, lat)
        for part, cells, top, left in windows(raster, row, column):
            at = row[part].astype(np.int64) - top, column[part].astype(np.int64) - left
            codes[part] = cells[at]
    return pd.Series(codes).map(_entry, na_action=None).to_numpy(object)


class RockSource(NamedTuple):
    """Where rock types come from beside the register: a map, if any, and the user's mapping.

    `more`: columns of the map to show with the rock.
    """

    file: Path | None
    column: str | None
    mapping: Mapping[str, str]
    more: tuple[str, ...] = ()
    origin: Origin | None = None


def _open(options: Options) -> RockSource:
    given = options.rock_mapping_file
    mapping = {} if given is None else read_rock_mapping(given)
    if options.geology_file is not None:
        file, column = Path(options.geology_file), options.rock_column
        return RockSource(file, column, mapping)
    part = packed(options, "rock")
    if part is None:
        return RockSource(None, None, mapping)
    units = part.file(rock_units.FILE)
    return RockSource(units, rock_units.LEGEND, mapping, rock_units.MORE, part.origin)


def _sample(source: RockSource, places: pd.DataFrame) -> dict[str, Any]:
    file, column, mapping, more, origin = source
    rock_map = (
        None if file is None
        else rock_map_at(
            *lonlat(places), file, column=column, mapping=mapping, more=more, origin=origin
        )
    )  # fmt: skip
    values = rock_values(places, rock_map, mapping)
    return {name: values[name].to_numpy(object) for name in values} | {"rock_map": rock_map}


def _origins(source: RockSource) -> tuple[Origin, ...]:
    if source.file is None:
        return ()
    return (source.origin or map_origin(source.file, source.column),)


LAYER = Layer(
    name="geology",
    gives=(
        Value("lithology", UNKNOWN, source="lithology_source"),
        Value("lithology_source", UNKNOWN),
        Value("rock_unit", ""),
        Value("rock_disagreement", ""),
        Value("rock_unread", ""),
    ),
    passes=(Value("rock_map"),),
    takes=("rock_type",),
    open=_open,
    sample=_sample,
    origins=_origins,
    embedded=False,
)
