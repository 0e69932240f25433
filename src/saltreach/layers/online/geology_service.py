"""A geological survey's own map on a server, as the user names it: OGC API, WFS, WMS, or a file.

- `features`: OGC API - Features, Part 1: Core (17-069r4): `collections/<layer>/items` with `bbox`,
  `limit` and GeoJSON answers, page after page by the link `next`.
- `wfs`: Web Feature Service 2.0 (09-025r2): `GetFeature` with `outputFormat=application/json`.
- `wms`: Web Map Service 1.3.0 (06-042): `GetFeatureInfo` in JSON at each place.
- `file`: a file that GDAL opens, downloaded whole; a download that was cut off goes on.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, urlsplit, urlunsplit

from saltreach.errors import LayerError
from saltreach.layers.online.web import Request, ServiceError, Web
from saltreach.layers.where import Box

if TYPE_CHECKING:
    from saltreach.intake.services import Survey

PAGE = 1000
"""Units asked for at a time; own choice."""
MOST_UNITS = 100_000
"""Units taken of one box; own choice."""
PIXEL_DEG = 0.0002
"""A pixel of the picture whose middle a map service is asked about, about 20 m; own choice."""
_PIXELS = 101
ABOUT_BYTES = {"features": 2_000_000, "wfs": 2_000_000, "wms": 2_000, "file": 100_000_000}


def request_at(survey: Survey, at: Any) -> Request:
    """What is asked for a box, for a place (map services), or whole (files).

    Raises
    ------
    LayerError
        The environment variable with the key is not set.
    """
    address, own = _split(survey.address)
    params = own | _params(survey, at)
    if survey.kind == "features":
        address = f"{address.rstrip('/')}/collections/{survey.layer}/items"
    return Request(
        f"geological map {survey.layer or survey.source or 'file'}",
        address, params, about_bytes=ABOUT_BYTES[survey.kind], secret=_secret(survey),
    )  # fmt: skip


def _params(survey: Survey, at: Any) -> dict[str, str]:
    if survey.kind == "features":
        return {"bbox": ",".join(f"{v:.5f}" for v in at), "limit": str(PAGE), "f": "json"}
    if survey.kind == "wfs":
        west, south, east, north = at
        return {
            "service": "WFS", "version": "2.0.0", "request": "GetFeature",
            "typeNames": survey.layer, "outputFormat": "application/json", "count": str(PAGE),
            "srsName": "urn:ogc:def:crs:EPSG::4326", "startIndex": "0",
            # the axes of EPSG:4326 are latitude and longitude
            "bbox": f"{south:.5f},{west:.5f},{north:.5f},{east:.5f},urn:ogc:def:crs:EPSG::4326",
        }  # fmt: skip
    if survey.kind == "wms":
        lon, lat = at[0], at[1]
        half = PIXEL_DEG * _PIXELS / 2
        return {
            "service": "WMS", "version": "1.3.0", "request": "GetFeatureInfo",
            "layers": survey.layer, "query_layers": survey.layer, "styles": "",
            "crs": "CRS:84", "width": str(_PIXELS), "height": str(_PIXELS),
            "i": str(_PIXELS // 2), "j": str(_PIXELS // 2), "info_format": "application/json",
            "bbox": ",".join(f"{v:.6f}" for v in (lon - half, lat - half, lon + half, lat + half)),
        }  # fmt: skip
    return {}


def _split(address: str) -> tuple[str, dict[str, str]]:
    """Address without its query, and what stood in that."""
    parts = urlsplit(address)
    return urlunsplit(parts._replace(query="", fragment="")), dict(parse_qsl(parts.query))


def _secret(survey: Survey) -> dict[str, str]:
    if not survey.key_parameter:
        return {}
    key = os.environ.get(survey.key_environment, "")
    if not key:
        raise LayerError(
            f"the geological map asks for a key: set the environment variable "
            f"{survey.key_environment}"
        )
    return {survey.key_parameter: key}


def units_in(web: Web, survey: Survey, at: Box | tuple[float, float]) -> Iterator[dict[str, Any]]:
    """GeoJSON features of a box or at a place, page after page.

    Raises
    ------
    ServiceError
        The server fails, has no such column, or gives more units than are taken.
    """
    request, taken, seen = request_at(survey, at), 0, set[str]()
    while request is not None:
        if request.shown in seen:
            raise ServiceError(f"{request.service} gives the same page again and again")
        seen.add(request.shown)
        page = web.json(request, partial(page_of, survey, request))
        yield from page["features"]
        taken += len(page["features"])
        if taken > MOST_UNITS:
            raise ServiceError(f"{request.service} has more than {MOST_UNITS:,} units in one box")
        request = _next(request, page, survey, taken)


def _next(request: Request, page: dict[str, Any], survey: Survey, taken: int) -> Any:
    if survey.kind == "features":
        onward = [one.get("href") for one in page.get("links") or () if one.get("rel") == "next"]
        if not onward or not page["features"]:
            return None
        address, params = _split(str(onward[0]))
        if urlsplit(address).hostname != urlsplit(request.url).hostname:
            raise ServiceError(f"{request.service} leads on to another host, which is not followed")
        return replace(request, url=address, params=params)
    if survey.kind == "wfs" and len(page["features"]) >= PAGE:
        return replace(request, params={**request.params, "startIndex": str(taken)})
    return None


def page_of(survey: Survey, asked: Request, answer: Any) -> dict[str, Any]:
    """An answer, checked: a GeoJSON collection whose units have the user's column."""
    if not isinstance(answer, dict) or not isinstance(answer.get("features"), list):
        said = answer.get("description") or answer.get("title") if isinstance(answer, dict) else ""
        raise ServiceError(
            f"{asked.service} answered without features" + (f": {str(said)[:200]}" if said else "")
        )
    features = [one for one in answer["features"] if isinstance(one, dict)]
    columns = {str(name) for one in features for name in one.get("properties") or {}}
    if features and survey.column not in columns:
        raise ServiceError(
            f"{asked.service} has no column {survey.column!r}; columns: "
            + ", ".join(sorted(columns))
        )
    crs = str((((answer.get("crs") or {}).get("properties")) or {}).get("name") or "")
    if crs and not crs.endswith(("4326", "CRS84")):
        raise ServiceError(f"{asked.service} answered in {crs}, not in WGS 84 as asked")
    return {**answer, "features": features}
