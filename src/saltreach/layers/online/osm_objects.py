"""Roads, cliffs, quarries, salt lakes and names of OpenStreetMap: query and answer of Overpass.

Tags are those of the OpenStreetMap wiki: classes of `highway` without their links, `natural=cliff`
(a line along the top), `landuse=quarry`, `natural=water` with `salt=yes`, `place`, and the names of
bays, capes and peninsulas. Where people climb is never asked for and never kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from saltreach.errors import brief
from saltreach.intake.names import clean_name
from saltreach.layers.context import CLIFF, COLUMNS, PLACE, QUARRY, ROAD, SALT_LAKE, TUNNEL
from saltreach.layers.geodesy import metres_per_degree
from saltreach.layers.online.overpass import TIMEOUT_S, is_degrees
from saltreach.layers.online.web import Request, ServiceError
from saltreach.layers.where import Box
from saltreach.vocabulary.words import SEPARATOR

if TYPE_CHECKING:
    import geopandas as gpd

SERVICE = "OpenStreetMap by Overpass"
BYTES_PER_KM2 = 5000
"""Of an answer; a guess, more in towns."""
LONGEST_NAME = 80
"""Letters of a name that are kept; own choice."""
WATERS = ("", "lake", "lagoon")
"""What a salt lake may be besides salty: rivers, canals and pools are none."""
_CLIMBING = ("climbing", "bouldering")
_SAID = 120


class Wanted(NamedTuple):
    """Objects of one kind: their tag, each value with its rank, and the types of element."""

    kind: str
    key: str
    ranks: Mapping[str, int]
    types: tuple[str, ...]
    beside: tuple[str, str] = ("", "")


WANTED = (
    Wanted(ROAD, "highway", {"motorway": 1, "trunk": 1, "primary": 2, "secondary": 3}, ("way",)),
    Wanted(SALT_LAKE, "natural", {"water": 1}, ("way", "relation"), ("salt", "yes")),
    Wanted(CLIFF, "natural", {"cliff": 2}, ("way",)),
    Wanted(QUARRY, "landuse", {"quarry": 3}, ("way", "relation")),
    Wanted(PLACE, "place", {"city": 1, "town": 1, "village": 2, "hamlet": 3, "locality": 3},
           ("node",)),
    Wanted(PLACE, "natural", {"bay": 3, "cape": 3, "peninsula": 3}, ("node",)),
)  # fmt: skip
"""All that is asked for, and kept."""


class Objects(NamedTuple):
    """What an answer holds.

    `features`: `COLUMNS` and geometry, EPSG:4326, whole as they were drawn. `as_of`: time of the
    data, ISO, empty where it is not said. `shapeless`: objects wanted whose shape was unusable.
    """

    features: gpd.GeoDataFrame
    as_of: str
    shapeless: int


def query(box: Box) -> str:
    """Overpass QL for the objects that touch a box.

    Examples
    --------
    >>> print(query((-4.96, 43.43, -4.94, 43.45)).splitlines()[2])
    way["highway"~"^(motorway|trunk|primary|secondary)$"][!"climbing"]["sport"!~"climbing"];
    """
    west, south, east, north = box
    lines = [
        f'{of}["{one.key}"{_among(*one.ranks)}]'
        + (f'["{one.beside[0]}"{_among(one.beside[1])}]' if one.beside[0] else "")
        + ('["name"]' if one.kind == PLACE else "")
        + '[!"climbing"]["sport"!~"climbing"];'
        for one in WANTED
        for of in one.types
    ]
    head = f"[out:json][timeout:{TIMEOUT_S}][bbox:{south:.6f},{west:.6f},{north:.6f},{east:.6f}];"
    return "\n".join([head, "(", *lines, ");", "out geom;"])


def _among(*values: str) -> str:
    """That a tag has one of some values."""
    return f'="{values[0]}"' if len(values) == 1 else f'~"^({"|".join(values)})$"'


def request_of(address: str, box: Box) -> Request:
    """The request for a box."""
    west, south, east, north = box
    across, up = metres_per_degree((south + north) / 2)
    km2 = float((east - west) * across * (north - south) * up) / 1e6
    return Request(SERVICE, address, data=query(box), about_bytes=int(km2 * BYTES_PER_KM2))


def read_objects(answer: Any) -> Objects:
    """The objects of an answer of Overpass.

    Parameters
    ----------
    answer
        What its JSON says.

    Raises
    ------
    ServiceError
        It is no whole answer: it says that the query was cut short, or has no elements.
    """
    import geopandas as gpd

    if not isinstance(answer, dict) or not isinstance(answer.get("elements"), list):
        raise ServiceError(
            f"{SERVICE} answered without a list of elements; ask again later, or give the address "
            "of another Overpass server"
        )
    if remark := answer.get("remark"):
        said = brief(" ".join(str(remark).split()), _SAID)
        raise ServiceError(
            f"{SERVICE} gave only a part of what was asked ({said}); ask again later"
        )
    rows, shapeless = [], 0
    for element in answer["elements"]:
        described = _described(element)
        if described is None:
            continue
        shape = _shape(element, described["kind"])
        shapeless += shape is None
        if shape is not None:
            rows.append({**described, "geometry": shape})
    about = answer.get("osm3s")
    as_of = about.get("timestamp_osm_base") if isinstance(about, dict) else None
    told = isinstance(as_of, str) and re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:]{5,8}Z?", as_of)
    features = gpd.GeoDataFrame(rows, columns=[*COLUMNS, "geometry"], crs=4326)
    return Objects(features, str(as_of) if told else "", shapeless)


def _described(element: Any) -> dict[str, Any] | None:
    """All of an element but its shape; None where it is not wanted."""
    if not isinstance(element, dict) or not isinstance(element.get("tags"), dict):
        return None
    tags = {k: v for k, v in element["tags"].items() if isinstance(v, str)}
    of, number = element.get("type"), element.get("id")
    if type(number) is not int or _is_climbing(tags):
        return None
    one = next((one for one in WANTED if of in one.types and tags.get(one.key) in one.ranks
                and tags.get(one.beside[0], "") == one.beside[1]), None)  # fmt: skip
    if one is None or (one.kind == SALT_LAKE and tags.get("water", "") not in WATERS):
        return None
    name = _name(tags, "ref" if one.kind == ROAD else "")
    if one.kind == PLACE and not name:
        return None
    detail = tags[one.key] if one.kind != SALT_LAKE else tags.get("water", "")
    if one.kind == ROAD and tags.get("tunnel") == "yes":
        detail = f"{detail}, {TUNNEL}"
    values = (one.kind, name, one.ranks[tags[one.key]], detail, f"{of}/{number}")
    return dict(zip(COLUMNS, values, strict=True))


def _is_climbing(tags: Mapping[str, str]) -> bool:
    """Whether a tag says that people climb there; a word of a name does not."""
    words = {key.partition(":")[0].casefold() for key in tags}
    words |= {w.strip() for v in tags.values() for w in v.casefold().split(";")}
    return not words.isdisjoint(_CLIMBING)


def _name(tags: Mapping[str, str], other: str) -> str:
    """A name on one line that breaks no list of sentences; a road without one has its number."""
    name = clean_name(tags.get("name", "")) or clean_name(tags.get(other, ""))
    return brief(name.replace(SEPARATOR.strip(), "/"), LONGEST_NAME)


def _shape(element: Mapping[str, Any], kind: str) -> Any:
    """A point, lines or an area; None where there is none that can be used."""
    import shapely

    if kind == PLACE:
        at = _position(element)
        return None if at is None else shapely.Point(at)
    if kind in (ROAD, CLIFF):
        runs = list(_runs(element.get("geometry")))
        return (
            shapely.multilinestrings([shapely.linestrings(run) for run in runs]) if runs else None
        )
    area = _area(element)
    return None if area.is_empty else area


def _area(element: Mapping[str, Any]) -> Any:
    """The area that a closed way, or a relation's members, go around."""
    import shapely

    if element["type"] == "way":
        return shapely.union_all(_closed([list(_runs(element.get("geometry")))]))
    members = element.get("members")
    members = [m for m in members if isinstance(m, dict)] if isinstance(members, list) else []
    outer, inner = (
        _closed([list(_runs(m.get("geometry"))) for m in members if m.get("role") in roles])
        for roles in (("outer", ""), ("inner",))
    )
    return shapely.difference(shapely.union_all(outer), shapely.union_all(inner))


def _closed(ways: list[list[Any]]) -> Any:
    """Areas that lines go around, end to end."""
    import shapely

    lines = [shapely.linestrings(run) for runs in ways for run in runs]
    return shapely.get_parts(shapely.polygonize(lines))


def _runs(places: Any) -> Iterator[Any]:
    """Positions of a way, (n, 2) with n > 1, cut where one is missing or the line leaps."""
    run: list[tuple[float, float]] = []
    for place in [*(places if isinstance(places, list) else []), None]:
        at = _position(place)
        if run and (at is None or abs(at[0] - run[-1][0]) > 180):
            if len(run) > 1:
                yield np.array(run)
            run = []
        if at is not None:
            run.append(at)


def _position(place: Any) -> tuple[float, float] | None:
    lon, lat = (place.get(key) if isinstance(place, dict) else None for key in ("lon", "lat"))
    if not is_degrees(lon, 180) or not is_degrees(lat, 90):
        return None
    return float(lon), float(lat)
