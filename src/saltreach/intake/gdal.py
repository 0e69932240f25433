"""GDAL on files of the user: whatever it, GEOS or PROJ stumble over becomes one sentence."""

from __future__ import annotations

import re
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from saltreach.errors import SaltreachError
from saltreach.intake import sizes

if TYPE_CHECKING:
    import pandas as pd

JSON_SUFFIXES = frozenset((".geojson", ".json"))
SAID = 160
"""Characters of GDAL's own words that a message repeats."""


@contextmanager
def readable(
    path: Path, what: str, fix: str, kind: type[SaltreachError], *, ours: bool = False
) -> Iterator[None]:
    """Turn what a damaged file makes of GDAL, GEOS and PROJ into a `kind` with one sentence.

    The sentence begins with `what` (which file cannot be what) and ends with `fix`. GDAL's own
    words stand between in brackets, without the folder the file lies in. Where the block holds
    work of `ours` too, only the libraries' own errors are the file's fault.
    """
    try:
        yield
    except SaltreachError:
        raise
    except _faults(ours) as error:
        raise kind(f"{what}{_said(error, path)}; {fix}") from error


def _faults(ours: bool) -> tuple[type[BaseException], ...]:
    """Errors of the libraries that are loaded, and with them what they let through."""
    homes = (
        ("pyogrio.errors", "DataSourceError"), ("pyogrio.errors", "DataLayerError"),
        ("rasterio.errors", "RasterioError"), ("rasterio.errors", "CRSError"),
        ("rasterio.errors", "TransformError"), ("pyproj.exceptions", "ProjError"),
        ("shapely.errors", "ShapelyError"),
    )  # fmt: skip
    loaded = [getattr(sys.modules[home], name) for home, name in homes if home in sys.modules]
    through = (
        RuntimeError, ValueError, OSError, MemoryError, ArithmeticError, LookupError, TypeError,
        AttributeError,
    )  # fmt: skip
    return (*loaded, *(() if ours else through))


def _said(error: object, path: Path) -> str:
    """GDAL's words in brackets, in one line, with the file's name in place of its path."""
    text = str(error).replace(str(path), path.name)
    if path.is_absolute():
        text = text.replace(str(path.parent), "")
    text = re.sub(r"\s+", " ", text).partition("; It might help")[0].strip().rstrip(".;")
    return f" ({text[:SAID]})" if text else ""


def existing(path: Path, what: str, kind: type[SaltreachError]) -> None:
    """Raise `kind` where there is no file to open: missing, a folder, or not for us to read."""
    try:
        if path.is_file():
            with path.open("rb") as stream:
                stream.read(1)
            return
        folder, there = path.is_dir(), path.exists()
    except OSError as error:
        raise kind(f"{what} {path.name} cannot be read ({error.strerror})") from error
    except ValueError as error:  # a zero byte in the name
        raise kind(f"{what}: {error}; check the path") from error
    if folder:
        raise kind(f"{what} {path} is a folder; give the file in it")
    if there:
        raise kind(f"{what} {path} is no ordinary file; give a file")
    raise kind(f"{what} {path} does not exist; check the path")


def quietly(ask: Callable[..., Any], path: Path, **how: Any) -> Any:
    """What pyogrio says of a file without its warnings: it says them again when a layer is read."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return ask(path, **how)


def layers_of(path: Path) -> list[tuple[str, str | None]]:
    """Name and kind of shape of each layer; the kind is None for a table without shapes."""
    import pyogrio

    return [(str(name), kind) for name, kind in quietly(pyogrio.list_layers, path)]


def about_layers(path: Path, what: str, kind: type[SaltreachError]) -> dict[str, dict[str, Any]]:
    """What GDAL says of each layer by name; a GeoJSON file that would keep it busy is refused."""
    import pyogrio

    if path.suffix.lower() not in JSON_SUFFIXES:
        return {name: quietly(pyogrio.read_info, path, layer=name) for name, _ in layers_of(path)}
    fix = "cut it to the region of the register, or save it as GeoPackage"
    sizes.within(path.stat().st_size, sizes.TEXT_BYTES, what, "bytes", fix, kind)
    parts = path.read_bytes().count(b"{")
    sizes.within(parts, sizes.JSON_PARTS, what, "objects", fix, kind)
    # of one layer; to list it would read the whole file once more
    one = quietly(pyogrio.read_info, path)
    return {str(one["layer_name"]): one}


def layer_read(path: Path, layer: str | int, **how: Any) -> tuple[pd.DataFrame, list[str]]:
    """One layer, and what GDAL warned of; a table without shapes comes as a plain DataFrame."""
    import pyogrio

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        frame = pyogrio.read_dataframe(path, layer=layer, **how)
    return frame, [f"reading the file: {_said(w.message, path)[2:-1]}" for w in caught[:3]]
