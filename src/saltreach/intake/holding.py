"""A landholding as the user describes it: the land, who looks after it, what is planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field

from saltreach.errors import OptionError
from saltreach.intake.settings import Line, Several, checked, read_toml, record, text_like

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Month = Annotated[Line, text_like(r"\d{4}-(0[1-9]|1[0-2])(-\d{2})?", "write the month as 2027-04")]
Phone = Annotated[Line, text_like(r"\+?[0-9][0-9 ()./-]{1,30}", "this is not a telephone number")]
Mail = Annotated[
    Line,
    text_like(
        r"[^@\s<>\"'&?,;:]+@[^@\s<>\"'&?,;:]+\.[^@\s<>\"'&?,;:.]+", "this is not a mail address"
    ),
]


@record
class Contact:
    """Who looks after the anchors and how to reach them."""

    organisation: Line = ""
    """Organisation that looks after the anchors; it or a person is needed."""
    person: Line = ""
    """Person, or the office they hold."""
    phone: Phone = ""
    """Telephone; it or a mail address is needed."""
    email: Mail = ""
    """Mail address."""
    emergency_phone: Phone = ""
    """Number of the emergency services."""


@record
class Work:
    """Something that will be done at a crag."""

    crag: Line
    """Crag, as the register spells it."""
    what: Line
    """What will be done, in plain words."""
    by: Month = ""
    """Month by which, as 2027-04."""


@record
class HoldingFile:
    """A holding as its TOML file says it."""

    name: Line = ""
    """Name of the land."""
    land: Line = ""
    """File of its polygons, beside this one; or name the crags."""
    crags: Several[Line] = ()
    """Crags of the holding, as the register spells them, where no polygons are given."""
    contact: Contact = Contact()
    """Who looks after the anchors."""
    visits: dict[str, Month] = Field(default_factory=dict)
    """Month of the planned visit by crag, as 2027-04."""
    work: Several[Work] = ()
    """What is planned."""


@dataclass(frozen=True)
class Holding:
    """One landholding.

    `land`: polygon in WGS 84, or None when `crags` names the crags instead. `visits`: month of
    the planned visit by crag.
    """

    name: str
    contact: Contact
    land: BaseGeometry | None = None
    crags: tuple[str, ...] = ()
    visits: Mapping[str, str] = field(default_factory=dict)
    works: tuple[Work, ...] = ()


def read_holding(path: Path, contact: Path | None = None) -> Holding:
    """Read a landholding from a polygon file or from TOML.

    Parameters
    ----------
    path : pathlib.Path
        GeoJSON, GeoPackage or another polygon file, whose columns `name`, `organisation`,
        `person`, `phone`, `email`, `emergency_phone` are used where present; or TOML::

            name = "Quinta do Vento"
            land = "quinta.geojson"          # or: crags = ["Cabo Alzoro"]
            [contact]
            organisation = "Climbers of the coast"
            phone = "+44 1632 960123"        # and person, email, emergency_phone
            [visits]
            "Cabo Alzoro" = "2026-10"
            [[work]]
            crag = "Cabo Alzoro"
            what = "All anchors renewed"
            by = "2027-04"
    contact : pathlib.Path, optional
        TOML with the same keys that completes or replaces what `path` says.

    Returns
    -------
    Holding

    Raises
    ------
    OptionError
        When a key, a month, a telephone number or the polygon is unusable, when neither land
        nor crags are named, or when no one can be called or written to.
    """
    given: dict[str, Any] = {}
    land = None
    for file in (path, contact):
        if file is None:
            continue
        if not file.is_file():
            raise OptionError(f"{file}: there is no such file; give a polygon file or TOML")
        if file.suffix.lower() == ".toml":
            values = read_toml(file, "holding")
            checked(HoldingFile, values, str(file))
            if values.get("land"):
                land = _polygon(file.parent / str(values["land"]))["land"]
        else:
            values = _polygon(file)
            land = values.pop("land")
        given |= values | {"contact": given.get("contact", {}) | values.get("contact", {})}
    found = checked(HoldingFile, given, str(path))
    _check(found, land, path)
    name = found.name or path.stem
    return Holding(name, found.contact, land, found.crags, found.visits, found.work)


def _polygon(file: Path) -> dict[str, Any]:
    import geopandas as gpd
    import pyogrio
    import shapely

    if not file.is_file():
        raise OptionError(f"{file}: there is no such file; give the polygon of the land")
    try:
        frame = gpd.read_file(file)
    except pyogrio.errors.DataSourceError as error:
        raise OptionError(f"{file}: not a file of polygons ({error})") from error
    if not isinstance(frame, gpd.GeoDataFrame) or frame.crs is None:
        raise OptionError(f"{file}: no geometry, or its coordinate system is not known")
    shapes = shapely.get_parts(frame.geometry.to_crs("EPSG:4326").dropna().values)
    shapes = shapely.make_valid(shapes[shapely.get_type_id(shapes) == 3])
    if not len(shapes):
        raise OptionError(f"{file}: holds no polygon; draw the land as one or more polygons")
    found: dict[str, Any] = {"land": shapely.union_all(shapes), "contact": {}}
    for key in ("name", *(f.name for f in fields(Contact))):
        known = frame[key].dropna() if key in frame else frame.index[:0].to_series()
        if len(known):
            (found if key == "name" else found["contact"])[key] = known.iloc[0]
    return found


def _check(found: HoldingFile, land: BaseGeometry | None, file: Path) -> None:
    contact = found.contact
    if land is None and not found.crags:
        raise OptionError(f"{file}: name the land (land = FILE) or the crags (crags = [...])")
    if not (contact.organisation or contact.person) or not (contact.phone or contact.email):
        raise OptionError(
            f"{file}: say who looks after the anchors: contact.organisation or contact.person, "
            "and contact.phone or contact.email"
        )
