"""The part `coast`: the shore near the places, from OpenStreetMap or GSHHG full resolution."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from saltreach.errors import LayerError
from saltreach.layers.coast import load_coast
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
        shores.append(shore_of(ways, box, lambda lon, lat: embedded.shore(lon, lat).on_land))
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
