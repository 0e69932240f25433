"""A surface behind the map: a small picture in the page, its colours and their words."""

from __future__ import annotations

import base64
import warnings
from typing import Any

import numpy as np

from saltreach.assessment.surface import codes_of
from saltreach.assessment.surface_cells import SEA_CODE
from saltreach.assessment.surface_picture import Picture
from saltreach.outputs.surface.colours import METAL, colours_of, rgb_of

MOST_BYTES = 1_000_000


def surface_data(picture: Picture) -> dict[str, Any]:
    """A surface as the map's page holds it.

    Parameters
    ----------
    picture : Picture
        From `surface_picture`.

    Returns
    -------
    dict
        `box` (west, south, east, north, degrees), `url` (a PNG, transparent at sea, below a
        megabyte), `title` (key of its text), and `legend`: word, key of its text or empty, and
        colour of each class that is there, in order.
    """
    codes = picture.codes
    png = _png(picture, codes)
    while len(png) > MOST_BYTES:
        codes = codes[::2, ::2]
        png = _png(picture, codes)
    words, colours = codes_of(picture.band), colours_of(picture.band)
    present = set(np.unique(picture.codes).tolist())
    start = "material_" if picture.band.name == METAL else ""
    return {
        "box": [round(v, 6) for v in picture.bounds_deg],
        "url": "data:image/png;base64," + base64.b64encode(png).decode("ascii"),
        "title": f"raster_{picture.band.name}",
        "legend": [
            [word, "unknown_word" if not code else f"{start}{word}" if start else "", colours[code]]
            for code, word in words.items() if code in present
        ],
    }  # fmt: skip


def _png(picture: Picture, codes: np.ndarray) -> bytes:
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile

    table = {code: (*rgb_of(c), 255) for code, c in colours_of(picture.band).items()}
    table[SEA_CODE] = (0, 0, 0, 0)
    high, wide = codes.shape
    how: dict[str, Any] = {"width": wide, "height": high, "count": 1, "dtype": "uint8"}
    with warnings.catch_warnings(), MemoryFile() as file:
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # the page knows where it lies
        with file.open(driver="PNG", zlevel=9, **how) as to:
            to.write(codes, 1)
            to.write_colormap(1, table)
        return bytes(file.read())
