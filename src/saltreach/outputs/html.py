"""The one door through which data reaches a page, and the frame of a page without network."""

from __future__ import annotations

import base64
import hashlib
import json
import math
import re
from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files
from typing import Any
from urllib.parse import urlsplit

from saltreach.errors import OptionError

_ESCAPES = {
    "<": "\\u003c",
    ">": "\\u003e",
    "&": "\\u0026",
    "\u2028": "\\u2028",
    "\u2029": "\\u2029",
}
_UNSAFE = re.compile("[<>&\u2028\u2029]")
_ELEMENT_ID = re.compile(r"[A-Za-z][A-Za-z0-9_-]*\Z")


def json_text(data: Any) -> str:
    """Valid JSON that can stand inside a script element whatever text it carries.

    Parameters
    ----------
    data : Any
        Mappings, sequences, text, numbers, booleans, None; numpy arrays and scalars. NaN and
        infinite numbers become null.

    Returns
    -------
    str
        Compact JSON without `<`, `>`, `&`, U+2028 and U+2029 (escaped, so that it reads back
        the same).

    Examples
    --------
    >>> json_text({"name": "</script>", "rate": float("nan")})
    '{"name":"\\\\u003c/script\\\\u003e","rate":null}'
    """
    text = json.dumps(_plain(data), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return _UNSAFE.sub(lambda found: _ESCAPES[found.group()], text)


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):  # numpy arrays and scalars, pandas Series
        value = value.tolist()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, str | bool | int):
        return value
    if type(value).__name__ in ("NAType", "NaTType"):  # pandas' own unknowns, not imported here
        return None
    return str(value)


def json_block(data: Any, element_id: str) -> str:
    """A script element that holds data and runs nothing.

    Parameters
    ----------
    data : Any
        See `json_text`.
    element_id : str
        The element's id: letters, digits, hyphens and underscores.

    Returns
    -------
    str
        HTML. In the page: `JSON.parse(document.getElementById(id).textContent)`.

    Raises
    ------
    OptionError
        When the id is not plain.
    """
    if not _ELEMENT_ID.match(element_id):
        raise OptionError(
            f"element id {element_id!r}: use letters, digits, hyphens and underscores only"
        )
    return f'<script type="application/json" id="{element_id}">{json_text(data)}</script>'


def asset_text(name: str) -> str:
    """Text of a file in the package's `outputs/assets`.

    Parameters
    ----------
    name : str
        File name.

    Returns
    -------
    str
        UTF-8 text. References to other files (source maps, images of unused Leaflet controls)
        are taken out, so that an inlined copy asks for nothing.
    """
    text = (files("saltreach.outputs") / "assets" / name).read_text(encoding="utf-8")
    if name.endswith(".js"):
        text = re.sub(r"^//# sourceMappingURL=.*$", "", text, flags=re.MULTILINE)
    if name.endswith(".css"):
        text = re.sub(r"url\((?!#|data:)[^)]*\)", "none", text)
    return text.strip()


def content_hash(text: str) -> str:
    """The source expression by which a content security policy names an inlined text.

    Parameters
    ----------
    text : str
        Exactly what stands between the element's tags.

    Returns
    -------
    str
        `'sha256-...'`, quotes included (W3C Content Security Policy Level 3).

    Examples
    --------
    >>> content_hash("alert('Hello, world.');")
    "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
    """
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def page_policy(
    scripts: Sequence[str], styles: Sequence[str], image_sources: Sequence[str] = ()
) -> str:
    """Content security policy: only our own inlined texts run, and nothing is fetched.

    Parameters
    ----------
    scripts, styles : sequence of str
        The inlined texts.
    image_sources : sequence of str
        Origins from which pictures (background tiles) may come.

    Returns
    -------
    str
        Content of the meta element.
    """
    return "; ".join(
        [
            "default-src 'none'",
            "script-src " + " ".join(map(content_hash, scripts)),
            "style-src " + " ".join(map(content_hash, styles)),
            " ".join(["img-src data:", *image_sources]),
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


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


def render_template(name: str, **values: Any) -> str:
    """A template of `outputs/templates` filled in, with HTML escaping on.

    Parameters
    ----------
    name : str
        File name.
    **values : Any
        What the template uses.

    Returns
    -------
    str
        HTML.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("saltreach.outputs", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(name).render(**values)


def framed(page: str, title: str, *, height_px: int = 640) -> str:
    """A whole page inside another one, as a notebook shows it: apart from it, and asking nothing.

    Parameters
    ----------
    page : str
        HTML.
    title : str
        What a screen reader calls the frame.
    height_px : int
        Height of the frame.

    Returns
    -------
    str
        An iframe; its scripts run in an origin of their own and reach nothing of the notebook.
    """
    return (
        f'<iframe title="{escape(title)}" sandbox="allow-scripts" width="100%" '
        f'height="{height_px}" style="border:0" srcdoc="{escape(page)}"></iframe>'
    )
