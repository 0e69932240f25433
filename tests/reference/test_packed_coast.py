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
from helpers.coasts import box, coast_of
from helpers.packs import coast_pack
from saltreach.assessment.attributions import attributions_of
from saltreach.assessment.land import land_in
from saltreach.layers.online.overpass import Way
from saltreach.layers.osm_shore import osm_origin, shore_of
from saltreach.layers.packed_coast import COAST_FILE, read_packed_coast, write_coast
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


def shore_at(north_m, **tags):
    """The packed shore a distance north of the place; drawn westwards, land lies to the south."""
    lat = Geodesic.WGS84.Direct(LAT, LON, 0, north_m)["lat2"]
    way = Way(1, np.array([[LON + 1, lat], [LON - 1, lat]]), tags)
    return shore_of([way], BOX, lambda lon, lat: lon * np.nan)


def register():
    """The place, the same with a distance of the register's, and one 4730 m south of it."""
    south = Geodesic.WGS84.Direct(LAT, LON, 180, 4730)["lat2"]
    return pd.DataFrame({
        "anchor_id": ["near", "given", "south"], "crag": "Prado", "sector": "N", "lon": LON,
        "lat": [LAT, LAT, south], "coast_distance_m": [np.nan, 600.0, np.nan], "sea_cliff": "no",
        "rain_washed": "yes", "so2_ug_m3": 2.0, "elevation_m": 120.0, "temperature_c": 4.0,
        "relative_humidity_pct": 70.0, "sea_salinity_g_kg": 35.0, "rock_type": "limestone",
    })  # fmt: skip


@pytest.fixture(scope="module")
def assessed(tmp_path_factory):
    """The register without a pack, and with the shore 270 m north of the place."""
    pack = coast_pack(
        tmp_path_factory.mktemp("pack") / "pack", [shore_at(270)], osm_origin("2026-01-02")
    )
    today = datetime.date(2026, 1, 2)
    options = {"embedded": saltreach.Options(today=today),
               "packed": saltreach.Options(today=today, pack_folder=pack)}  # fmt: skip
    return {name: saltreach.assess(register(), one) for name, one in options.items()}


@pytest.mark.pinned("worked", answers=18)
@pytest.mark.parametrize(
    ("shore", "anchor", "distance_m", "sd_m", "chances", "crc", "metal"),
    [
        # (250 - 873.9) / 250 = -2.496, chance 0.006; (1000 - 873.9) / 250 = 0.504, 0.693: class III
        # with 0.687. I to III suffices with 0.994 > 0.84: 316
        ("embedded", "near", EMBEDDED_M, 250, [0, 0.307, 0.687, 0.006, 0], "III", "316"),
        # (250 - 270) / 30 = -0.667, chance 0.252 of class IV: III suffices with 0.748 < 0.84, so IV
        # is advised; duplex is not in the policy, superaustenitic not commonly made: titanium
        ("packed", "near", 270, 30, [0, 0, 0.748, 0.252, 0], "III", "titanium"),
        # 270 + 4730 m, 4 km and more from any limit: class II, 304
        ("packed", "south", 5000, 30, [0, 1, 0, 0, 0], "II", "304"),
    ],
)
def test_the_packed_shore_moves_distance_error_class_and_metal(
    assessed, shore, anchor, distance_m, sd_m, chances, crc, metal
):
    rows = assessed[shore].flat.anchors.set_index("anchor_id")
    row = rows.loc[anchor]
    source = {"embedded": "coast-gshhg-h", "packed": "coast-osm"}[shore]
    assert row["coast_distance_m"] == pytest.approx(distance_m, abs=0.1)
    assert (row["coast_distance_sd_m"], row["coast_distance_source"]) == (sd_m, source)
    found = json.loads(row["crc_probabilities"])
    assert [found[c] for c in ("I", "II", "III", "IV", "V")] == pytest.approx(chances, abs=6e-4)
    assert (row["crc"], row["material_recommended"]) == (crc, metal)
    # the comment's chances, and the formula's to the last digit
    assert classes(distance_m, sd_m) == pytest.approx(chances, abs=6e-4)
    exact = crc_probabilities(distance_m, sd_m, 2.0, 0.2, F3_WASHED)
    assert exact.tolist() == pytest.approx(classes(distance_m, sd_m), abs=1e-12)


@pytest.mark.pinned("worked", answers=3)
def test_a_satellite_derived_shore_leaves_the_class_open(tmp_path):
    """(250 - 270) / 100 = -0.2: chance 0.421 of class IV, 0.579 of III."""
    path = write_coast(tmp_path / COAST_FILE, [shore_at(270, source="PGS")])
    beyond = coast_of(box(-10, 40, 0, 43.4759), sd_m=250.0)
    shore, sd_m, *_ = read_packed_coast(path, osm_origin(), beyond).measured([LON], [LAT])
    assert sd_m.tolist() == [100]
    exact = crc_probabilities(shore.distance_m, sd_m, 2.0, 0.2, F3_WASHED)[0]
    assert exact.tolist() == pytest.approx([0, 0, 0.579, 0.421, 0], abs=6e-4)
    assert classes(270, 100) == pytest.approx([0, 0, 0.579, 0.421, 0], abs=6e-4)


@pytest.mark.pinned("worked", answers=2)
def test_what_contradicts_the_register_follows_from_each_shores_own_error(assessed):
    """A register that says 600 m. From the embedded 873.9 m that is 274 off, less 5 % of 873.9 and
    less than four times 250 m. From the packed 270 m it is 330, less 5 % of 600 more than four
    times 30 m."""
    assert not len(assessed["embedded"].doubts)
    doubts = assessed["packed"].doubts
    assert doubts["column"].tolist() == ["coast_distance_m"]
    assert "the shoreline is 270 m away" in doubts["reason"][0]


def test_both_shorelines_are_on_record_and_maps_are_drawn_with_both(assessed):
    """The packed land in the box and the other beyond it; without a pack the embedded alone."""
    packed, embedded = assessed["packed"], assessed["embedded"]
    names = [
        [x["name"] for x in result.provenance["layers"] if x["quantity"] == "shoreline"]
        for result in (packed, embedded)
    ]
    assert names == [["coast-osm", "coast-gshhg-h"], ["coast-gshhg-h"]]
    land = land_in(packed, BOX)
    north = Geodesic.WGS84.Direct(LAT, LON, 0, 270)["lat2"]
    assert land.sided
    assert land.shapes.total_bounds == pytest.approx([BOX[0], BOX[1], BOX[2], north], abs=1e-9)
    lines = attributions_of(packed.provenance)
    assert lines[:2] == [
        "© OpenStreetMap contributors, ODbL",
        "Shoreline: GSHHG (Wessel & Smith 1996), LGPL-3.0",
    ]
    assert embedded.own_shore is None
