"""The palette against published colour science: colour blindness, contrast, grey."""

import itertools

import numpy as np
import pytest

from saltreach.outputs.map.colourings import (
    BAND_STYLES,
    COLOURINGS,
    DUE_STYLES,
    INTERVAL_STYLES,
    METAL_STYLES,
    UNKNOWN_STYLE,
)
from saltreach.science.time.inspection import LADDER_MONTHS
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import BANDS

# Machado, Oliveira and Fernandes (2009), IEEE TVCG 15(6), 1291-1298, severity 1.0, applied to
# linear RGB. From memory of the published table; its rows must sum to 1 (grey stays grey).
MACHADO_2009 = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# sRGB to XYZ (D65), IEC 61966-2-1; CIELAB, CIE 15.
SRGB_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
WHITE_D65 = np.array([0.95047, 1.0, 1.08883])
# Common practice, no source: about seven times the just noticeable difference of 2.3.
MIN_DISTANCE = 16.0
# WCAG 2.2, success criterion 1.4.3 (level AA, text of ordinary size).
MIN_CONTRAST = 4.5


def linear_rgb(colour):
    value = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def cielab(linear):
    ratio = SRGB_TO_XYZ @ np.clip(linear, 0, 1) / WHITE_D65
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one, other):
    light, dark = sorted(
        (float(linear_rgb(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other)), reverse=True
    )
    return (light + 0.05) / (dark + 0.05)


def test_formulas_agree_with_published_values():
    # WCAG 2: black on white is 21:1. CIELAB of sRGB red is (53.24, 80.09, 67.20), as commonly
    # tabulated (from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert cielab(linear_rgb("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    for matrix in MACHADO_2009.values():
        assert matrix.sum(axis=1) == pytest.approx([1, 1, 1], abs=1e-5)


def test_the_five_bands_are_styled_in_order_with_distinct_letters_and_patterns():
    assert tuple(style.word for style in BAND_STYLES) == BANDS
    every = (*BAND_STYLES, UNKNOWN_STYLE)
    assert len({style.letter for style in every}) == len(every)
    assert len({style.pattern for style in BAND_STYLES}) == len(BAND_STYLES)


SCALES = {
    "bands": BAND_STYLES,
    "metal": METAL_STYLES,
    "interval": INTERVAL_STYLES,
    "due": DUE_STYLES,
}


def test_each_scale_covers_its_words_with_distinct_letters_and_patterns():
    assert tuple(s.word for s in METAL_STYLES) == PLACEABLE
    assert tuple(int(s.word) for s in INTERVAL_STYLES) == tuple(reversed(LADDER_MONTHS))
    assert {id(c.styles) for c in COLOURINGS} == {id(styles) for styles in SCALES.values()}
    for styles in SCALES.values():
        assert len({s.letter for s in (*styles, UNKNOWN_STYLE)}) == len(styles) + 1
        assert len({s.pattern for s in styles}) == len(styles)


@pytest.mark.parametrize("vision", MACHADO_2009)
@pytest.mark.parametrize("scale", SCALES)
def test_steps_stay_apart_for(scale, vision):
    seen = [cielab(MACHADO_2009[vision] @ linear_rgb(style.fill)) for style in SCALES[scale]]
    closest = min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2))
    assert closest > MIN_DISTANCE


@pytest.mark.parametrize("vision", MACHADO_2009)
@pytest.mark.parametrize("scale", SCALES)
def test_further_is_darker_for(scale, vision):
    lightness = [cielab(MACHADO_2009[vision] @ linear_rgb(s.fill))[0] for s in SCALES[scale]]
    assert (np.diff(lightness) < 0).all()


@pytest.mark.parametrize(
    "style",
    (*BAND_STYLES, *METAL_STYLES, *INTERVAL_STYLES, *DUE_STYLES, UNKNOWN_STYLE),
    ids=lambda s: s.word,
)
def test_letters_can_be_read(style):
    assert contrast(style.ink, style.fill) >= MIN_CONTRAST
