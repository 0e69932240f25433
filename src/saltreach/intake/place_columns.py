"""Positions in other columns than lon and lat: in one cell, UTM with its zone, a named grid."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import positions
from saltreach.intake.angles import Angle, means_ost, scanned, signed
from saltreach.intake.formats import Table
from saltreach.intake.headers import Headers, column_of, resolve_headers
from saltreach.intake.numbers import parse_numbers
from saltreach.intake.values import trimmed
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.synonyms import GRID_HEADERS, PAIR_HEADERS, ZONE_HEADERS, plain
from saltreach.vocabulary.tables import rows_of

_UTM = re.compile(
    r"(?:utm\s*)?(?:zone\s*)?([0-9]{1,2})\s*([a-hj-np-z])?\b[\s,;:]*(?:e\s*)?([0-9]{5,8}(?:[.,][0-9]+)?)"
    r"\s*m?\s*e?[\s,;/]+(?:n\s*)?([0-9]{5,8}(?:[.,][0-9]+)?)\s*m?\s*n?",
    re.IGNORECASE,
)
_POINT = re.compile(r"(?:srid=4326;)?\s*point\s*z?\s*\(\s*(\S+)\s+(\S+)(?:\s+\S+)?\s*\)", re.I)
_PAIR = re.compile(
    r"\(?\s*([+-]?[0-9]{1,3}(?:[.,][0-9]+)?)\s*°?\s*(?:[;/|]|,(?=\s)|\s|,(?=[+-]?[0-9]+[.]))\s*,?\s*"
    r"([+-]?[0-9]{1,3}(?:[.,][0-9]+)?)\s*°?\s*\)?"
)
_BANDS = "CDEFGHJKLMNPQRSTUVWX"
"""Latitude bands of the military grid, 8 degrees each from 80 degrees south (from memory)."""
_BAND_OR_SOUTH = "the zone's letter may be a band or the southern hemisphere"
_EPSG = re.compile(r"EPSG\s*[: ]\s*([0-9]{4,6})", re.IGNORECASE)
_UTM_NAME = re.compile(r"UTM\W{0,3}(?:zone\W?)?([0-9]{1,2})\s?([NS])?\b", re.IGNORECASE)
_AXES = {"lon": ("x", "e", "easting", "este", "est", "ost", "east", "rechts"),
         "lat": ("y", "n", "northing", "norte", "nord", "north", "hoch")}  # fmt: skip


@dataclass(frozen=True)
class Named:
    """A grid that headers name: its CRS, which columns are its axes, what to say."""

    crs: str
    columns: dict[str, str]
    note: str


def grid_named(headers: Sequence[str], columns: Mapping[str, str] | None) -> Named | None:
    """The national grid or UTM zone that the headers themselves name; None where none does.

    Parameters
    ----------
    headers : sequence of str
        As the file has them.
    columns : mapping of str to str, optional
        Headers the user mapped; where they say lon and lat nothing is looked for.

    Examples
    --------
    >>> found = grid_named(("id", "X (Lambert 93)", "Y (Lambert 93)"), None)
    >>> found.crs, found.columns
    ('EPSG:2154', {'lon': 'X (Lambert 93)', 'lat': 'Y (Lambert 93)'})
    """
    if {"lon", "lat"} & set(columns or {}):
        return None
    axes: dict[str, str] = {}
    found: set[str] = set()
    for header in headers:
        crs, rest = _crs_of(header)
        word = plain(rest)
        axis = next(
            (n for n in ("lon", "lat") if word in map(plain, (*_AXES[n], *GRID_HEADERS[n]))), None
        )
        if axis is None or axis in axes or column_of(header, grid=False) is not None:
            continue
        if crs is not None:
            found.add(crs)
        elif word in ("x", "y", "e", "n"):
            continue
        axes[axis] = header
    if len(found) != 1 or set(axes) != {"lon", "lat"} or "EPSG:4326" in found:
        return None
    crs = found.pop()
    return Named(crs, axes, f"{axes['lon']!r} and {axes['lat']!r} read as coordinates of {crs}")


def _crs_of(header: str) -> tuple[str | None, str]:
    """CRS that a header names, and the header without it."""
    code = _EPSG.search(header)
    if code:
        return f"EPSG:{code[1]}", header.replace(code[0], "")
    zone = _UTM_NAME.search(header)
    if zone and 1 <= int(zone[1]) <= 60:
        rest = re.sub(r"ETRS\W?(?:19)?89|WGS\W?(?:19)?84|utm|zone", "", header, flags=re.I)
        rest = rest.replace(zone[0], "").replace(zone[1] + (zone[2] or ""), "")
        south = (zone[2] or "N").upper() == "S"
        if re.search(r"ETRS\W?(?:19)?89", header, re.I) and 28 <= int(zone[1]) <= 38 and not south:
            return f"EPSG:258{int(zone[1]):02d}", rest
        return f"EPSG:32{7 if south else 6}{int(zone[1]):02d}", rest
    bare = header.casefold()
    for row in rows_of("grids.csv"):
        for word in sorted(row["words"].split("; "), key=len, reverse=True):
            at = re.search(rf"(?<![a-z0-9]){re.escape(word)}(?![a-z0-9])", bare)
            if at:
                return row["crs"], header[: at.start()] + header[at.end() :]
    return None, header


def with_points(table: Table, columns: Mapping[str, str] | None, *, of_grid: bool = False) -> Table:
    """A table whose positions stand in one column, or beside a column of UTM zones, with points.

    Parameters
    ----------
    table : Table
        From a reader; one with geometry, or with columns for lon and lat, is given back as it is.
    columns : mapping of str to str, optional
        Headers the user mapped.
    of_grid : bool
        Whether the user says of which grid eastings and northings are: then no zone is read.

    Returns
    -------
    Table
        With `points` in WGS 84, `point_text` as the user wrote them, `point_fault` with the
        reason where one cannot be read, and notes. No column is taken away.
    """
    places = {} if table.points is not None else _places(table.headers, columns)
    if of_grid and "pair" not in places:
        return table
    if {"zone", "lon", "lat"} <= set(places):
        zone, *axes = (trimmed(table.cells[places[kind]]) for kind in ("zone", "lon", "lat"))
        metres = [_metres(axis, kind) for axis, kind in zip(axes, ("lon", "lat"), strict=True)]
        text = (zone + " " + metres[0] + " " + metres[1]).astype("str")
        header = "zone, easting and northing"
    elif "pair" in places:
        text = trimmed(table.cells[places["pair"]])
        header = repr(table.headers[places["pair"]])
    else:
        return table
    points, fault, notes = parse_pairs(text, header)
    return replace(
        table, points=points, odd_geometry=np.full(len(text), np.nan, dtype=object),
        crs="EPSG:4326", point_text=text, point_fault=fault, notes=(*table.notes, *notes),
    )  # fmt: skip


def _metres(text: pd.Series, name: str) -> pd.Series:
    """Eastings or northings as plain numbers; what is no number stays as it is."""
    column = replace(REGISTER_BY_NAME[name], unit="m", low=0.0, high=1e7)
    read = parse_numbers(text, column)[0].values
    plain_text = read.map(lambda v: f"{v:.3f}".rstrip("0").rstrip("."))
    return plain_text.where(read.notna(), text).astype("str")


def register_headers(
    headers: Sequence[str], columns: Mapping[str, str] | None, *, grid: bool
) -> Headers | None:
    """Headers of a register, wherever they put its positions; None where they are of none.

    Parameters
    ----------
    headers : sequence of str
        As the file has them.
    columns : mapping of str to str, optional
        Headers the user mapped.
    grid : bool
        Whether eastings and northings may stand for lon and lat.
    """
    named = grid_named(headers, columns)
    columns = {**(columns or {}), **({} if named is None else named.columns)}
    placed = holds_positions(headers, columns)
    try:
        return resolve_headers(headers, columns, where="", grid=grid, have_geometry=placed)
    except RegisterError:
        return None


def holds_positions(headers: Sequence[str], columns: Mapping[str, str] | None) -> bool:
    """Whether headers without lon and lat hold positions otherwise (see `with_points`)."""
    places = _places(headers, columns)
    return "pair" in places or {"zone", "lon", "lat"} <= set(places)


def _places(headers: Sequence[str], columns: Mapping[str, str] | None) -> dict[str, int]:
    """Columns of both coordinates, of zones, eastings and northings; none beside lon and lat."""
    known = {column_of(header, grid=False) for header in headers} | set(columns or {})
    if {"lon", "lat"} & known:
        return {}
    words = {plain(word): "pair" for word in PAIR_HEADERS}
    words |= {plain(word): "zone" for word in ZONE_HEADERS}
    zoned = "zone" in {words.get(plain(header)) for header in headers}
    for name, axes in GRID_HEADERS.items():
        for word in (*axes, *_AXES[name]):
            if zoned:
                words |= {plain(word): name}  # beside a zone X is the easting
            words |= {plain(f"{word} utm"): name, plain(f"utm {word}"): name}
        words |= {plain(word): name for word in axes}
    return {kind: i for i, header in enumerate(headers) if (kind := words.get(plain(header)))}


def parse_pairs(text: pd.Series, header: str) -> tuple[np.ndarray, pd.Series, list[str]]:
    """Positions out of cells that hold both coordinates.

    Parameters
    ----------
    text : Series of str
        Latitude and longitude (letters, degrees and minutes allowed), `POINT(lon lat)`, or UTM
        with its zone; NaN where empty.
    header : str
        For the notes.

    Returns
    -------
    points : ndarray of float, shape (n, 2)
        Longitude and latitude, WGS 84; NaN where there is none.
    fault : Series of str
        What is wrong, NaN where nothing is.
    notes : list of str
    """
    given = text.dropna().unique()
    utm = {g: m for g in given if (m := _UTM.fullmatch(g.strip()))}
    points, exchanged = _from_utm(utm)
    faults: dict[str, str] = dict.fromkeys(utm.keys() - points, _BAND_OR_SOUTH)
    faults |= dict.fromkeys(exchanged, "the easting stands where the northing belongs")
    rest = [g for g in given if g not in utm]
    halves = {g: _halves(g) for g in rest}
    letters = {a.letter for pair in halves.values() if pair for a in pair}
    ost = means_ost(letters, header, rest)
    lat_first = 0
    for g, pair in halves.items():
        found = _POINT.fullmatch(g.strip())
        if found:
            try:
                points[g] = float(found[1]), float(found[2])
            except ValueError:
                faults[g] = "not a position that can be read"
        elif pair is None:
            faults[g] = "not a position that can be read"
        else:
            lettered = [a.letter for a in pair]
            ordered = pair[::-1] if lettered[0] in ("N", "S") or not any(lettered) else pair
            lon, lat = signed(ordered[0], "lon", ost), signed(ordered[1], "lat", ost)
            if lon is None or lat is None:
                faults[g] = "its letters do not say which coordinate is which"
            else:
                points[g] = lon, lat
                lat_first += not any(lettered)
    notes = [f"{header}: {int(text.isin(points.keys()).sum())} positions read from one cell each"]
    if any(pair and any(a.letter for a in pair) for pair in halves.values()):
        notes.append(f"{header}: degrees, minutes and seconds, and letters of the hemisphere, read")
    if lat_first:
        notes.append(f"{header}: read as latitude first, then longitude, where no letter tells")
    if any(g in points for g in utm):
        notes.append(f"{header}: positions converted from UTM (WGS 84) by their zones")
    if any(g in points and not m[2] for g, m in utm.items()):
        notes.append(f"{header}: zones without a letter read as north, as the others are")
    nowhere = (np.nan, np.nan)
    values = [points.get(g, nowhere) if isinstance(g, str) else nowhere for g in text]
    return np.array(values, dtype=float).reshape(-1, 2), text.map(faults).astype("str"), notes


def _halves(text: str) -> tuple[Angle, Angle] | None:
    """Both angles of a cell in the order they stand in."""
    plain_pair = _PAIR.fullmatch(text.strip())
    if plain_pair:
        numbers = [float(part.replace(",", ".")) for part in plain_pair.groups()]
        return Angle(numbers[0], ""), Angle(numbers[1], "")
    for cut in re.finditer(r"\s*[;/|,]\s*|\s+|(?<=[NSEWOnsewo])(?=[+\-0-9])", text.strip()):
        ends = text.strip()[: cut.start()], text.strip()[cut.end() :]
        pair = scanned(ends[0]), scanned(ends[1])
        if pair[0] and pair[1] and pair[0].letter and pair[1].letter:
            axes = {"lat" if a.letter in "NS" else "lon" for a in (pair[0], pair[1])}
            if len(axes) == 2:
                return pair[0], pair[1]
    return None


def _from_utm(
    found: dict[str, re.Match[str]],
) -> tuple[dict[str, tuple[float, float]], set[str]]:
    """Longitude and latitude of UTM cells whose hemisphere is clear; cells with them exchanged.

    N and S alone may be hemispheres; S is also the band from 32 to 40 degrees north. Where other
    bands stand beside it S is a band. Alone it is one where the northing lies within that band
    and no land of the same zone lies at the southern latitudes it would have otherwise. A zone
    without a letter is northern where all the others are.
    """
    letters = {m[2].upper() for m in found.values() if m[2]}
    north = bool(letters) and all(letter >= "N" for letter in letters)
    points: dict[str, tuple[float, float]] = {}
    exchanged: set[str] = set()
    rows: dict[str, list[tuple[str, float, float]]] = {}
    for given, m in found.items():
        if float(m[3].replace(",", ".")) >= 1e6 > float(m[4].replace(",", ".")):
            exchanged.add(given)
            continue
        zone, letter = int(m[1]), (m[2] or ("N" if north else "?")).upper()
        easting, northing = (float(m[i].replace(",", ".")) for i in (3, 4))
        if not 1 <= zone <= 60 or letter not in _BANDS:
            continue
        if letter == "S" and not letters - {"N", "S"}:
            within = 3_540_000 <= northing <= 4_435_000
            if within and ("N" in letters or 17 <= zone <= 22 or zone in (1, 57, 58, 59, 60)):
                continue
            south = not within
        else:
            south = letter < "N"
        rows.setdefault(f"EPSG:32{7 if south else 6}{zone:02d}", []).append(
            (given, easting, northing)
        )
    for crs, cells in rows.items():
        lon, lat, _ = positions.to_lon_lat(
            np.array([e for _, e, _ in cells]), np.array([n for _, _, n in cells]),
            positions.named_crs(crs, "UTM"),
        )  # fmt: skip
        points |= {
            g: (x, y)
            for (g, _, _), x, y in zip(cells, lon.tolist(), lat.tolist(), strict=True)
            if np.isfinite(x) and np.isfinite(y)
        }
    return points, exchanged
