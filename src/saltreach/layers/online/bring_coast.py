"""The part `coast`: the shore near the places, from OpenStreetMap or GSHHG full resolution."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from saltreach.errors import LayerError
from saltreach.layers.coast import Coast, load_coast
from saltreach.layers.layer import Origin
from saltreach.layers.online import overpass
from saltreach.layers.online.part import NOT_EXPECTED, Brought, Call, Part
from saltreach.layers.online.web import Request, ServiceError
from saltreach.layers.osm_shore import BoxShore, osm_origin, shore_of
from saltreach.layers.packed_coast import COAST_FILE, write_coast
from saltreach.layers.patched_coast import NEAR_SEA_M
from saltreach.layers.where import Box, Where

if TYPE_CHECKING:
    from saltreach.intake.services import Services

AROUND_M = 20_000.0
"""Shore around every place; farther away the embedded one serves, whose error matters less there;
own choice."""
WIDEST_DEG = 1.0
"""Larger boxes are cut; own choice."""
PROBES = 25
"""Places along each side of a box at which its land is held against the embedded shore's; own
choice."""
SURE_M = 3000.0
"""So far from the embedded shore, twelve of its standard deviations, it is trusted to tell land
from sea; judgement."""
MOST_DIFFERING = 0.05
"""Share of those places that may differ: reclaimed land, lagoons, estuaries; judgement."""
ABOUT_BYTES = 3_000_000
SERVICE = "Overpass"


def boxes_of(where: Where) -> list[Box]:
    """Boxes around the places that lie near the sea."""
    near = load_coast().shore(where.lon, where.lat).distance_m <= NEAR_SEA_M
    return Where(where.lon[near], where.lat[near]).boxes(AROUND_M, WIDEST_DEG) if near.any() else []


def _request(address: str, box: Box) -> Request:
    return Request(SERVICE, address, data=overpass.coast_query(box), about_bytes=ABOUT_BYTES)


def _plan(where: Where, services: Services) -> list[Request]:
    if services.gshhg_full:
        return []
    return [_request(services.overpass, box) for box in boxes_of(where)]


def _bring(call: Call) -> Brought:
    boxes = boxes_of(call.where)
    if not boxes:
        raise ServiceError(
            f"no place lies within {NEAR_SEA_M / 1000:.0f} km of the sea: the embedded shore does"
        )
    if call.services.gshhg_full:
        from saltreach.layers.gshhg_full import full_origin, full_shores

        call.tell("coast: GSHHG full resolution")
        write_coast(call.folder / COAST_FILE, full_shores(boxes))
        return Brought((full_origin(),), ())
    return _by_overpass(call, boxes)


def _by_overpass(call: Call, boxes: list[Box]) -> Brought:
    embedded = load_coast()
    shores: list[BoxShore] = []
    failed: list[str] = []
    versions, asked = set[str](), []
    for number, box in enumerate(boxes, 1):
        call.tell(f"coast: box {number} of {len(boxes)}")
        request = _request(call.services.overpass, box)
        asked.append(request.shown)
        try:
            version, ways = call.web.json(request, _read)
        except LayerError as error:
            failed.append(str(error))
            continue
        versions.add(version)
        found = shore_of(ways, box, lambda lon, lat: embedded.shore(lon, lat).on_land)
        shores.append(_believed(found, ways, embedded))
    if not shores:
        raise ServiceError(failed[0])
    write_coast(call.folder / COAST_FILE, shores)
    notes = []
    if failed:
        notes.append(f"{len(failed)} of {len(boxes)} boxes could not be had, and the embedded "
                     f"shore is used there: {failed[0]}")  # fmt: skip
    opened = [shore for shore in shores if not shore.closed]
    if opened:
        west, south, east, north = opened[0].box
        notes.append(
            f"the shore of {len(opened)} boxes does not close (the first, {west:.2f} {south:.2f} "
            f"{east:.2f} {north:.2f}: {opened[0].why}): distances there are to its lines, and sea "
            "or land is the embedded shore's"
        )
    return Brought((_origin(call.services, max(versions)),), tuple(asked), tuple(notes))


def _believed(shore: BoxShore, ways: list[overpass.Way], embedded: Coast) -> BoxShore:
    """A closed shore, or its lines alone where its land is not that of the embedded shore.

    A way that is missing, or drawn against its rule, closes into land where there is sea. It shows
    where the embedded shore is so far away that its own error cannot be why.
    """
    import shapely

    if not shore.closed:
        return shore
    west, south, east, north = shore.box
    at = (np.arange(PROBES) + 0.5) / PROBES
    lon, lat = (
        v.ravel() for v in np.meshgrid(west + at * (east - west), south + at * (north - south))
    )
    there = embedded.shore(lon, lat)
    sure = there.distance_m > SURE_M
    land = shapely.union_all(shore.land)
    differ = shapely.contains_xy(land, lon, lat) != (there.on_land == 1)
    if not sure.any() or differ[sure].mean() <= MOST_DIFFERING:
        return shore
    lines = shapely.clip_by_rect([shapely.linestrings(way.lonlat) for way in ways], *shore.box)
    lines = shapely.get_parts(lines)
    why = (
        f"land and sea are other than the embedded shore's at {int(differ[sure].sum())} of "
        f"{int(sure.sum())} places more than {SURE_M / 1000:g} km from it"
    )
    return replace(shore, closed=False, land=shore.land[:0], lines=lines[~shapely.is_empty(lines)],
                   why=why)  # fmt: skip


def _origin(services: Services, version: str) -> Origin:
    return replace(osm_origin(version), url=services.overpass)


def _read(answer: Any) -> tuple[str, list[overpass.Way]]:
    """When the map was so, and its coastline."""
    ways = overpass.ways_of(answer)
    told = answer.get("osm3s")
    return (str(told.get("timestamp_osm_base") or "") if isinstance(told, dict) else ""), ways


def _tries(services: Services) -> list[tuple[Request, Callable[[Any], str]]]:
    box = (-5.90, 43.62, -5.80, 43.68)
    return [(_request(services.overpass, box), lambda answer: _said(*_read(answer)))]


def _said(version: str, ways: list[overpass.Way]) -> str:
    good = "" if ways else f"{NOT_EXPECTED}: "
    return (
        f"{good}{len(ways)} ways of coastline with {sum(len(way.lonlat) for way in ways)} places, "
        f"as of {version or 'an unknown day'}; expected: some ways, some hundred places"
    )


PART = Part(
    name="coast",
    gives="distance to the sea, openness, sea cliffs, the shore on the map",
    plan=_plan,
    bring=_bring,
    tries=_tries,
)
