"""The overview picture: the whole region on one sheet, for committees and reports."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.assessment.attributions import attributions_of
from saltreach.assessment.counts import count_of, overdue
from saltreach.assessment.land import land_around
from saltreach.assessment.risk import BAND_MEANINGS
from saltreach.assessment.shapes import unwrapped_lon
from saltreach.errors import OptionError
from saltreach.folders.files import atomic_write
from saltreach.outputs.map.colourings import STYLE_OF
from saltreach.outputs.optional import NO_LAND
from saltreach.outputs.pictures.overview_labels import (
    INK,
    PAPER,
    chip,
    crags_worst_first,
    draw_labels,
)
from saltreach.outputs.shore import window_coast
from saltreach.outputs.window import (
    label_points,
    length_text,
    map_window,
    round_length_m,
)
from saltreach.vocabulary.words import BANDS, CAUTION, UNKNOWN

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from saltreach.assessment.result import Assessment

FORMATS = (".png", ".svg")
WIDE_IN = 13.0
MAP_HIGH_IN = (4.4, 7.4)
DPI = 150

_SOFT, _SHORE, _LAND, _SEA, _GRID = "#4b5b66", "#8fa3ab", "#f3efe6", "#dfeaee", "#c6d5da"
_LEFT_IN, _MAP_WIDE_IN, _BELOW_IN, _ABOVE_IN = 0.6, 12.0, 2.15, 1.0
"""The map's place on the sheet."""


def write_overview(result: Assessment, path: Path, *, title: str) -> Path:
    """Draw the region: coast, sectors by risk band, scale, north, legend, caution, sources.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.
    path : pathlib.Path
        Ends in .png or .svg; written as a whole or not at all.
    title : str
        Heading.

    Returns
    -------
    pathlib.Path
        The same path. The same input and library versions give the same bytes.

    Raises
    ------
    OptionError
        When the ending is another one.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise OptionError(f"{path.name}: a picture ends in {' or '.join(FORMATS)}")
    fixed = {"Software": None} if ending == ".png" else {"Date": None, "Creator": "saltreach"}
    settings: Any = {"font.family": "DejaVu Sans", "svg.hashsalt": "saltreach", "text.color": INK}
    content = io.BytesIO()
    with mpl.rc_context(settings), warnings.catch_warnings():
        # A name in a script that the font lacks shows as boxes; the map and tables have it.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure = Figure(dpi=DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        _draw(figure, result, title)
        figure.savefig(content, format=ending[1:], dpi=DPI, metadata=fixed, facecolor=PAPER)
    return atomic_write(path, content.getvalue())


def _draw(figure: Figure, result: Assessment, title: str) -> None:
    sectors = result.flat.sectors
    centre_lon, region, _ = map_window(sectors, result.flat.anchors)
    high, window = _fill_window(region)
    sheet = high + _BELOW_IN + _ABOVE_IN
    figure.set_size_inches(WIDE_IN, sheet)
    axes = figure.add_axes(
        (_LEFT_IN / WIDE_IN, _BELOW_IN / sheet, _MAP_WIDE_IN / WIDE_IN, high / sheet)
    )
    axes.set_facecolor(_SEA)
    axes.set_xlim(window[0], window[2])
    axes.set_ylim(window[1], window[3])
    axes.set_aspect("auto")  # the window has the box's shape already
    whole = _coast(axes, result, window)
    _graticule(axes)
    bands = sectors["risk_band"].where(sectors["risk_band"].isin(BANDS), UNKNOWN)
    shaped = sectors[~(sectors.geometry.isna() | sectors.geometry.is_empty)]
    places = label_points(shaped.geometry, centre_lon)
    _sectors(axes, shaped.geometry, centre_lon, places, bands[shaped.index])
    _scale_and_north(axes, window)
    ranked = crags_worst_first(shaped["crag"], places, bands[shaped.index])
    draw_labels(figure, axes, ranked, places)
    missing = "" if whole else f"{NO_LAND} "
    if len(shaped) < len(sectors):
        missing += f"Sectors without a shape: {len(sectors) - len(shaped)}. "
    _words(figure, result, bands, title, missing)


def _fill_window(
    region: tuple[float, float, float, float],
) -> tuple[float, tuple[float, float, float, float]]:
    """Height of the map on the sheet, and its west, south, east, north with a margin."""
    west, south, east, north = region
    shrink = max(np.cos(np.radians((south + north) / 2)), 0.05)
    wide, tall = (east - west) * shrink * 1.2, (north - south) * 1.6
    high = float(np.clip(_MAP_WIDE_IN * tall / max(wide, 1e-9), *MAP_HIGH_IN))
    height = max(tall, wide * high / _MAP_WIDE_IN, 0.012)
    half_lat, half_lon = height / 2, height * _MAP_WIDE_IN / high / shrink / 2
    lon, lat = (west + east) / 2, (south + north) / 2
    return high, (
        lon - half_lon,
        max(lat - half_lat, -90.0),
        lon + half_lon,
        min(lat + half_lat, 90.0),
    )


def _coast(axes: Axes, result: Assessment, window: tuple[float, float, float, float]) -> bool:
    """Land or shore; False where it could not be drawn."""
    import shapely
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Outline

    width, height = window[2] - window[0], window[3] - window[1]
    wider = (
        window[0] - width / 20,
        window[1] - height / 20,
        window[2] + width / 20,
        window[3] + height / 20,
    )
    kind, parts = window_coast(land_around(result).shapes, wider)
    lines = [shapely.linestrings(part) for part in parts if len(part) > 1]
    if kind == "land" and lines:
        # Drawn coarser, a shore may cross itself: its crossings become nodes. Outlines and holes
        # run opposite ways, so that the holes stay water.
        try:
            noded = shapely.node(shapely.multilinestrings(lines))
            land = shapely.normalize(shapely.build_area(noded))
        except shapely.errors.GEOSException:
            return False
        rings = shapely.get_rings(shapely.get_parts(land))
        outline = Outline.make_compound_path(
            *(Outline(shapely.get_coordinates(ring), closed=True) for ring in rings)
        )
        axes.add_patch(
            PathPatch(outline, facecolor=_LAND, edgecolor=_SHORE, linewidth=0.8, zorder=1)
        )
        return True
    if kind != "land":
        axes.set_facecolor(_LAND)  # which side is sea is not known
    for line in lines:
        axes.plot(*shapely.get_coordinates(line).T, color=_SHORE, linewidth=0.9, zorder=1)
    return True


def _graticule(axes: Axes) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    def words(positive: str, negative: str, turn: float) -> FuncFormatter:
        def word(value: float, _: Any) -> str:
            value = (value + turn) % (2 * turn) - turn if turn == 180 else value
            side = "" if abs(value) < 1e-9 else positive if value > 0 else negative
            return f"{abs(round(value, 4)):g}° {side}".rstrip()

        return FuncFormatter(word)

    steps = [1, 2, 2.5, 5, 10]
    axes.xaxis.set_major_locator(MaxNLocator(7, steps=steps))
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=steps))
    axes.xaxis.set_major_formatter(words("E", "W", 180))
    axes.yaxis.set_major_formatter(words("N", "S", 90))
    axes.grid(color=_GRID, linewidth=0.5, zorder=0.5)
    axes.set_axisbelow(False)
    axes.tick_params(length=0, pad=5, labelsize=8, labelcolor=_SOFT)
    axes.tick_params(axis="y", labelrotation=90)
    for label in axes.get_yticklabels():
        label.set_verticalalignment("center")
    for spine in axes.spines.values():
        spine.set_color(_SHORE)
        spine.set_linewidth(0.8)


def _sectors(
    axes: Axes, shapes: gpd.GeoSeries, centre_lon: float, places: np.ndarray, bands: pd.Series
) -> None:
    """Shape and disc of each sector, the worst on top; size and colour rise with the band."""
    import shapely
    from matplotlib.collections import PolyCollection

    parts, owner = shapely.get_parts(np.asarray(shapes), return_index=True)
    outlines = [shapely.get_coordinates(ring) for ring in shapely.get_exterior_ring(parts)]
    fills = bands.map({word: style.fill for word, style in STYLE_OF.items()}).to_numpy()[owner]
    turned = [
        np.column_stack([unwrapped_lon(ring[:, 0], centre_lon), ring[:, 1]]) for ring in outlines
    ]
    axes.add_collection(
        PolyCollection(turned, facecolors=fills, edgecolors=INK, linewidths=0.5, alpha=0.55,
                       zorder=2.2)
    )  # fmt: skip
    for at, word in enumerate((UNKNOWN, *BANDS)):
        chosen = (bands == word).to_numpy()
        axes.scatter(
            places[chosen, 0],
            places[chosen, 1],
            s=34 + 9 * at,
            color=STYLE_OF[word].fill,
            edgecolors=INK,
            linewidths=0.7,
            zorder=3 + at / 10,
        )


def _scale_and_north(axes: Axes, window: tuple[float, float, float, float]) -> None:
    """A bar of a round length along the parallel it lies on, and an arrow."""
    from pyproj import Geod

    west, south, east, north = window
    lon, lat = west + (east - west) * 0.014, south + (north - south) * 0.035
    _, _, whole_m = Geod(ellps="WGS84").inv(lon, lat, lon + (east - west) / 10, lat)
    length = round_length_m(whole_m * 1.6)
    wide = length / whole_m * (east - west) / 10
    tick = (north - south) * 0.014
    axes.plot(
        [lon, lon, lon + wide, lon + wide], [lat + tick, lat, lat, lat + tick],
        color=INK, linewidth=1.6, zorder=6, solid_joinstyle="miter",
    )  # fmt: skip
    axes.text(
        lon + wide / 2,
        lat + tick,
        length_text(length),
        ha="center",
        va="bottom",
        fontsize=9,
        zorder=6,
    )
    axes.annotate(
        "N", xy=(0.978, 0.965), xytext=(0.978, 0.875), xycoords="axes fraction", ha="center",
        va="center", fontsize=11, fontweight="bold", zorder=6,
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.4, "shrinkA": 7},
    )  # fmt: skip


def _words(figure: Figure, result: Assessment, bands: pd.Series, title: str, missing: str) -> None:
    """Heading, legend, caution and sources; places are in inches from the lower left."""
    provenance, tables = result.provenance, result.flat
    high = figure.get_figheight()

    def write(x_in: float, y_in: float, text: str, **style: Any) -> None:
        style = {"va": "baseline", "parse_math": False, **style}
        figure.text(x_in / WIDE_IN, y_in / high, text, **style)

    write(_LEFT_IN, high - 0.5, title, fontsize=19, fontweight="bold")
    write(
        _LEFT_IN,
        high - 0.8,
        f"Risk of {_counted(len(tables.anchors), 'anchor')} in "
        f"{_counted(len(tables.sectors), 'sector')} of {_counted(len(tables.crags), 'crag')}, "
        f"as of {provenance['assessed_for']}. Inspection overdue in "
        f"{_counted(overdue(tables.sectors), 'sector')}.",
        fontsize=11,
        color=_SOFT,
    )
    sectors = count_of(bands, STYLE_OF)
    rows = [style for style in STYLE_OF.values() if style.word in BANDS or sectors[style.word]]
    step = _MAP_WIDE_IN / len(rows)
    for at, style in enumerate(rows):
        x, y = _LEFT_IN + at * step, 1.56
        side = 0.23 * figure.dpi
        figure.add_artist(chip(figure, style, (x * figure.dpi, (y - 0.055) * figure.dpi), side))
        number = _counted(sectors[style.word], "sector")
        write(x + 0.31, y, f"{style.word.capitalize()}: {number}", fontweight="bold",
              fontsize=10 if len(rows) < 6 else 8.6)  # fmt: skip
        meaning = BAND_MEANINGS.get(style.word, "Too little is known to say.")
        write(x + 0.31, y - 0.12, _wrapped(meaning, int(step * 12.5)), fontsize=8.2, color=_SOFT,
              va="top", linespacing=1.35)  # fmt: skip
    write(_LEFT_IN, 0.53, CAUTION, fontsize=9.5, fontweight="bold", color="#7a3b00")
    write(
        _LEFT_IN,
        0.34,
        ("Refused rows of the tables were left out. " if provenance.get("left_out") else "")
        + f"{missing}One letter per sector beside each crag's name, worst first. "
        f"{provenance['software']}. All sources and assumptions: provenance.json.",
        fontsize=8,
        color=_SOFT,
    )
    thanks = _wrapped(". ".join(attributions_of(provenance)), 210)
    write(_LEFT_IN, 0.27, thanks, fontsize=7, color=_SOFT, va="top")


def _counted(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _wrapped(text: str, letters: int) -> str:
    import textwrap

    return "\n".join(textwrap.wrap(text, letters))
