"""EN 1993-1-4:2006+A1:2015, Annex A.

F1, F2 and the sum are as two data sheets repeat the standard; the class bounds, the grades and
the rule for F3 are from memory. Rows marked "just beyond" and "exactly" place the limits.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science.metal import stainless
from saltreach.vocabulary.metals import GRADES
from saltreach.vocabulary.words import CLASSES

CASES = pd.read_csv(Path(__file__).with_name("en1993_crf.csv"))


@pytest.mark.pinned("published", answers=3)
@pytest.mark.pinned("memory")
@pytest.mark.parametrize("case", CASES.to_dict("records"), ids=lambda c: c["site"])
def test_factor_and_class_en_1993_1_4_annex_a(case):
    f1 = stainless.sea_factor(case["coast_distance_m"], bool(case["mild_sea"]))
    f2 = stainless.so2_factor(case["so2_ug_m3"])
    f3 = stainless.F3_WASHED if case["washed"] else stainless.F3_UNWASHED
    crf = stainless.resistance_factor(f1, f2, f3)
    assert (float(f1), float(f2), float(crf)) == (case["f1"], case["f2"], case["crf"])
    assert CLASSES[int(stainless.resistance_class(crf)) - 1] == case["crc"]


@pytest.mark.pinned("memory", answers=8)
def test_class_bounds_en_1993_1_4_table_a2():
    crf = np.array([1, 0, -6, -7, -14, -15, -20, -21])
    assert stainless.resistance_class(crf).tolist() == [1, 2, 2, 3, 3, 4, 4, 5]


@pytest.mark.pinned("memory")
def test_cleaning_regime_counts_two_en_1993_1_4_table_a1():
    assert stainless.resistance_factor(-7, 0, stainless.F3_CLEANED) == -9


@pytest.mark.pinned("memory", answers=2)
def test_so2_above_the_tables_end_is_unknown():
    assert np.isnan(stainless.so2_factor(251.0))
    assert stainless.so2_factor(250.0) == -10


TABLE_A3 = {
    "I": ("1.4003", "1.4016", "1.4512"),
    "II": ("1.4301", "1.4307", "1.4311", "1.4541", "1.4318", "1.4306", "1.4567", "1.4482"),
    "III": ("1.4401", "1.4404", "1.4435", "1.4571", "1.4429", "1.4432", "1.4578", "1.4662",
            "1.4362", "1.4062", "1.4162"),
    "IV": ("1.4439", "1.4462", "1.4539"),
    "V": ("1.4565", "1.4529", "1.4547", "1.4410", "1.4501", "1.4507"),
}  # fmt: skip
"""Grades of each corrosion resistance class (Table A.3), from memory."""

NUMBERED = [g for g in GRADES if g.name.startswith("1.") and g.name != "1.4305"]


@pytest.mark.pinned("memory")
@pytest.mark.parametrize("grade", NUMBERED, ids=lambda g: g.name)
def test_our_grades_stand_in_their_class_en_1993_1_4_table_a3(grade):
    assert grade.name in TABLE_A3[CLASSES[grade.crc - 1]]


@pytest.mark.pinned("published", answers=4)
def test_what_the_table_leaves_out_has_no_better_class():
    """ISO 3506-1: A2 is the 1.4301 group, A4 the 1.4401 group. 1.4305 (303) is not in the table."""
    by_name = {g.name: g.crc for g in GRADES}
    assert {n: by_name[n] for n in ("1.4305", "A2-70", "A4-70", "A4-80")} == {
        "1.4305": 1, "A2-70": 2, "A4-70": 3, "A4-80": 3,
    }  # fmt: skip
    assert {g.name for g in GRADES if g.crc == 0} == {
        "6082-T6", "CuZn39Pb3", "property class 5.8 plated", "property class 5.8 galvanised",
    }  # fmt: skip
    assert len(NUMBERED) == 10


# Mid-range compositions, % (from memory), and PREN16 = Cr + 3.3 Mo + 16 N as commonly published.
PREN = {
    "304": (18.1, 0, 0.05, 18.9), "316L": (17.2, 2.1, 0.05, 24.9), "2304": (23, 0.3, 0.10, 25.6),
    "2101": (21.5, 0.3, 0.22, 26.0), "904L": (20, 4.3, 0.05, 35.0), "2205": (22.4, 3.1, 0.17, 35.3),
    "2507": (25, 4, 0.27, 42.5), "1.4547": (20, 6.1, 0.20, 43.3), "1.4529": (20.5, 6.5, 0.20, 45.2),
    "1.4565": (24, 4.5, 0.45, 46.1),
}  # fmt: skip


@pytest.mark.pinned("memory")
@pytest.mark.parametrize("grade", PREN)
def test_pitting_resistance(grade):
    *composition, expected = PREN[grade]
    assert stainless.pitting_resistance(*composition) == pytest.approx(expected, abs=0.06)


@pytest.mark.pinned("memory", answers=10)
def test_road_salt_en_1993_1_4_table_a_1():
    """Within 10 m of a road with de-icing salt -7, to 100 m -3, beyond 0, in its tunnel -10 (EN
    1993-1-4:2006+A1:2015 Table A.1, from memory)."""
    distance = [0.0, 10.0, 10.1, 100.0, 100.1, np.nan, 5_000.0]
    assert stainless.road_factor(distance).tolist() == [-7, -7, -3, -3, 0, 0, 0]
    assert stainless.road_factor([5.0, np.nan], [True, True]).tolist() == [-10, -10]
    assert stainless.road_factor([5.0, np.nan], [False, False]).tolist() == [-7, 0]


@pytest.mark.pinned("memory", answers=24)
def test_every_limit_of_table_a1_and_what_lies_beside_it():
    """EN 1993-1-4:2006+A1:2015, from memory: a distance belongs to the nearer band, SO2 to the
    dirtier one but for the last; the Baltic and Germany's North Sea only up to 250 m."""
    distance = [0.0, 250.0, 250.1, 1_000.0, 1_000.1, 10_000.0, 10_000.1, np.nan]
    expected = [-15.0, -15.0, -7.0, -7.0, -3.0, -3.0, 0.0]
    assert stainless.sea_factor(distance).tolist()[:-1] == expected
    assert np.isnan(stainless.sea_factor(distance)[-1])
    assert stainless.sea_factor(distance[:-1], True).tolist() == [-10.0, -10.0, *expected[2:]]
    so2 = stainless.so2_factor([0.0, 9.99, 10.0, 89.9, 90.0, 250.0, 250.1, np.nan])
    assert so2.tolist()[:-2] == [0.0, 0.0, -5.0, -5.0, -10.0, -10.0]
    assert np.isnan(so2[-2:]).all()
    assert stainless.resistance_factor([-3.0, 0.0, -0.5], 0.0, -7.0).tolist() == [-10.0, 0.0, -7.5]
    assert stainless.resistance_factor(0.0, [-5.0, 0.0], [-2.0, -2.0]).tolist() == [-7.0, 0.0]
    assert np.isnan(stainless.resistance_class(np.nan))


@pytest.mark.pinned("worked", answers=4)
def test_class_chances_where_a_road_is_salted():
    """20 km from the sea, SO2 5, in the open: a road within 10 m gives -7, class III; within 100 m
    -3, II; nothing 0, II; at 240 +- 50 m from the sea its own -15 or -7 is no milder."""
    chances = stainless.crc_probabilities(20_000.0, 0.0, 5.0, 0.0, 0.0, f1_road=[-7.0, -3.0, 0.0])
    assert chances.tolist() == np.eye(5)[[2, 1, 1]].tolist()
    # P(distance <= 250) = P(Z <= 0.2) = 0.579260 (table of the normal distribution)
    near = stainless.crc_probabilities(240.0, 50.0, 5.0, 0.0, 0.0, f1_road=-3.0)
    assert near == pytest.approx([0, 0, 0.420740, 0.579260, 0], abs=1e-6)
    assert stainless.crc_probabilities(np.zeros((2, 3)), 0.0, 5.0, 0.0, 0.0).shape == (2, 3, 5)


@pytest.mark.pinned("worked", answers=10)
def test_class_chances_with_both_inputs_uncertain():
    """900 +- 200 m and SO2 60 with sigma 0.5, not washed. P(d <= 250, 1000, 10,000) = 0.000577,
    0.691462, 1; P(SO2 < 10, 90, 250) = P(Z < -3.583519, 0.810930, 2.854233) = 0.000170, 0.791297,
    0.997843. CRF = F1 + F2 - 7: -22, -27, -32; -14, -19, -24; -10, -15, -20."""
    sea = np.diff([0.0, 0.000577025, 0.691462461, 1.0])
    air = np.diff([0.0, 0.000169498, 0.791297, 0.997842913])
    classes = [[5, 5, 5], [3, 4, 5], [3, 4, 4]]
    expected = np.zeros(5)
    for p, row in zip(sea, classes, strict=True):
        for q, crc in zip(air, row, strict=True):
            expected[crc - 1] += p * q
    found = stainless.crc_probabilities(900.0, 200.0, 60.0, 0.5, -7.0)
    assert found == pytest.approx(expected, abs=3e-6)


def test_class_chances_are_unknown_where_any_input_is():
    known = [900.0, 200.0, 60.0, 0.5, -7.0]
    for place in range(5):
        asked = [np.nan if i == place else v for i, v in enumerate(known)]
        assert np.isnan(stainless.crc_probabilities(*asked)).all()
    clean = stainless.crc_probabilities(900.0, 0.0, 0.0, 0.0, 0.0)
    assert clean.tolist() == [0, 0, 1, 0, 0]
    # 250 +- nothing is the end of the table, with a doubt it is not
    end = stainless.crc_probabilities(100.0, 0.0, 250.0, [0.0, 0.5], 0.0)
    assert end.sum(axis=1) == pytest.approx([1.0, 0.5])
