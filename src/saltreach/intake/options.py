"""Settings of an assessment: one frozen record, or one TOML file with the same names."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Any

from saltreach.errors import OptionError


@dataclass(frozen=True)
class Options:
    """Settings of an assessment.

    Attributes
    ----------
    so2_ug_m3 : float
        Background SO2 assumed where the register gives none, µg/m³.
    coast_file : str or None
        Shoreline to use in place of the embedded one.
    coast_sd_m : float or None
        Standard deviation of that shoreline's position, m.
    offshore_limit_m : float
        Positions farther than this seaward of the shoreline are refused.
    dem_file : str or None
        Height raster for elevation, slope, aspect and shielding from the sea.
    policy_file : str or None
        TOML file of an association's rules.
    allow_looser_policy : bool
        Accept rules looser than the defaults; every output then says so.
    geology_file : str or None
        Geological map: polygons, or a raster of codes.
    rock_column : str or None
        Column of its polygons that names the rock.
    rock_mapping_file : str or None
        CSV with columns code and lithology: what the map's entries mean.
    survey_file : str or None
        Survey of the sectors' rock mass, CSV or XLSX.
    prices_file : str or None
        The user's prices, TOML or CSV; its stock list limits the metals advised.
    axial_kn : float
        Axial load an anchor must bear: 15 (EN 959) or, stricter, 20; radial is 25.
    today : date or None
        Day the assessment speaks for; None means the day it runs.
    """

    so2_ug_m3: float = 2.0
    coast_file: str | None = None
    coast_sd_m: float | None = None
    offshore_limit_m: float = 5000.0
    dem_file: str | None = None
    policy_file: str | None = None
    allow_looser_policy: bool = False
    geology_file: str | None = None
    rock_column: str | None = None
    rock_mapping_file: str | None = None
    survey_file: str | None = None
    prices_file: str | None = None
    axial_kn: float = 15.0
    today: date | None = None

    def __post_init__(self) -> None:
        """Refuse impossible values."""
        for name, low, high in (("so2_ug_m3", 0, 250), ("offshore_limit_m", 0, 1e6),
                                ("coast_sd_m", 0, 1e5),
                                ("axial_kn", type(self).axial_kn, 100)):  # fmt: skip
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise OptionError(f"option {name} = {value}: give a value from {low} to {high:g}")

        if self.geology_file is None and self.rock_column is not None:
            raise OptionError("option rock_column: give the geology file it belongs to as well")

    def record(self) -> dict[str, Any]:
        """The options as plain values, for `provenance.json`."""
        return {
            name: value.isoformat() if isinstance(value, date) else value
            for name, value in asdict(self).items()
        }


def read_options(path: Path, base: Options | None = None) -> Options:
    """Options from a TOML file; unknown names are refused with the nearest match.

    Raises
    ------
    OptionError
        When the file cannot be read, a name is unknown or a value has the wrong type.
    """
    try:
        given = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise OptionError(f"options file {path} does not exist") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise OptionError(f"options file {path} is not valid TOML: {error}") from error
    names = {f.name: f.type for f in fields(Options)}
    for name, value in given.items():
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            raise OptionError(
                f"options file {path}: unknown option {name!r}{hint} (known: {', '.join(names)})"
            )
        if not _fits(value, str(names[name])):
            raise OptionError(f"options file {path}: {name} = {value!r} should be {names[name]}")
    return replace(base or Options(), **given)


def _fits(value: object, wanted: str) -> bool:
    """Whether a TOML value has the type an option is declared with."""
    if isinstance(value, bool):
        return "bool" in wanted
    if isinstance(value, int):
        return "int" in wanted or "float" in wanted
    return type(value).__name__ in wanted
