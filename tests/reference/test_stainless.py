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
