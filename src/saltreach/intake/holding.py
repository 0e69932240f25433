"""A landholding as the user describes it: the land, who looks after it, what is planned."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from saltreach.errors import OptionError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])(-\d{2})?\Z")
_PHONE = re.compile(r"\+?[0-9][0-9 ()./-]{1,30}\Z")
_MAIL = re.compile(r"[^@\s<>\"'&?,;:]+@[^@\s<>\"'&?,;:]+\.[^@\s<>\"'&?,;:.]+\Z")


@dataclass(frozen=True)
class Contact:
    """Who looks after the anchors and how to reach them."""

    organisation: str = ""
    person: str = ""
    phone: str = ""
    email: str = ""
    emergency_phone: str = ""


@dataclass(frozen=True)
class Work:
    """Something that will be done at a crag, and the month (`2027-04`) by which."""

    crag: str
    what: str
    by: str = ""


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


_TOP = ("name", "land", "crags", "contact", "visits", "work")
_CONTACT = tuple(f.name for f in fields(Contact))
_WORK = tuple(f.name for f in fields(Work))


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
    values: dict[str, Any] = {}
    for file in (path, contact):
        if file is None:
            continue
        if not file.is_file():
            raise OptionError(f"{file}: there is no such file; give a polygon file or TOML")
        given = _toml(file) if file.suffix.lower() == ".toml" else _polygon(file)
        merged = values.get("contact", {}) | given.get("contact", {})
        values |= given | {"contact": merged}
    holding = Holding(
        name=_text(values, "name", path) or path.stem,
        contact=Contact(**{key: _text(values["contact"], key, path) for key in _CONTACT}),
        land=values.get("land"),
        crags=tuple(map(str, values.get("crags", ()))),
        visits={str(crag): str(month) for crag, month in values.get("visits", {}).items()},
        works=tuple(
            Work(**{key: _text(work, key, path) for key in _WORK})
            for work in values.get("work", ())
        ),
    )
    _check(holding, path)
    return holding


def _text(values: Mapping[str, Any], key: str, file: Path) -> str:
    value = values.get(key, "")
    if isinstance(value, Mapping | list):
        raise OptionError(f'{file}: {key} is not a text; write {key} = "..."')
    return " ".join(str(value).split())


def _toml(file: Path) -> dict[str, Any]:
    try:
        values = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise OptionError(f"{file}: not TOML ({error})") from error
    _known(values, _TOP, file, "")
    shapes = {"contact": Mapping, "visits": Mapping, "work": list, "crags": list}
    for key, shape in shapes.items():
        if not isinstance(values.get(key, shape() if shape is list else {}), shape):
            kind = "a list" if shape is list else f"a table, [{key}]"
            raise OptionError(f"{file}: {key} must be {kind}")
    _known(values.get("contact", {}), _CONTACT, file, "contact.")
    for work in values.get("work", ()):
        if not isinstance(work, Mapping):
            raise OptionError(f"{file}: write each work as its own [[work]] table")
        _known(work, _WORK, file, "work.")
    if "land" in values:
        values["land"] = _polygon(file.parent / str(values["land"]))["land"]
    return values


def _known(values: Mapping[str, Any], names: tuple[str, ...], file: Path, where: str) -> None:
    for key in values:
        if key not in names:
            near = get_close_matches(key, names, 1)
            hint = f"did you mean {near[0]}?" if near else f"use one of {', '.join(names)}"
            raise OptionError(f"{file}: {where}{key} is not known; {hint}")


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
    for key in ("name", *_CONTACT):
        known = frame[key].dropna() if key in frame else frame.index[:0].to_series()
        if len(known):
            (found if key == "name" else found["contact"])[key] = known.iloc[0]
    return found


def _check(holding: Holding, file: Path) -> None:
    contact = holding.contact
    if holding.land is None and not holding.crags:
        raise OptionError(f"{file}: name the land (land = FILE) or the crags (crags = [...])")
    if not (contact.organisation or contact.person) or not (contact.phone or contact.email):
        raise OptionError(
            f"{file}: say who looks after the anchors: contact.organisation or contact.person, "
            "and contact.phone or contact.email"
        )
    for key in ("phone", "emergency_phone"):
        value = getattr(contact, key)
        if value and not _PHONE.match(value):
            raise OptionError(f"{file}: contact.{key} = {value!r} is not a telephone number")
    if contact.email and not _MAIL.match(contact.email):
        raise OptionError(f"{file}: contact.email = {contact.email!r} is not a mail address")
    months = {f"visits.{crag}": month for crag, month in holding.visits.items()}
    months |= {f"work.by of {work.crag}": work.by for work in holding.works if work.by}
    for where, month in months.items():
        if not _MONTH.match(month):
            raise OptionError(f"{file}: {where} = {month!r}: write the month as 2027-04")
