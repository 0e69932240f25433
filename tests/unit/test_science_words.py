"""The tables of the formulas hold the words of the vocabulary, each once and no other."""

import pytest

from saltreach.science.air import wetness
from saltreach.science.metal import stress_corrosion
from saltreach.science.rock import bond, capacity, placement, rmr, strength
from saltreach.science.time import consequence, inspection
from saltreach.vocabulary import words

TABLES = [
    (stress_corrosion.MINIMUM_MATERIAL, words.BANDS),
    (bond.ADHESIVES, words.ADHESIVES),
    (bond.ROD_SHAPES, words.ROD_SHAPES),
    (bond.HOLE_CONDITIONS, words.HOLE_CONDITIONS),
    (capacity.KIND_SHARES, words.KINDS),
    (rmr.ROUGHNESS, words.ROUGHNESS),
    (rmr.INFILLING, words.INFILLING),
    (rmr.JOINT_WEATHERING, words.JOINT_WEATHERING),
    (rmr.WATER, words.WATER),
    *((adjustment, words.FAVOURABILITY) for adjustment in rmr.ORIENTATION.values()),
    (strength.ISRM_LIMITS_MPA, words.STRENGTH_GRADES),
    (strength.WEATHERING_FACTOR, words.WEATHERING),
    (strength.TAP_TILT, words.TAP_RESPONSES),
    (consequence.CONSEQUENCE, words.POSITIONS),
    (inspection.CATEGORY_CAP_MONTHS, words.CATEGORIES),
    (inspection.SCC_CAP_MONTHS, words.BANDS),
]


@pytest.mark.parametrize(("table", "listed"), TABLES)
def test_the_keys_of_a_table_are_the_words_in_their_order(table, listed):
    assert tuple(table) == tuple(listed)


def test_scales_have_one_word_more_than_limits():
    assert len(words.BANDS) == len(stress_corrosion.SCC_BAND_LIMITS) + 1
    assert len(wetness.TAU_CLASSES) == len(wetness.TAU_UPPER_H_Y) + 1


def test_advice_is_worded_as_the_vocabulary_does():
    assert (*placement.ADVICE, words.UNKNOWN) == words.KINDS_ADVISED
    assert set(placement.GLUED) <= set(words.KINDS)
