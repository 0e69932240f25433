"""What the map can be coloured by, and how each step of it is drawn."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from saltreach.science.time.inspection import LADDER_MONTHS
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import UNKNOWN


@dataclass(frozen=True)
class StepStyle:
    """How one step of a scale is drawn: colour, letter and pattern say the same thing.

    `fill` is the area's colour, `ink` the colour of the letter on it, `pattern` one of plain,
    dots, lines, dense, cross, rows, columns.
    """

    word: str
    letter: str
    fill: str
    ink: str
    pattern: str


DARK, LIGHT = "#16222b", "#ffffff"

BAND_STYLES: tuple[StepStyle, ...] = (
    StepStyle("low", "L", "#bfe0d4", DARK, "plain"),
    StepStyle("moderate", "M", "#f0c95a", DARK, "dots"),
    StepStyle("raised", "R", "#e07f3c", DARK, "lines"),
    StepStyle("high", "H", "#ad2f55", LIGHT, "dense"),
    StepStyle("severe", "S", "#43195a", LIGHT, "cross"),
)
"""Our own scale, least to worst. Lightness falls with every step, so it also reads in grey and
with red-green or blue-yellow colour blindness (tests/unit/test_map_colours.py)."""

UNKNOWN_STYLE = StepStyle(UNKNOWN, "?", "#9aa5ab", DARK, "plain")
STYLE_OF = {style.word: style for style in (*BAND_STYLES, UNKNOWN_STYLE)}

METAL_STYLES: tuple[StepStyle, ...] = tuple(
    StepStyle(name, letter, fill, ink, pattern)
    for name, letter, (fill, ink), pattern in zip(
        PLACEABLE,
        ("304", "316", "Dx", "SA", "Ti"),
        (
            ("#60d1f7", DARK),
            ("#a9807d", DARK),
            ("#5e6d94", LIGHT),
            ("#702fa2", LIGHT),
            ("#162e4e", LIGHT),
        ),
        ("plain", "dots", "lines", "dense", "cross"),
        strict=True,
    )
)
"""Metals in rising resistance, light to dark."""

INTERVAL_STYLES: tuple[StepStyle, ...] = tuple(
    StepStyle(str(months), str(months), fill, ink, pattern)
    for months, (fill, ink), pattern in zip(
        reversed(LADDER_MONTHS),
        (
            ("#fff7d1", DARK),
            ("#dbc782", DARK),
            ("#f29342", DARK),
            ("#e95b88", DARK),
            ("#b21856", LIGHT),
            ("#271834", LIGHT),
        ),
        ("plain", "dots", "lines", "rows", "dense", "cross"),
        strict=True,
    )
)
"""Months between inspections, longest (light) to shortest (dark)."""

DUE_STYLES: tuple[StepStyle, ...] = (
    StepStyle("later", "36+", "#bdf9e3", DARK, "plain"),
    StepStyle("36", "36", "#35cecf", DARK, "dots"),
    StepStyle("12", "12", "#3190d4", DARK, "lines"),
    StepStyle("3", "3", "#43548e", LIGHT, "dense"),
    StepStyle("overdue", "!", "#2e273a", LIGHT, "cross"),
)
"""Next inspection within so many months of the day of the assessment."""


@dataclass(frozen=True)
class Colouring:
    """One way to colour the map.

    `column` is the column of sectors and anchors whose value is the step's word; `texts` the
    start of the keys of the step's meaning and, where `words` is given, of its name in the
    texts.
    """

    column: str
    label: str
    texts: str
    words: str
    styles: tuple[StepStyle, ...]


COLOURINGS: tuple[Colouring, ...] = (
    Colouring("risk_band", "colour_risk", "band", "word", BAND_STYLES),
    Colouring("rock_band", "colour_rock", "rock", "word", BAND_STYLES),
    Colouring("material_recommended", "colour_metal", "metal", "material", METAL_STYLES),
    Colouring("inspection_interval_months", "colour_interval", "interval", "", INTERVAL_STYLES),
    Colouring("next_inspection_on", "colour_due", "due", "due_word", DUE_STYLES),
)


def colouring_records() -> list[dict[str, Any]]:
    """The colourings as the page reads them.

    Returns
    -------
    list of dict
        One for each of `COLOURINGS`, styles least to worst.
    """
    return [asdict(colouring) for colouring in COLOURINGS]
