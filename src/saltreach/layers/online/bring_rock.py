"""The part `rock`: geological units at the anchors, by Macrostrat or a survey that the user names.

Written as polygons with what the map says of them; how the words become a class of rock is the
business of `layers.geology`, as for any geological map. Where a service gives no shape, a unit
counts for the square of `where.SAME_DEG` around the place that was asked about.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from saltreach.layers.layer import Origin
from saltreach.layers.online import geology_service, macrostrat
from saltreach.layers.online.part import NOT_EXPECTED, Brought, Call, Part
from saltreach.layers.online.web import Request, ServiceError, download
from saltreach.layers.rock_units import LEGEND, MORE, write_units
from saltreach.layers.where import SAME_DEG, Where

if TYPE_CHECKING:
    from saltreach.intake.services import Services, Survey

AROUND_M = 1000.0
"""Map around every place; own choice."""
WIDEST_DEG = 0.5
"""Larger boxes are cut; own choice."""
MOST_BYTES = 2_000_000_000
"""Largest map that is downloaded; own choice."""


def _plan(where: Where, services: Services) -> list[Request]:
    survey = services.rock
    if survey is None:
        asked = [macrostrat.units_request(services.macrostrat, lon, lat)
                 for lon, lat in zip(where.lon, where.lat, strict=True)]  # fmt: skip
        return [*asked, macrostrat.sources_request(services.macrostrat)]
    return [geology_service.request_at(survey, at) for at in _places(where, survey)]


def _places(where: Where, survey: Survey) -> list[Any]:
    """What a survey's service is asked for: boxes, places, or its file."""
    if survey.kind == "wms":
        return list(zip(where.lon.tolist(), where.lat.tolist(), strict=True))
    if survey.kind == "file":
        return [()]
    return list(where.boxes(AROUND_M, WIDEST_DEG))


def _bring(call: Call) -> Brought:
    survey = call.services.rock
    if survey is None:
        return _by_macrostrat(call)
    return _by_file(call, survey) if survey.kind == "file" else _by_survey(call, survey)


def _by_macrostrat(call: Call) -> Brought:
    import geopandas as gpd
    import shapely

    address, where, web = call.services.macrostrat, call.where, call.web
    notes: list[str] = []
    scales: dict[int, tuple[str, str]] = {}
    try:
        scales = web.json(macrostrat.sources_request(address), macrostrat.scales_of)
    except ServiceError as error:
        notes.append(f"{error}; the scales of the maps are not known, and the first unit is taken")
    points = shapely.points(where.lon, where.lat)
    open_, failed = np.ones(len(points), bool), list[str]()
    rows: list[dict[str, Any]] = []
    asked: list[str] = []
    for number in range(len(points)):
        if not open_[number]:
            continue
        call.tell(f"rock: {int((~open_).sum())} of {len(points)} places known")
        request = macrostrat.units_request(address, where.lon[number], where.lat[number])
        asked.append(request.shown)
        open_[number] = False
        try:
            unit = macrostrat.finest(web.json(request, macrostrat.units_of), scales)
        except ServiceError as error:
            failed.append(str(error))
            continue
        if unit is None:
            continue
        here = points[number]
        shape = unit.shape if unit.shape is not None and unit.shape.intersects(here) else None
        shape = _square(here) if shape is None else shape
        open_ &= ~shapely.intersects(shape, points)
        scale, reference = scales.get(unit.source_id, ("", ""))
        rows.append({LEGEND: unit.lith, "unit": unit.name, "age": unit.age, "scale": scale,
                     "map": reference, "geometry": shape})  # fmt: skip
    if not rows:
        raise ServiceError(
            failed[0] if failed else f"{macrostrat.SERVICE} has no unit at any of the places"
        )
    if failed:
        notes.append(f"{len(failed)} places could not be asked about, and their rock stays "
                     f"unknown: {failed[0]}")  # fmt: skip
    units = gpd.GeoDataFrame(rows, crs=4326)
    write_units(units.drop_duplicates(), call.folder)
    maps = ", ".join(sorted({row["map"] for row in rows if row["map"]})[:5])
    return Brought((
        Origin(
            name="rock-macrostrat", quantity="lithology",
            source=f"Macrostrat{f': {maps}' if maps else ''}", url=address,
            version="API 2, as of the day it was brought",
            licence="CC BY 4.0; the maps behind it carry their own terms",
            accuracy="that of each map, whose scale stands with its unit (large, medium, small, "
            "tiny): a boundary may be off by hundreds of metres to kilometres",
            note="the unit of the most detailed map that names a rock; the first rock its text "
            "names counts; the register's own word is never overruled",
            attribution="Geological units: Macrostrat (CC BY 4.0) and the maps it compiles",
        ),
    ), tuple(asked), tuple(notes))  # fmt: skip


def _by_survey(call: Call, survey: Survey) -> Brought:
    notes: list[str] = []
    units, failed = [], list[str]()
    places = _places(call.where, survey)
    for number, at in enumerate(places, 1):
        call.tell(f"rock: {number} of {len(places)}")
        try:
            found = list(geology_service.units_in(call.web, survey, at))
        except ServiceError as error:
            failed.append(str(error))
            continue
        units += [(one, at) for one in found]
    if not units:
        raise ServiceError(failed[0] if failed else f"{survey.address} has no unit in the region")
    if failed:
        notes.append(f"{len(failed)} of {len(places)} requests failed, and the rock there stays "
                     f"unknown: {failed[0]}")  # fmt: skip
    frame, said = _frame(units, survey)
    write_units(frame, call.folder)
    asked = tuple(geology_service.request_at(survey, at).shown for at in places)
    return Brought((_survey_origin(survey),), asked, (*notes, *said))


def _frame(units: list[tuple[dict[str, Any], Any]], survey: Survey) -> tuple[Any, list[str]]:
    """Units as a table of polygons; axes that a server exchanged are put right, and it is said."""
    import geopandas as gpd
    import shapely
    from shapely.geometry import shape

    rows, boxes = [], []
    for one, at in units:
        own = one.get("properties") or {}
        box = at if len(at) == 4 else (*at, *at)
        try:
            geometry = shape(one["geometry"]) if len(at) == 4 else _square(shapely.points(*at))
        except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError):
            continue
        if geometry.geom_type not in ("Polygon", "MultiPolygon") or geometry.is_empty:
            continue
        rows.append({
            LEGEND: str(own.get(survey.column) or ""),
            "unit": str(own.get(survey.name_column) or "") if survey.name_column else "",
            "age": str(own.get(survey.age_column) or "") if survey.age_column else "",
            "scale": survey.scale, "map": survey.source or survey.layer, "geometry": geometry,
        })  # fmt: skip
        boxes.append(shapely.box(*box))
    if not rows:
        raise ServiceError(f"{survey.address} gave no polygons; give a layer of areas")
    shapes = shapely.make_valid(np.array([row["geometry"] for row in rows], dtype=object))
    turned = shapely.transform(shapes, lambda c: c[:, ::-1])
    inside, other = (shapely.intersects(one, boxes) for one in (shapes, turned))
    said = []
    if other.sum() > inside.sum():
        shapes = turned
        said.append("the server gave latitude before longitude; they were exchanged")
    elif not inside.any():
        raise ServiceError(f"{survey.address} gave areas that do not lie where they were asked for")
    frame = gpd.GeoDataFrame([{**r, "geometry": g} for r, g in zip(rows, shapes, strict=True)],
                             crs=4326)  # fmt: skip
    return frame[shapely.area(shapes) > 0].drop_duplicates(), said


def _by_file(call: Call, survey: Survey) -> Brought:
    """A map downloaded whole, of which what lies around the places is kept."""
    from saltreach.layers.geology import units_around

    request = geology_service.request_at(survey, ())
    name = Path(request.url).name or "map"
    held = call.downloads / name
    call.tell(f"rock: {request.service}")
    download(call.web, request, held, most_bytes=MOST_BYTES)
    with held.open("rb") as stream:
        found = hashlib.file_digest(stream, "sha256").hexdigest()
    if survey.sha256 and found != survey.sha256.lower():
        held.unlink()
        raise ServiceError(
            f"{request.service} has the SHA-256 {found}, and {survey.sha256.lower()} was expected; "
            "the file was not kept"
        )
    columns = [one for one in (survey.column, survey.name_column, survey.age_column) if one]
    frame = units_around(held, columns, call.where.boxes(AROUND_M, WIDEST_DEG))
    rows = frame.assign(
        **{LEGEND: _words(frame, survey.column), "unit": _words(frame, survey.name_column),
           "age": _words(frame, survey.age_column), "scale": survey.scale,
           "map": survey.source or name}
    )[[LEGEND, *MORE, "geometry"]]  # fmt: skip
    write_units(rows, call.folder)
    origin = _survey_origin(survey)
    return Brought((origin,), (request.shown,), (), {"downloaded": name, "sha256": found})


def _words(frame: Any, column: str) -> Any:
    """A column as text; empty where there is none."""
    return frame[column].fillna("").astype(str) if column else ""


def _survey_origin(survey: Survey) -> Origin:
    return Origin(
        name="rock-survey",
        quantity="lithology",
        source=survey.source or survey.layer,
        url=survey.address,
        version=survey.scale,
        licence=survey.licence or "not stated by the user",
        accuracy="the map's own scale" + (f" ({survey.scale})" if survey.scale else ""),
        note=f"layer {survey.layer}, column {survey.column}; the smallest unit governs where "
        "several overlap; the register's own word is never overruled",
        attribution=survey.attribution,
    )


def _square(point: Any) -> Any:
    import shapely

    x, y = shapely.get_x(point), shapely.get_y(point)
    half = SAME_DEG / 2
    return shapely.box(x - half, y - half, x + half, y + half)


def _tries(services: Services) -> list[tuple[Request, Callable[[Any], str]]]:
    survey = services.rock
    if survey is not None:
        if survey.kind == "file":
            return []
        at: Any = (-5.85, 43.65) if survey.kind == "wms" else (-5.86, 43.64, -5.84, 43.66)
        request = geology_service.request_at(survey, at)
        return [(request, lambda answer: _survey_said(survey, request, answer))]
    return [
        (macrostrat.units_request(services.macrostrat, -5.85, 43.655), _units_said),
        (macrostrat.sources_request(services.macrostrat), _maps_said),
    ]


def _survey_said(survey: Survey, request: Request, answer: Any) -> str:
    count = len(geology_service.page_of(survey, request, answer)["features"])
    return f"{count} units near 5.85 W, 43.65 N; expected: some, if the map reaches there"


def _units_said(answer: Any) -> str:
    units = macrostrat.units_of(answer)
    shaped = sum(unit.shape is not None for unit in units)
    said = "; ".join(unit.lith[:60] for unit in units[:2]) or "none"
    odd = "" if units else f"{NOT_EXPECTED}: "
    return (
        f"{odd}{len(units)} units, {shaped} with a polygon ({said}); expected: 1 or more units "
        "with words for a sedimentary rock, each with a polygon (without one, every place takes a "
        "request of its own)"
    )


def _maps_said(answer: Any) -> str:
    scales = [scale for scale, _ in macrostrat.scales_of(answer).values()]
    odd = "" if set(scales) & set(macrostrat.SCALES) else f"{NOT_EXPECTED}: "
    return (
        f"{odd}{len(scales)} maps of scales {', '.join(sorted(set(scales)))}; expected: over 100, "
        f"of {', '.join(macrostrat.SCALES)}"
    )


PART = Part(
    name="rock",
    gives="rock type from a geological map, with the unit's name, age and the map's scale",
    plan=_plan,
    bring=_bring,
    tries=_tries,
)
