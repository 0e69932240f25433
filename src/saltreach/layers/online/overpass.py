"""Overpass, the query service of OpenStreetMap: the text of a query, the elements of an answer.

Overpass QL and the shape of its JSON (`elements`, each with `type`, `id`, `tags`, and of a way
`geometry`, a list of `lat` and `lon` with null for a node outside what was asked; `remark` where
a query was cut short, with status 200) are as its documentation and its issue tracker show them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, NamedTuple, TypeGuard

import numpy as np

from saltreach.errors import LayerError, brief
from saltreach.layers.coast_index import Floats

Box = tuple[float, float, float, float]
"""West, south, east, north, degrees."""

OSM_CREDIT = "© OpenStreetMap contributors, ODbL"
"""Line that the terms of OpenStreetMap ask for."""
TIMEOUT_S = 60
MAXSIZE_BYTES = 256 * 1024**2
"""What a query may use on the server, which refuses those that ask for more than it has left."""
_WANTED = "the JSON that [out:json] gives was expected"
_FIX = "ask again later, or ask another Overpass server"
_SAID = 120


class Way(NamedTuple):
    """A line of OpenStreetMap in its direction of drawing.

    `way_id`: its number. `lonlat` (n, 2): its nodes, degrees, NaN for one that the answer has no
    position of. `tags`: its words.
    """

    way_id: int
    lonlat: Floats
    tags: dict[str, str]


def coast_query(box: Box) -> str:
    """Query for the coastline in a box, each way whole.

    Parameters
    ----------
    box : tuple of float
        West, south, east, north, degrees, not across 180.

    Examples
    --------
    >>> print(coast_query((-5.9, 43.5, -5.5, 43.7)))
    [out:json][timeout:60][maxsize:268435456];
    way["natural"="coastline"](43.5000000,-5.9000000,43.7000000,-5.5000000);
    out body geom;
    """
    return query(f'way["natural"="coastline"]{within(box)};')


def query(statements: str) -> str:
    """A whole query: settings, what is asked, and the answer with positions."""
    head = f"[out:json][timeout:{TIMEOUT_S}][maxsize:{MAXSIZE_BYTES}];"
    return f"{head}\n{statements}\nout body geom;"


def within(box: Box) -> str:
    """A box as Overpass writes it: south, west, north, east."""
    west, south, east, north = box
    return f"({south:.7f},{west:.7f},{north:.7f},{east:.7f})"


def elements_of(answer: Any) -> list[dict[str, Any]]:
    """The elements of an answer.

    Raises
    ------
    LayerError
        When the answer is no whole answer of Overpass.
    """
    if not isinstance(answer, dict):
        said = brief(" ".join(answer.split()), _SAID) if isinstance(answer, str) else ""
        found = f"{type(answer).__name__}{f' ({said})' if said else ''}"
        raise LayerError(f"Overpass answered with {found}, and {_WANTED}; {_FIX}")
    if answer.get("remark"):
        said = brief(" ".join(str(answer["remark"]).split()), _SAID)
        raise LayerError(
            f"Overpass gave only a part of what was asked ({said}), and the whole was expected; "
            f"ask for a smaller box, or {_FIX}"
        )
    elements = answer.get("elements")
    if not isinstance(elements, list):
        raise LayerError(f"Overpass answered without a list of elements, and {_WANTED}; {_FIX}")
    for element in elements:
        if not isinstance(element, dict) or not isinstance(element.get("type"), str):
            raise LayerError(
                f"Overpass answered with an element without a type, and {_WANTED}; {_FIX}"
            )
    return elements


def ways_of(answer: Any) -> list[Way]:
    """The ways of an answer, in its order; other elements are left out.

    Parameters
    ----------
    answer
        What the JSON of an answer to `coast_query`, or to another query with `out geom`, says.

    Raises
    ------
    LayerError
        When the answer is no whole answer of Overpass, or a way has no number or no positions.
    """
    return [_way(element) for element in elements_of(answer) if element["type"] == "way"]


def _way(element: dict[str, Any]) -> Way:
    way_id, places, tags = (element.get(key) for key in ("id", "geometry", "tags"))
    if not isinstance(way_id, int) or isinstance(way_id, bool):
        raise LayerError(f"Overpass answered with a way without a number, and {_WANTED}; {_FIX}")
    if not isinstance(places, list) or len(places) < 2:
        raise LayerError(
            f"Overpass answered with way {way_id} without its positions, and [out:json] with "
            f"'out geom' was expected; {_FIX}"
        )
    lonlat = np.array(list(_lonlat(way_id, places)))
    words = tags if isinstance(tags, dict) else {}
    return Way(way_id, lonlat, {str(key): str(word) for key, word in words.items()})


def _lonlat(way_id: int, places: list[Any]) -> Iterator[tuple[float, float]]:
    for place in places:
        if place is None:
            yield math.nan, math.nan
            continue
        lon, lat = (place.get(key) if isinstance(place, dict) else None for key in ("lon", "lat"))
        if not (is_degrees(lon, 180) and is_degrees(lat, 90)):
            raise LayerError(
                f"Overpass answered with a position of way {way_id} that is none "
                f"({brief(str(place), 60)}), and lat and lon in degrees were expected; {_FIX}"
            )
        yield lon, lat


def is_degrees(value: Any, most: float) -> TypeGuard[float]:
    """Whether a value of JSON is a number of degrees; NaN and true are none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= most
