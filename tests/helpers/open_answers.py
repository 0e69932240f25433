"""Answers of open services in their documented shapes, with invented content."""

import numpy as np

MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")


def power_answer(lon: float, lat: float, **values) -> dict:
    """A climatology of NASA POWER, flat over the year but for what is given by parameter.

    Shape: power.larc.nasa.gov/docs/services/api/temporal/climatology, and a published reply of
    version 2.4.2 of the service.
    """
    flat = {"T2M": 14.0, "RH2M": 77.0, "PRECTOTCORR": 3.0, "WS10M": 6.0} | values
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [lon, lat, 120.5]},
        "properties": {"parameter": {
            name: dict.fromkeys((*MONTHS, "ANN"), value) for name, value in flat.items()
        }},
        "header": {
            "title": "NASA/POWER Native Resolution Climatology", "fill_value": -999.0,
            "api": {"version": "v2.4.2", "name": "POWER Climatology API"},
            "range": "20-year climatology (January 2001 - December 2020)",
        },
        "messages": [],
        "parameters": {
            "T2M": {"units": "C", "longname": "Temperature at 2 Meters"},
            "RH2M": {"units": "%", "longname": "Relative Humidity at 2 Meters"},
            "PRECTOTCORR": {"units": "mm/day", "longname": "Precipitation Corrected"},
            "WS10M": {"units": "m/s", "longname": "Wind Speed at 10 Meters"},
        },
        "times": {"data": 1.0, "process": 0.1},
    }  # fmt: skip


UNITS = {
    "temperature_2m": "°C", "relative_humidity_2m": "%", "precipitation": "mm",
    "wind_speed_10m": "m/s", "sulphur_dioxide": "μg/m³",
}  # fmt: skip


def hours_of(first: str, last: str) -> list[str]:
    """Hours from one day to another, both whole, as Open-Meteo writes them."""
    end = np.datetime64(last) + 1
    return np.arange(np.datetime64(first, "h"), end, dtype="datetime64[h]").astype(
        "datetime64[m]").astype(str).tolist()  # fmt: skip


def hourly_answer(lon: float, lat: float, first: str, last: str, **values) -> dict:
    """Hours of Open-Meteo; a single number stands in every hour.

    Shape: open-meteo.com/en/docs/historical-weather-api and .../air-quality-api.
    """
    time = hours_of(first, last)
    hourly = {n: v if isinstance(v, list) else [v] * len(time) for n, v in values.items()}
    return {
        "latitude": lat, "longitude": lon, "generationtime_ms": 1.5, "utc_offset_seconds": 0,
        "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 85.0,
        "hourly_units": {"time": "iso8601", **{name: UNITS[name] for name in values}},
        "hourly": {"time": time, **hourly},
    }  # fmt: skip
