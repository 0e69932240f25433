"""Names of anchors, crags and sectors: tidied, read as one where they differ in case alone.

What is only seen, not meant (letter case, width of letters, kinds and number of blanks, invisible
marks, accents in one or in two characters) makes no second crag. Anything else does: names that
are merely near are asked about (`saltreach.intake.near_names`), never merged.
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
import pyarrow.compute as pc

from saltreach.errors import RegisterError, in_rows
from saltreach.intake.decoding import UNREADABLE
from saltreach.intake.distinct import as_arrow
from saltreach.vocabulary.words import counted

NAMES = ("anchor_id", "crag", "sector", "route")
"""Columns of one line each."""
SHOWN = 5
"""As many are named in a note; the others are counted."""

_LINES = "\t\n\r"
_JOINERS = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"
"""Part of the spelling in Persian, in Indian scripts and in emoji; compared without them."""


def whole(text: str) -> str:
    """Text that any file can hold: halves of a character, which no encoding has, show as U+FFFD.

    Examples
    --------
    >>> whole("A" + chr(0xD800) + "B") == "A" + chr(0xFFFD) + "B"
    True
    """
    if text.isascii():
        return text
    return "".join(UNREADABLE if 0xD800 <= ord(c) <= 0xDFFF else c for c in text)


def safe_text(text: str) -> str:
    """Free text without control characters and code points that are no character.

    Examples
    --------
    >>> safe_text("rusty" + chr(0) + chr(10) + "look again")
    'rusty\\nlook again'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        c
        for c in whole(text)
        if c in _LINES or not (unicodedata.category(c) == "Cc" or _is_no_character(c))
    )


def clean_name(text: str) -> str:
    """A name on one line: single blanks, no invisible marks, letters and accents composed (NFC).

    Examples
    --------
    >>> clean_name(" Rote" + chr(0xA0) + chr(0x200B) + " Bucht" + chr(0x202E) + chr(10))
    'Rote Bucht'
    """
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    kept = []
    for c in unicodedata.normalize("NFC", whole(text)):
        category = unicodedata.category(c)
        if c.isspace() or category[0] == "Z":
            kept.append(" ")
        elif c in _JOINERS or not (category in ("Cc", "Cf") or _is_no_character(c)):
            kept.append(c)
    # what stood apart may meet where a mark is gone
    return unicodedata.normalize("NFC", " ".join("".join(kept).split()))


def name_key(text: str) -> str:
    """What names are compared by; the same for spellings that are one name.

    Compatibility letters become plain ones (NFKC), case is folded, invisible marks go and blanks
    are single. Accents and inner blanks count.

    Examples
    --------
    >>> wide = "".join(chr(ord(c) + 0xFEE0) for c in "ROTE")
    >>> name_key(wide + "  Bucht") == name_key("rote bucht"), name_key("A 1") == name_key("A1")
    (True, False)
    """
    if text.isascii() and text.isprintable():
        return " ".join(text.split()).casefold()
    for _ in range(2):  # folding case may decompose, composing may give capitals
        text = unicodedata.normalize("NFKC", clean_name(text)).casefold()
    text = "".join(c for c in text if not _is_invisible(c))
    return " ".join(unicodedata.normalize("NFKC", text).split())


def _is_no_character(c: str) -> bool:
    return 0xFDD0 <= ord(c) <= 0xFDEF or ord(c) & 0xFFFE == 0xFFFE


def _is_invisible(c: str) -> bool:
    return unicodedata.category(c) == "Cf" or 0xFE00 <= ord(c) <= 0xFE0F  # variants of an emoji


def tidied(cells: pd.DataFrame, rows: np.ndarray) -> tuple[pd.DataFrame, list[str]]:
    """Cells of text without what no reader sees and no file can hold.

    Parameters
    ----------
    cells : DataFrame
        Text, NaN where empty: columns of `NAMES` are names, others free text.
    rows : ndarray of int
        Row of each in its file.

    Returns
    -------
    cells : DataFrame
        The same columns; a cell of which nothing is left is empty.
    notes : list of str
        Which columns were changed, in how many rows.
    """
    out, notes = {}, []
    for name, text in cells.items():
        at = np.flatnonzero(~is_tidy(text, one_line=name in NAMES))
        if not len(at):
            empty = text == ""
            out[name] = text.where(~empty) if empty.any() else text
            continue
        clean = _put(text, at, clean_name if name in NAMES else safe_text)
        out[name] = clean.where(clean != "")
        changed = text.notna() & (clean != text)
        if changed.any():
            what = (
                "blanks, invisible characters or accents" if name in NAMES else "control characters"
            )
            notes.append(f"{name}: {what} tidied in {in_rows(rows[changed.to_numpy()])}")
        lost = clean.str.contains(UNREADABLE, regex=False, na=False).to_numpy(bool)
        if lost.any():
            notes.append(
                f"{name}: letters that could not be read stand as {UNREADABLE} in "
                f"{in_rows(rows[lost])}; correct them, or save the file as UTF-8"
            )
    return pd.DataFrame(out, index=cells.index, columns=cells.columns), notes


def is_tidy(text: pd.Series, *, one_line: bool) -> np.ndarray:
    """Where tidying changes nothing, as the letters alone tell; True for NaN.

    Parameters
    ----------
    text : Series of str
        NaN where empty.
    one_line : bool
        Whether blanks count too: none at the ends, none beside another.

    Examples
    --------
    >>> is_tidy(pd.Series(["Cabo 1", "Cabo  1", "Peñón"]), one_line=True).tolist()
    [True, False, False]
    """
    cells = as_arrow(text)
    tidy = pc.and_(pc.string_is_ascii(cells), pc.ascii_is_printable(cells))
    if one_line:
        for loose in (
            pc.match_substring(cells, "  "),
            pc.starts_with(cells, " "),
            pc.ends_with(cells, " "),
        ):
            tidy = pc.and_not(tidy, loose)
    return pc.fill_null(tidy, True).to_numpy().astype(bool)


def _put(text: pd.Series, at: np.ndarray, function: Callable[[str], str]) -> pd.Series:
    """The text with a function of each distinct cell at these places."""
    codes, distinct = pd.factorize(text.iloc[at])
    out = text.copy()
    out.iloc[at] = np.array([function(t) for t in distinct], dtype=object)[codes]
    return out


def keys_of(names: pd.Series) -> pd.Series:
    """`name_key` of each; NaN stays."""
    tidy = is_tidy(names, one_line=True)
    return _put(names.where(~tidy, names.str.lower()), np.flatnonzero(~tidy), name_key)


def shortened(items: list[str], what: str) -> list[str]:
    """The first few notes, and how many more there are."""
    if len(items) <= SHOWN:
        return items
    return [*items[:SHOWN], f"and {len(items) - SHOWN} more {what}"]


def merged(
    crag: pd.Series, sector: pd.Series, same_crag: Mapping[str, str] | None = None
) -> tuple[pd.Series, pd.Series, list[str]]:
    """Crags, and sectors within a crag, whose names are one, under the spelling met first.

    Parameters
    ----------
    crag, sector : Series of str
        Names from `tidied`; NaN where missing.
    same_crag : mapping of str to str, optional
        Crags that the user says are another: name -> the crag it is.

    Returns
    -------
    crag, sector : Series of str
    notes : list of str
        What was read as one, with counts.

    Raises
    ------
    RegisterError
        When `same_crag` names a crag that is not there, or goes round in a circle.
    """
    key = keys_of(crag)
    shown = crag.groupby(key).transform("first")
    notes = _spellings("crag", crag, shown)
    if same_crag:
        target, told = _answered(crag, key, same_crag)
        key = key.map(target).astype("str")
        shown = key.map(dict(zip(keys_of(shown), shown, strict=True))).astype("str")
        notes += told
    key_in = keys_of(sector)
    first = sector.groupby([key, key_in]).transform("first")
    first = first.where(first.notna(), sector)  # a sector without a crag stays as it is
    return shown, first, notes + _spellings("sector", sector, first)


def _spellings(what: str, given: pd.Series, shown: pd.Series) -> list[str]:
    """Names that are written in more than one way, and how they are shown."""
    other = given.notna() & (given != shown)
    if not other.any():
        return []
    counts = given[other].groupby([shown[other], given[other]], sort=False).size()
    said = []
    for name, same in counts.groupby(level=0, sort=False):
        others = [f"{spelling!r} ({counted(n, 'row')})" for (_, spelling), n in same.items()]
        listed = ", ".join(shortened(others, "spellings"))
        said.append(f"{what} {name!r} is also written {listed}: read as one")
    return shortened(said, f"{what}s written in more than one way")


def _answered(
    crag: pd.Series, key: pd.Series, same_crag: Mapping[str, str]
) -> tuple[dict[str, str], list[str]]:
    """Key of the crag that each crag is, by the user's word, and what to say of it."""
    count = key.value_counts()
    named = key.notna()
    spelling = dict(zip(key[named][::-1], crag[named][::-1], strict=True))  # the first stays
    for name in (*same_crag, *same_crag.values()):
        if name_key(name) not in spelling:
            near = difflib.get_close_matches(name_key(name), spelling, n=1)
            hint = f"; nearest: {spelling[near[0]]!r}" if near else ""
            raise RegisterError(f"same_crag: no crag {name!r} in the register{hint}")
    told = {name_key(other): name_key(name) for other, name in same_crag.items()}
    target, notes = {name: name for name in spelling}, []
    for other in told:
        at, seen = other, {other}
        while at in told and told[at] != at:
            at = told[at]
            if at in seen:
                raise RegisterError(
                    f"same_crag: {spelling[other]!r} comes back to itself; give each crag once, "
                    "as other=name"
                )
            seen.add(at)
        target[other] = at
        if at != other:
            rows = counted(int(count[other]), "row")
            notes.append(f"crag {spelling[other]!r} ({rows}) read as {spelling[at]!r}, as told")
    return target, shortened(notes, "crags read as others")
