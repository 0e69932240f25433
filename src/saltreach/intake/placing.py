"""Where the anchors of a table lie: from columns or geometry to WGS 84, with what was wrong."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import check, formats, positions
from saltreach.intake.angles import parse_angles
from saltreach.intake.numbers import parse_numbers
from saltreach.intake.typed import number_column
from saltreach.vocabulary.columns import REGISTER_BY_NAME, Column

if TYPE_CHECKING:
    from pyproj import CRS

_SAME_PLACE_DEG = 1e-4
"""About 10 m: columns and geometry that differ by more say two places (own choice)."""


@dataclass(frozen=True)
class Positions:
    """WGS 84 positions of all rows, the text shown for them, and what was wrong."""

    lon: np.ndarray
    lat: np.ndarray
    shown: pd.DataFrame
    found: tuple[pd.DataFrame, ...]
    notes: tuple[str, ...]


def _source_crs(table: formats.Table, asked: CRS | None, from_columns: bool, where: str) -> CRS:
    """The CRS the coordinates are in: the file's own, or the one asked for."""
    if from_columns:
        return asked if asked is not None else positions.named_crs("EPSG:4326", where)
    own = None if table.crs is None else positions.named_crs(table.crs, where)
    if own is None or not positions.is_usable(own):
        if asked is None:
            raise RegisterError(
                f"{where}: it does not say its CRS; set it in the GIS or on the frame, "
                "or give it, for example --crs EPSG:25830"
            )
        return asked
    if asked is None or asked.equals(own, ignore_axis_order=True):
        return own
    if table.crs_is_assumed:
        return asked
    raise RegisterError(
        f"{where}: the file's own CRS is {positions.crs_name(own)}, but "
        f"{positions.crs_name(asked)} was asked for; leave --crs out"
    )


def _coordinates(
    table: formats.Table,
    given: pd.DataFrame,
    from_columns: bool,
    headers: dict[str, str],
    degrees: bool,
) -> tuple[np.ndarray, np.ndarray, pd.DataFrame, list[pd.DataFrame], list[str]]:
    """Coordinates in the source's CRS, their text, what could not be read, and how it was read."""
    if from_columns:
        shown = given[["lon", "lat"]]
        found, values, notes = [], [], []
        for name in ("lon", "lat"):
            if degrees:
                parsed, more = parse_angles(shown[name], name, headers.get(name, ""))
            else:
                parsed, more = parse_numbers(shown[name], _metres(name))
            notes += more
            found.append(
                check.problems(parsed.reason.notna(), name, shown[name], parsed.reason, parsed.fix)
            )
            values.append(parsed.values.to_numpy(float))
        return values[0], values[1], shown, found, notes
    points = table.points if table.points is not None else np.empty((0, 2))
    shown = pd.DataFrame(
        {name: number_column(points[:, i], given.index) for i, name in enumerate(("lon", "lat"))}
    )
    odd = pd.Series(table.odd_geometry, index=given.index, dtype="str")
    found = [
        check.problems(
            odd.notna(),
            "lon, lat",
            odd,
            "not a point with a position",
            "give one point per anchor, its two coordinates as numbers",
        )
    ]
    if table.point_text is not None and table.point_fault is not None:
        fault = table.point_fault.set_axis(given.index)
        found.append(
            check.problems(
                fault.notna(), "lon, lat", table.point_text.set_axis(given.index), fault,
                "write latitude and longitude, like 36.97, -8.75 or 36°58'12\"N 8°45'00\"W",
            )
        )  # fmt: skip
    return points[:, 0], points[:, 1], shown, found, []


def _metres(name: str) -> Column:
    """The column of a coordinate where it is easting or northing, m."""
    return replace(REGISTER_BY_NAME[name], unit="m", low=None, high=None)


def _disagreement(given: pd.DataFrame, lon: np.ndarray, lat: np.ndarray) -> pd.DataFrame:
    """Rows whose lon and lat columns say another place than their geometry."""
    away = np.zeros(len(given), dtype=bool)
    for name, here in (("lon", lon), ("lat", lat)):
        if name in given:
            there = parse_angles(given[name], name)[0].values.to_numpy(float)
            with np.errstate(invalid="ignore"):
                away |= np.abs(there - here) > _SAME_PLACE_DEG
    cells = given[away].reindex(columns=["lon", "lat"]).astype("str")
    return check.problems_at(
        np.flatnonzero(away),
        "lon, lat",
        check.joined(cells, ("lon", "lat")),
        "the lon and lat columns say another place than the geometry",
        "correct the wrong one, or remove the two columns",
    )


def _exchanged(lon: np.ndarray, lat: np.ndarray) -> bool:
    """Whether a whole table, three rows at least, has its coordinates in each other's column."""
    known = np.isfinite(lon) & np.isfinite(lat)
    return bool(
        known.sum() >= 3
        and (np.abs(lat[known]) > 90).all()
        and (np.abs(lat[known]) <= 180).all()
        and (np.abs(lon[known]) <= 90).all()
    )


def place_anchors(
    table: formats.Table,
    given: pd.DataFrame,
    asked: CRS | None,
    by_hand: bool,
    where: str,
    headers: dict[str, str],
) -> Positions:
    """Positions of all rows in WGS 84.

    `asked` is the CRS the user gave, `by_hand` whether lon and lat were mapped by the user (then
    they win over a geometry), `where` the file's name for messages, `headers` those of lon and
    lat as the file has them.
    """
    from_columns = table.points is None or (by_hand and {"lon", "lat"} <= set(given.columns))
    crs = _source_crs(table, asked, from_columns, where)
    degrees = crs.is_geographic
    first, second, shown, found, notes = _coordinates(table, given, from_columns, headers, degrees)
    if degrees and from_columns and _exchanged(first, second):
        first, second = second, first
        notes.append(
            "lon and lat are exchanged in the file: every latitude is beyond 90; read the other "
            "way round"
        )
    found.append(check.swap_problems(first, second, shown, degrees=degrees))
    lon, lat, impossible = positions.to_lon_lat(first, second, crs)
    name = positions.crs_name(crs)
    impossible[found[-1]["place"].to_numpy(dtype=int)] = False
    found.append(
        check.problems_at(
            np.flatnonzero(impossible),
            "lon, lat",
            check.joined(shown[impossible], ("lon", "lat")),
            f"no position of {name}",
            "check that easting comes first, the zone, and the CRS",
        )
    )
    if not positions.is_wgs84(crs):
        notes.append(f"positions converted from {name} to WGS 84")
    if table.points is not None and from_columns:
        notes.append("positions taken from the mapped columns, not from the geometry")
    elif table.points is not None and table.point_text is None:
        found.append(_disagreement(given, lon, lat))
    return Positions(lon, lat, shown, tuple(found), tuple(notes))
