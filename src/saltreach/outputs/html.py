"""The one door through which data reaches a page that asks for nothing."""

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
        whole = type(value).__module__ == "numpy" and value.dtype.kind in "biu"
        value = value.tolist()
        if whole:
            return value  # nothing in it that JSON cannot say
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
    """Text of an asset of the map's or the landowner's folder.

    Parameters
    ----------
    name : str
        The folder and the file, ``"map/card.js"``.

    Returns
    -------
    str
        UTF-8 text. References to other files (source maps, images of unused Leaflet controls)
        are taken out, so that an inlined copy asks for nothing.
    """
    text = (files("saltreach.outputs") / _place(name)).read_text(encoding="utf-8")
    if name.endswith(".js"):
        text = re.sub(r"^//# sourceMappingURL=.*$", "", text, flags=re.MULTILINE)
    if name.endswith(".css"):
        text = re.sub(r"url\((?!#|data:)[^)]*\)", "none", text)
    return text.strip()


def _place(name: str) -> str:
    folder, _, file = name.partition("/")
    return f"{folder}/assets/{file}"


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


def render_template(name: str, **values: Any) -> str:
    """A template filled in, with HTML escaping on.

    Parameters
    ----------
    name : str
        As for `asset_text`.
    **values : Any
        What the template uses.

    Returns
    -------
    str
        HTML.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("saltreach", "outputs"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(_place(name)).render(**values)


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
