"""How wide a text is when set, so that columns and rows of a sheet can be made to hold it.

The widths are those of DejaVu Sans, which comes with matplotlib. It is wider than Arial and its
equals, and it is what a machine without those shows instead: a cell that holds the text in
DejaVu Sans holds it in either.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from pathlib import Path

LINE_EM = 1.2
"""Distance of two lines over the size of the letters; DejaVu Sans itself asks for 1.17."""


@lru_cache(maxsize=2)
def _widths_em(bold: bool) -> dict[int, float]:
    """Advance width of every letter that the font has, by its code point."""
    import matplotlib
    from fontTools.ttLib import TTFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    with TTFont(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name) as font:
        advance, em = font["hmtx"].metrics, font["head"].unitsPerEm
        return {code: advance[glyph][0] / em for code, glyph in font.getBestCmap().items()}


def _letter_em(letter: str, bold: bool) -> float:
    if unicodedata.combining(letter):
        return 0.0
    # Another font will draw what this one lacks; a square is as wide as letters come.
    return _widths_em(bold).get(ord(letter), 1.0)


def width_em(text: str, *, bold: bool = False) -> float:
    """Width of one line of text, over the size of its letters.

    Parameters
    ----------
    text : str
        Line breaks count as nothing.
    bold : bool
        Bold letters are wider.

    Returns
    -------
    float
        In em: times the size in points it is points.

    Examples
    --------
    >>> round(width_em("0"), 3), round(width_em("0", bold=True), 3)
    (0.636, 0.696)
    """
    return sum(_letter_em(letter, bold) for letter in text if letter not in "\r\n")


def wrapped(text: str, room_em: float, *, bold: bool = False) -> list[str]:
    """Lines of a text broken at spaces, as a spreadsheet breaks them; long words are cut.

    Parameters
    ----------
    text : str
        Its own line breaks are kept.
    room_em : float
        Width of a line, over the size of the letters; above 1.
    bold : bool
        As for `width_em`.

    Returns
    -------
    list of str
        At least one.

    Examples
    --------
    >>> wrapped("days late", 4.5)
    ['days', 'late']
    """
    lines = []
    for paragraph in text.split("\n"):
        line, used = "", 0.0
        for word in paragraph.split(" "):
            long = width_em(word, bold=bold)
            gap = width_em(" ", bold=bold) if line else 0.0
            if line and used + gap + long > room_em:
                lines.append(line)
                line, used, gap = "", 0.0, 0.0
            if long <= room_em:
                line, used = f"{line} {word}" if line else word, used + gap + long
                continue
            for letter in word:
                step = _letter_em(letter, bold)
                if line and used + step > room_em:
                    lines.append(line)
                    line, used = "", 0.0
                line, used = line + letter, used + step
        lines.append(line)
    return lines
