"""The exposure chain at ten known places of very different climates.

Normals in `places.csv` are published by the national services named there but typed from
memory, so the tolerances are those of the layers: two stated standard deviations for
temperature and humidity, 30 % for rain. What follows from them is checked by order only: no
measured corrosion rate of these places was at hand.
"""

from pathlib import Path

import pandas as pd
import pytest

from helpers.decided import anchors_of

PLACES = pd.read_csv(Path(__file__).with_name("places.csv"))


@pytest.fixture(scope="module")
def found():
    register = PLACES[["lon", "lat", "elevation_m"]].astype(str)
    register = register.assign(anchor_id=PLACES["place"], crag=PLACES["place"], sector="whole")
    return anchors_of(register).set_index("anchor_id")


@pytest.mark.parametrize("case", PLACES.to_dict("records"), ids=lambda c: c["place"])
def test_exposure_agrees_with_the_normals(found, case):
    row = found.loc[case["place"]]
    assert abs(row["temperature_c"] - case["temperature_c"]) < 2 * row["temperature_sd_c"]
    off = abs(row["relative_humidity_pct"] - case["relative_humidity_pct"])
    assert off < 2 * row["relative_humidity_sd_pct"]
    assert row["rain_mm_y"] == pytest.approx(case["rain_mm_y"], rel=0.30)
    distance_km = row["coast_distance_m"] / 1000
    assert case["coast_km_low"] <= distance_km <= case["coast_km_high"]


# ISO 9223:2012, Annex C, table C.1, typical environments (from memory): C2 temperate with low
# pollution, or dry; C3 temperate with some chloride, or tropical with low pollution; C4 where
# chloride is significant. Each place with the categories that its description allows.
TYPICAL = {
    "Bergen": {"C3", "C4"}, "Reykjavik": {"C2", "C3"}, "London Heathrow": {"C2", "C3"},
    "Lisbon": {"C2", "C3"}, "Madrid": {"C2"}, "Phoenix": {"C1", "C2"}, "Denver": {"C2"},
    "Tokyo": {"C2", "C3"}, "Singapore Changi": {"C3", "C4"}, "Miami": {"C3", "C4"},
}  # fmt: skip


@pytest.mark.parametrize("place", TYPICAL)
def test_category_is_one_that_iso_9223_annex_c_describes(found, place):
    assert found.loc[place, "corrosivity_category"] in TYPICAL[place]


def test_dry_inland_places_corrode_least_and_warm_shores_take_most_zinc(found):
    assert set(found["steel_rate_um_y"].nsmallest(3).index) == {"Phoenix", "Denver", "Madrid"}
    assert found["zinc_rate_um_y"].idxmax() == "Singapore Changi"


def test_wetness_orders_the_places(found):
    wet = found["time_of_wetness_h_y"]
    assert set(wet.nsmallest(2).index) <= {"Phoenix", "Denver", "Madrid"}
    assert wet["Singapore Changi"] > wet["Tokyo"] > wet["Phoenix"]


def test_inland_places_have_far_less_salt_than_shores(found):
    salt = found["chloride_mg_m2_d"]
    inland = salt[["Madrid", "Phoenix", "Denver"]]
    assert inland.max() < 0.3 * salt[["Bergen", "Reykjavik", "Singapore Changi"]].min()
