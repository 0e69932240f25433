"""Which metal a place is told: small tables worked by hand after EN 1993-1-4, and our own rules.

Table A.1: sea within 250 m -15, to 1 km -7, to 10 km -3, beyond 0; not washed by rain -7 (0 where
there is no salt); road tunnel -10. Table A.2: 0 to above -7 class II, to above -15 III, to -20 IV,
below V. All from memory.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.material import (
    HAZARD_FLOORS,
    choose_material,
    resistance_class_of,
    stress_corrosion_hazard,
)
from saltreach.intake.policy import DEFAULT
from saltreach.science.air.sunlight import sun_exposure
from saltreach.science.metal.stress_corrosion import scc_hazard
from saltreach.vocabulary.words import SEPARATOR

CLASSES = ("I", "II", "III", "IV", "V")
PLACE = {
    "class_distance_m": 5000.0, "salt_distance_m": 5000.0, "mild_sea": False, "f1_road": 0.0,
    "so2_ug_m3_used": 2.0, "washing": "yes", "outside_standard": False, "by_salt_lake": False,
    "salt_lake": "", "salt_crust": "unknown", "sea_cliff": "no", "scc_band_confident": "low",
    "scc_floor_reason": "",
}  # fmt: skip
SEA = {"class_distance_m": 100.0, "salt_distance_m": 100.0}
FAR = {"class_distance_m": 50_000.0, "salt_distance_m": 50_000.0}
DUPLEX = replace(DEFAULT, duplex_allowed=True)


def told(change, *, policy=DEFAULT, stock=None, chances=None):
    """Class, least metal, metal advised and the other that suffices; and sentences by code."""
    table = pd.DataFrame([PLACE | change])
    first = choose_material(_sure(table, "I"), policy, stock)
    found = choose_material(_sure(table, first["crc"][0], chances), policy, stock).iloc[0]
    names = ("crc", "material_minimum", "material_recommended", "material_alternative")
    texts = (found[name].split(SEPARATOR) for name in ("material_codes", "material_reasons"))
    return [found[name] for name in names], dict(zip(*texts, strict=True))


def _sure(table, crc, chances=None):
    chances = chances or {crc: 1.0}
    return table.assign(**{f"probability_{c}": chances.get(c, 0.0) for c in CLASSES})


def by_standard_or_ours(*cases):
    """The standard's rows are from memory; what the hazard or the gas raises is judgement."""
    ours = [{"scc_band_confident", "outside_standard"} & set(change) for change, _ in cases]
    marks = [pytest.mark.pinned("judgement" if own else "memory", answers=4) for own in ours]
    return [pytest.param(*case, marks=mark) for case, mark in zip(cases, marks, strict=True)]


@pytest.mark.parametrize(
    ("change", "expected"),
    by_standard_or_ours(
        (SEA, ["IV", "duplex", "titanium", "superaustenitic"]),
        (SEA | {"washing": "no"}, ["V", "superaustenitic", "titanium", "superaustenitic"]),
        (SEA | {"washing": "unknown"}, ["V", "superaustenitic", "titanium", "superaustenitic"]),
        ({"class_distance_m": 500.0}, ["III", "316", "316", ""]),
        ({"class_distance_m": 500.0, "washing": "no"}, ["III", "316", "316", ""]),
        ({}, ["II", "304", "304", ""]),
        ({"washing": "no"}, ["III", "316", "316", ""]),
        (FAR, ["II", "304", "304", ""]),
        (FAR | {"washing": "no"}, ["II", "304", "304", ""]),
        (FAR | {"f1_road": -10.0, "washing": "no"}, ["IV", "duplex", "titanium",
                                                     "superaustenitic"]),
        (FAR | {"f1_road": -7.0}, ["III", "316", "316", ""]),
        ({"scc_band_confident": "moderate"}, ["II", "304", "316", ""]),
        ({"scc_band_confident": "raised"}, ["II", "304", "titanium", "superaustenitic"]),
        ({"scc_band_confident": "severe"}, ["II", "304", "titanium", "superaustenitic"]),
        (FAR | {"outside_standard": True}, ["V", "superaustenitic", "titanium", ""]),
    ),
)  # fmt: skip
def test_class_least_metal_and_metal_advised(change, expected):
    assert told(change)[0] == expected


@pytest.mark.pinned("judgement", answers=3)
def test_one_word_of_the_policy_decides_on_duplex_everywhere():
    assert told(SEA, policy=DUPLEX)[0] == ["IV", "duplex", "duplex", ""]
    raised = {"scc_band_confident": "raised"}
    assert told(raised, policy=DUPLEX)[0] == ["II", "304", "duplex", ""]
    assert told(SEA | {"washing": "no"}, policy=DUPLEX)[0][2:] == ["titanium", "superaustenitic"]
    assert "NO-DUPLEX" in told(SEA)[1]
    assert "NO-DUPLEX" not in told(SEA, policy=DUPLEX)[1]


@pytest.mark.pinned("judgement", answers=3)
def test_only_what_the_stock_list_has_is_advised_and_said_where_nothing_suffices():
    wet = SEA | {"washing": "no"}
    assert told(wet, stock=["316", "superaustenitic"])[0][2:] == ["superaustenitic", ""]
    short, codes = told(wet, stock=["304", "316"])
    assert short[2:] == ["", "superaustenitic"]
    assert "STOCK-SHORT" in codes
    assert told({}, stock=["316", "titanium"])[0][2:] == ["316", "304"]


@pytest.mark.pinned("judgement", answers=4)
def test_duplex_is_bought_only_where_the_policy_accepts_it_and_the_stock_has_it():
    assert told(SEA, stock=["duplex", "titanium"])[0][2:] == ["titanium", "superaustenitic"]
    assert told(SEA, stock=["duplex", "titanium"], policy=DUPLEX)[0][2:] == ["duplex", ""]
    assert told(SEA, stock=["titanium"], policy=DUPLEX)[0][2:] == ["titanium", "duplex"]
    least = replace(DEFAULT, least_metal="304")
    assert told({}, stock=["duplex"], policy=least)[0][2:] == ["", "304"]


WASHED_II = ("EN-1993-1-4", "EN 1993-1-4 Annex A: factor -3, washed by rain, class II.")
HAD = (
    "AVAILABLE",
    "Titanium is the least resistant metal that suffices and is commonly made as bonded anchors; "
    "superaustenitic suffices too, where it can be had.",
)
SEA_CLIFF = (
    "SEA-CLIFF",
    "A sea cliff counts with the nearest band (250 m), wherever the layer draws the shore.",
)
UNKNOWN_PLACE = {"class_distance_m": float("nan"), "salt_distance_m": float("nan")}


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize(
    ("change", "more", "expected"),
    [
        ({}, {}, [WASHED_II]),
        (
            SEA | {"salt_distance_m": 400.0, "washing": "unknown"},
            {},
            [
                (
                    "EN-1993-1-4",
                    "EN 1993-1-4 Annex A: factor -22, not washed by rain, class V.",
                ),
                SEA_CLIFF,
                (
                    "WASHING-UNKNOWN",
                    "Whether rain washes it is unknown: assessed as not washed, the worse of the "
                    "two.",
                ),
                HAD,
            ],
        ),
        (
            UNKNOWN_PLACE
            | {
                "scc_band_confident": "severe",
                "scc_floor_reason": "Why.",
                "salt_crust": "yes",
                "washing": "unknown",
            },
            {"policy": replace(DEFAULT, least_metal="titanium")},
            [("UNKNOWN", "Distance to the sea is unknown, so no class can be given.")],
        ),
        (
            FAR | {"class_distance_m": 500.0, "by_salt_lake": True, "salt_lake": "Lake Van"},
            {},
            [
                ("EN-1993-1-4", "EN 1993-1-4 Annex A: factor -7, washed by rain, class III."),
                SEA_CLIFF,
                ("SALT-LAKE", "Salt lake taken as a sea: Lake Van."),
            ],
        ),
        (
            FAR | {"f1_road": -7.0, "salt_crust": "yes", "washing": "no"},
            {},
            [
                (
                    "EN-1993-1-4",
                    "EN 1993-1-4 Annex A: factor -14, not washed by rain, class III.",
                ),
                ("ROAD-SALT", "Road with de-icing salt governs the factor."),
                (
                    "CRUST",
                    "A crust covers it: counted as not washed. Calcite can be harmless, salt "
                    "beneath it is not, and it hides the metal.",
                ),
            ],
        ),
        ({"f1_road": -3.0}, {}, [WASHED_II]),
        (
            FAR | {"outside_standard": True},
            {},
            [
                (
                    "OUTSIDE-STANDARD",
                    "Outside the standard (volcanic gas, or SO2 beyond its table): treat as class "
                    "V, expose samples of the metals on site before buying, and look often.",
                )
            ],
        ),
        (
            {"scc_band_confident": "raised", "scc_floor_reason": "Why."},
            {},
            [
                WASHED_II,
                (
                    "SCC-HAZARD",
                    "Stress-corrosion hazard, with 84% chance no more than raised (own screening: "
                    "salt, warmth, sun, humidity, washing, seepage): beyond the standard's least "
                    "metal, at least superaustenitic is advised.",
                ),
                ("SCC-FLOOR", "Why."),
                HAD,
            ],
        ),
        (
            {"sea_cliff": "yes"},
            {"policy": replace(DEFAULT, least_metal_sea_cliff="titanium")},
            [
                WASHED_II,
                (
                    "POLICY",
                    "Policy of the association (least_metal_sea_cliff): at least titanium.",
                ),
            ],
        ),
        ({}, {"policy": replace(DEFAULT, least_metal_unwashed="titanium")}, [WASHED_II]),
        (
            SEA | {"washing": "no"},
            {"stock": ["304", "316"]},
            [
                (
                    "EN-1993-1-4",
                    "EN 1993-1-4 Annex A: factor -22, not washed by rain, class V.",
                ),
                (
                    "STOCK-SHORT",
                    "Nothing in the stock list suffices here: it needs at least superaustenitic.",
                ),
            ],
        ),
        (
            {},
            {"stock": ["316"]},
            [
                WASHED_II,
                (
                    "AVAILABLE",
                    "316 is the least resistant metal that suffices and is in the stock list; "
                    "304 suffices too, where it can be had.",
                ),
            ],
        ),
        (
            {},
            {"chances": {"II": 0.83, "III": 0.17}},
            [
                WASHED_II,
                (
                    "CLASS-CONFIDENCE",
                    "The class must suffice with 84% chance over the uncertain distance: one class "
                    "higher or more is advised.",
                ),
            ],
        ),
        (
            SEA,
            {},
            [
                ("EN-1993-1-4", "EN 1993-1-4 Annex A: factor -15, washed by rain, class IV."),
                ("NO-DUPLEX", "Duplex is not among the metals the policy accepts."),
                HAD,
            ],
        ),
    ],
)
def test_each_reason_is_said_where_it_holds_and_nowhere_else(change, more, expected):
    assert list(told(change, **more)[1].items()) == expected


@pytest.mark.pinned("memory", answers=10)
def test_a_known_grade_counts_in_place_of_its_family():
    """Table A.3 (from memory): 1.4539 class IV, 1.4410 class V; titanium is beyond the table."""
    metals = pd.Series(["316", "duplex", "titanium", "unknown", "zinc-plated steel"])
    grades = pd.Series(["1.4539", "1.4410", None, None, None])
    assert resistance_class_of(metals, grades).fillna(-1).tolist() == [4, 5, 6, -1, 0]
    assert resistance_class_of(metals).fillna(-1).tolist() == [3, 4, 6, -1, 0]


@pytest.mark.pinned("judgement", answers=2)
def test_the_class_must_suffice_with_84_percent():
    assert told({}, chances={"II": 0.84, "III": 0.16})[0][2] == "304"
    found, codes = told({}, chances={"II": 0.83, "III": 0.17})
    assert found[:3] == ["II", "304", "316"]
    assert "CLASS-CONFIDENCE" in codes


AIR = {
    "chloride_mg_m2_d": 1.0, "chloride_mg_m2_d_p10": 0.4, "chloride_mg_m2_d_p90": 2.5,
    "temperature_c": 10.0, "warm_month_c": 18.0, "washing": "yes", "liquid_salt_share": 0.3,
    "face_azimuth_deg": 0.0, "face_slope_deg": 90.0, "lat": 45.0, "lithology": "granite",
    "seepage": "none", "by_magnesium": False, "volcanic_gas": "no", "f1_road": 0.0,
    "salt_distance_m": 50_000.0,
}  # fmt: skip


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize(
    ("change", "band", "hazard", "name"),
    [
        ({}, "low", None, ""),
        ({"by_magnesium": True}, "moderate", 0.03, "cold_brine"),
        ({"by_magnesium": True, "temperature_c": 15.0}, "high", 0.25, "warm_brine"),
        ({"by_magnesium": True, "temperature_c": 15.0, "washing": "no"}, "severe", 0.45,
         "warm_brine_dry"),
        ({"seepage": "sulphate"}, "low", None, ""),
        ({"seepage": "sulphate", "salt_distance_m": 10_001.0}, "low", None, ""),
        ({"seepage": "sulphate", "salt_distance_m": 10_000.0}, "high", 0.25, "sulphate_coast"),
        ({"volcanic_gas": "yes"}, "raised", 0.10, "volcanic"),
        ({"f1_road": -7.0}, "moderate", 0.03, "road_salt"),
        ({"f1_road": -3.0}, "low", None, ""),
    ],
)  # fmt: skip
def test_hazard_is_no_lower_than_what_no_formula_reaches(change, band, hazard, name):
    """Floors of ours, see HAZARD_FLOORS."""
    found = stress_corrosion_hazard(pd.DataFrame([AIR | change])).iloc[0]
    assert (found["scc_band"], found["scc_band_confident"]) == (band, band)
    reasons = {floor: why for floor, _, why in HAZARD_FLOORS}
    assert found["scc_floor_reason"] == reasons.get(name, "")
    if name:
        assert (found["scc_hazard"], found["scc_hazard_mild"]) == (hazard, hazard)


@pytest.mark.pinned("judgement", answers=2)
def test_the_band_to_buy_for_holds_with_84_percent_of_the_uncertain_salt():
    """Raised by 0.04 of a score at the median; a factor of 2 more salt, at 84 %, makes it high."""
    salt = {"chloride_mg_m2_d": 100.0, "temperature_c": 17.0, "washing": "no", "warm_month_c": 24.0}
    wide = {"chloride_mg_m2_d_p10": 40.0, "chloride_mg_m2_d_p90": 250.0}
    tight = {"chloride_mg_m2_d_p10": 99.0, "chloride_mg_m2_d_p90": 101.0}
    found = stress_corrosion_hazard(pd.DataFrame([AIR | salt | wide, AIR | salt | tight]))
    assert found["scc_band"].tolist() == ["raised", "raised"]
    assert found["scc_band_confident"].tolist() == ["high", "raised"]


def test_what_is_unknown_of_the_rock_and_how_far_the_salt_spreads_reach_the_hazard():
    """An unknown lithology is neither carbonate nor not: its hazard holds both. The 10th and 90th
    percentile of a lognormal lie 2.5631 of its spread apart."""
    salt = AIR | {"chloride_mg_m2_d": 100.0, "temperature_c": 17.0, "warm_month_c": 24.0,
                  "washing": "no"}  # fmt: skip
    kinds = ("granite", "limestone", "unknown")
    found = stress_corrosion_hazard(pd.DataFrame([salt | {"lithology": k} for k in kinds]))
    mild, harsh = (found[f"scc_hazard{end}"].tolist() for end in ("_mild", ""))
    assert mild[0] == harsh[0] and mild[1] == harsh[1] and mild[0] != mild[1]
    assert (mild[2], harsh[2]) == (min(mild[:2]), max(harsh[:2]))
    for spread in (0.3, 0.9):
        ends = np.exp(np.array([-1, 1]) * spread * 2.5631 / 2) * salt["chloride_mg_m2_d"]
        row = salt | dict(zip(("chloride_mg_m2_d_p10", "chloride_mg_m2_d_p90"), ends, strict=True))
        found = stress_corrosion_hazard(pd.DataFrame([row]))
        _, expected = scc_hazard(
            100.0, 17.0, chloride_sigma_ln=spread, rain_washed="no", warm_month_c=24.0,
            sun=sun_exposure(0.0, 90.0, 45.0), humidity_share=0.3, carbonate_rock=0.0, sulphate=0.0,
        )  # fmt: skip
        assert found["scc_hazard"][0] == pytest.approx(float(expected), rel=1e-4)


def test_a_lake_beyond_the_reach_of_its_salt_is_not_named():
    lake = {"by_salt_lake": True, "salt_lake": "Lake Van"}
    assert "SALT-LAKE" not in told(FAR | lake)[1]
    assert "SALT-LAKE" in told({"class_distance_m": 9000.0} | lake)[1]
