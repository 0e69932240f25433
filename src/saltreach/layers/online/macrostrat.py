"""Macrostrat: geological units of the Earth's published maps, by place.

Documentation: the service's own `geologic_units/map` and `defs/sources` descriptions, API version
2. Asked for GeoJSON, it gives the unit's polygon, so that one answer serves every place inside it;
an answer without a shape serves the place alone.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from saltreach.layers.online.web import Request, ServiceError

SERVICE = "Macrostrat"
SCALES = ("large", "medium", "small", "tiny")
"""Words of the service for the scale of a map, the most detailed first."""
DECIMALS = 4
"""Of the degrees that are sent: some 10 m, finer than any map and coarser than an anchor; own
choice."""
ABOUT_BYTES = 60_000
TEXT_LETTERS = 300
"""Letters kept of a unit's texts; own choice."""


class Unit(NamedTuple):
    """A geological unit at a place; `shape` is a polygon in WGS 84, or None."""

    lith: str
    name: str
    age: str
    source_id: int
    shape: Any


def units_request(address: str, lon: float, lat: float) -> Request:
    """The units at a place."""
    params = {"lat": f"{lat:.{DECIMALS}f}", "lng": f"{lon:.{DECIMALS}f}", "format": "geojson"}
    return Request(SERVICE, f"{address}/geologic_units/map", params, about_bytes=ABOUT_BYTES)


def sources_request(address: str) -> Request:
    """All maps behind the units, for scale and reference."""
    return Request(SERVICE, f"{address}/defs/sources", {"all": ""}, about_bytes=2_000_000)


def units_of(answer: Any) -> list[Unit]:
    """Units of an answer; places without a mapped unit have none.

    Raises
    ------
    ServiceError
        The answer holds an error, or has another form.
    """
    features = _data(answer)
    if isinstance(features, dict):  # GeoJSON inside
        features = features["features"]
    found = []
    for one in features:
        own = one.get("properties", one)
        if not isinstance(own, dict):
            raise ServiceError(f"{SERVICE} answered with a unit without properties")
        lith = _text(own.get("lith")) or _text(own.get("descrip")) or _text(own.get("name"))
        age = _text(own.get("age")) or _interval(own)
        name, source = _text(own.get("name")) or _text(own.get("strat_name")), own.get("source_id")
        found.append(Unit(lith, name, age, int(source or 0), _polygon(one.get("geometry"))))
    return found


def scales_of(answer: Any) -> dict[int, tuple[str, str]]:
    """Scale and reference of each map by its number."""
    return {
        int(one["source_id"]): (
            _text(one.get("scale")),
            " ".join(part for part in (_text(one.get("ref_source")) or _text(one.get("authors")),
                                       _text(one.get("ref_year")), _text(one.get("ref_title"))
                                       or _text(one.get("name"))) if part),
        )
        for one in _data(answer)
    }  # fmt: skip


def finest(units: list[Unit], scales: dict[int, tuple[str, str]]) -> Unit | None:
    """The unit of the most detailed map that names a rock; the first of equals."""
    rank = {word: number for number, word in enumerate(SCALES)}
    named = [unit for unit in units if unit.lith]
    if not named:
        return None
    return min(named, key=lambda one: rank.get(scales.get(one.source_id, ("", ""))[0], len(rank)))


def _data(answer: Any) -> Any:
    if not isinstance(answer, dict):
        raise ServiceError(
            f"{SERVICE} answered with a {type(answer).__name__} in place of an object"
        )
    if "error" in answer:
        raise ServiceError(f"{SERVICE} reports an error: {_text(answer['error'])}")
    return answer["success"]["data"] if "success" in answer else answer["features"]


def _text(value: Any) -> str:
    if value is None or isinstance(value, dict | list):
        return "" if not value else _text(value.get("message") if isinstance(value, dict) else None)
    return " ".join(str(value).split())[:TEXT_LETTERS]


def _interval(own: dict[str, Any]) -> str:
    ends = [_text(own.get(name)) for name in ("b_int_name", "t_int_name", "best_int_name")]
    return " to ".join(dict.fromkeys(end for end in ends[:2] if end)) or ends[2]


def _polygon(geometry: Any) -> Any:
    """The shape of a feature; None without one, or where it is no polygon on the Earth."""
    import shapely
    from shapely.geometry import shape

    if not geometry:
        return None
    try:
        found = shape(geometry)
    except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError) as error:
        raise ServiceError(f"{SERVICE} answered with a shape that cannot be read") from error
    bounds = np.abs(shapely.bounds(found))
    if found.is_empty or found.geom_type not in ("Polygon", "MultiPolygon"):
        return None
    if not (bounds <= (180.0001, 90.0001, 180.0001, 90.0001)).all():
        raise ServiceError(f"{SERVICE} answered with a shape that lies nowhere on the Earth")
    return shapely.make_valid(found) if not shapely.is_valid(found) else found
