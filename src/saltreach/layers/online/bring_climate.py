"""The climate of a region pack: the user's rasters, Open-Meteo and NASA POWER, one table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from saltreach.intake.services import Services
from saltreach.layers import climate_pack as pack
from saltreach.layers.online.by_node import ask_nodes, together
from saltreach.layers.online.nasa_power import power, power_origin, try_power
from saltreach.layers.online.open_meteo import try_weather, weather, weather_origin
from saltreach.layers.online.part import Brought, Call, Part
from saltreach.layers.online.user_rasters import climate_of_rasters, named_rasters, raster_origin
from saltreach.layers.online.web import Request
from saltreach.layers.where import Where


def plan(where: Where, services: Services) -> list[Request]:
    """The most that is asked; the user's rasters are on the disk."""
    named_rasters(services)
    return [*power(services).plan(where), *weather(services).plan(where)]


def bring(call: Call) -> Brought:
    """Read and ask all three; what one lacks the next one gives."""
    rasters = climate_of_rasters(call.services, call.where)
    # the small one first: it serves where the large one is cut off
    by_power, by_hours = (ask_nodes(call, one(call.services)) for one in (power, weather))
    return together(
        call, "climate", pack.FILE, pack.COLUMNS,
        [(rasters, raster_origin), (by_hours, weather_origin), (by_power, power_origin)],
        "the embedded climate",
    )  # fmt: skip


def tries(services: Services) -> list[tuple[Request, Callable[[Any], str]]]:
    """One request of each service."""
    return [try_power(services), try_weather(services)]


PART = Part(
    name=pack.NAME,
    gives="relative humidity by month, hours of wetness counted, wind; temperature and rain of "
    "rasters you have",
    plan=plan,
    bring=bring,
    tries=tries,
)
