"""The part `context`: what lies around the places, OpenStreetMap by Overpass.

Background for the map and for questions; how it is read offline: `layers.context`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from saltreach.layers import context
from saltreach.layers.geodesy import metres_per_degree
from saltreach.layers.layer import Origin
from saltreach.layers.online.osm_objects import SERVICE, Objects, read_objects, request_of
from saltreach.layers.online.overpass import OSM_CREDIT
from saltreach.layers.online.part import NOT_EXPECTED, Brought, Call, Part
from saltreach.layers.online.web import Request, ServiceError
from saltreach.layers.where import Box, Where

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.intake.services import Services

WIDEST_DEG = 1.0
"""Widest box of one request, degrees; own choice."""
IN_A_ROW = 3
"""A server that failed so often without a break is asked no more; own choice."""
SIMPLIFY_M = 5.0
"""Lines are drawn with so much play: half of the nearest band beside a salted road."""
MOST_FEATURES = 50_000
MOST_VERTICES = 500_000
"""What a map can still draw; what is asked about is kept whatever there is of it; own choice."""


def _boxes(where: Where) -> list[Box]:
    return where.boxes(context.REACH_M, WIDEST_DEG)


def _plan(where: Where, services: Services) -> list[Request]:
    return [request_of(services.overpass, box) for box in _boxes(where)]


def _bring(call: Call) -> Brought:
    boxes = _boxes(call.where)
    asked, good, found, failed = list[str](), list[Box](), list[Objects](), list[str]()
    in_a_row = 0
    for number, box in enumerate(boxes, 1):
        call.tell(f"{context.NAME}: box {number} of {len(boxes)}")
        request = request_of(call.services.overpass, box)
        asked.append(request.shown)
        try:
            found.append(call.web.json(request, read_objects))
        except ServiceError as error:
            failed.append(str(error))
            in_a_row += 1
            if in_a_row == IN_A_ROW:
                break
        else:
            good.append(box)
            in_a_row = 0
    if not found:
        raise ServiceError(failed[0])
    features, notes = _together(found, good)
    if failed:
        notes.append(
            f"{len(boxes) - len(good)} of {len(boxes)} boxes could not be brought, and nothing is "
            f"known of roads and salt lakes there: {failed[0]}"
        )
    context.write_features(features, call.folder)
    origin = _origin(call.services.overpass, sorted({one.as_of for one in found} - {""}))
    about = {"boxes": [list(box) for box in good], "features": len(features)}
    return Brought((origin,), tuple(asked), tuple(notes), about)


def _together(found: list[Objects], boxes: list[Box]) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Each object once, drawn lightly, cut to the boxes, the most prominent first; and notes.

    A road or a lake that was left out would be no question, and its place would look safe: so
    these are kept.
    """
    import pandas as pd
    import shapely

    features = pd.concat([one.features for one in found], ignore_index=True)
    features = features.drop_duplicates("osm_id")
    notes = []
    if shapeless := sum(one.shapeless for one in found):
        notes.append(f"{shapeless} objects without a usable shape were left out")
    area = shapely.union_all(shapely.box(*np.array(boxes).T))
    shapes = _cut(_simplified(features["geometry"].to_numpy()), area)
    features = features.assign(geometry=shapes)[~shapely.is_empty(shapes)]
    features = features.sort_values("rank", kind="stable", ignore_index=True)
    vertices = shapely.get_num_coordinates(features["geometry"].to_numpy()).cumsum()
    kept = (vertices <= MOST_VERTICES) & (np.arange(len(features)) < MOST_FEATURES)
    kept |= (features["kind"] == context.SALT_LAKE).to_numpy()
    kept |= (
        (features["kind"] == context.ROAD) & (features["rank"] <= context.MAJOR_RANK)
    ).to_numpy()
    if not kept.all():
        notes.append(
            f"of {len(features)} roads, cliffs, quarries, salt lakes and names the "
            f"{int(kept.sum())} most prominent are kept; all major roads and salt lakes are"
        )
    return features[kept], notes


def _simplified(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """Shapes without the vertices that matter less than `SIMPLIFY_M`, areas still areas."""
    import shapely

    scale = np.column_stack(metres_per_degree(shapely.bounds(shapes)[:, [1, 3]].mean(axis=1)))
    degrees, of = shapely.get_coordinates(shapes, return_index=True)
    light = shapely.simplify(
        shapely.set_coordinates(shapes.copy(), degrees * scale[of]), SIMPLIFY_M
    )
    metres, of = shapely.get_coordinates(light, return_index=True)
    return np.asarray(shapely.set_coordinates(light, metres / scale[of]), dtype=object)


def _cut(shapes: NDArray[np.object_], area: Any) -> NDArray[np.object_]:
    """What of each shape lies in an area, points of contact and edges left out."""
    import shapely

    inside = shapely.intersection(shapes, area)
    parts, of = shapely.get_parts(inside, return_index=True)
    same = shapely.get_dimensions(parts) == shapely.get_dimensions(shapes)[of]
    parts, of = parts[same], of[same]
    cut = np.full(len(shapes), shapely.Point(), dtype=object)
    for gather, dimension in ((None, 0), (shapely.multilinestrings, 1), (shapely.multipolygons, 2)):
        rows = shapely.get_dimensions(parts) == dimension
        at, together = np.unique(of[rows], return_inverse=True)
        if len(at):
            cut[at] = parts[rows] if gather is None else gather(parts[rows], indices=together)
    return cut


def _origin(address: str, as_of: list[str]) -> Origin:
    return Origin(
        name="context-openstreetmap",
        quantity="roads, cliffs, quarries, salt lakes and names around the places",
        source=SERVICE,
        url=address,
        version=" to ".join(dict.fromkeys(as_of[:1] + as_of[-1:])),
        licence="ODbL 1.0",
        accuracy="mostly within 10 m where it was drawn from the air, worse in mountains; how "
        "complete it is differs by region; drawn here with a play of "
        f"{SIMPLIFY_M:g} m; judgement, nothing was measured here",
        extent=f"{context.REACH_M / 1000:g} km around the places that were asked for",
        note="drawn background, and questions to the reader; never a value of an anchor. Whether "
        "a road is salted in winter is not known from it",
        attribution=OSM_CREDIT,
    )


def _tries(services: Services) -> list[tuple[Request, Callable[[Any], str]]]:
    return [(request_of(services.overpass, (1.30, 51.12, 1.36, 51.14)), _said)]  # Dover


def _said(answer: Any) -> str:
    kinds = read_objects(answer).features["kind"].value_counts()
    told = ", ".join(f"{count} of {kind}" for kind, count in kinds.items()) or "nothing"
    odd = "" if {"road", "cliff", "place"} <= set(kinds.index) else f"{NOT_EXPECTED}: "
    return f"{odd}{told}; expected: road, cliff and place (Dover, from memory)"


PART = Part(
    name=context.NAME,
    gives="roads, cliffs, quarries, salt lakes and names around the places: drawn, and asked about",
    plan=_plan,
    bring=_bring,
    tries=_tries,
)
