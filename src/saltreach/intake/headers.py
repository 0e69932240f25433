"""Which header of a file is which of our columns."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from saltreach.errors import RegisterError, brief
from saltreach.intake.own_results import said_of_results
from saltreach.vocabulary.columns import (
    ANCHORS_BY_NAME,
    REGISTER,
    REGISTER_BY_NAME,
    REQUIRED,
    Column,
    chance_of,
)
from saltreach.vocabulary.synonyms import (
    BOTH_HEADERS,
    REMARKS,
    UNCLEAR_HEADERS,
    WEAK_HEADERS,
    header_words,
    own_files,
    own_header,
    plain,
    spelt,
    table_header_words,
)
from saltreach.vocabulary.units import factor, is_unit

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
        "fid",
        "geom",
    }
)
"""Names an extra column of the user must not have in the result."""
DAY_FIRST, MONTH_FIRST = "day-first", "month-first"
_BRACKETS = re.compile(r"(.+?)\s*[(\[{]\s*([^()\[\]{}]*?)\s*[)\]}]")
_BEHIND = re.compile(r"(.+?)(?:\s*[,/]\s*|\s+(?:in|en|em)\s+|\s+)(\S+|grad C)", re.IGNORECASE)
_UNDERSCORE = re.compile(r"(.+)_([^\W_]+)")
_SIGN = re.compile(r"(.+?)\s*([\"″”°%‰])")
_DAY, _MONTH = {"d", "dd", "t", "tt", "g", "gg"}, {"m", "mm"}
_YEAR = {"yy", "yyyy", "jj", "jjjj", "aa", "aaaa"}
_HEMISPHERE = {"lat": "n", "lon": "e"}
"""Letter behind a header that changes nothing; any other would turn the sign."""
_NEAR = 0.8
"""How alike a header and a word must be to be suggested (own choice)."""


@dataclass(frozen=True)
class Headers:
    """Where each column of a file goes.

    Attributes
    ----------
    ours, extras : dict
        Name -> place in the file.
    notes : tuple of str
        What was not used, and what was read under another name.
    units : dict
        Column -> unit that its header names, as the user wrote it.
    date_orders : dict
        Column -> `DAY_FIRST` or `MONTH_FIRST`, where its header says so.
    renamed : dict
        Column -> header that is not its name.
    unused : tuple of str
        Headers that are none of ours.
    """

    ours: dict[str, int]
    extras: dict[str, int]
    notes: tuple[str, ...]
    units: dict[str, str] = field(default_factory=dict)
    date_orders: dict[str, str] = field(default_factory=dict)
    renamed: dict[str, str] = field(default_factory=dict)
    unused: tuple[str, ...] = ()


class Meant(NamedTuple):
    """What a header means: the column, unit and order of dates behind it, or what is wrong."""

    name: str | None = None
    unit: str = ""
    order: str = ""
    problem: str = ""


_MOST_BEHIND = 2
"""Remarks behind a header: a unit, and the order of its dates or the like."""
_LONGEST = 100
"""Letters of a header."""
_SHOWN, _MOST_SHOWN = 60, 40
"""Letters of a header, and headers, in a message."""


def date_order(pattern: str) -> str | None:
    """Read a pattern of dates as headers have it; None where it is none.

    Returns
    -------
    str or None
        `DAY_FIRST` or `MONTH_FIRST`; empty where the pattern says neither (the year first, or
        no day).

    Examples
    --------
    >>> date_order("TT.MM.JJJJ"), date_order("mm/dd/yyyy"), date_order("jj/mm/aaaa")
    ('day-first', 'month-first', 'day-first')
    >>> date_order("YYYY-MM"), date_order("mm")
    ('', None)
    """
    parts = re.split(r"[./\s-]+", pattern.strip().casefold())
    # jj is the day of a French pattern and the year of a German one.
    french = len(parts) == 3 and parts[2] in ("aa", "aaaa")
    day = _DAY | {"j", "jj"} if french else _DAY
    kinds = ["d" if p in day else "m" if p in _MONTH else "y" if p in _YEAR else "" for p in parts]
    known = {"dmy": DAY_FIRST, "mdy": MONTH_FIRST, "ymd": "", "ym": "", "my": "", "y": ""}
    return known.get("".join(kinds)) if all(kinds) else None


def _clean(header: str) -> str:
    """A header without the signs people put behind it; `N°` is `Nº`."""
    text = " ".join(header.split()).strip("*:?!. ")
    return re.sub(r"\b([Nn])\s*°", r"\1º", text)


def _behind(name: str, said: str, columns: Mapping[str, Column], grid: bool) -> Meant | None:
    """A column with what stands behind its header; None where that is not understood."""
    column, place = columns[name], name in _HEMISPHERE
    if plain(said) == _HEMISPHERE.get(name) or (place and grid and factor(said, "m") == 1):
        return Meant(name)
    if is_unit(said) and (column.unit or plain(said) not in REMARKS):
        if factor(said, column.unit) is not None:
            return Meant(name, unit="" if place else said)
        own = f"write {column.unit}" if column.unit else "it has none"
        return Meant(problem=f"{said!r} is no unit of {name} ({own})")
    order = date_order(said) if column.kind in ("date", "day", "season day") else None
    if order is not None:
        return Meant(name, order=order)
    return Meant(name) if plain(said) in REMARKS else None


def _meaning(
    header: str,
    words: Mapping[str, str],
    columns: Mapping[str, Column],
    *,
    grid: bool = False,
    behind: int = _MOST_BEHIND,
) -> Meant:
    """What a header means by a table of plain words, and what up to two remarks behind it say."""
    text = _clean(header)
    if len(text) > _LONGEST:  # a sentence of a remark, no header
        return Meant()
    whole = words.get(plain(text))
    # A sign of a unit is lost where words are compared: `"` must not pass as nothing.
    brackets, sign = _BRACKETS.fullmatch(text), _SIGN.fullmatch(text)
    if not brackets and not sign and whole is not None:
        return Meant(whole)
    for found in (brackets, sign, _BEHIND.fullmatch(text)) if behind else ():
        inner = found and _meaning(found[1], words, columns, grid=grid, behind=behind - 1)
        if found and inner and inner.name is not None and not inner.unit:
            meant = _behind(inner.name, found[2], columns, grid)
            if meant is not None:
                return meant._replace(order=meant.order or inner.order)
            if found is brackets and whole is None:
                return Meant(problem=f"what {found[2]!r} says of {inner.name} is not known")
    last = _UNDERSCORE.fullmatch(text) if behind and whole is None else None
    if last and not is_unit(last[2]):
        last = None
    inner = last and _meaning(last[1], words, columns, grid=grid, behind=0)
    if last and inner and inner.name is not None:  # `drehmoment_nm`
        meant = _behind(inner.name, last[2], columns, grid)
        if meant is not None and meant.name is not None:
            return meant
    return Meant(whole)


def meant_by(header: str, columns: Mapping[str, Column]) -> Meant:
    """Return what a header of a table beside the register means.

    Examples
    --------
    >>> from saltreach.vocabulary.columns import columns_of
    >>> meant_by("Kluftabstand (m)", columns_of("survey"))
    Meant(name='joint_spacing_mm', unit='m', order='', problem='')
    """
    return _meaning(header, table_header_words(columns), columns)


def column_of(header: str, *, grid: bool) -> str | None:
    """Return our column that a header names, exactly or by synonym; None when it names none.

    Examples
    --------
    >>> column_of("Última inspección", grid=False), column_of("x", grid=True)
    ('last_inspected_on', None)
    >>> column_of("Durchmesser (mm)*", grid=False), column_of("Durchmesser (kN)", grid=False)
    ('diameter_mm', None)
    """
    return _meaning(header, header_words(grid=grid), REGISTER_BY_NAME, grid=grid).name


def is_header(header: str) -> bool:
    """Whether a header is one of ours, or may be where no better one is there.

    Examples
    --------
    >>> is_header("Länge"), is_header("Nr."), is_header("12")
    (True, True, False)
    """
    if column_of(header, grid=True) is not None or spelt(_clean(header)) in WEAK_HEADERS:
        return True
    return _meaning(header, BOTH_HEADERS, REGISTER_BY_NAME).name is not None


def listed(headers: Iterable[str]) -> str:
    """Return headers as a readable list for messages: the first ones, each at most so long."""
    shown = [brief(h, _SHOWN) for h in headers if h.strip()]
    more = f" and {len(shown) - _MOST_SHOWN} more" if len(shown) > _MOST_SHOWN else ""
    return (", ".join(repr(h) for h in shown[:_MOST_SHOWN]) or "none") + more


def said_by(header: str, name: str) -> str:
    """Which file of the user's own words says that a header means a column; empty for ours."""
    text = _clean(header)
    forms = [text, *(m[1] for m in (_BRACKETS.fullmatch(text), _BEHIND.fullmatch(text)) if m)]
    file = next(filter(None, (own_header(form, name) for form in forms)), "")
    return f", as {file} says" if file else ""


def near_columns(
    header: str,
    words: Mapping[str, str],
    taken: Collection[str],
    unclear: Collection[str] = tuple(REGISTER_BY_NAME),
) -> tuple[str, tuple[str, ...]]:
    """What a header that is not known may mean.

    Parameters
    ----------
    header : str
        As the file has it.
    words : mapping
        Plain word -> our column, for the table in hand.
    taken : collection of str
        Columns that another header claims.
    unclear : collection of str
        Columns that words with several meanings may stand for.

    Returns
    -------
    hint : str
        In words; empty where no column is near.
    names : tuple of str
        Those columns.

    Examples
    --------
    >>> near_columns("conditon", header_words(grid=False), ())
    ('did you mean condition?', ('condition',))
    """
    text = _clean(header)
    bare = _BRACKETS.fullmatch(text) or _BEHIND.fullmatch(text)
    ours = set(words.values()).difference(taken)
    for word in (plain(text), plain(bare[1]) if bare else ""):
        may = tuple(
            name for name in UNCLEAR_HEADERS.get(word, ()) if name in ours and name in unclear
        )
        if may:
            return f"it may mean {' or '.join(may)}", may
    free = [word for word, name in words.items() if name in ours]
    near = difflib.get_close_matches(plain(text), free, n=1, cutoff=_NEAR)
    return (f"did you mean {words[near[0]]}?", (words[near[0]],)) if near else ("", ())


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


def _weak(headers: Sequence[str], claims: dict[str, int]) -> None:
    """Claims of headers that count only where no other header claims the column."""
    free = {i: h for i, h in enumerate(headers) if i not in claims.values() and h.strip()}
    pair = {_meaning(h, BOTH_HEADERS, REGISTER_BY_NAME).name: i for i, h in free.items()}
    pairs = {name: i for name, i in pair.items() if name is not None}
    if set(pairs) == set(BOTH_HEADERS.values()) and not set(pairs) & set(claims):
        claims |= pairs
    bare = {i: spelt(_clean(h)) for i, h in free.items()}
    for word, name in WEAK_HEADERS.items():  # in their order: `ID` before `Nr.`
        places = [i for i, found in bare.items() if found == word and i not in claims.values()]
        if places:
            claims.setdefault(name, places[0])


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
    words = header_words(grid=grid)
    meant = [_meaning(header, words, REGISTER_BY_NAME, grid=grid) for header in headers]
    for place, header in enumerate(headers):
        # results read again: their `lithology` is no second `rock_type`
        if header in ANCHORS_BY_NAME and header not in REGISTER_BY_NAME:
            meant[place] = Meant() if meant[place].name in headers else meant[place]
    for place, (header, found) in enumerate(zip(headers, meant, strict=True)):
        name = found.name
        if name is None or place in claims.values() or not header.strip():
            continue
        if name not in claims:
            claims[name] = place
        elif name not in by_hand and name != "notes":  # a second column of notes is kept as it is
            both = headers[claims[name]], header
            own = next((one for one in both if plain(one) == plain(name)), header)
            raise RegisterError(
                f"{where}: headers {both[0]!r} and {header!r} both mean {name}; "
                f"remove one, or choose with --column {name}={own}"
            )
    _weak(headers, claims)
    told = _told(headers, meant, claims, words)
    needed = [n for n in REQUIRED if not (have_geometry and n in ("lon", "lat"))]
    missing = [name for name in needed if name not in claims]
    if missing:
        if said := said_of_results(headers):
            raise RegisterError(f"{where}: {said}")
        grids = [h for h in headers if column_of(h, grid=True) in ("lon", "lat")]
        example = {"lon": "Longitude", "lat": "Latitude", "anchor_id": "Number"}
        maps = " ".join(f"--column {n}={example.get(n, n.capitalize())}" for n in missing)
        near = [f"{headers[i]!r}: {hint}" for i, (hint, _) in told.items()]
        raise RegisterError(
            f"{where}: no column for {', '.join(missing)}; headers found: {listed(headers)}. "
            f"Rename the header or map it, for example {maps}"
            + (" (eastings and northings need --crs too)" if grids and not grid else "")
            + (f". {'; '.join(near)}" if near else "")
        )
    renamed = {n: headers[i] for n, i in claims.items() if plain(headers[i]) != plain(n)}
    extras, more = _extras(headers, set(claims.values()))
    behind = {
        name: meant[i] if name not in by_hand else _by_hand(headers[i], name)
        for name, i in claims.items()
    }
    unused = tuple(headers[i] for i in extras.values() if headers[i].strip())
    return Headers(
        ours={c.name: claims[c.name] for c in REGISTER if c.name in claims},
        extras=extras,
        notes=(
            *(f"your own words: {count} of {file} are used" for file, count in own_files().items()),
            *_unused_notes(headers, told, unused),
            *(f"header {h!r} read as {name}{said_by(h, name)}" for name, h in renamed.items()),
            *more,
        ),
        units={name: m.unit for name, m in behind.items() if m.unit},
        date_orders={name: m.order for name, m in behind.items() if m.order},
        renamed=renamed,
        unused=unused,
    )


def _by_hand(header: str, name: str) -> Meant:
    """Unit and order of dates behind a header that the user mapped, whatever its words are."""
    text = _clean(header)
    found = _BRACKETS.fullmatch(text) or _SIGN.fullmatch(text) or _BEHIND.fullmatch(text)
    meant = _behind(name, found[2], REGISTER_BY_NAME, False) if found else None
    return meant or Meant(name)


def _told(
    headers: Sequence[str],
    meant: Sequence[Meant],
    claims: Mapping[str, int],
    words: Mapping[str, str],
) -> dict[int, tuple[str, tuple[str, ...]]]:
    """What each header that is not used may mean, by its place: a hint and the columns."""
    told = {}
    for place, header in enumerate(headers):
        if place not in claims.values() and header.strip():
            problem = meant[place].problem
            hint = (problem, ()) if problem else near_columns(header, words, claims)
            if hint[0]:
                told[place] = hint
    return told


def _unused_notes(
    headers: Sequence[str],
    told: Mapping[int, tuple[str, tuple[str, ...]]],
    unused: Sequence[str],
) -> Iterator[str]:
    """Columns that are not used: a sentence for each we can guess at, one for all the others."""
    for place, (hint, names) in told.items():
        header = headers[place]
        fix = f"rename it or --column {names[-1]}={header}" if names else "mend the header"
        if len(names) > 1:
            fix = f"say which, for example --column {names[-1]}={header}"
        yield f"column {header!r} is not used; {hint}{'' if hint.endswith('?') else ';'} {fix}"
    guessed = {headers[place] for place in told}
    others = [header for header in unused if header not in guessed]
    if others:
        yield f"columns kept but not used: {', '.join(others)}"


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
