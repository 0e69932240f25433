"""Climate and SO2 of rasters that the user has (WorldClim, CHELSA, a survey's own), at the places.

A raster is named by its quantity: `humidity=hurs_{month}.tif` is twelve files, 01 to 12, and
`wind=wind.tif` one file of the year. Values are taken from the cell a place lies in, with the
file's own scale and offset (CHELSA stores integers). What a unit is, only the file says: a value
that cannot be is refused with the way to put it right, never turned into one that can.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import LayerError, OptionError
from saltreach.intake.services import Services
from saltreach.layers import climate_pack as pack
from saltreach.layers import so2
from saltreach.layers.climate import sample_climate
from saltreach.layers.layer import Origin
from saltreach.layers.online.by_node import Had
from saltreach.layers.online.figures import place, plain_unit
from saltreach.layers.raster import cell_position, open_raster, windows
from saltreach.layers.where import SAME_DEG, Where
from saltreach.science.air.wetness import HOURS_OF_MONTH

Floats = NDArray[np.float64]

MONTH = "{month}"
ZERO_CELSIUS_K = 273.15
MEANS = {
    "temperature": (-90.0, 60.0),
    "humidity": (0.0, 100.0),
    "rain": (0.0, 15_000.0),
    "wind": (0.0, 40.0),
    "so2": (0.0, 1000.0),
}
"""Least and most a mean of a month or year may be (degC, %, mm, m/s, ug/m3), else the unit is
another one: around the records of temperature and of a year's rain, wind and SO2 beyond any;
common practice."""
SOME_ABOVE = {"humidity": 1.5, "so2": 0.001}
"""A raster that is nowhere above this (%, ug/m3) is in another unit, such as a share of 1 or kg/m3;
judgement."""
TEMPERATURE_DOUBT_C = 12.0
"""Farther than this from the embedded mean of the year (median of the places) a raster is taken to
be in another unit: judgement; the embedded one is 0.5 degC off, and relief adds a few."""
RAIN_DOUBT = 4.0
"""The same for rain, as a factor up or down: judgement; tenths and inches are farther off."""


class Quantity(NamedTuple):
    """What a raster may hold: our column, units it may state in small letters, what may be wrong.

    A raster that states no unit is taken to be in the first: rain of the month, or of the year
    where it is one file.
    """

    column: str
    units: tuple[str, ...]
    doubt: str


_SCALE = "give the file its scale and offset (for example gdal_edit -a_scale 0.1)"
QUANTITIES = {
    "temperature": Quantity(
        pack.TEMPERATURE, ("degc", "°c", "c", "celsius", "degrees celsius", "k", "kelvin"),
        f"tenths or kelvin? {_SCALE}, -a_offset -273.15 where it holds kelvin",
    ),
    "humidity": Quantity(
        pack.HUMIDITY, ("%", "percent", "per cent"),
        f"a share, tenths or hundredths of a per cent? {_SCALE}",
    ),
    "rain": Quantity(
        pack.RAIN, ("mm", "mm/month", "mm month-1", "mm/year", "mm year-1", "kg m-2",
                    "kg m-2 month-1", "kg m-2 year-1"),
        f"tenths of a mm? {_SCALE}",
    ),
    "wind": Quantity(pack.WIND, ("m/s", "m s-1", "m s**-1"), f"km/h or tenths? {_SCALE}"),
}  # fmt: skip
SULPHUR = Quantity(
    so2.SO2, ("ug/m3", "ug m-3", "μg/m3", "μg m-3", "μg m**-3"),
    f"another unit? {_SCALE}, so that it holds ug/m3",
)  # fmt: skip


def named_rasters(services: Services) -> dict[str, str]:
    """The user's rasters of climate by quantity.

    Raises
    ------
    OptionError
        An entry names no quantity or no file, or a quantity stands twice.
    """
    found: dict[str, str] = {}
    for entry in services.climate_rasters:
        name, _, file = (part.strip() for part in entry.partition("="))
        if name not in QUANTITIES or not file:
            raise OptionError(
                f"climate_rasters: {entry!r} is not quantity=FILE with one of "
                f"{', '.join(QUANTITIES)}"
            )
        if name in found:
            raise OptionError(f"climate_rasters: {name} stands twice; give one raster (or twelve "
                              f"with {MONTH} in the name) of it")  # fmt: skip
        found[name] = file
    return found


def climate_of_rasters(services: Services, where: Where) -> Had:
    """What the user's rasters say at the places, one row each where any is known.

    Raises
    ------
    LayerError
        A file cannot be used, or holds what cannot be; OptionError where an entry is none.
    """
    named = named_rasters(services)
    had = Had("your raster", requests=list(named.values()))
    columns: dict[str, Floats] = {}
    for name, file in named.items():
        columns |= _columns(QUANTITIES[name].column, _read(name, QUANTITIES[name], file, where))
    _doubted(named, columns, where)
    return _rows(had, pack.RASTER, columns, where)


def so2_of_raster(services: Services, where: Where) -> Had:
    """What the user's raster of SO2 says at the places.

    Raises
    ------
    LayerError
        The file cannot be used, or holds what cannot be.
    """
    if not services.so2_raster:
        return Had("your raster")
    values = _read("so2", SULPHUR, services.so2_raster, where)
    return _rows(Had("your raster", requests=[services.so2_raster]), so2.RASTER,
                 {so2.SO2: values[:, 0]}, where)  # fmt: skip


def _rows(had: Had, source: str, columns: Mapping[str, Floats], where: Where) -> Had:
    """A row for each place of which anything is known."""
    if not columns:
        return had
    known = np.isfinite([*columns.values()]).any(axis=0).ravel()
    table = {"lon": where.lon, "lat": where.lat, **columns}
    # places closer than this were asked for once
    cell = {"source": source, "cell_lon_deg": 2 * SAME_DEG, "cell_lat_deg": 2 * SAME_DEG}
    had.rows += [cell | {name: float(values[i]) for name, values in table.items()}
                 for i in np.flatnonzero(known)]  # fmt: skip
    if not known.all():
        had.failure = (
            f"{had.name} knows {known.sum()} of {len(known)} places (the others lie outside it or "
            "where it has no data)"
        )
    return had


def _read(name: str, quantity: Quantity, file: str, where: Where) -> Floats:
    """Values at the places, (n, 12) or (n, 1); NaN where there are none."""
    files = [file.replace(MONTH, f"{m:02d}") for m in range(1, 13)] if MONTH in file else [file]
    return np.column_stack([_read_one(name, quantity, Path(one), where) for one in files])


def _read_one(name: str, quantity: Quantity, path: Path, where: Where) -> Floats:
    what = f"{name} raster"
    found = np.full(len(where.lon), np.nan)
    with open_raster(path, what) as raster:
        if raster.count != 1:
            raise LayerError(
                f"{what} {path.name} has {raster.count} bands; give a file of one band, or twelve "
                f"with {MONTH} in the name"
            )
        row, column = cell_position(raster, where.lon, where.lat)
        for points, cells, top, left in windows(raster, row, column):
            found[points] = cells[row[points].astype(int) - top, column[points].astype(int) - left]
        found = found * raster.scales[0] + raster.offsets[0]
        unit = plain_unit(raster.units[0] or "").strip().lower()
    if unit and unit not in quantity.units:
        raise LayerError(
            f"{what} {path.name} is in {unit[:40]}; give one in {quantity.units[0]}, or correct "
            "the unit it states (gdal_edit -units)"
        )
    known = found[np.isfinite(found)]
    low, high = MEANS[name]
    if unit in ("k", "kelvin") and len(known) and known.min() > high:
        found = found - ZERO_CELSIUS_K  # else its offset has made degC of it
    wrong = (found < low) | (found > high)
    if len(known) and known.max() <= SOME_ABOVE.get(name, -np.inf):
        wrong = np.isfinite(found)
    if wrong.any():
        at = int(wrong.argmax())
        raise LayerError(
            f"{what} {path.name} holds {found[at]:g} at {place(where.lon[at], where.lat[at])}, "
            f"which is no {quantity.column}: {quantity.doubt}; where it stands for no data, "
            "declare it (gdal_edit -a_nodata)"
        )
    return found


def _columns(quantity: str, values: Floats) -> dict[str, Floats]:
    """Columns of a pack from twelve months, or from the year alone."""
    days = HOURS_OF_MONTH / HOURS_OF_MONTH.sum()
    year = pack.RAIN_OF_YEAR if quantity == pack.RAIN else quantity
    if values.shape[1] == 1:
        return {year: values[:, 0]}
    weights = {pack.HUMIDITY: np.full(12, 1 / 12), pack.RAIN: np.ones(12)}.get(quantity, days)
    by_month = dict(zip(pack.by_month(quantity), values.T, strict=True))
    return {year: values @ weights} | (by_month if quantity != pack.WIND else {})


def _doubted(named: Mapping[str, str], columns: Mapping[str, Floats], where: Where) -> None:
    """Refuse temperature and rain that lie far from what is embedded: another unit."""
    checked: tuple[tuple[str, str, Callable[[Floats, Floats], Floats], float], ...] = (
        ("temperature", pack.TEMPERATURE, np.subtract, TEMPERATURE_DOUBT_C),
        ("rain", pack.RAIN_OF_YEAR, lambda own, maps: np.log(own / maps), np.log(RAIN_DOUBT)),
    )
    if not any(name in named for name, *_ in checked):
        return
    embedded = sample_climate(where.lon, where.lat)
    for name, column, difference, most in (one for one in checked if one[0] in named):
        own, maps = columns[column], embedded[column].to_numpy()
        with np.errstate(divide="ignore", invalid="ignore"):
            off = np.abs(difference(own, maps))
        known = np.flatnonzero(np.isfinite(off))
        if len(known) and np.median(off[known]) > most:
            raise LayerError(
                f"{name} raster {Path(named[name]).name} gives {own[known[0]]:g} as the year's, "
                f"where the embedded climate has {maps[known[0]]:.4g}: {QUANTITIES[name].doubt}"
            )


def raster_origin(had: Had) -> Origin:
    """What the user's rasters of climate are."""
    return Origin(
        name=pack.RASTER,
        quantity="monthly or yearly means as named",
        unit="degC, %, mm, m/s",
        source=f"rasters of the user's: {', '.join(Path(file).name for file in had.requests)}",
        licence="terms of the user's files",
        accuracy="not known to saltreach; standard deviations carried are judgement",
        extent="places of the register when it was brought",
        note="value of the cell a place lies in, with the file's own scale and offset; where the "
        "year alone is given, its months are the embedded ones moved to it",
    )


def so2_raster_origin(had: Had) -> Origin:
    """What the user's raster of SO2 is."""
    return Origin(
        name=so2.RASTER,
        quantity="mean concentration of sulphur dioxide",
        unit="ug/m3",
        source=f"raster of the user's: {Path(had.requests[0]).name}",
        licence="terms of the user's file",
        accuracy=f"standard deviation a factor of {np.exp(so2.PACKED_SIGMA_LN[so2.RASTER]):.2g} "
        "carried, judgement",
        extent="places of the register when it was brought",
    )
