"""A packed shore in place of the embedded one changes distance, error, class and metal: by hand.

A real place on the Cantabrian coast (5.2 W, 43.468 N; the register there is invented). The
packed shores are drawn by us: parallels so far north of the place, land to the south. The classes
are EN 1993-1-4:2006+A1:2015's: washed, without SO2 and beyond 10 km from salted roads the factor
is F1 alone, -15 up to 250 m (class IV), -7 up to 1 km (III), -3 up to 10 km and 0 beyond (both
II). The distance has a normal error, so the chance of a class is that of its band.
"""

import datetime
import json
import math

import numpy as np
import pandas as pd
import pytest
from geographiclib.geodesic import Geodesic

import saltreach
from saltreach.layers import coast_layer
from saltreach.layers.coast import load_coast
from saltreach.layers.online.overpass import Way
from saltreach.layers.osm_shore import osm_origin, shore_of
from saltreach.layers.packed_coast import COAST_FILE, write_coast
from saltreach.science.metal.stainless import F3_WASHED, crc_probabilities

LON, LAT = -5.2, 43.468
BOX = (LON - 0.25, LAT - 0.18, LON + 0.25, LAT + 0.18)  # 20 km around
EMBEDDED_M = 873.9
"""To the segment of the embedded shore from (-5.196671, 43.476250) to (-5.214195, 43.474579).

On a plane of 80,913 m per degree of longitude and 111,107 m per degree of latitude at 43.47 N
(WGS 84) the place lies at 0, 0, the ends at (269.4, 916.6) and (-1148.5, 731.0): the step is
(-1417.9, -185.7), 1430.0 m long, and the distance |269.4 x -185.7 - 916.6 x -1417.9| / 1430.0 =
(1,299,650 - 50,028) / 1430.0 = 873.9 m."""


def below(limit_m, distance_m, sd_m):
    """Chance that a distance with a normal error is below a limit."""
    return 0.5 * (1 + math.erf((limit_m - distance_m) / sd_m / math.sqrt(2)))


def classes(distance_m, sd_m):
    """Chances of the classes I to V, washed, by hand."""
    four, three = (below(limit, distance_m, sd_m) for limit in (250, 1000))
    return [0, 1 - three, three - four, four, 0]


def register(**more):
    return pd.DataFrame([{
        "anchor_id": "a", "crag": "Prado", "sector": "N", "lon": LON, "lat": LAT,
        "sea_cliff": "no", "rain_washed": "yes", "so2_ug_m3": 2.0, "elevation_m": 120.0,
        "temperature_c": 4.0, "relative_humidity_pct": 70.0, "sea_salinity_g_kg": 35.0,
        "rock_type": "limestone", **more,
    }])  # fmt: skip


def shore_at(north_m, **tags):
    """The packed shore a distance north of the place; drawn westwards, land lies to the south."""
    lat = Geodesic.WGS84.Direct(LAT, LON, 0, north_m)["lat2"]
    way = Way(1, np.array([[LON + 1, lat], [LON - 1, lat]]), tags)
    return shore_of([way], BOX, lambda lon, lat: lon * np.nan)


@pytest.fixture
def assessed(tmp_path, monkeypatch):
    """The anchor, assessed with a pack or without one."""

    def run(shore=None, **more):
        packed = None
        if shore is not None:
            packed = write_coast(tmp_path / COAST_FILE, [shore]), osm_origin("2026-01-02")
        monkeypatch.setattr(coast_layer, "packed_coast_of", lambda options: packed)
        options = saltreach.Options(today=datetime.date(2026, 1, 2))
        return saltreach.assess(register(**more), options)

    return run


def said(result):
    row = result.flat.anchors.iloc[0]
    chances = json.loads(row["crc_probabilities"])
    return (
        row["coast_distance_m"], row["coast_distance_sd_m"], row["coast_distance_source"],
        [chances[c] for c in ("I", "II", "III", "IV", "V")], row["crc"],
        row["material_recommended"],
    )  # fmt: skip


@pytest.mark.pinned("worked", answers=20)
@pytest.mark.parametrize(
    ("north_m", "tags", "distance_m", "sd_m", "source", "chances", "crc", "metal"),
    [
        # (250 - 873.9) / 250 = -2.496, chance 0.006; (1000 - 873.9) / 250 = 0.504, 0.693: class III
        # with 0.687. I to III suffices with 0.994 > 0.84: 316
        (None, {}, EMBEDDED_M, 250, "coast-gshhg-h", [0, 0.307, 0.687, 0.006, 0], "III", "316"),
        # (250 - 270) / 30 = -0.667, chance 0.252 of class IV: III suffices with 0.748 < 0.84, so IV
        # is advised; duplex is not in the policy, superaustenitic not commonly made: titanium
        (270, {}, 270, 30, "coast-osm", [0, 0, 0.748, 0.252, 0], "III", "titanium"),
        # the same from satellite images: (250 - 270) / 100 = -0.2, chance 0.421
        (270, {"source": "PGS"}, 270, 100, "coast-osm", [0, 0, 0.579, 0.421, 0], "III", "titanium"),
        # 4 km and 100 sd from any limit: class II, 304
        (5000, {}, 5000, 30, "coast-osm", [0, 1, 0, 0, 0], "II", "304"),
    ],
)  # fmt: skip
def test_the_packed_shore_moves_distance_error_class_and_metal(
    assessed, north_m, tags, distance_m, sd_m, source, chances, crc, metal
):
    result = assessed(None if north_m is None else shore_at(north_m, **tags))
    found = said(result)
    assert found[0] == pytest.approx(distance_m, abs=0.1)
    assert found[1:3] == (sd_m, source)
    assert found[3] == pytest.approx(chances, abs=0.0006)
    assert found[4:] == (crc, metal)
    # the chances of the comment, and of the formula, to the last digit
    assert classes(distance_m, sd_m) == pytest.approx(chances, abs=0.0006)
    exact = crc_probabilities(distance_m, sd_m, 2.0, 0.2, F3_WASHED)
    assert exact.tolist() == pytest.approx(classes(distance_m, sd_m), abs=1e-12)
    names = [layer["name"] for layer in result.provenance["layers"]
             if layer["quantity"] == "shoreline"]  # fmt: skip
    assert names == (["coast-gshhg-h"] if north_m is None else ["coast-osm", "coast-gshhg-h"])


@pytest.mark.pinned("worked", answers=2)
def test_what_contradicts_the_register_follows_from_each_shores_own_error(assessed):
    """A register that says 600 m: from the embedded 873.9 m that is 274 off, of which 5 % of 873.9
    are allowed, and 230 is less than four times 250 m. From a packed shore at 873.9 m it is more
    than four times 30 m."""
    assert not len(assessed(coast_distance_m=600).doubts)
    doubts = assessed(shore_at(873.9), coast_distance_m=600).doubts
    assert doubts["column"].tolist() == ["coast_distance_m"]
    assert "the shoreline is 874 m away" in doubts["reason"][0]


def test_maps_are_drawn_with_the_shore_that_was_used(assessed):
    """The packed land in the box, and the other beyond it; without a pack the embedded alone."""
    from saltreach.assessment.land import land_in, shoreline

    result = assessed(shore_at(5000))
    land = land_in(result, BOX)
    north = Geodesic.WGS84.Direct(LAT, LON, 0, 5000)["lat2"]
    assert land.sided
    assert land.shapes.total_bounds == pytest.approx([BOX[0], BOX[1], BOX[2], north], abs=1e-9)
    name, licence = shoreline(result.provenance)
    assert name.startswith("© OpenStreetMap contributors and GSHHG")
    assert licence == "ODbL-1.0 and LGPL-3.0"
    assert assessed().own_shore is None
    assert load_coast() is coast_layer.open_coast(saltreach.Options())
