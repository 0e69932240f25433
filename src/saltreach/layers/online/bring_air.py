"""Sulphur dioxide of a region pack: the user's raster and Open-Meteo (CAMS), one table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from saltreach.intake.services import Services
from saltreach.layers import so2
from saltreach.layers.online.by_node import ask_nodes, together
from saltreach.layers.online.open_meteo import air, air_origin, try_air
from saltreach.layers.online.part import Brought, Call, Part
from saltreach.layers.online.user_rasters import so2_of_raster, so2_raster_origin
from saltreach.layers.online.web import Request
from saltreach.layers.where import Where


def plan(where: Where, services: Services) -> list[Request]:
    """The most that is asked."""
    return air(services).plan(where)


def bring(call: Call) -> Brought:
    """Read the raster and ask the service; the raster wins where it knows a place."""
    return together(
        call, "SO2", so2.FILE, so2.COLUMNS,
        [
            (so2_of_raster(call.services, call.where), so2_raster_origin),
            (ask_nodes(call, air(call.services)), air_origin),
        ],
        "what is assumed for all",
    )  # fmt: skip


def tries(services: Services) -> list[tuple[Request, Callable[[Any], str]]]:
    """One request of the service."""
    return [try_air(services)]


PART = Part(
    name=so2.NAME,
    gives="mean sulphur dioxide in the air",
    plan=plan,
    bring=bring,
    tries=tries,
)
