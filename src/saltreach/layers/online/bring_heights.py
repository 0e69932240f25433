"""The part `heights`: ground around the anchors and on their way to the sea, Copernicus DEM."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from saltreach.layers.coast import load_coast
from saltreach.layers.layer import Origin
from saltreach.layers.online import copernicus_dem as dem
from saltreach.layers.online.part import NOT_EXPECTED, Brought, Call, Part
from saltreach.layers.online.web import Answer, Request, ServiceError
from saltreach.layers.shielding import REACH_M
from saltreach.layers.where import Box, Where

if TYPE_CHECKING:
    from saltreach.intake.services import Services

AROUND_M = 2500.0
"""Ground around every place: its slope, and what the map shades; own choice."""
WIDEST_DEG = 1.0
"""Larger boxes are cut; own choice."""
_CREDIT = (
    "© DLR e.V. 2010-2014 and © Airbus Defence and Space GmbH 2014-2018 provided under COPERNICUS "
    "by the European Union and ESA; all rights reserved"
)


def boxes_of(where: Where) -> list[Box]:
    """Boxes around the places that reach to their nearest shore, where the sea is that near."""
    shore = load_coast().shore(where.lon, where.lat)
    to_sea = np.where(shore.distance_m <= REACH_M, shore.distance_m, 0.0)
    return where.boxes(AROUND_M + to_sea, WIDEST_DEG)


def _requests(boxes: list[Box], services: Services) -> list[Request]:
    return [one for box in boxes for one in dem.requests_of(services.copernicus_dem, box)]


def _plan(where: Where, services: Services) -> list[Request]:
    return _requests(boxes_of(where), services)


def _bring(call: Call) -> Brought:
    import rasterio

    boxes, missing, files = boxes_of(call.where), set[str](), 0
    for number, box in enumerate(boxes, 1):
        call.tell(f"heights: box {number} of {len(boxes)}")
        found = dem.heights_in(call.web, call.services.copernicus_dem, box)
        if found is None:
            missing |= {one.url.rpartition("/")[2].removesuffix(".tif")
                        for one in dem.requests_of(call.services.copernicus_dem, box)}  # fmt: skip
            continue
        heights, transform, gone = found
        missing |= set(gone)
        files += 1
        with rasterio.open(
            call.folder / f"heights-{files:03d}.tif", "w", driver="GTiff", dtype="float32",
            count=1, height=heights.shape[0], width=heights.shape[1], crs="EPSG:4326",
            transform=transform, nodata=np.nan, compress="deflate", predictor=3, tiled=True,
        ) as raster:  # fmt: skip
            raster.write(heights, 1)
            raster.units = ("metre",)
    if not files:
        raise ServiceError(
            f"{dem.SERVICE} has no tile around any of the places (open sea, or a country whose "
            "tiles are not released)"
        )
    asked = tuple(one.shown for one in _requests(boxes, call.services))
    notes = (
        (f"{len(missing)} tiles of the Copernicus DEM do not exist (open sea, or not released): "
         f"heights there stay unknown ({', '.join(sorted(missing)[:3])})",)
        if missing else ()
    )  # fmt: skip
    return Brought((_origin(call.services),), tuple(dict.fromkeys(asked)), notes)


def _origin(services: Services) -> Origin:
    return Origin(
        name="heights-copernicus-dem",
        quantity="elevation, slope, aspect, shielding from the sea",
        unit="m, deg, deg",
        source="Copernicus DEM GLO-30 (ESA), Cloud-Optimized GeoTIFF",
        url=services.copernicus_dem,
        version="GLO-30 public, cells of 1 second of arc (about 30 m)",
        licence="Copernicus DEM licence: free with attribution",
        accuracy="heights better than 4 m (90 %) by its product handbook (from memory), heights "
        "above EGM2008; a surface model: trees and buildings count as ground, and a cliff is "
        "smeared over two or three cells",
        note="slope and aspect by Horn (1981) over 3 x 3 cells; overhangs and faces smaller than a "
        "few cells do not show",
        attribution=_CREDIT,
    )


def _tries(services: Services) -> list[tuple[Request, Callable[[Answer], str]]]:
    return [(dem.requests_of(services.copernicus_dem, (-5.86, 43.64, -5.84, 43.66))[0], _head)]


def _head(answer: Answer) -> str:
    """What the first bytes of a tile say: a TIFF (II or MM, 42, or 43 for a BigTIFF)."""
    good = answer.content[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
    size = answer.total_bytes or 0
    odd = "" if good else f"{NOT_EXPECTED}: no TIFF, but "
    return (
        f"{odd}a file of {size / 1e6:.0f} MB, given part by part; expected: a TIFF of 20 to 60 MB"
    )


PART = Part(
    name="heights",
    gives="elevation, slope, aspect, shielding from the sea, hill shade of the map",
    plan=_plan,
    bring=_bring,
    tries=_tries,
)
