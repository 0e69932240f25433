"""The map's element and the script that makes it, without a link to another place."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlsplit

from saltreach.errors import OptionError


def leaflet_frame(
    element: str, region: Sequence[float], tiles: str | None
) -> tuple[str, str, dict[str, str] | None, list[str]]:
    """The map element and the script that makes it, from folium, without folium's links.

    Parameters
    ----------
    element : str
        Name of the element and of the script's variable: `map_` and a word.
    region : sequence of float
        West, south, east, north, degrees; the map starts at its middle.
    tiles : str, optional
        Provider name or URL of background tiles, made but not shown.

    Returns
    -------
    body, script : str
        The element and the script.
    about_tiles : dict or None
        The layer's variable and its attribution, as plain text.
    origins : list of str
        From where tiles come, as source expressions of a content security policy.

    Raises
    ------
    OptionError
        When `tiles` is neither known nor a URL.
    """
    import folium

    west, south, east, north = (float(edge) for edge in region)
    frame = folium.Map(
        location=[(south + north) / 2, (west + east) / 2],
        zoom_start=8,
        tiles=None,
        zoom_control=False,
        attribution_control=False,
        zoom_snap=0.25,
        max_zoom=18,
    )
    # folium numbers its elements at random; a fixed name keeps the bytes the same. The lists
    # of links are replaced on this one object: the class's own lists are shared by all maps.
    frame._id = element.removeprefix("map_")
    frame.default_js, frame.default_css = [], []
    about, origins = None, []
    if tiles is not None:
        layer = _tile_layer(tiles)
        layer.add_to(frame)
        plain = re.sub(r"<[^>]*>", "", layer.options.get("attribution", "")).strip()
        about = {"layer": layer.get_name(), "attribution": plain}
        origins = [_origin(layer.tiles)]
    figure: Any = frame.get_root()
    figure.render()
    return figure.html.render(), figure.script.render(), about, origins


def _tile_layer(tiles: str) -> Any:
    import folium

    is_url = tiles.lower().startswith(("https://", "http://"))
    try:
        layer = folium.TileLayer(
            tiles, attr=_host(tiles) if is_url else None, name="background", show=False
        )
    except ValueError as error:
        raise OptionError(
            f"tiles {tiles!r}: not a known tile provider; give its name or a URL with "
            "{z}, {x} and {y}"
        ) from error
    layer._id = "background"
    return layer


def _host(url: str) -> str:
    return urlsplit(url).netloc.replace("{s}.", "")


def _origin(url: str) -> str:
    """Source expression of the tiles' host; a wildcard stands for rotating subdomains."""
    parts = urlsplit(url)
    host = parts.netloc.replace("{s}", "*", 1)
    if not re.fullmatch(r"(\*\.)?[A-Za-z0-9.-]+(:\d+)?", host):
        return f"{parts.scheme}:"
    return f"{parts.scheme}://{host}"
