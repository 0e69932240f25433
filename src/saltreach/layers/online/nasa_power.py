"""Climatology of a place by NASA POWER: temperature, humidity, rain and wind by month.

Means of many years from MERRA-2, on a grid of 0.5 degree of latitude and 0.625 of longitude, so
that a shore, its sea and the mountain behind it share one value. Service and answer as documented
at https://power.larc.nasa.gov/docs/services/api/temporal/climatology/.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from saltreach.intake.services import Services
from saltreach.layers import climate_pack as pack
from saltreach.layers.layer import Origin
from saltreach.layers.online.by_node import Had, Row, Service
from saltreach.layers.online.figures import TRIED_AT, compared, numbers_of
from saltreach.layers.online.web import Request, ServiceError
from saltreach.science.air.wetness import HOURS_OF_MONTH

CELL_LON_DEG, CELL_LAT_DEG = 0.625, 0.5
"""Grid of MERRA-2, as the service's documentation says."""
MOST = 200
"""Requests that go out in a run: own choice, for politeness."""
ANSWER_BYTES = 3000  # about

PARAMETERS = {
    "T2M": (pack.TEMPERATURE, "C"),
    "RH2M": (pack.HUMIDITY, "%"),
    "PRECTOTCORR": (pack.RAIN, "mm/day"),
    "WS10M": (pack.WIND, "m/s"),
}
"""Parameters of the service, our quantity, and the unit it documents."""
YEAR = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_DAYS = HOURS_OF_MONTH / 24


def power(services: Services) -> Service:
    """How NASA POWER is asked."""

    def asks(lon: float, lat: float) -> list[Request]:
        params = {
            "parameters": ",".join(PARAMETERS), "community": "RE",
            "longitude": f"{lon + 0:.3f}", "latitude": f"{lat + 0:.3f}", "format": "JSON",
        }  # fmt: skip
        return [Request("NASA POWER", services.nasa_power, params, about_bytes=ANSWER_BYTES)]

    return Service("NASA POWER", pack.NASA_POWER, CELL_LON_DEG, CELL_LAT_DEG, asks, read_power,
                   lambda parts: parts[0], pauses=0.0, most=MOST)  # fmt: skip


def read_power(request: Request, answer: Any) -> tuple[Row, list[str]]:
    """Values of one answer in our units, and a sentence for each quantity that stays unknown.

    Raises
    ------
    ServiceError
        It holds no parameters, or those of another place.
    """
    lon, lat, *height = answer["geometry"]["coordinates"]
    off = max(abs((lon - float(request.params["longitude"]) + 180) % 360 - 180),
              abs(lat - float(request.params["latitude"])))  # fmt: skip
    if not off <= CELL_LON_DEG:
        raise ServiceError("NASA POWER answered for another place than was asked for")
    header, given = answer.get("header", {}), answer["properties"]["parameter"]
    fill = float(header.get("fill_value", -999))
    units = {name: about.get("units") for name, about in answer.get("parameters", {}).items()}
    (elevation_m,) = numbers_of([*height, None][:1], "elevation_m", fill=fill)
    row: Row = {"version": str(header.get("range", "")), "elevation_m": float(elevation_m)}
    unknown = []
    for name, (quantity, unit) in PARAMETERS.items():
        months = _months(given.get(name), quantity, fill)
        said = units.get(name, unit)
        if said != unit:
            unknown.append(f"{name} is in {said}, not in {unit}, and stays unknown")
        elif not np.isfinite(months).all():
            which = ", ".join(m for m, v in zip(YEAR, months, strict=True) if not np.isfinite(v))
            unknown.append(
                f"{name} has no usable value in {which}, and stays unknown"
                if name in given else f"{name} is missing, and stays unknown"
            )  # fmt: skip
        else:
            row |= _in_our_units(quantity, months)
    return row, unknown


def _months(given: Any, quantity: str, fill: float) -> np.ndarray:
    """Twelve months; NaN where one cannot be used."""
    values = given if isinstance(given, dict) else {}
    return numbers_of([values.get(month) for month in YEAR], quantity, fill=fill)


def _in_our_units(quantity: str, months: np.ndarray) -> Row:
    """Columns of a pack from monthly means, rain from mm/day."""
    days = _DAYS / _DAYS.sum()
    if quantity == pack.WIND:
        return {pack.WIND: float(months @ days)}
    if quantity == pack.RAIN:
        months = months * _DAYS
    by_month = dict(zip(pack.by_month(quantity), months.tolist(), strict=True))
    if quantity == pack.RAIN:
        return by_month | {pack.RAIN_OF_YEAR: float(months.sum())}
    weights = days if quantity == pack.TEMPERATURE else np.full(12, 1 / 12)
    return by_month | {quantity: float(months @ weights)}


def power_origin(had: Had) -> Origin:
    """Where its values come from."""
    return Origin(
        name=pack.NASA_POWER,
        quantity="monthly relative humidity, temperature, rain and wind",
        unit="%, degC, mm, m/s",
        source="NASA POWER climatology (MERRA-2), NASA Langley Research Center",
        url="https://power.larc.nasa.gov/docs/services/api/temporal/climatology/",
        version=had.version,
        licence="open data of NASA, free to use with acknowledgement (from memory)",
        accuracy=f"relative humidity: standard deviation {pack.HUMIDITY_SD_PCT[pack.NASA_POWER]:g} "
        "% carried, judgement; not measured here",
        extent="cells of 0.625 x 0.5 degree around the places of the register",
        note="humidity is used where no better source knows a place, wind is shown only; "
        "temperature and rain are for comparison. Rain from mm/day by the days of each month",
        attribution="These data were obtained from the NASA Langley Research Center POWER Project "
        "funded through the NASA Earth Science Directorate Applied Science Program.",
    )


def try_power(services: Services) -> tuple[Request, Callable[[Any], str]]:
    """A request for one place, and what to make of the answer."""
    (request,) = power(services).asks(*TRIED_AT)

    def judged(answer: Any) -> str:
        row, unknown = read_power(request, answer)
        columns = {pack.RAIN: (pack.RAIN_OF_YEAR, "mm/y")}
        said = []
        for name, (quantity, unit) in PARAMETERS.items():
            column, unit = columns.get(quantity, (quantity, unit))
            said.append(compared(name, float(str(row.get(column, "nan"))), unit, column))
        return "; ".join([*said, *unknown])

    return request, judged
