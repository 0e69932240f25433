"""The catalogue of the map's words: same keys, same placeholders, same numbers in each language."""

import csv
import re
from importlib.resources import files

import pytest

from saltreach.assessment.risk import BAND_LIMITS_PER_Y, BAND_MEANINGS
from saltreach.errors import OptionError
from saltreach.outputs.map.colourings import COLOURINGS, UNKNOWN_STYLE
from saltreach.outputs.map.texts import LANGUAGES, catalogue, catalogues
from saltreach.science.rock.capacity import AXIAL_MODES, RADIAL_MODES
from saltreach.vocabulary.metals import MATERIAL_CHOICES
from saltreach.vocabulary.words import BANDS, KINDS_ADVISED

LITHOLOGIES = tuple(
    row["name"]
    for row in csv.DictReader(
        (files("saltreach.vocabulary") / "lithologies.csv").read_text("utf-8").splitlines()
    )
)
OTHERS = [language for language in LANGUAGES if language != "en"]


def numbers(text):
    """Figures in a sentence, without the separators that differ by language."""
    return [re.sub(r"\D", "", found) for found in re.findall(r"\d+(?:[.,  ]\d{3})*", text)]


@pytest.mark.parametrize("language", LANGUAGES)
def test_same_keys_and_placeholders(language):
    english, texts = catalogue("en"), catalogue(language)
    assert list(texts) == list(english)
    assert texts["lang"] == language
    for key, text in texts.items():
        assert set(re.findall(r"\{\w+\}", text)) == set(re.findall(r"\{\w+\}", english[key])), key
        assert text.strip() == text
        assert text or key == "reasons_in_english"


@pytest.mark.parametrize("language", OTHERS)
def test_the_band_sentences_say_the_same_numbers(language):
    english, texts = catalogue("en"), catalogue(language)
    for band in BANDS:
        assert numbers(texts[f"band_{band}"]) == numbers(english[f"band_{band}"])


def test_the_band_sentences_are_those_of_the_decisions():
    assert {band: catalogue("en")[f"band_{band}"] for band in BANDS} == BAND_MEANINGS
    limits = [f"{1 / limit:.0f}" for limit in BAND_LIMITS_PER_Y]
    assert numbers(catalogue("en")["band_moderate"]) == ["1", limits[0], "1", limits[1]]
    assert numbers(catalogue("en")["band_high"]) == ["1", limits[2], "1", limits[3]]


@pytest.mark.parametrize("language", LANGUAGES)
def test_words_of_the_data_are_translated(language):
    texts = catalogue(language)
    for kind, words in {
        "word": BANDS,
        "letter": BANDS,
        "material": MATERIAL_CHOICES,
        "kind": KINDS_ADVISED,
        "part": ("axial", "radial", *AXIAL_MODES, *RADIAL_MODES),
        "lithology": LITHOLOGIES,
    }.items():
        assert [word for word in words if f"{kind}_{word}" not in texts] == []
    for colouring in COLOURINGS:
        assert colouring.label in texts
        for style in (*colouring.styles, UNKNOWN_STYLE):
            assert f"{colouring.texts}_{style.word}" in texts or colouring.texts == "interval"
    assert len({texts[f"letter_{band}"] for band in BANDS} | {"?"}) == len(BANDS) + 1
    assert all(texts[f"letter_{b}"] == texts[f"word_{b}"][0].upper() for b in BANDS)


@pytest.mark.parametrize("language", OTHERS)
def test_sentences_are_not_left_in_english(language):
    english, texts = catalogue("en"), catalogue(language)
    same = [key for key, text in texts.items() if text == english[key] and len(text) > 25]
    assert same == []


def test_an_unknown_language_is_refused():
    with pytest.raises(OptionError, match="'it' is not one of the map's languages"):
        catalogue("it")
    assert list(catalogues()) == list(LANGUAGES)
