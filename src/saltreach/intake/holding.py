"""A landholding as the user describes it: the land, who looks after it, what is planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field

from saltreach.errors import OptionError, brief
from saltreach.intake.settings import (
    Line,
    Several,
    checked,
    never_empty,
    read_toml,
    record,
    text_like,
    utf8_text,
)

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

MOST_DEGREES = 10.0
"""Widest land that is drawn, from west to east or south to north, degrees."""
_MONTH = "write the month as 2027-04"

Month = Annotated[Line, text_like(r"[0-9]{4}-(0[1-9]|1[0-2])(-(0[1-9]|[12][0-9]|3[01]))?", _MONTH)]
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
    visits: dict[str, Annotated[Month, never_empty(_MONTH)]] = Field(default_factory=dict)
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
        TOML that completes or replaces what `path` says of contact, visits and work. It may not
        say which land or crags: whose land is shown is said once.

    Returns
    -------
    Holding

    Raises
    ------
    OptionError
        When a key, a month, a telephone number or the polygon is unusable, when neither land
        nor crags are named, when the contact file names them too, or when no one can be called or
        written to.
    """
    given: dict[str, Any] = {}
    land = None
    if path.suffix.lower() == ".toml":
        given = read_toml(path, "holding")
        checked(HoldingFile, given, f"holding file {path}")
        if given.get("land"):
            land = _polygon(path.parent / str(given["land"]))["land"]
    else:
        given = _polygon(path)
        land = given.pop("land")
        checked(HoldingFile, given, f"holding file {path}")
    if contact is not None:
        more = _contact_file(contact, path)
        _one_answer(given.get("contact", {}), more.get("contact", {}), path, contact)
        given |= more | {"contact": given.get("contact", {}) | more.get("contact", {})}
    where = " and ".join(map(str, filter(None, [path, contact])))
    found = checked(HoldingFile, given, where)
    _check(found, land, where)
    name = found.name or path.stem
    return Holding(name, found.contact, land, found.crags, found.visits, found.work)


def read_contact(path: Path) -> Holding:
    """Who looks after the anchors, from TOML as for `read_holding`; the land need not be named.

    Parameters
    ----------
    path : pathlib.Path
        TOML with `[contact]`, and the land or the crags if it is for one landholding.

    Raises
    ------
    OptionError
        As for `read_holding`.
    """
    if path.suffix.lower() != ".toml":
        raise OptionError(f"contact file {path}: give TOML that says who to call")
    given = read_toml(path, "contact")
    found = checked(HoldingFile, given, f"contact file {path}")
    land = _polygon(path.parent / found.land)["land"] if found.land else None
    _check_contact(found.contact, f"contact file {path}")
    name = found.name or path.stem
    return Holding(name, found.contact, land, found.crags, found.visits, found.work)


def _contact_file(file: Path, holding: Path) -> dict[str, Any]:
    """What a contact file says; it may not say again which land it is about."""
    if file.suffix.lower() != ".toml":
        raise OptionError(f"contact file {file}: give TOML that says who to call")
    values = read_toml(file, "contact")
    checked(HoldingFile, values, f"contact file {file}")
    again = [name for name in ("name", "land", "crags") if values.get(name)]
    if again:
        raise OptionError(
            f"contact file {file} says {' and '.join(again)} too, but the holding is that of "
            f"{holding}: whose land is meant? Delete {'it' if len(again) == 1 else 'them'} from "
            f"{file.name}, or give {file.name} as the holding alone"
        )
    return values


def _polygon(file: Path) -> dict[str, Any]:
    import warnings

    import geopandas as gpd
    import pyogrio
    import shapely
    from pyproj.exceptions import CRSError

    try:
        folder, there = file.is_dir(), file.is_file()
    except (OSError, ValueError):  # a name that no file can have
        folder = there = False
    if folder:
        raise OptionError(f"holding file {file} is a folder; give a file with the land's polygon")
    if not there:
        shown = brief(str(file), 200)
        raise OptionError(f"{shown}: there is no such file; give the polygon of the land, or TOML")
    if file.suffix.lower() in (".geojson", ".json"):
        utf8_text(file, "holding")  # RFC 7946: no other encoding
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # GDAL's, about what is refused or mended below
            frame = gpd.read_file(file)
        if not isinstance(frame, gpd.GeoDataFrame) or frame.crs is None:
            raise OptionError(f"{file}: no geometry, or its coordinate system is not known")
        shapes = shapely.get_parts(frame.geometry.to_crs("EPSG:4326").dropna().values)
        shapes = shapes[(shapely.get_type_id(shapes) == 3) & ~shapely.is_empty(shapes)]
        if not len(shapes):
            raise OptionError(f"{file}: holds no polygon; draw the land as one or more polygons")
        _check_extent(shapes, file)
        shapes = shapely.make_valid(shapes)
    except OptionError:
        raise
    except (
        pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError, pyogrio.errors.FieldError, shapely.errors.ShapelyError,
        CRSError, UnicodeDecodeError,
    ) as error:  # fmt: skip
        said = str(error).splitlines()[0][:150] if str(error) else type(error).__name__
        raise OptionError(f"{file}: not a file of polygons, or a damaged one ({said})") from error
    found: dict[str, Any] = {"land": shapely.union_all(shapes), "contact": {}}
    for key in ("name", *(f.name for f in fields(Contact))):
        known = frame[key].dropna() if key in frame else frame.index[:0].to_series()
        if len(known):
            (found if key == "name" else found["contact"])[key] = known.iloc[0]
    return found


def _check_extent(shapes: Any, file: Path) -> None:
    """Refuse polygons that are not on the earth, or too wide to be drawn as one land."""
    import numpy as np
    import shapely

    lon, lat = shapely.get_coordinates(shapes).T
    for name, values, most in (("longitude", lon, 180.0), ("latitude", lat, 90.0)):
        bad = ~(np.abs(values) <= most + 1e-9)
        if bad.any():
            raise OptionError(
                f"{file}: {name} {values[bad][0]:.10g} of the polygon is not in -{most:g}..{most:g}"
                " degrees; check the order of the coordinates and their coordinate system"
            )
    west, _, east, _ = shapely.bounds(shapes).T
    across = min(np.ptp(lon), np.ptp(lon % 360))  # islands on both sides of 180 are near
    wide = max((east - west).max(), across, np.ptp(lat))
    if wide > MOST_DEGREES:
        raise OptionError(
            f"{file}: the land is {wide:.0f} degrees wide, over the limit of {MOST_DEGREES:g}; "
            "give the land of one holder, or name the crags"
        )


def _one_answer(first: Mapping[str, Any], second: Mapping[str, Any], one: Path, two: Path) -> None:
    """Refuse two files that name different people to call."""
    for key in first.keys() & second.keys():
        if first[key] != second[key]:
            raise OptionError(
                f"{one.name} says contact.{key} = {first[key]!r} and {two.name} says "
                f"{second[key]!r}: delete the wrong one"
            )


def _check(found: HoldingFile, land: BaseGeometry | None, where: str) -> None:
    if land is None and not found.crags:
        raise OptionError(f"{where}: name the land (land = FILE) or the crags (crags = [...])")
    _check_contact(found.contact, where)


def _check_contact(contact: Contact, where: str) -> None:
    if not (contact.organisation or contact.person) or not (contact.phone or contact.email):
        raise OptionError(
            f"{where}: say who looks after the anchors: contact.organisation or contact.person, "
            "and contact.phone or contact.email"
        )
