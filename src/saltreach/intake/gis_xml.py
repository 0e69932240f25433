"""Registers in XML: waypoints of GPX, placemarks of KML and KMZ.

Both are read by the standard library's parser, one point at a time, so that a bad point is
refused alone. A document type is refused: no such file needs one, and entities defined in it
can grow without end or name other files.
"""

from __future__ import annotations

import io
import math
import re
import reprlib
import xml.etree.ElementTree as ET
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from html import unescape
from pathlib import Path
from typing import Any, NamedTuple
from xml.parsers import expat

import numpy as np

from saltreach.errors import RegisterError, cause_of
from saltreach.intake import sizes
from saltreach.intake.formats import Request, Table, key_value_pairs
from saltreach.intake.gis import SMALLER, features_table, small_enough
from saltreach.intake.headers import column_of

_CUT_OFF = frozenset((3, 5, 6, 20))
"""Codes of expat for a file that ends too early: nothing there, a tag, a character, a section."""
_INVALID = 4
"""Its code for bytes that are no text of the encoding."""
_SHOWN = 60
"""Characters of a bad position that a message repeats."""
_PAIRS_CHARS = 20_000
"""A free text of more characters is no list of key=value."""
_POSITION_CHARS = 200
"""Coordinates of one point take fewer characters."""
_SHAPES = frozenset(
    ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry", "Model", "Track",
     "MultiTrack")
)  # fmt: skip
_BLOCKS = frozenset(("br", "p", "div", "tr", "li", "table", "ul", "ol", "h1", "h2", "h3", "hr"))
_TAG = re.compile(r"[A-Za-z/!?]")
_WORD = re.compile(r"/?\w*")


class _HasDocumentTypeError(Exception):
    """The file has a document type."""


def _refuse_document_type(*_: object) -> None:
    raise _HasDocumentTypeError


def _tree(data: bytes | str) -> ET.Element:
    # expat alone runs through the file first: it stops at a document type before any entity in
    # it is read, and at a fault before a tree is built
    first = expat.ParserCreate(namespace_separator="}")
    first.StartDoctypeDeclHandler = _refuse_document_type
    first.Parse(data, True)
    return ET.fromstring(data)


def _in_windows_1252(data: bytes) -> str | None:
    """Text of a file that is no UTF-8; None where it is, or is no Windows-1252 either."""
    try:
        data.decode("utf-8-sig")
    except UnicodeDecodeError:
        try:
            return data.decode("cp1252")
        except UnicodeDecodeError:
            return None
    return None


def _root(data: bytes, where: str, form: str) -> tuple[ET.Element, tuple[str, ...]]:
    """Root of an XML file whose root element is `form`, and what was assumed to read it."""
    small_enough(data, where)
    tags = max(data.count(b"<"), data.count(b"&"))
    sizes.within(tags, sizes.XML_TAGS, where, "tags or characters written as &...;", SMALLER,
                 RegisterError)  # fmt: skip
    pairs = data.count(b"=")
    sizes.within(pairs, sizes.XML_PAIRS, where, "attributes (=)", SMALLER, RegisterError)
    notes: tuple[str, ...] = ()
    try:
        try:
            root = _tree(data)
        except expat.ExpatError as error:
            text = _in_windows_1252(data) if error.code == _INVALID else None
            if text is None:
                raise
            root = _tree(text)
            notes = ("text is not UTF-8 and was read as Windows-1252: check accents",)
    except _HasDocumentTypeError as error:
        raise RegisterError(
            f"{where}: it has a document type (<!DOCTYPE ...>), which is not read because it may "
            f"name other files or grow without end; remove it, or export the {form.upper()} again"
        ) from error
    except expat.ExpatError as error:
        said = f"line {error.lineno}: {expat.ErrorString(error.code)}"
        if error.code in _CUT_OFF:
            said = f"it ends in line {error.lineno} before it is complete (cut off?)"
        raise RegisterError(
            f"{where}: not a readable {form.upper()} file: {said}; copy or export it again"
        ) from error
    except (ValueError, LookupError, MemoryError) as error:
        raise RegisterError(
            f"{where}: not a readable {form.upper()} file ({cause_of(error)}); save it in UTF-8"
        ) from error
    if _name(root) != form:
        raise RegisterError(
            f"{where}: not a {form.upper()} file (it begins with <{_name(root)[:_SHOWN]}>, not "
            f"with <{form}>)"
        )
    return root, notes


def _name(element: ET.Element) -> str:
    """Name of an element without its namespace."""
    return element.tag.rpartition("}")[2]


def _children(element: ET.Element, *names: str) -> list[ET.Element]:
    return [child for child in element if _name(child) in names]


def _text(element: ET.Element, name: str) -> str | None:
    """Text of the first child of that name; None where there is none."""
    for child in element:
        if _name(child) == name:
            return (child.text or "").strip() or None
    return None


def _degrees(text: str | None) -> float:
    """A number of degrees, with a point or a decimal comma; NaN where it is none."""
    if text is None or "_" in text:
        return math.nan
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return math.nan
    return number if math.isfinite(number) else math.nan


def _described(texts: list[str | None]) -> tuple[dict[str, Any], str | None]:
    """Fields written as key=value in free texts, and what remains of these."""
    fields: dict[str, Any] = {}
    free: list[str] = []
    for text in filter(None, texts):
        pairs, rest = key_value_pairs(text) if len(text) <= _PAIRS_CHARS else ({}, text)
        fields |= pairs
        free += [rest] if rest and rest not in free else []
    return fields, "; ".join(free) or None


def _with_own(
    records: list[dict[str, Any]], own: list[dict[str, Any]], by_hand: Mapping[str, str]
) -> list[dict[str, Any]]:
    """Records with what the form's own elements say, where no field of the user's says it."""
    fields = dict.fromkeys(name for record in records for name in record)
    known = {column_of(name, grid=False) for name in fields} | set(by_hand)
    names = dict.fromkeys(name for one in own for name in one)
    free = [name for name in names if name in fields or name not in known]
    return [
        {n: value for n in free if (value := one.get(n)) is not None} | record
        for record, one in zip(records, own, strict=True)
    ]


def _waypoint(element: ET.Element) -> tuple[dict[str, Any], dict[str, Any]]:
    """Fields the user gave a waypoint (key=value text, then extensions), and its own elements."""
    record, free = _described([_text(element, "desc"), _text(element, "cmt")])
    for extension in _children(element, "extensions"):
        for inner in extension.iter():
            if len(inner) == 0 and inner.text and inner.text.strip():
                record[_name(inner)] = inner.text
    own = {"anchor_id": _text(element, "name"), "elevation_m": _text(element, "ele"), "notes": free}
    return record, own


def _gpx_position(element: ET.Element) -> tuple[float, float, Any]:
    lon, lat = element.get("lon"), element.get("lat")
    x, y = _degrees(lon), _degrees(lat)
    if not math.isnan(x + y):
        return x, y, np.nan
    said = (f"{n} missing" if v is None else f"{n} {v[:_SHOWN]!r}"
            for n, v in (("lat", lat), ("lon", lon)))  # fmt: skip
    return np.nan, np.nan, ", ".join(said)


def read_gpx(path: Path, data: bytes, request: Request) -> Table:
    """Read the waypoints of a GPX file; points of routes and tracks are counted and left aside."""
    where = path.name
    root, notes = _root(data, where, "gpx")
    waypoints = _children(root, "wpt")
    others = [
        f"{count} {what} points"
        for tag, what in (("rtept", "route"), ("trkpt", "track"))
        if (count := sum(_name(e) == tag for e in root.iter()))
    ]
    aside = " and ".join(others)
    sizes.within(len(waypoints), sizes.FEATURES, where, "waypoints", SMALLER, RegisterError)
    if not waypoints:
        raise RegisterError(
            f"{where}: no waypoints in the file; give one per anchor"
            + (f" (its {aside} are no anchors)" if aside else "")
        )
    if aside:
        notes += (f"{aside} are no anchors and were left aside",)
    if any("," in e.get("lat", "") + e.get("lon", "") for e in waypoints):
        notes += ("a comma in lat or lon was read as the decimal point",)
    found = [_gpx_position(e) for e in waypoints]
    records, own = zip(*map(_waypoint, waypoints), strict=True)
    records = _with_own(list(records), list(own), request.columns or {})
    return _table(records, found, where, "GPX", notes)


def _table(
    records: list[dict[str, Any]],
    found: list[tuple[float, float, Any]],
    where: str,
    form: str,
    notes: tuple[str, ...],
) -> Table:
    return features_table(
        records,
        np.array([f[:2] for f in found], dtype=float),
        np.array([f[2] for f in found], dtype=object),
        np.arange(len(records)) + 1,
        where,
        format=form,
        notes=notes,
        crs="EPSG:4326",
    )


def text_of_html(html: str) -> str:
    """Text of HTML without tags, comments, scripts and styles; each block on a line of its own.

    It goes from `<` to `<` once: a pattern, or the parser of the standard library, takes hours
    on what is made to be slow.

    Examples
    --------
    >>> text_of_html("<p>rusty &amp; bent</p><p>look<br/>again</p>, 3 < 4")
    'rusty & bent\\nlook\\nagain\\n, 3 < 4'
    """
    first, *pieces = html.split("<")
    parts = [first]
    until = ""  # what ends the comment, script or style that we are in
    for piece in pieces:
        if until == "-->" or (not until and piece.startswith("!--")):
            _, end, text = piece.partition("-->")
            until = "" if end else "-->"
            parts.append(text)
            continue
        word = _WORD.match(piece)[0].lower()  # type: ignore[index]  # it matches the empty text
        if until and word != until:
            continue
        tag, end, text = piece.partition(">")
        if not end or not _TAG.match(tag):
            parts.append("<" + piece)
            continue
        until = f"/{word}" if word in ("script", "style") else ""
        block = word.removeprefix("/") in _BLOCKS
        parts += ["\n" if block else " " if word in ("td", "th") else "", "" if until else text]
    lines = (" ".join(line.split()) for line in unescape("".join(parts)).split("\n"))
    return "\n".join(line for line in lines if line)


class _Placemark(NamedTuple):
    """A placemark, the names of all that lies around it, and those of its folders alone."""

    element: ET.Element
    around: tuple[str, ...]
    folders: tuple[str, ...]


def _placemarks(root: ET.Element, where: str) -> Iterator[_Placemark]:
    """Placemarks in the order of the file."""
    waiting = [_Placemark(root, (), ())]
    while waiting:
        element, around, folders = waiting.pop()
        kind = _name(element)
        if kind == "Placemark":
            yield _Placemark(element, around, folders)
            continue
        if kind in ("Folder", "Document"):
            name = _text(element, "name") or ""
            # the document at the top is the file itself
            folders = folders if kind == "Document" and not around else (*folders, name)
            around = (*around, name)
            fix = "save the placemarks in fewer folders"
            sizes.within(
                len(around), sizes.FOLDERS_DEEP, where, "folders inside each other", fix,
                RegisterError,
            )  # fmt: skip
        waiting += [_Placemark(child, around, folders) for child in reversed(element)]


def _kml_position(placemark: ET.Element) -> tuple[float, float, Any]:
    shapes = _children(placemark, *_SHAPES)
    while len(shapes) == 1 and _name(shapes[0]) == "MultiGeometry":
        shapes = _children(shapes[0], *_SHAPES)
    if not shapes:
        return np.nan, np.nan, np.nan
    if len(shapes) > 1 or _name(shapes[0]) != "Point":
        return np.nan, np.nan, _name(shapes[0]) if len(shapes) == 1 else "MultiGeometry"
    text = _text(shapes[0], "coordinates")
    if text is None:
        return np.nan, np.nan, np.nan
    parts = [part.strip() for part in text[:_POSITION_CHARS].split(",")]
    single = not any(len(part.split()) > 1 for part in parts)
    if 2 <= len(parts) <= 3 and single and len(text) <= _POSITION_CHARS:
        lon, lat = _degrees(parts[0]), _degrees(parts[1])
        if not math.isnan(lon + lat):
            return lon, lat, np.nan
    return np.nan, np.nan, f"coordinates {text[:_SHOWN]!r}"


def _extended(placemark: ET.Element) -> dict[str, Any]:
    """Fields of the extended data of a placemark: Data, and SimpleData of a schema."""
    record: dict[str, Any] = {}
    for extended in _children(placemark, "ExtendedData"):
        for one in extended.iter():
            name = (one.get("name") or "").strip()
            if not name or _name(one) not in ("Data", "SimpleData"):
                continue
            text = _text(one, "value") if _name(one) == "Data" else (one.text or "").strip()
            record[name] = text or None
    return record


def _placemark(
    element: ET.Element, by_hand: Mapping[str, str]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Fields the user gave a placemark (key=value text, then extended data), and its own."""
    name, text = _text(element, "name"), text_of_html(_text(element, "description") or "") or None
    record, free = _described([text])
    record |= _extended(element)
    own: dict[str, Any] = {"anchor_id": name, "notes": free}
    shown = {"Name": name, "description": text}
    return record, own | {k: v for k, v in shown.items() if k in by_hand.values()}


def _unzipped(data: bytes, where: str) -> tuple[bytes, tuple[str, ...]]:
    """The KML in a KMZ: its `doc.kml`, else its first, and which where there are several."""
    fix = "unpack it and give the KML in it"
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            names = [n for n in packed.namelist() if n.lower().endswith(".kml")]
            if not names:
                raise RegisterError(f"{where}: no .kml in this KMZ; give the KML itself")
            name = "doc.kml" if "doc.kml" in names else names[0]
            with packed.open(name) as stream:
                # what it says of its own size may be wrong, so no more than that is unpacked
                text = stream.read(sizes.TEXT_BYTES + 1)
    except (
        zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError, LookupError,
    ) as error:  # fmt: skip
        if isinstance(error, RegisterError):
            raise
        raise RegisterError(f"{where}: not a readable KMZ (a damaged archive); {fix}") from error
    return text, (f"{name!r} of {len(names)} KML files in it read",) if len(names) > 1 else ()


def _with_folders(
    records: list[dict[str, Any]],
    folders: list[tuple[str, ...]],
    by_hand: Mapping[str, str],
    where: str,
) -> list[dict[str, Any]]:
    """Records with the names of their folders, `Folder 1` the outermost, where these are asked for.

    Raises
    ------
    RegisterError
        Crag or sector is in no field, though folders have names: which serve is not guessed.
    """
    heads = [f"Folder {n + 1}" for n in range(max(map(len, folders)))]
    if any(head in by_hand.values() for head in heads):
        return [
            {h: name for h, name in zip(heads, names, strict=False) if name} | record
            for record, names in zip(records, folders, strict=True)
        ]
    known = {column_of(name, grid=False) for record in records for name in record}
    missing = [n for n in ("crag", "sector") if n not in known and n not in by_hand]
    if missing and heads:
        shown = "; ".join(
            f"{head}: {reprlib.repr([f[i] for f in folders if len(f) > i])}"
            for i, head in enumerate(heads)
        )
        how = " ".join(
            f"--column {name}='{heads[min(i, len(heads) - 1)]}'" for i, name in enumerate(missing)
        )
        raise RegisterError(
            f"{where}: no column for {', '.join(missing)}; where the names of folders say it, "
            f"write for example {how} ({shown})"
        )
    return records


def read_kml(path: Path, data: bytes, request: Request) -> Table:
    """Read the placemarks of all folders of a KML or KMZ file (or of the folder named as layer)."""
    where = path.name
    notes: tuple[str, ...] = ()
    if data.startswith(b"PK"):
        data, notes = _unzipped(data, where)
    root, more = _root(data, where, "kml")
    notes += more
    found = list(_placemarks(root, where))
    sizes.within(len(found), sizes.FEATURES, where, "placemarks", SMALLER, RegisterError)
    if request.layer is not None:
        names = dict.fromkeys(name for one in found for name in one.around if name)
        if request.layer not in names:
            listed = ", ".join(map(repr, names)) or "none"
            raise RegisterError(f"{where}: no layer {request.layer!r}; layers: {listed}")
        found = [one for one in found if request.layer in one.around]
    if not found:
        linked = any(_name(e) == "NetworkLink" for e in root.iter())
        raise RegisterError(
            f"{where}: no placemarks in the file; give one point per anchor"
            + (" (it links to another file, which is not fetched)" if linked else "")
        )
    several = len(dict.fromkeys(one.folders for one in found))
    if several > 1:
        notes += (f"placemarks of {several} folders read, in the order of the file",)
    by_hand = request.columns or {}
    given = [_placemark(one.element, by_hand) for one in found]
    records = _with_own([record for record, _ in given], [own for _, own in given], by_hand)
    records = _with_folders(records, [one.folders for one in found], by_hand, where)
    return _table(records, [_kml_position(one.element) for one in found], where, "KML", notes)
