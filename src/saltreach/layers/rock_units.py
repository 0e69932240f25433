"""The geological units of a pack: polygons with what their map says of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import geopandas as gpd

FILE, LAYER, LEGEND = "rock.gpkg", "rock", "rock"
"""Name of the file, of its layer, and of the column with the map's own words."""
MORE = ("unit", "age", "scale", "map")
"""Columns with the unit's name, its age, the map's scale and the map."""


def write_units(units: gpd.GeoDataFrame, folder: Path) -> None:
    """Write units with columns `LEGEND` and `MORE`."""
    units.to_file(folder / FILE, layer=LAYER, driver="GPKG", engine="pyogrio")
