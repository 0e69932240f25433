"""Values that the layers contradict, worked by hand; the limits are our own judgement.

The ground is given by hand, so that the answers are sums and differences.
"""

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment import contradictions
from saltreach.assessment.contradictions import contradicted, sentences
from saltreach.intake import read_register
from saltreach.vocabulary.columns import REJECTED_COLUMNS


def contradict(monkeypatch, *, raster=np.nan, mapped=400.0, side="land", shore_m=5000.0, **given):
    """One anchor with what the register gives and the layers say."""
    row = {"anchor_id": "a", "crag": "P", "sector": "N", "lon": 5.9, "lat": 43.1} | given
    register = read_register(pd.DataFrame([row]))
    assert register.rejected.empty
    found = {"raster_elevation_m": np.array([raster]), "coast_side": np.array([side]),
             "shore_distance_m": np.array([shore_m]), "shore_sd_m": np.array([250.0])}  # fmt: skip
    monkeypatch.setattr(contradictions, "map_elevation_m", lambda lon, lat: lon * 0 + mapped)
    anchors, doubts = contradicted(register.anchors, register.file, found)
    assert list(doubts.columns) == list(REJECTED_COLUMNS)
    assert len(anchors) == 1
    return anchors.iloc[0], doubts


# the map may be off by 1500 m, a raster by 300 m; 500 m more cannot be
@pytest.mark.parametrize(
    ("raster", "given", "noted", "used"),
    [
        (np.nan, 9000, True, False), (np.nan, 2401, True, False), (np.nan, 2400, True, True),
        (np.nan, 1901, True, True), (np.nan, 1900, False, True), (np.nan, 0, False, True),
        (900.0, 1701, True, False), (900.0, 1700, True, True), (900.0, 1201, True, True),
        (900.0, 1200, False, True), (900.0, 99, True, False), (900.0, 100, True, True),
    ],
)  # fmt: skip
def test_an_elevation_far_from_the_ground(monkeypatch, raster, given, noted, used):
    anchor, doubts = contradict(monkeypatch, raster=raster, elevation_m=given)
    assert len(doubts) == noted
    assert (anchor["elevation_m"] == given) == used


def test_nine_thousand_metres_over_ground_at_400(monkeypatch):
    anchor, doubts = contradict(monkeypatch, elevation_m=9000)
    assert np.isnan(anchor["elevation_m"])
    assert doubts.to_numpy().tolist() == [
        ["the DataFrame", 1, "elevation_m", "9000",
         "cannot be: the ground is 400 m over the sea by the map of heights; taken as unknown",
         "give it in metres (not feet or centimetres), or correct the position"]
    ]  # fmt: skip
    assert sentences(doubts) == [
        "row 1, elevation_m = 9000: cannot be: the ground is 400 m over the sea by the map of "
        "heights; taken as unknown; give it in metres (not feet or centimetres), or correct the "
        "position"
    ]


@pytest.mark.parametrize(
    ("ground", "given", "noted"),
    [(12.0, -11, True), (12.0, -10, False), (-400.0, -411, False), (0.0, -11, True)],
)
def test_an_elevation_below_the_sea_where_the_ground_is_above(monkeypatch, ground, given, noted):
    anchor, doubts = contradict(monkeypatch, mapped=ground, elevation_m=given)
    assert doubts["reason"].tolist() == ["below the sea; used as given"] * noted
    assert anchor["elevation_m"] == given


@pytest.mark.parametrize(
    ("given", "reasons", "used"),
    [
        (-1, ["below the sea; used as given"], True), (0, [], True), (300, [], True),
        # 10 m of ground and 300 m of raster's error; a foot of a cliff below a plateau is usual
        (311, ["the ground is 10 m over the sea by the height raster; used as given"], True),
        (811, ["cannot be: the ground is 10 m over the sea by the height raster; taken as "
               "unknown"], False),
    ],
)  # fmt: skip
def test_a_height_above_the_sea(monkeypatch, given, reasons, used):
    anchor, doubts = contradict(monkeypatch, raster=10.0, height_above_sea_m=given)
    assert doubts["reason"].tolist() == reasons
    assert (anchor["height_above_sea_m"] == given) == used


def test_the_foot_of_a_high_cliff_is_no_contradiction(monkeypatch):
    anchor, doubts = contradict(monkeypatch, raster=900.0, height_above_sea_m=5)
    assert doubts.empty and anchor["height_above_sea_m"] == 5


# four standard deviations of the shoreline (1000 m) beyond 5 % of the longer distance
@pytest.mark.parametrize(
    ("given", "layer", "side", "noted"),
    [(90_000, 2257, "land", True), (50, 1100, "land", False), (50, 1110, "land", True),
     (1000, 300, "sea", False), (1100, 300, "sea", True), (5000, 5000, "land", False)],
)  # fmt: skip
def test_a_distance_to_the_sea_is_noted_and_used(monkeypatch, given, layer, side, noted):
    anchor, doubts = contradict(monkeypatch, shore_m=layer, side=side, coast_distance_m=given)
    by_layer = 0 if side == "sea" else layer
    assert doubts["reason"].tolist() == (
        [f"the shoreline is {by_layer:.0f} m away; used as given"] * noted
    )
    assert anchor["coast_distance_m"] == given


def test_a_face_that_looks_inland_is_no_contradiction(monkeypatch):
    _, doubts = contradict(monkeypatch, face_azimuth_deg=0, sea_cliff="yes")
    assert doubts.empty


def test_unknown_values_and_unknown_ground_contradict_nothing(monkeypatch):
    assert contradict(monkeypatch)[1].empty
    assert contradict(monkeypatch, mapped=np.nan, elevation_m=8000)[1].empty
