"""Names on the overview picture: each crag with one lettered chip per sector."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.outputs.map.colourings import STYLE_OF, StepStyle
from saltreach.vocabulary.words import BANDS, UNKNOWN, Scale

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patches import Patch

MOST_LABELS = 30
"""Crags named on the picture, the worst first; more would cover the map."""
MOST_CHIPS = 8
INK, PAPER = "#16222b", "#fbfaf7"
_RISING = Scale((UNKNOWN, *BANDS))

_AROUND = (
    *((0, 1), (1, 0), (-1, 0), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1)),
    *((1, 0.5), (1, -0.5), (-1, 0.5), (-1, -0.5), (0.5, 1), (-0.5, 1), (0.5, -1), (-0.5, -1)),
)
_GAPS_PT = (10, 13, 17, 22, 30, 40, 52, 66)


@dataclass(frozen=True)
class CragMark:
    """A crag's name, its middle in degrees and its sectors' bands, the worst first."""

    name: str
    lon: float
    lat: float
    bands: tuple[str, ...]


def crags_worst_first(names: pd.Series, places: np.ndarray, bands: pd.Series) -> list[CragMark]:
    """One mark per crag.

    Parameters
    ----------
    names, bands : pandas.Series
        Crag and risk band of each sector.
    places : numpy.ndarray
        (n, 2) longitude and latitude of each sector, degrees.

    Returns
    -------
    list of CragMark
        By the worst band, then the next one.
    """
    table = pd.DataFrame(
        {"crag": names.to_numpy(), "lon": places[:, 0], "lat": places[:, 1],
         "band": bands.to_numpy()}
    )  # fmt: skip
    crags = [
        CragMark(
            str(name),
            float(group["lon"].mean()),
            float(group["lat"].mean()),
            tuple(sorted(group["band"], key=lambda word: -_RISING.index(word))),
        )
        for name, group in table.groupby("crag", sort=True)
    ]
    return sorted(crags, key=lambda crag: [-_RISING.index(word) for word in crag.bands])


def draw_labels(figure: Figure, axes: Axes, crags: list[CragMark], places: np.ndarray) -> None:
    """Draw name and chips beside each crag where nothing else stands; else leave them out.

    Parameters
    ----------
    figure, axes
        The sheet and its map, with limits set.
    crags : list of CragMark
        In the order in which they get their places.
    places : numpy.ndarray
        (n, 2) of all sectors, degrees.
    """
    import shapely
    from matplotlib.patheffects import Normal, Stroke
    from matplotlib.transforms import IdentityTransform

    point = figure.dpi / 72  # the drawing below is in pixels of the sheet
    to_pixels = axes.transData.transform
    frame = axes.get_window_extent()
    room = 5.0 * point
    discs = to_pixels(places)
    taken = list(shapely.box(*(discs - room).T, *(discs + room).T))
    # The corners of scale and north.
    taken.append(shapely.box(frame.x0, frame.y0, frame.x0 + 130 * point, frame.y0 + 34 * point))
    taken.append(shapely.box(frame.x1 - 40 * point, frame.y1 - 56 * point, frame.x1, frame.y1))
    for crag in crags[:MOST_LABELS]:
        at = to_pixels((crag.lon, crag.lat))
        name = crag.name if len(crag.name) <= 28 else crag.name[:27] + "…"
        text = figure.text(
            0, 0, name, fontsize=8.5, fontweight="bold", transform=IdentityTransform(), zorder=6,
            va="baseline", parse_math=False,
        )  # fmt: skip
        shown = crag.bands[:MOST_CHIPS]
        size = (
            max(text.get_window_extent().width, 12 * point * len(shown)),
            25 * point,
        )
        found = _free_place(at, size, taken, len(places), frame, point)
        if found is None:
            text.remove()
            continue
        left, bottom, ends = found
        taken += [shapely.box(left, bottom, left + size[0], bottom + size[1]), ends]
        text.set_position((left, bottom + 15 * point))
        text.set_path_effects([Stroke(linewidth=2.4, foreground=PAPER), Normal()])
        for index, word in enumerate(shown):
            corner = (left + 12 * point * index, bottom)
            figure.add_artist(chip(figure, STYLE_OF[word], corner, 11 * point))
        line = axes.transData.inverted().transform(shapely.get_coordinates(ends))
        axes.plot(*line.T, color=INK, linewidth=0.7, zorder=2.5)


def _free_place(
    at: np.ndarray,
    size: tuple[float, float],
    taken: list[Any],
    discs: int,
    frame: Any,
    point: float,
) -> tuple[float, float, Any] | None:
    """Nearest lower left corner where a label meets nothing, and the line that leads to it."""
    import shapely

    width, height = size
    edge = 3 * point
    inside = shapely.box(frame.x0 + edge, frame.y0 + edge, frame.x1 - edge, frame.y1 - edge)
    obstacles = np.array(taken)
    own = shapely.dwithin(obstacles, shapely.Point(at), 10 * point)
    own[discs:] = False  # the line may pass its own crag's discs, never another label
    for gap in _GAPS_PT:
        for step_x, step_y in _AROUND:
            left = float(at[0] + step_x * (gap * point + width / 2) - width / 2)
            bottom = float(at[1] + step_y * (gap * point + height / 2) - height / 2)
            label = shapely.box(left, bottom, left + width, bottom + height)
            if not shapely.within(label, inside):
                continue
            if shapely.dwithin(obstacles, label, edge).any():
                continue
            line = shapely.shortest_line(shapely.Point(at), label)
            if not shapely.intersects(obstacles[~own], line).any():
                return left, bottom, line
    return None


def chip(figure: Figure, style: StepStyle, corner: tuple[float, float], side: float) -> Patch:
    """A square in the band's colour, with its letter written on the sheet.

    Parameters
    ----------
    figure
        The sheet.
    style : StepStyle
        The band.
    corner : tuple of float
        Lower left, pixels.
    side : float
        Pixels.

    Returns
    -------
    matplotlib Patch
        The square, to be added by the caller.
    """
    from matplotlib.patches import FancyBboxPatch
    from matplotlib.transforms import IdentityTransform

    x, y = corner
    transform = IdentityTransform()
    figure.text(
        x + side / 2, y + side * 0.47, style.letter, fontsize=side / figure.dpi * 72 * 0.68,
        fontweight="bold", color=style.ink, ha="center", va="center_baseline",
        transform=transform, zorder=8,
    )  # fmt: skip
    return FancyBboxPatch(
        corner, side, side, boxstyle=f"round,pad=0,rounding_size={side * 0.18:.3f}",
        facecolor=style.fill, edgecolor=INK, linewidth=0.6, transform=transform, zorder=7,
    )  # fmt: skip
