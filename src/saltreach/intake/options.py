"""Settings of an assessment: one frozen record, or one TOML file with the same names."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from saltreach.errors import OptionError
from saltreach.folders.files import checksum
from saltreach.folders.manifest import MANIFEST
from saltreach.intake.dates import EARLIEST_YEAR, LATEST_YEAR
from saltreach.intake.settings import FileName, Line, Several, day, read_settings, record

_BY_QUADRATURE = "errors are carried on by quadrature, without random draws"
GONE = {
    "wind": "the wind was not shown to improve the estimate",
    "spread": _BY_QUADRATURE,
    "seed": _BY_QUADRATURE,
}
"""Options of former versions, and why they are not needed."""


@record
class Options:
    """Settings of an assessment; impossible values raise an `OptionError`."""

    so2_ug_m3: Annotated[float, Field(ge=0, le=250)] = 2.0
    """Background SO2 assumed where the register gives none, µg/m³."""
    coast_file: FileName | None = None
    """Shoreline to use in place of the embedded one."""
    coast_sd_m: Annotated[float, Field(ge=0, le=1e5)] | None = None
    """Standard deviation of that shoreline's position, m."""
    offshore_limit_m: Annotated[float, Field(ge=0, le=1e6)] = 5000.0
    """Positions farther than this seaward of the shoreline are refused."""
    dem_file: FileName | None = None
    """Height raster for elevation, slope, aspect and shielding from the sea."""
    pack_folder: FileName | None = None
    """Region pack that `saltreach layers bring` wrote: shore, rock, heights, climate and air."""
    pack_parts: Several[Line] = ()
    """Parts of that pack to use; all of them where none is named."""
    policy_file: FileName | None = None
    """TOML file of an association's rules."""
    allow_looser_policy: bool = False
    """Accept rules looser than the defaults; every output then says so."""
    geology_file: FileName | None = None
    """Geological map: polygons, or a raster of codes."""
    rock_column: str | None = None
    """Column of its polygons that names the rock."""
    rock_mapping_file: FileName | None = None
    """CSV with columns code and lithology: what the map's entries mean."""
    survey_file: FileName | None = None
    """Survey of the sectors' rock mass, CSV or XLSX."""
    prices_file: FileName | None = None
    """The user's prices, TOML or CSV; its stock list limits the metals advised."""
    learned_file: FileName | None = None
    """What looks and tests taught: learned.json of `saltreach learned`."""
    leave_out_refused: bool = False
    """Go on without refused rows of the survey and the prices; every output then says so first."""
    axial_kn: Annotated[float, Field(ge=15, le=100)] = 15.0
    """Axial load an anchor must bear, kN: 15 (EN 959) or, stricter, 20; radial is 25."""
    today: Annotated[date | None, BeforeValidator(day)] = None
    """Day the assessment speaks for; the day it runs where not given."""

    def __post_init__(self) -> None:
        """Refuse what does not go together."""
        if self.today and not EARLIEST_YEAR <= self.today.year <= LATEST_YEAR:
            raise OptionError(
                f"today: {self.today} is not in {EARLIEST_YEAR} to {LATEST_YEAR}; correct the day"
            )
        if self.geology_file is None and self.rock_column is not None:
            raise OptionError("rock_column: give the geology file it belongs to as well")
        if self.pack_folder is None and self.pack_parts:
            raise OptionError("pack_parts: give the pack they belong to as well (pack_folder)")
        if self.coast_file is None and self.coast_sd_m is not None:
            raise OptionError("coast_sd_m: give the shoreline's file (coast_file) as well; the "
                              "embedded one keeps its own")  # fmt: skip

    def record(self) -> dict[str, Any]:
        """The options as plain values, for `provenance.json`.

        Of a file its name and checksum, of a pack those of its list.
        """
        record: dict[str, Any] = {}
        for name, value in asdict(self).items():
            if name.endswith("_file") and value is not None:
                record |= {name: Path(value).name, f"{name}_sha256": checksum(Path(value))}
            elif name == "pack_folder" and value is not None:
                listed = checksum(Path(value) / MANIFEST)
                record |= {name: Path(value).resolve().name, f"{name}_sha256": listed}
            else:
                plain = list(value) if isinstance(value, tuple) else value
                record[name] = plain.isoformat() if isinstance(plain, date) else plain
        return record


def read_options(path: str | Path, **over: Any) -> Options:
    """Options of a TOML file, with those given over them.

    Raises
    ------
    OptionError
        When the file cannot be read, a name is unknown or a value is impossible.
    """
    return read_settings(Options, path, "options", gone=GONE, over=over)
