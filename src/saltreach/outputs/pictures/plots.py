"""One picture per sector: what an anchor bears against how deep it sits."""

from __future__ import annotations

import re
import unicodedata
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.assessment.resistance_curves import LENGTHS_MM, resistance_curves
from saltreach.science.rock.bond import NEW_BOND
from saltreach.science.rock.placement import EN959_RADIAL_KN
from saltreach.vocabulary.words import CAUTION, DO_NOT_PLACE, SEPARATOR

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

NAME_LETTERS = 40
"""Letters of a crag's or sector's name kept in a file name."""

AXIAL_COLOUR, RADIAL_COLOUR, MARK_COLOUR = "#0b5f73", "#a6531b", "#43195a"
"""Dark, and apart in lightness and dash as well: they read in grey and colour-blind."""


def safe_name(text: str) -> str:
    """Part of a file name that any file system takes: letters and digits of any script.

    Examples
    --------
    >>> safe_name("../Peña: <Upper> tier"), safe_name("...")
    ('Peña_Upper_tier', 'unnamed')
    """
    plain = unicodedata.normalize("NFC", text)
    return re.sub(r"[^\w]+", "_", plain).strip("_")[:NAME_LETTERS].strip("_") or "unnamed"


def plot_names(sectors: pd.DataFrame) -> list[str]:
    """File name of each sector's plot; sectors whose names read alike are numbered."""
    names: list[str] = []
    taken: set[str] = set()
    for crag, sector in zip(sectors["crag"], sectors["sector"], strict=True):
        stem = f"{safe_name(str(crag))}-{safe_name(str(sector))}"
        name, number = stem, 1
        while name.casefold() in taken:
            number += 1
            name = f"{stem}-{number}"
        taken.add(name.casefold())
        names.append(f"{name}.png")
    return names


def write_plots(result: Assessment, folder: Path) -> list[Path]:
    """Draw one PNG per sector into a folder.

    Parameters
    ----------
    result : Assessment
        From `assess`.
    folder : Path
        An existing folder; see `saltreach.folders.claim.result_set` for all or none.

    Returns
    -------
    list of Path
        The files, in the order of the sectors. The same input gives the same bytes.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    sectors = result.flat.sectors
    axial_kn = float(result.provenance["options"]["axial_kn"])
    curves = resistance_curves(result)
    figure = Figure(figsize=(8.4, 5.0), dpi=110)
    canvas = FigureCanvasAgg(figure)
    files = []
    for place, name in enumerate(plot_names(sectors)):
        figure.clear()
        own = curves.iloc[place * len(LENGTHS_MM) : (place + 1) * len(LENGTHS_MM)]
        _draw(figure, sectors.iloc[place], own, axial_kn)
        with warnings.catch_warnings():
            # a script the font does not hold is drawn as boxes; no reason to stop
            warnings.filterwarnings("ignore", message="Glyph")
            canvas.print_png(folder / name, metadata={"Software": None})
        files.append(folder / name)
    return files


def _draw(figure: Any, sector: pd.Series, curve: pd.DataFrame, axial_kn: float) -> None:
    figure.text(
        0.075, 0.955, f"{sector['crag']}, {sector['sector']}", fontsize=13, weight="bold",
        va="center", parse_math=False,
    )  # fmt: skip
    once = curve.iloc[0]  # what is the same at every length
    figure.text(
        0.075, 0.9, _about(sector, once["diameter_mm"]), fontsize=8.5, va="center", parse_math=False
    )
    axes = figure.add_axes((0.075, 0.22, 0.64, 0.63))
    known = np.isfinite(curve["axial_kn_p05"]).all()
    if known:
        for pull, colour, dash in (("axial", AXIAL_COLOUR, "-"), ("radial", RADIAL_COLOUR, "--")):
            low, middle = (curve[f"{pull}_kn_{p}"] for p in ("p05", "p50"))
            axes.plot(LENGTHS_MM, low, dash, color=colour, lw=2.4, label=f"{pull}, 5th percentile")
            axes.plot(LENGTHS_MM, middle, dash, color=colour, lw=1.1, label=f"{pull}, median")
    loads = ((axial_kn, AXIAL_COLOUR, "axial"), (EN959_RADIAL_KN, RADIAL_COLOUR, "radial"))
    for load, colour, pull in loads:
        axes.axhline(load, color=colour, lw=1, ls=":")
        axes.annotate(
            f"{load:g} kN {pull} required", (LENGTHS_MM[-1], load), xytext=(-3, 3),
            textcoords="offset points", ha="right", fontsize=8, color=colour,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
        )  # fmt: skip
    axes.axvline(once["minimum_mm"], color="#4b5b66", lw=1, ls="-.", label="EN 959 minimum length")
    required = once["required_mm"]
    refused = sector["kind_advised"] == DO_NOT_PLACE
    if known and not refused and LENGTHS_MM[0] <= required <= LENGTHS_MM[-1]:
        axes.axvline(
            required, color=MARK_COLOUR, lw=1.6, label=f"required, bonded: {required:.0f} mm"
        )
    top = max(45.0, 1.1 * np.nanmax(curve["radial_kn_p50"])) if known else 45.0
    axes.set(
        xlim=(LENGTHS_MM[0], LENGTHS_MM[-1]), ylim=(0, top), xlabel="embedment, mm",
        ylabel="resistance, kN",
    )  # fmt: skip
    axes.grid(color="#d5dcdf", lw=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    if not known:
        axes.text(0.5, 0.5, "strength of the rock not known", ha="center", transform=axes.transAxes)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), fontsize=8, frameon=False)
    if refused:
        axes.text(
            0.5, 0.93, "Do not place here", ha="center", va="top", transform=axes.transAxes,
            fontsize=14, weight="bold", color="#9b1c40",
            bbox={"facecolor": "white", "edgecolor": "#9b1c40", "pad": 5},
        )  # fmt: skip
    resin, rod, hole = NEW_BOND
    figure.text(
        0.075, 0.085,
        f"New bonded anchor ({resin}, {rod} rod, hole {hole}), clear of cracks and edges, metal "
        "whole.\nModels of bond and of a cone of concrete, carried over to rock.",
        fontsize=7.5, va="center",
    )  # fmt: skip
    figure.text(0.075, 0.035, CAUTION, fontsize=7.5, va="center", weight="bold")


def _about(sector: pd.Series, diameter_mm: float) -> str:
    """Rock, strength with its range, rock mass and advice in one or two lines."""
    parts = [str(sector["lithology"])]
    if np.isfinite(sector["rock_strength_mpa"]):
        low, high = sector["rock_strength_mpa_p10"], sector["rock_strength_mpa_p90"]
        parts.append(f"{sector['rock_strength_mpa']:.0f} MPa ({low:.0f} to {high:.0f})")
    if np.isfinite(sector["gsi"]):
        parts.append(f"GSI {sector['gsi']:.0f}")
    parts.append(f"{diameter_mm:g} mm diameter")
    parts.append(f"advised: {sector['kind_advised']}")
    reason = str(sector["kind_reasons"]).split(SEPARATOR)[0]
    return "; ".join(parts) + f"\n{reason[:120]}"
