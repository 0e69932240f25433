"""The climate of a region pack, and which of its sources speaks for a place.

Four sources may know a place. A raster of the user's wins: somebody chose it for the region. Then
Open-Meteo (ERA5-Land, 0.1 degree, single hours, so that hours can be counted), then NASA POWER
(MERRA-2, 0.5 x 0.625 degree, one cell for shore and mountain), then the embedded maps, whose
humidity was compared with 21 remembered normals only. A place has a source's values where it lies
in one of its cells (`saltreach.layers.cells`), else the next source's.

Temperature and rain are taken from a raster of the user's only: the embedded ones, with their lapse
rate, were measured to be good (0.48 degC), and a service's mean height of a cell would spoil
that. What the services say of them is kept in the file for comparison.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from saltreach.layers.cells import PLACE, cell_at, read_cells, taken
from saltreach.layers.layer import Origin
from saltreach.layers.pack import packed

if TYPE_CHECKING:
    from saltreach.intake.options import Options

Floats = NDArray[np.float64]
Rows = Mapping[str, NDArray[np.intp]]
"""Of each source, the row of the cell that each place lies in."""

NAME, FILE = "climate", "climate.csv"
RASTER, OPEN_METEO, NASA_POWER = "climate_raster", "climate_open_meteo", "climate_nasa_power"
"""Names of the sources, in the file and in the provenance."""

HUMIDITY_SD_PCT = {RASTER: 5.0, OPEN_METEO: 5.0, NASA_POWER: 6.5}
"""Standard deviation of the mean relative humidity by source, %, in the order in which they are
asked: judgement. The embedded one is 7.5. Daily values of NASA POWER were 8 to 20 % off at 14
stations of a Portuguese plain (Rodrigues and Braga 2021, abstract); a mean of years is better
than a day, and a shore, where a cell is half sea, worse than a plain. Smaller cells count as
better."""
SOURCES = tuple(HUMIDITY_SD_PCT)
RASTER_TEMPERATURE_SD_C = 1.0
"""Judgement: the climatology's own error, and 100 m of relief within its cell at 6.5 K/km."""
RASTER_RAIN_SD = (40.0, 0.15)
"""mm/y, and share of the rain; judgement: between the embedded blend and ERA5 alone."""

MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
TEMPERATURE, HUMIDITY, RAIN = "temperature_c", "relative_humidity_pct", "rain_mm"
RAIN_OF_YEAR, WIND = "rain_mm_y", "wind_speed_m_s"
WET, LIQUID = "time_of_wetness_h_y", "liquid_salt_share"


def by_month(name: str) -> list[str]:
    """Columns of a quantity's twelve months.

    Examples
    --------
    >>> by_month("rain_mm")[:2]
    ['rain_mm_01', 'rain_mm_02']
    """
    return [f"{name}_{month}" for month in MONTHS]


YEARLY = (TEMPERATURE, HUMIDITY, RAIN_OF_YEAR, WIND, WET, LIQUID)
"""Columns of the year that the anchors have under the same names."""
COLUMNS = (
    "elevation_m", TEMPERATURE, *by_month(TEMPERATURE), HUMIDITY, *by_month(HUMIDITY),
    RAIN_OF_YEAR, *by_month(RAIN), WIND, WET, LIQUID, "hours_missing_share",
)  # fmt: skip
"""Columns of values in the pack's file, the mean of the year before its months: temperature,
relative humidity and rain, annual mean wind at 10 m, hours counted in a year with more than 80 %
and above 0 degC, counted share of hours in which only some salts are liquid, and the share of
hours that were missing."""


class Packed(NamedTuple):
    """What the pack says at places; NaN and "" where it says nothing.

    `temperature_c`, `humidity_pct`: means of the months, (n, 12), NaN where only the year is known;
    the others have shape (n,). `cell_elevation_m`: mean height of the cell of the humidity.
    `beyond`: there is a pack, and it knows no humidity here.
    """

    temperature_c: Floats
    temperature_of_year_c: Floats
    humidity_pct: Floats
    humidity_of_year_pct: Floats
    humidity_sd_pct: Floats
    humidity_source: NDArray[np.object_]
    cell_elevation_m: Floats
    rain_mm_y: Floats
    wind_speed_m_s: Floats
    wind_source: NDArray[np.object_]
    wet_h_y: Floats
    liquid_share: Floats
    beyond: NDArray[np.bool_]

    def part(self, rows: slice) -> Packed:
        """What it says at some of the places."""
        return Packed._make(values[rows] for values in self)


@dataclass(frozen=True)
class ClimatePack:
    """The climate of a pack: cells of every source, none of them where there is no pack."""

    cells: Mapping[str, pd.DataFrame]
    origins: tuple[Origin, ...] = ()

    def at(self, lon: Floats, lat: Floats) -> Packed:
        """What it says at places, degrees, WGS 84."""
        row = {name: cell_at(cells, lon, lat) for name, cells in self.cells.items()}
        humid = self._first(HUMIDITY, row)
        windy = self._first(WIND, row)
        wet, liquid = (self._of(name, OPEN_METEO, row) for name in (WET, LIQUID))
        # hours were counted in Open-Meteo's air; a raster of the user's is another
        counted = np.isfinite(wet) & np.isfinite(liquid) & (humid != RASTER)
        return Packed(
            self._of(by_month(TEMPERATURE), RASTER, row),
            self._of(TEMPERATURE, RASTER, row),
            self._chosen(by_month(HUMIDITY), humid, row),
            self._chosen(HUMIDITY, humid, row),
            pd.Series(humid).map(HUMIDITY_SD_PCT).to_numpy(float),
            humid,
            self._chosen("elevation_m", humid, row),
            self._of(RAIN_OF_YEAR, RASTER, row),
            self._chosen(WIND, windy, row),
            windy,
            np.where(counted, wet, np.nan),
            np.where(counted, liquid, np.nan),
            (humid == "") & bool(self.origins),
        )

    def by_source(self, lon: Floats, lat: Floats) -> dict[str, dict[str, Floats]]:
        """Yearly values of each source that the pack has, at places; to compare them."""
        return {
            name: {
                column: taken(cells[column].to_numpy(float), cell_at(cells, lon, lat))
                for column in YEARLY
            }
            for name, cells in self.cells.items()
            if len(cells)
        }

    def _of(self, column: str | list[str], source: str, row: Rows) -> Floats:
        """One source's values at the places."""
        return taken(self.cells[source][column].to_numpy(float), row[source])

    def _first(self, column: str, row: Rows) -> NDArray[np.object_]:
        """The first source that knows a column, "" where none does."""
        known = [np.isfinite(self._of(column, source, row)) for source in SOURCES]
        return np.select(known, SOURCES, "").astype(object)

    def _chosen(self, column: str | list[str], source: NDArray[np.object_], row: Rows) -> Floats:
        """Values of each place's own source."""
        out = np.full(np.shape(self._of(column, OPEN_METEO, row)), np.nan)
        for name in SOURCES:
            own = source == name
            out[own] = self._of(column, name, row)[own]
        return out


def open_climate_pack(options: Options) -> ClimatePack:
    """The climate of the pack that the options name; an empty one without.

    Raises
    ------
    LayerError
        The pack cannot be used.
    """
    part = packed(options, NAME)
    if part is None:
        return NO_PACK
    table = read_cells(part, FILE, COLUMNS)
    return ClimatePack({name: table[table["source"] == name] for name in SOURCES}, part.origins)


NO_PACK = ClimatePack(dict.fromkeys(SOURCES, pd.DataFrame(columns=[*PLACE, *COLUMNS], dtype=float)))


def over(embedded: Floats, months: Floats, year: Floats, weights: Floats) -> Floats:
    """Twelve months by the pack, else as embedded and moved to the pack's year, else embedded.

    Parameters
    ----------
    embedded, months : ndarray, shape (n, 12)
        What the maps say, and the pack; NaN where unknown.
    year : ndarray, shape (n,)
        The pack's mean of the year.
    weights : ndarray, shape (12,)
        Of the months in that mean; their sum is 1.

    Examples
    --------
    >>> import numpy as np
    >>> unknown = np.full((1, 12), np.nan)
    >>> flat = over(np.full((1, 12), 70.0), unknown, np.array([82.0]), np.full(12, 1 / 12))
    >>> round(float(flat[0, 0]), 6)
    82.0
    """
    moved = embedded + (year - (embedded * weights).sum(axis=1))[:, None]
    return np.where(np.isfinite(months), months,
                    np.where(np.isfinite(year)[:, None], moved, embedded))  # fmt: skip
