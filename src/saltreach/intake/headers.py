"""Which header of a file is which of our columns."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from saltreach.errors import RegisterError
from saltreach.vocabulary.columns import (
    ANCHORS_BY_NAME,
    REGISTER,
    REGISTER_BY_NAME,
    REQUIRED,
    chance_of,
)
from saltreach.vocabulary.synonyms import WEAK_HEADERS, header_words, plain

AS_GIVEN = "_as_given"
RESERVED: frozenset[str] = frozenset(
    {
        *ANCHORS_BY_NAME,
        *(
            chance_of(column, word)
            for column in ANCHORS_BY_NAME.values()
            if column.kind == "probabilities"
            for word in column.choices
        ),
        "source_row",
        "geometry",
    }
)
"""Names an extra column of the user must not have in the result."""


@dataclass(frozen=True)
class Headers:
    """Where each column of a file goes: `ours` and `extras` map a name to a place in the file."""

    ours: dict[str, int]
    extras: dict[str, int]
    notes: tuple[str, ...]
    units: dict[str, str] = field(default_factory=dict)
    date_orders: dict[str, str] = field(default_factory=dict)


def _mapped(headers: Sequence[str], columns: Mapping[str, str], where: str) -> dict[str, int]:
    """Claims the user made by hand: they win over every other rule."""
    claims: dict[str, int] = {}
    for name, header in columns.items():
        if name not in REGISTER_BY_NAME:
            near = difflib.get_close_matches(name, REGISTER_BY_NAME, n=1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise RegisterError(
                f"{where}: no column {name!r} to map {header!r} to{hint} Columns: "
                + ", ".join(REGISTER_BY_NAME)
            )
        places = [i for i, found in enumerate(headers) if found.strip() == header.strip()]
        if len(places) != 1:
            count = "no header" if not places else f"{len(places)} headers"
            raise RegisterError(
                f"{where}: {count} {header!r} for column {name}; headers found: {listed(headers)}"
            )
        if places[0] in claims.values():
            raise RegisterError(
                f"{where}: header {header!r} is mapped to two columns; map it to one"
            )
        claims[name] = places[0]
    return claims


@lru_cache(maxsize=2)
def _header_table(grid: bool) -> dict[str, str]:
    return header_words(grid=grid) | {plain(name): name for name in REGISTER_BY_NAME}


def column_of(header: str, *, grid: bool) -> str | None:
    """Return our column that a header names, exactly or by synonym; None when it names none.

    Examples
    --------
    >>> column_of("Última inspección", grid=False), column_of("x", grid=True)
    ('last_inspected_on', None)
    """
    return _header_table(grid).get(plain(header))


def listed(headers: Iterable[str]) -> str:
    """Return headers as a readable list for messages."""
    return ", ".join(repr(h) for h in headers if h.strip()) or "none"


def resolve_headers(
    headers: Sequence[str],
    columns: Mapping[str, str] | None,
    *,
    where: str,
    grid: bool,
    have_geometry: bool,
) -> Headers:
    """Match the headers of a file with our columns.

    Parameters
    ----------
    headers : sequence of str
        As the file has them, in order; an unnamed column is an empty text.
    columns : mapping of str to str, optional
        Our name -> header in the file; wins over every other match.
    where : str
        File (and sheet or layer) for messages.
    grid : bool
        A CRS was given, so eastings and northings may stand for lon and lat.
    have_geometry : bool
        The file carries points, so lon and lat need no columns.

    Returns
    -------
    Headers
        Places of our columns and of the extra columns, with notes.

    Raises
    ------
    RegisterError
        A required column is missing, or two headers claim one column.
    """
    claims = _mapped(headers, columns or {}, where)
    by_hand = frozenset(claims)
    weak: list[tuple[int, str]] = []
    for place, header in enumerate(headers):
        name = column_of(header, grid=grid)
        if place in claims.values() or not header.strip():
            continue
        if name is None:
            word = plain(header)
            weak += [(place, WEAK_HEADERS[word])] if word in WEAK_HEADERS else []
        elif name not in claims:
            claims[name] = place
        elif name not in by_hand:
            raise RegisterError(
                f"{where}: headers {headers[claims[name]]!r} and {header!r} both mean {name}; "
                f"remove one, or choose with --column {name}={header}"
            )
    for place, name in weak:
        claims.setdefault(name, place)
    needed = [n for n in REQUIRED if not (have_geometry and n in ("lon", "lat"))]
    missing = [name for name in needed if name not in claims]
    if missing:
        grids = {"easting", "northing", "eastings", "northings"} & {plain(h) for h in headers}
        example = {"lon": "Longitude", "lat": "Latitude", "anchor_id": "Number"}
        maps = " ".join(f"--column {n}={example.get(n, n.capitalize())}" for n in missing)
        raise RegisterError(
            f"{where}: no column for {', '.join(missing)}; headers found: {listed(headers)}. "
            f"Rename the header or map it, for example {maps}"
            + (" (eastings and northings need --crs too)" if grids and not grid else "")
        )
    notes = [
        f"header {headers[place]!r} read as {name}"
        for name, place in claims.items()
        if headers[place] != name
    ]
    extras, more = _extras(headers, set(claims.values()))
    return Headers(
        {c.name: claims[c.name] for c in REGISTER if c.name in claims}, extras, (*notes, *more)
    )


def _extras(headers: Sequence[str], claimed: set[int]) -> tuple[dict[str, int], list[str]]:
    """Names for the columns we do not know, so that none hides one of ours."""
    extras: dict[str, int] = {}
    notes: list[str] = []
    reserved = {name.casefold() for name in RESERVED}
    free = [h.casefold() for p, h in enumerate(headers) if p not in claimed and h.strip()]
    taken = reserved | set(free)
    for place, header in enumerate(headers):
        if place in claimed:
            continue
        name = wanted = header if header.strip() else f"column_{place + 1}"
        lower = name.casefold()
        again = lower in (seen.casefold() for seen in extras)
        if lower in reserved or again or (not header.strip() and lower in taken):
            name = f"{wanted}_given" if lower in reserved else f"{wanted}_2"
            stem, number = (name if lower in reserved else wanted), 2
            while name.casefold() in taken:
                name, number = f"{stem}_{number}", number + 1
        if name != header:
            notes.append(
                f"extra column {header!r} (number {place + 1}) kept as {name!r}, "
                "because its own name is empty or already in use"
            )
        taken.add(name.casefold())
        extras[name] = place
    return extras, notes
