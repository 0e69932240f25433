"""Hours of past weather, and of sulphur dioxide in the air, by Open-Meteo.

Weather is ERA5-Land (0.1 degree; wind and rain ERA5, 0.25 degree) for the last full calendar
years, so hours can be counted in place of being estimated from monthly means. The air is CAMS:
0.1 degree in Europe, 0.25 degree elsewhere. Services and answers as documented at
https://open-meteo.com/en/docs/historical-weather-api and .../air-quality-api. Free for
non-commercial use, within limits of requests.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from saltreach.intake.services import Services
from saltreach.layers import climate_pack as pack
from saltreach.layers import so2
from saltreach.layers.layer import Origin
from saltreach.layers.online.by_node import Had, Row, Service
from saltreach.layers.online.figures import TRIED_AT, compared, numbers_of, plain_unit
from saltreach.layers.online.web import Request, ServiceError
from saltreach.science.air.wetness import (
    HOURS_OF_MONTH,
    HOURS_OF_YEAR,
    MAGNESIUM_CHLORIDE_PCT,
    SODIUM_CHLORIDE_PCT,
    WET_ABOVE_PCT,
)

CELL_DEG = 0.1
"""Grid of ERA5-Land, and of CAMS in Europe, as the service documents them."""
YEARS = 5
"""Calendar years of weather: own choice. Humidity of single years differs little, and more years
would use up the free share of requests."""
AIR_YEARS = 2
"""Calendar years of air; CAMS's world-wide hours begin in August 2022, as documented."""
MOST_MISSING = 0.1
"""Share of a month's hours that may be missing: judgement."""
LATE_DAYS = 7
"""A year is asked for once it has been over so long; the archive is five days behind, as
documented."""

CALLS_A_MINUTE, CALLS_AN_HOUR = 600, 5000
"""Free limits, as the service's maintainers state them. A request counts for more than one call: by
tens of variables and by fortnights, at least 1 each."""
CALLS_A_YEAR = 366 / 14  # what a request for one year counts as, of up to ten variables
PAUSES = 60 * CALLS_A_YEAR / CALLS_A_MINUTE
"""Seconds from one request for a year to the next that keep to the limit of a minute."""
MOST = int(CALLS_AN_HOUR / CALLS_A_YEAR)
"""Requests that go out in a run: those of an hour."""
BYTES_AN_HOUR = {"time": 20, "value": 6}  # about, in the JSON

WEATHER = {
    "temperature_2m": (pack.TEMPERATURE, "°C"),
    "relative_humidity_2m": (pack.HUMIDITY, "%"),
    "precipitation": (pack.RAIN, "mm"),
    "wind_speed_10m": (pack.WIND, "m/s"),
}
AIR = {"sulphur_dioxide": (so2.SO2, "µg/m³")}
"""Variables of the service, our quantity, and the unit it documents."""
Variables = Mapping[str, tuple[str, str]]


def full_years(count: int, today: date | None = None) -> list[int]:
    """The last full calendar years, first to last.

    Examples
    --------
    >>> full_years(2, date(2026, 1, 3)), full_years(2, date(2026, 1, 9))
    ([2023, 2024], [2024, 2025])
    """
    last = ((today or date.today()) - timedelta(days=LATE_DAYS)).year - 1
    return list(range(last - count + 1, last + 1))


def weather(services: Services) -> Service:
    """How the archive of weather is asked."""
    more = {"models": "era5_seamless", "wind_speed_unit": "ms"}
    asks = _asking("Open-Meteo", services.open_meteo_archive, WEATHER, YEARS, more)
    return Service("Open-Meteo", pack.OPEN_METEO, CELL_DEG, CELL_DEG, asks,
                   lambda request, answer: read_hours(request, answer, WEATHER),
                   climate_of, PAUSES, MOST)  # fmt: skip


def air(services: Services) -> Service:
    """How the quality of the air is asked."""
    asks = _asking("Open-Meteo air", services.open_meteo_air, AIR, AIR_YEARS, {})
    return Service("Open-Meteo air", so2.OPEN_METEO, CELL_DEG, CELL_DEG, asks,
                   lambda request, answer: read_hours(request, answer, AIR),
                   so2_of, PAUSES, MOST)  # fmt: skip


def _asking(
    name: str, url: str, variables: Variables, years: int, more: dict[str, str]
) -> Callable[[float, float], list[Request]]:
    about = 366 * 24 * (BYTES_AN_HOUR["time"] + BYTES_AN_HOUR["value"] * len(variables))

    def asks(lon: float, lat: float) -> list[Request]:
        return [
            Request(name, url, {
                "latitude": f"{lat + 0:.4f}", "longitude": f"{lon + 0:.4f}",
                "start_date": f"{year}-01-01", "end_date": f"{year}-12-31",
                "hourly": ",".join(variables), "timezone": "UTC", **more,
            }, about_bytes=about)
            for year in full_years(years)
        ]  # fmt: skip

    return asks


def read_hours(request: Request, answer: Any, variables: Variables) -> pd.DataFrame:
    """The hours of one answer, one row each, in our names; NaN where a value cannot be used.

    `attrs` holds the height of the cell as `elevation_m`, where it is said.

    Raises
    ------
    ServiceError
        It reports an error, is of another place or period, in another unit, or incomplete.
    """
    who = request.service
    if answer.get("error"):
        raise ServiceError(f"{who} reports an error: {str(answer.get('reason', ''))[:200]}")
    off = max(abs((answer["longitude"] - float(request.params["longitude"]) + 180) % 360 - 180),
              abs(answer["latitude"] - float(request.params["latitude"])))  # fmt: skip
    if not off <= 1.0:
        raise ServiceError(f"{who} answered for another place than was asked for")
    hourly, units = answer["hourly"], answer["hourly_units"]
    times = np.array(hourly["time"], dtype="datetime64[m]")
    first, last = (np.datetime64(request.params[f"{end}_date"]) for end in ("start", "end"))
    hours = np.arange(first, last + 1, np.timedelta64(1, "h"), dtype="datetime64[m]")
    if not np.array_equal(times, hours):
        raise ServiceError(
            f"{who} gave other hours than those of {first} to {last}, UTC, each once; "
            "saltreach may need an update"
        )
    found = {}
    for name, (quantity, unit) in variables.items():
        if name not in hourly:
            raise ServiceError(f"{who} gave no {name}; saltreach may need an update")
        if plain_unit(units.get(name)) != plain_unit(unit):
            raise ServiceError(
                f"{who} gave {name} in {str(units.get(name))[:20]}, not in {unit}; saltreach may "
                "need an update"
            )
        if len(hourly[name]) != len(hours):
            raise ServiceError(f"{who} gave {len(hourly[name])} values of {name} for {len(hours)} "
                               "hours")  # fmt: skip
        found[quantity] = numbers_of(hourly[name], quantity)
    table = pd.DataFrame(found, index=pd.DatetimeIndex(hours.astype("datetime64[s]")))
    table.attrs["elevation_m"] = float(numbers_of([answer.get("elevation")], "elevation_m")[0])
    return table


def climate_of(years: list[pd.DataFrame]) -> tuple[Row, list[str]]:
    """Climate of a cell from its hours, and a sentence for each quantity that stays unknown.

    Hours of wetness have relative humidity above 80 % and temperature above 0 degC (ISO
    9223:1992); some salts only are liquid from 33 % up to, not at, 75 %. Both are counted month by
    month over the hours that are known, and stand for all hours of the month. A quantity of which
    more than a tenth of any month is missing stays unknown, with what is counted of it.

    Parameters
    ----------
    years : list of DataFrame
        Hours by `read_hours`.
    """
    hours = pd.concat(years)
    month = hours.index.month
    known, gaps = _without_gaps(hours)
    mean = hours.groupby(month).mean()
    row: Row = {"elevation_m": years[0].attrs.get("elevation_m", np.nan),
                "hours_missing_share": float(hours.isna().any(axis=1).mean())}  # fmt: skip
    days, humidity = HOURS_OF_MONTH / HOURS_OF_YEAR, hours[pack.HUMIDITY]
    if known[pack.TEMPERATURE]:
        row |= _months(pack.TEMPERATURE, mean[pack.TEMPERATURE])
        row[pack.TEMPERATURE] = float(mean[pack.TEMPERATURE] @ days)
    if known[pack.HUMIDITY]:
        row |= _months(pack.HUMIDITY, mean[pack.HUMIDITY])
        row[pack.HUMIDITY] = float(mean[pack.HUMIDITY].mean())
        liquid = (humidity >= MAGNESIUM_CHLORIDE_PCT) & (humidity < SODIUM_CHLORIDE_PCT)
        row[pack.LIQUID] = float(_share(liquid, humidity.notna(), month) @ days)
    if known[pack.HUMIDITY] and known[pack.TEMPERATURE]:
        wet = (humidity > WET_ABOVE_PCT) & (hours[pack.TEMPERATURE] > 0)
        both = humidity.notna() & hours[pack.TEMPERATURE].notna()
        row[pack.WET] = float(_share(wet, both, month) @ HOURS_OF_MONTH)
    if known[pack.RAIN]:
        rain = mean[pack.RAIN] * HOURS_OF_MONTH
        row |= _months(pack.RAIN, rain)
        row[pack.RAIN_OF_YEAR] = float(rain.sum())
    if known[pack.WIND]:
        row[pack.WIND] = float(mean[pack.WIND] @ days)
    return row, gaps


def so2_of(years: list[pd.DataFrame]) -> tuple[Row, list[str]]:
    """Mean SO2 of the years without gaps, and a sentence where there are gaps."""
    whole, gaps = [], []
    for hours in years:
        known, missing = _without_gaps(hours)
        gaps += missing
        whole += [hours] if known[so2.SO2] else []
    values = pd.concat(years)[so2.SO2]
    row: Row = {"hours_missing_share": float(values.isna().mean())}
    if whole:
        row[so2.SO2] = float(pd.concat(whole)[so2.SO2].mean())
    return row, gaps


def _without_gaps(hours: pd.DataFrame) -> tuple[pd.Series, list[str]]:
    """Which quantities have enough hours in every month, and sentences on the others."""
    missing = hours.isna().groupby(hours.index.to_period("M")).mean()
    worst = missing.max()
    sentences = [
        f"{name} has {worst[name]:.0%} of the hours of {missing[name].idxmax()} missing, and "
        "stays unknown"
        for name in hours
        if worst[name] > MOST_MISSING
    ]
    return worst <= MOST_MISSING, sentences


def _share(of: pd.Series, known: pd.Series, month: pd.Index) -> np.ndarray:
    """Share of the known hours of each month for which something is true."""
    return ((of & known).groupby(month).sum() / known.groupby(month).sum()).to_numpy()


def _months(quantity: str, values: pd.Series) -> Row:
    return dict(zip(pack.by_month(quantity), values.tolist(), strict=True))


def weather_origin(_: Had) -> Origin:
    """Where the weather comes from."""
    years = full_years(YEARS)
    return Origin(
        name=pack.OPEN_METEO,
        quantity="relative humidity, counted hours of wetness and of liquid salt, temperature, "
        "rain and wind",
        unit="%, h/y, 1, degC, mm, m/s",
        source="Open-Meteo historical weather: ERA5-Land and ERA5 (Copernicus Climate Change "
        "Service, ECMWF)",
        url="https://open-meteo.com/en/docs/historical-weather-api",
        version=f"hours of {years[0]} to {years[-1]}, UTC",
        licence="CC BY 4.0; the service is free for non-commercial use",
        accuracy=f"relative humidity: standard deviation {pack.HUMIDITY_SD_PCT[pack.OPEN_METEO]:g} "
        "% carried, judgement; not measured here",
        extent="cells of 0.1 degree around the places of the register",
        note=f"humidity comes in whole per cent. Wet: above {WET_ABOVE_PCT:g} % and 0 degC; only "
        f"some salts liquid: {MAGNESIUM_CHLORIDE_PCT:g} to below {SODIUM_CHLORIDE_PCT:g} %. "
        "Temperature and rain are for comparison, wind is shown only. A quantity with more than "
        f"{MOST_MISSING:.0%} of a month missing stays unknown",
        attribution="Weather data by Open-Meteo.com (CC BY 4.0), hours reduced to means and counts "
        "by saltreach. Contains modified Copernicus Climate Change Service information.",
    )


def air_origin(_: Had) -> Origin:
    """Where the sulphur dioxide comes from."""
    years = full_years(AIR_YEARS)
    return Origin(
        name=so2.OPEN_METEO,
        quantity="mean concentration of sulphur dioxide",
        unit="ug/m3",
        source="Open-Meteo air quality: CAMS, European and global forecasts (Copernicus "
        "Atmosphere Monitoring Service, ECMWF)",
        url="https://open-meteo.com/en/docs/air-quality-api",
        version=f"hours of {years[0]} to {years[-1]}, UTC",
        licence="CC BY 4.0; the service is free for non-commercial use",
        accuracy="standard deviation a factor of "
        f"{np.exp(so2.PACKED_SIGMA_LN[so2.OPEN_METEO]):.2g} carried, judgement; not measured here",
        extent="nodes of 0.1 degree; outside Europe several share a cell of 0.25 degree",
        note="a model's mean over a cell, without single works or harbours",
        attribution="Air quality data by Open-Meteo.com (CC BY 4.0) from the CAMS ENSEMBLE data "
        "provider. Contains modified Copernicus Atmosphere Monitoring Service information; neither "
        "the European Commission nor ECMWF is responsible for any use of it.",
    )


def try_weather(services: Services) -> tuple[Request, Callable[[Any], str]]:
    """A request for one place and year, and what to make of the answer."""
    request = weather(services).asks(*TRIED_AT)[-1]
    shown = {pack.HUMIDITY: "%", pack.TEMPERATURE: "degC", pack.RAIN_OF_YEAR: "mm/y",
             pack.WIND: "m/s", pack.WET: "h/y"}  # fmt: skip
    return request, lambda answer: _judged(
        climate_of([read_hours(request, answer, WEATHER)]), shown
    )


def try_air(services: Services) -> tuple[Request, Callable[[Any], str]]:
    """A request for one place and year, and what to make of the answer."""
    request = air(services).asks(*TRIED_AT)[-1]
    return request, lambda answer: _judged(
        so2_of([read_hours(request, answer, AIR)]), {so2.SO2: "ug/m3"}
    )


def _judged(found: tuple[Row, list[str]], shown: Mapping[str, str]) -> str:
    row, gaps = found
    said = [compared(name, float(str(row.get(name, "nan"))), unit, name)
            for name, unit in shown.items()]  # fmt: skip
    return "; ".join([*said, *gaps])
