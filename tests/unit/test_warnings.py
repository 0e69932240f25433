"""Each warning of an anchor: where it stands and, one step aside, where it does not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.warnings import warnings_of
from saltreach.intake.policy import DEFAULT

CALM = {
    "material": "316", "hanger_material": "316", "grade": None, "crc": "III", "condition": 0,
    "like_failed_share": 0.0, "tap_response": "ringing", "weathering_grade": "W1",
    "resistance_short": False, "rock_too_close": "", "embedment_short": False, "kind": "bonded",
    "diameter_mm": 12.0, "embedment_mm": 100.0, "rock_strength_mpa": 90.0, "f1_road": 0.0,
    "lithology_source": "register",
    "outside_standard": False, "by_salt_lake": False, "salt_distance_m": 500.0,
    "vegetation": "no", "salt_crust": "no", "seepage": "none", "seaward_m": 0.0,
    "temperature_c": 14.0, "relative_humidity_pct": 75.0, "beyond_calibration": False,
    "in_europe": True, "rock_conflict": "", "rock_disagreement": "", "rock_unread": "",
    "layer_notes": "", "so2_ug_m3_used": 2.0, "so2_assumed": False,
}  # fmt: skip
"""An anchor that nothing is to be said of."""

FAILED = "Recorded as failed: take it out of use today."
LIKE = "An anchor of the same sector, metal and year failed: counted as likelier to fail."
HOLLOW = "Hollow sound: do not trust or place an anchor here."
ROTTEN = "Rock completely weathered (W5, W6): do not trust or place an anchor here."
ODD = ("Outside the standard (volcanic gas or SO2 beyond its table): treated as class V; expose "
       "samples on site.")  # fmt: skip
LAKE = "Shore of a salt lake: no measured rates exist, the salt is an assumption."
COVERED = "Covered by plants, soil or a crust: nobody sees the metal, counted as not washed."
SULPHATE = "Sulphate seepage: other attack than by chloride alone is reported; test on site."
COATED_MIXED = "Mixed metals: coated steel against stainless or titanium loses its zinc fast."
COATED = "Coated steel: below every class of the standard."
BELOW = "The metal in place is below the class the place needs."
MIXED = "Mixed metals: EN 959 asks for one metal in linked parts."
SHORT = "Resistance in this rock (5th percentile) below the required loads."
CRACK = "Crack closer than 1 embedment."
EDGE = "Edge closer than 1.5 embedments or 150 mm."
SHALLOW = "Shorter in the rock than EN 959 asks for."
NO_METAL = "Metal unknown."
NO_CONDITION = "Condition not recorded: counted as the mixture of the register and the trade."
NO_KIND = "Kind not recorded: counted as the mixture of the register and the trade."
NO_SIZE = ("Diameter or depth not recorded: taken as the lower quartile of the register and the "
           "trade.")  # fmt: skip
NO_ROCK = "Rock unknown: its risk is that of the mixture of rocks of the register."
ROAD = ("Road salt: its class is counted and a least corrosivity; its chloride is not in the salt "
        "figure.")  # fmt: skip
SEAWARD = "Position falls seaward of the layer's shoreline: taken as at the shore."
NO_CLIMATE = "Climate unknown here: no category is given."
NO_HUMIDITY = "Humidity unknown here: no category is given."
BEYOND = "An input lies outside the range ISO 9223's functions were fitted on."
ABROAD = "Outside Europe: EN 1993-1-4 Annex A was not made for this climate."

CASES = [
    ({}, []),
    ({"condition": 4}, [FAILED]),
    ({"condition": 3}, []),
    ({"like_failed_share": 0.01}, [LIKE]),
    ({"like_failed_share": 0.5, "condition": 4}, [FAILED]),
    ({"tap_response": "hollow"}, [HOLLOW]),
    ({"tap_response": "dull"}, []),
    ({"tap_response": None}, []),
    ({"weathering_grade": "W5"}, [ROTTEN]),
    ({"weathering_grade": "W6"}, [ROTTEN]),
    ({"weathering_grade": "W4"}, []),
    ({"outside_standard": True}, [ODD]),
    # a shore up to 10 km away counts with EN 1993-1-4, farther none does
    ({"by_salt_lake": True, "salt_distance_m": 10_000.0}, [LAKE]),
    ({"by_salt_lake": True, "salt_distance_m": 10_001.0}, []),
    ({"vegetation": "yes"}, [COVERED]),
    ({"salt_crust": "yes"}, [COVERED]),
    ({"vegetation": "yes", "salt_crust": "yes"}, [COVERED]),
    ({"vegetation": "unknown", "salt_crust": "unknown"}, []),
    ({"seepage": "sulphate"}, [SULPHATE]),
    ({"seepage": "water"}, []),
    # coated steel has no class; brass neither
    ({"material": "galvanised steel", "hanger_material": "galvanised steel"}, [COATED]),
    ({"material": "galvanised steel", "hanger_material": "unknown"}, [COATED]),
    ({"material": "316", "hanger_material": "zinc-plated steel"}, [COATED_MIXED, COATED]),
    ({"material": "zinc-plated steel", "hanger_material": "titanium"}, [COATED_MIXED, COATED]),
    ({"material": "zinc-plated steel", "hanger_material": "galvanised steel"}, [COATED, MIXED]),
    ({"material": "316", "hanger_material": "titanium"}, [MIXED]),
    ({"material": "316", "hanger_material": "304"}, [BELOW, MIXED]),
    ({"material": "316", "hanger_material": "unknown"}, []),
    ({"material": "304", "hanger_material": "304"}, [BELOW]),
    ({"material": "304", "hanger_material": "304", "crc": "II"}, []),
    ({"crc": "IV"}, [BELOW]),
    ({"material": "430", "hanger_material": "430", "crc": "II"}, [BELOW]),  # of class I
    # a grade of class IV (EN 1993-1-4 Table A.3); its hanger has none
    ({"crc": "IV", "grade": "1.4439", "hanger_material": "unknown"}, []),
    ({"crc": "IV", "grade": "1.4439"}, [BELOW]),
    ({"crc": ""}, []),
    ({"resistance_short": True}, [SHORT]),
    ({"rock_too_close": "crack closer than 1 embedment"}, [CRACK]),
    ({"rock_too_close": "edge closer than 150 mm"}, [EDGE]),
    ({"rock_too_close": "crack closer than 1 embedment; edge closer than 150 mm"}, [CRACK, EDGE]),
    ({"embedment_short": True}, [SHALLOW]),
    ({"material": "unknown"}, [NO_METAL]),
    ({"material": "unknown", "hanger_material": "unknown"}, [NO_METAL]),
    ({"condition": None}, [NO_CONDITION]),
    ({"kind": None}, [NO_KIND]),
    ({"diameter_mm": np.nan}, [NO_SIZE]),
    ({"embedment_mm": np.nan}, [NO_SIZE]),
    ({"rock_strength_mpa": np.nan}, [NO_ROCK]),
    ({"lithology_source": "rock-macrostrat"},
     ["Rock type is a map's word, not seen at the anchor, and a map's borders may be far off: look "
      "and tap before it is relied on."]),
    ({"lithology_source": "unknown"}, []),
    ({"f1_road": -3.0}, [ROAD]),
    ({"seaward_m": 0.5}, [SEAWARD]),
    ({"temperature_c": np.nan}, [NO_CLIMATE]),
    ({"temperature_c": np.nan, "relative_humidity_pct": np.nan}, [NO_CLIMATE]),
    ({"relative_humidity_pct": np.nan}, [NO_HUMIDITY]),
    ({"beyond_calibration": True}, [BEYOND]),
    ({"in_europe": False}, [ABROAD]),
    ({"rock_conflict": "hammer against rebound"},
     ["Tests of the rock's strength disagree: hammer against rebound."]),
    ({"rock_disagreement": "Map says slate."}, ["Map says slate."]),
    ({"rock_unread": "greenish"},
     ["Rock not in the lithology table, taken as unknown: greenish."]),
    ({"layer_notes": "Climate from 12 km away."}, ["Climate from 12 km away."]),
    ({"so2_assumed": True}, ["SO2 assumed, not measured: 2 ug/m3."]),
    ({"so2_assumed": True, "so2_ug_m3_used": 12.5}, ["SO2 assumed, not measured: 12.5 ug/m3."]),
]  # fmt: skip


def said(changes, policy=DEFAULT):
    table = pd.DataFrame([CALM | change for change in changes]).astype({"condition": "Int64"})
    return [text.split(" | ") if text else [] for text in warnings_of(table, policy)]


def test_each_warning_stands_where_it_applies_and_nowhere_else():
    found = said([change for change, _ in CASES])
    assert found == [sentences for _, sentences in CASES]


def test_every_sentence_has_a_case():
    from saltreach.assessment.warnings import SENTENCES

    assert set(SENTENCES.values()) <= {s for _, sentences in CASES for s in sentences}


def test_the_most_pressing_comes_first():
    everything = {
        "tap_response": "hollow", "weathering_grade": "W6", "condition": 4,
        "outside_standard": True, "by_salt_lake": True, "vegetation": "yes",
        "seepage": "sulphate", "hanger_material": "zinc-plated steel", "resistance_short": True,
        "rock_too_close": "crack closer than 1 embedment; edge closer than 150 mm",
        "embedment_short": True, "kind": None, "diameter_mm": np.nan,
        "rock_strength_mpa": np.nan, "f1_road": -7.0, "seaward_m": 3.0, "temperature_c": np.nan,
        "beyond_calibration": True, "in_europe": False, "rock_unread": "greenish",
        "layer_notes": "Far.", "so2_assumed": True,
    }  # fmt: skip
    (found,) = said([everything], replace(DEFAULT, loosened=("duplex is accepted", "sixty")))
    assert found == [
        FAILED, HOLLOW, ROTTEN, ODD, LAKE, COVERED, SULPHATE, COATED_MIXED, COATED, SHORT, CRACK,
        EDGE, SHALLOW, NO_KIND, NO_SIZE, NO_ROCK, ROAD, SEAWARD, NO_CLIMATE, BEYOND, ABROAD,
        "Rock not in the lithology table, taken as unknown: greenish.", "Far.",
        "SO2 assumed, not measured: 2 ug/m3.", "Looser policy: duplex is accepted.",
        "Looser policy: sixty.",
    ]  # fmt: skip


@pytest.mark.parametrize("loosened", [(), ("sixty",)])
def test_a_looser_policy_is_said_on_every_row(loosened):
    found = said([{}, {"condition": 4}], replace(DEFAULT, loosened=loosened))
    more = [f"Looser policy: {text}." for text in loosened]
    assert found == [more, [FAILED, *more]]
