"""Whom to ask: addresses of the open services, and a geological survey that the user names."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from saltreach.errors import OptionError
from saltreach.intake.settings import (
    Line,
    OneOf,
    Several,
    never_empty,
    read_settings,
    record,
    text_like,
)

_WHOLE = "give a whole address, https://..."
Address = Annotated[Line, text_like(r"https?://[^\s/?#]+[^\s]*", _WHOLE), never_empty(_WHOLE)]
ROCK_KINDS = ("features", "wfs", "wms", "file")


@record
class Survey:
    """A geological map on a server: whose, of what kind, which layer and column."""

    kind: Annotated[str, OneOf(ROCK_KINDS)]
    """`features` (OGC API Features), `wfs`, `wms` (GetFeatureInfo) or `file` (downloaded whole)."""
    address: Address
    """Address of the service, without its query; of a file, its own address."""
    layer: Line = ""
    """Collection, feature type or layer; of a file, the layer in it."""
    column: Line = ""
    """Column that names the rock."""
    name_column: Line = ""
    """Column with the unit's name, if any."""
    age_column: Line = ""
    """Column with its age, if any."""
    scale: Line = ""
    """Scale of the map, e.g. 1:50 000."""
    source: Line = ""
    """Who made the map."""
    licence: Line = ""
    """Under which terms it may be used."""
    attribution: Line = ""
    """Line to print where the map is shown."""
    key_parameter: Line = ""
    """Name of the parameter that takes a key, where the service asks for one."""
    key_environment: Line = ""
    """Environment variable that holds the key; it is written nowhere."""
    sha256: Annotated[Line, text_like(r"[0-9a-fA-F]{64}", "this is no SHA-256")] = ""
    """Checksum that a downloaded file must have, if it is known."""

    def __post_init__(self) -> None:
        """Refuse what does not go together."""
        if self.kind != "file" and not self.layer:
            raise OptionError(f"rock: say which layer of {self.address} to ask (layer)")
        if not self.column:
            raise OptionError(f"rock: say which column of {self.address} names the rock (column)")
        if bool(self.key_parameter) != bool(self.key_environment):
            raise OptionError("rock: key_parameter and key_environment go together")


@record
class Services:
    """Addresses of the services, each replaceable by a mirror, and the user's own rasters."""

    overpass: Address = "https://overpass-api.de/api/interpreter"
    """OpenStreetMap objects by Overpass."""
    macrostrat: Address = "https://macrostrat.org/api/v2"
    """Geological units by Macrostrat."""
    copernicus_dem: Address = "https://copernicus-dem-30m.s3.amazonaws.com"
    """Copernicus DEM GLO-30, one Cloud-Optimized GeoTIFF a degree."""
    nasa_power: Address = "https://power.larc.nasa.gov/api/temporal/climatology/point"
    """Climatology by NASA POWER."""
    open_meteo_archive: Address = "https://archive-api.open-meteo.com/v1/archive"
    """Hourly past weather by Open-Meteo."""
    open_meteo_air: Address = "https://air-quality-api.open-meteo.com/v1/air-quality"
    """Air quality (CAMS) by Open-Meteo."""
    pause_s: Annotated[float, Field(ge=0, le=60)] = 1.0
    """Pause between two requests to one host, s; less is for a server of your own."""
    rock: Survey | None = None
    """Geological map to ask in place of Macrostrat."""
    climate_rasters: Several[Line] = ()
    """Rasters of yours, `quantity=FILE`; `{month}` in the name stands for 01 to 12."""
    so2_raster: Line = ""
    """Raster of yours of mean SO2, ug/m3."""
    gshhg_full: Annotated[bool, Field(strict=True)] = False
    """Take the shore from GSHHG full resolution, installed, in place of OpenStreetMap."""


def read_services(path: str | Path) -> Services:
    """Services of a TOML file.

    Raises
    ------
    OptionError
        When the file cannot be read, a name is unknown or a value is impossible.
    """
    return read_settings(Services, path, "services")
