"""Longitudes and latitudes as people write them: degrees, minutes, seconds, letters of the sky."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import pandas as pd

from saltreach.intake.dates import Parsed, empty_text
from saltreach.intake.numbers import PLAIN

LETTERS = {"lon": "EWO", "lat": "NS"}
"""Letters that say the hemisphere. O is Ost (east) in German and Oeste, Ouest, Ovest, Oeste
(west) in Spanish, French, Italian and Portuguese."""
WORDS = {
    "north": "N", "nord": "N", "norte": "N", "south": "S", "süd": "S", "sued": "S", "sud": "S",
    "sur": "S", "sul": "S", "east": "E", "est": "E", "este": "E", "leste": "E", "ost": "E",
    "west": "W", "oeste": "W", "ouest": "W", "ovest": "W",
}  # fmt: skip
"""Directions in words, and their letter."""
_WORD = re.compile(rf"({'|'.join(WORDS)})", re.IGNORECASE)
_SIGNS = str.maketrans(
    {"º": "°", "˚": "°", "′": "'", "’": "'", "‘": "'", "´": "'", "`": "'", "″": '"', "”": '"',
     "“": '"', "\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": " ", "\N{NARROW NO-BREAK SPACE}": " "}
)  # fmt: skip
_SPELT = re.compile(
    r"([0-9]{1,3}) ?d(?:eg)? ?([0-9]{1,2}(?:[.,][0-9]+)?) ?m(?:in)?"
    r"(?: ?([0-9]{1,2}(?:[.,][0-9]+)?) ?s(?:ec)?(?![a-z]))?",
    re.IGNORECASE,
)
_GOOD = re.compile(
    r"[+-]?[0-9]{1,3}(?:\.[0-9]+)?°?(?:\s*[: ]?\s*[0-9]{1,2}(?:\.[0-9]+)?'?"
    r"(?:\s*[: ]?\s*[0-9]{1,2}(?:\.[0-9]+)?(?:\"|'')?)?)?"
)


class Angle(NamedTuple):
    """Degrees, and the letter that stood with them."""

    degrees: float
    letter: str


def scanned(text: str) -> Angle | None:
    """Degrees and hemisphere of one cell; None where it is no angle.

    Parameters
    ----------
    text : str
        Decimal degrees, degrees and minutes, or degrees, minutes and seconds, with or without
        their signs, a sign or a letter (or word) of the hemisphere before or behind.

    Returns
    -------
    Angle or None
        Degrees without regard to the letter.

    Examples
    --------
    >>> scanned("N 36° 58,5'"), scanned("8 45 30 W"), scanned("Cabo")
    (Angle(degrees=36.975, letter='N'), Angle(degrees=8.758333333333333, letter='W'), None)
    """
    from lat_lon_parser import parse

    bare = " ".join(text.translate(_SIGNS).split()).rstrip(".")
    bare = _SPELT.sub(lambda m: f"{m[1]}°{m[2]}'" + (f'{m[3]}"' if m[3] else ""), bare)
    word = _WORD.fullmatch(re.sub(r"[^A-Za-zÀ-ÿ]", "", bare) or "-")
    letter = ""
    if word:
        letter = WORDS[word[1].casefold()]
        bare = re.sub(r"[A-Za-zÀ-ÿ]+\.?", "", bare)
    else:
        found = re.fullmatch(r"([NSEWO])?\s*([^A-Za-z]+?)\s*([NSEWO])?", bare, re.IGNORECASE)
        if not found or (found[1] and found[3]):
            return None
        letter, bare = (found[1] or found[3] or "").upper(), found[2]
    bare = re.sub(r"(?<=[0-9]),(?=[0-9])", ".", bare.strip(" ,;"))
    bare = re.sub(r"(?<=[0-9])\s*°\s*(?=[0-9])", "° ", bare)
    if not _GOOD.fullmatch(bare):
        return None
    try:
        return Angle(float(parse(bare)), letter)
    except ValueError:
        return None


def signed(angle: Angle, name: str, ost: bool | None) -> float | None:
    """Degrees with their sign; None where the letter is of the other axis or cannot be told.

    Parameters
    ----------
    angle : Angle
        From `scanned`.
    name : str
        `lon` or `lat`.
    ost : bool or None
        Whether O means east; None where the table does not show it.
    """
    if angle.letter and angle.letter not in LETTERS[name]:
        return None
    if angle.letter == "O":
        if ost is None:
            return None
        return angle.degrees if ost else -angle.degrees
    if angle.letter and angle.degrees < 0:
        return None
    return -angle.degrees if angle.letter in ("S", "W") else angle.degrees


def means_ost(letters: set[str], header: str, cells: Iterable[str] = ()) -> bool | None:
    """Whether O means east, by the other letters, the words and the header; None if open.

    Parameters
    ----------
    letters : set of str
        Those that stand beside the coordinates.
    header : str
        As the file has it.
    cells : iterable of str
        The cells, for directions in words.

    Examples
    --------
    >>> means_ost({"O", "E"}, "lon"), means_ost({"O", "W"}, "lon"), means_ost({"O"}, "lon")
    (False, True, None)
    """
    words = {word for cell in cells for word in re.findall(r"[^\W\d_]{3,}", cell.casefold())}
    if "ost" in words:
        return True
    if words & {"oeste", "ouest", "ovest"}:
        return False
    german = re.search(r"länge|laenge|breite|ost", header, re.IGNORECASE)
    if "E" in letters:
        return None if "W" in letters else False
    if "W" in letters or german:
        return True
    if re.search(r"longitud|oeste|ouest|ovest", header, re.IGNORECASE) and not re.fullmatch(
        r"\W*longitude\W*", header, re.IGNORECASE
    ):
        return False
    return None


def parse_angles(text: pd.Series, name: str, header: str = "") -> tuple[Parsed, list[str]]:
    """Read longitudes or latitudes in degrees.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    name : str
        `lon` or `lat`.
    header : str
        As the file has it: its language tells what O means.

    Returns
    -------
    parsed : Parsed
        Decimal degrees, NaN where empty or unreadable, with reason and fix.
    notes : list of str
        How they were written, where not as plain numbers.
    """
    reason, fix = empty_text(text.index), empty_text(text.index)
    values = pd.Series(np.nan, index=text.index, dtype=float)
    plain = text.str.fullmatch(PLAIN, na=False)
    values.loc[plain] = text[plain].to_numpy(object).astype(float)
    comma = text.str.fullmatch(r"[+-]?[0-9]{1,3},[0-9]+", na=False)
    dotted = text[comma].str.replace(",", ".", regex=False)
    values.loc[comma] = dotted.to_numpy(object).astype(float)
    notes = []
    if comma.any():
        notes.append(f"{name}: {comma.sum()} cells written with a decimal comma")
    other = text[text.notna() & ~plain & ~comma]
    if not len(other):
        return Parsed(values, reason, fix), notes
    found = {given: scanned(given) for given in other.unique()}
    ost = means_ost({angle.letter for angle in found.values() if angle}, header, found)
    read = {g: None if a is None else signed(a, name, ost) for g, a in found.items()}
    values.loc[other.index] = other.map(read).astype(float)
    wrong = other[other.map({g: value is None for g, value in read.items()}).astype(bool)]
    told = {g: _why(found[g], name) for g in wrong.unique()}
    reason.loc[wrong.index] = wrong.map({g: why for g, (why, _) in told.items()})
    fix.loc[wrong.index] = wrong.map({g: how for g, (_, how) in told.items()})
    good = len(other) - len(wrong)
    if good:
        notes.append(
            f"{name}: {good} cells read as degrees, minutes and seconds or with their hemisphere"
        )
        if ost is not None and any(a and a.letter == "O" for a in found.values()):
            notes.append(f"{name}: the letter O read as {'east' if ost else 'west'}")
    return Parsed(values, reason, fix), notes


def _why(angle: Angle | None, name: str) -> tuple[str, str]:
    if angle is None:
        return "not a number", "write decimal degrees, like 12.5, or 12°30'00\""
    if angle.letter not in LETTERS[name]:
        return (
            f"the letter {angle.letter} is of the other coordinate",
            "are lon and lat exchanged?",
        )
    if angle.letter == "O":
        return "the letter O is east in one language and west in another", "write E or W"
    return "a minus sign and a letter of the hemisphere", "leave one of them out"
