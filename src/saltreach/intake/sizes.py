"""How large a GIS file, and a layer of the user's, may be: beyond it the file is refused, and why.

A file is held in memory as a whole. With these limits a file of 50 MB, whatever stands in it,
takes less than 1 GB and 10 s (measured; own choice).
"""

from __future__ import annotations

from saltreach.errors import SaltreachError

TEXT_BYTES = 60_000_000
"""Bytes of a GeoJSON, GPX or KML file, or of what a KMZ unpacks to."""
JSON_PARTS = 2_000_000
"""Objects and lists in a GeoJSON file: about 500,000 anchors."""
JSON_VALUES = 8_000_000
"""Values in a GeoJSON file (commas are counted)."""
XML_TAGS = 4_000_000
"""Tags in a GPX or KML file, and characters in it that are written as &...;: about 150,000 anchors
of a dozen fields."""
XML_PAIRS = 2_000_000
"""Attributes in a GPX or KML file (signs = are counted)."""
FEATURES = 100_000
"""Anchors in a GIS file."""
FIELDS = 2_000
"""Different fields of the anchors of a GIS file."""
CELLS = 20_000_000
"""Anchors times fields of a GIS file."""
FOLDERS_DEEP = 20
"""Folders inside each other in a KML file."""
SHAPE_VERTICES = 5_000_000
"""Vertices of a coast or of the part of a geological map that lies around the anchors."""
SHORE_KM = 4_000_000
"""Length of a coast, km, with a degree taken for 111 km: about twice that of the Earth's."""
BLOCK_CELLS = 16_000_000
"""Cells that a raster stores as one block."""


def within(count: int, most: int, where: str, what: str, fix: str,
           kind: type[SaltreachError]) -> None:  # fmt: skip
    """Raise `kind` where a file holds more than can be read.

    Parameters
    ----------
    count, most : int
        What it holds, and how much is read.
    where, what, fix : str
        File, thing counted and what to do, for the message.
    kind : type
        The exception to raise.

    Examples
    --------
    >>> within(2, 2, "a.gpx", "tags", "cut it", SaltreachError)
    """
    if count > most:
        raise kind(
            f"{where}: {count:,} {what}, and at most {most:,} are read, because the file is "
            f"held in memory as a whole; {fix}"
        )
