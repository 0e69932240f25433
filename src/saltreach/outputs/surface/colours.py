"""How the classes of a surface are coloured, in its files, styles and on the map."""

from __future__ import annotations

from saltreach.assessment.surface import codes_of
from saltreach.assessment.surface_cells import CLASS_BANDS, UNKNOWN_CODE, Band
from saltreach.outputs.map.colourings import (
    BAND_STYLES,
    INTERVAL_STYLES,
    METAL_STYLES,
    UNKNOWN_STYLE,
)

Rgb = tuple[int, int, int]


def rgb_of(colour: str) -> Rgb:
    """Red, green and blue of a colour written `#rrggbb`.

    Examples
    --------
    >>> rgb_of("#16222b")
    (22, 34, 43)
    """
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


_LADDERS = {6: INTERVAL_STYLES, 5: BAND_STYLES}
"""Steps of our own scales, light to dark, by how many there are."""


def colours_of(band: Band) -> dict[int, str]:
    """Colour of each code of a band of classes: light is mild, dark is harsh."""
    if band.name == METAL:
        of_metal = {style.word: style.fill for style in METAL_STYLES}
        return {
            code: of_metal.get(word, UNKNOWN_STYLE.fill) for code, word in codes_of(band).items()
        }
    fills = [style.fill for style in _LADDERS[len(band.words)]]
    return {UNKNOWN_CODE: UNKNOWN_STYLE.fill, **{i + 1: fill for i, fill in enumerate(fills)}}


METAL = CLASS_BANDS[-1].name
"""The band that is drawn where one must do."""
