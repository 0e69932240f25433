"""What a landowner is told of a holding, counted by hand on a small invented region."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from saltreach.assessment.landowner import COARSENESS_M, places_on
from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import OptionError
from saltreach.intake.holding import Contact, Holding, Work

WHERE = {"Alder": (-4.95, 43.45), "Birch": (-4.90, 43.45), "Cedar": (-4.85, 43.45)}
"""4 km apart: their areas do not touch."""
SECTORS = [
    # crag, sector, band, metal, sea cliff, months, next, overdue
    ("Alder", "North", "high", "316", "yes", 24, "2027-03-14", "no"),
    ("Alder", "South", "low", "titanium", "no", 48, "2027-02-01", "no"),
    ("Birch", "Wall", "severe", "304", "yes", 12, "2026-07-01", "yes"),
    ("Cedar", "Wall", "", "", "", None, "", ""),
]
ANCHORS = [
    # crag, sector, how many, action, replace by
    ("Alder", "North", 3, "keep", ""),
    ("Alder", "North", 1, "find out", "2026-09-01"),
    ("Alder", "South", 2, "replace", "2028-03-31"),
    ("Alder", "South", 1, "move or remove", "2027-11-25"),
    ("Birch", "Wall", 22, "keep", ""),
    ("Birch", "Wall", 1, "take out of use", ""),
    ("Cedar", "Wall", 5, "keep", ""),
]


@pytest.fixture
def region():
    anchors = pd.DataFrame(
        [(c, s, a, by) for c, s, n, a, by in ANCHORS for _ in range(n)],
        columns=["crag", "sector", "action", "replace_by"],
    )
    lon, lat = np.array([WHERE[c] for c in anchors["crag"]]).T
    anchors = gpd.GeoDataFrame(anchors, geometry=gpd.points_from_xy(lon, lat), crs=4326)
    sectors = gpd.GeoDataFrame(
        pd.DataFrame(SECTORS, columns=[
            "crag", "sector", "risk_band", "material_recommended", "sea_cliff",
            "inspection_interval_months", "next_inspection_on", "overdue",
        ]),
        geometry=[shapely.Point(WHERE[c]) for c, *_ in SECTORS], crs=4326,
    )  # fmt: skip
    crags = sectors.drop_duplicates("crag")
    return Assessment(Flat(anchors, sectors, crags, pd.DataFrame()), {"assessed_for": "2026-07-01"})


def land(*crags, **more):
    return Holding(name="the land", contact=Contact("Us", phone="112"),
                   crags=crags or tuple(WHERE), **more)  # fmt: skip


@pytest.mark.pinned("worked", answers=36)
def test_each_area_tells_the_worst_and_the_soonest_of_its_sectors(region):
    found = places_on(region, land(visits={"Alder": "2026-10", "Birch": "2026-08"}))
    table = found.table.drop(columns="geometry").astype(object)
    assert table.where(table.notna(), None).to_dict("records") == [
        {"crags": ("Birch",), "risk_band": "severe", "anchors_least": 21, "anchors_most": 50,
         "overdue": "yes", "visit_planned": "2026-08", "next_inspection_on": "2026-07-01",
         "inspection_interval_months": 12.0, "material_recommended": "304", "by_the_sea": True,
         "out_of_use": True, "replace_by": ""},
        # the best metal is South's, which is inland; what is to be found out is no replacing
        {"crags": ("Alder",), "risk_band": "high", "anchors_least": 6, "anchors_most": 20,
         "overdue": "no", "visit_planned": "2026-10", "next_inspection_on": "2027-02-01",
         "inspection_interval_months": 24.0, "material_recommended": "titanium",
         "by_the_sea": False, "out_of_use": False, "replace_by": "2027-11-25"},
        {"crags": ("Cedar",), "risk_band": "unknown", "anchors_least": 1, "anchors_most": 5,
         "overdue": "no", "visit_planned": "", "next_inspection_on": "",
         "inspection_interval_months": None, "material_recommended": "", "by_the_sea": False,
         "out_of_use": False, "replace_by": ""},
    ]  # fmt: skip
    assert found.anchors == (21, 50)  # 7 + 23 + 5 = 35
    assert (found.overdue, found.overdue_planned) == (1, True)
    assert found.coarseness_m == COARSENESS_M == 250.0
    assert found.table.crs == "EPSG:4326"
    assert found.centre_lon == pytest.approx(-4.9, abs=0.01)


def test_crags_whose_areas_touch_are_one_place_with_the_earliest_visit(region):
    anchors = region.flat.anchors.set_geometry(
        gpd.points_from_xy(*np.array([WHERE["Alder"]] * len(region.flat.anchors)).T), crs=4326
    )
    together = replace(region, flat=replace(region.flat, anchors=anchors))
    found = places_on(together, land(visits={"Birch": "2027-08", "Alder": "2026-10"}))
    assert len(found.table) == 1
    one = found.table.iloc[0]
    assert one["crags"] == ("Alder", "Birch", "Cedar")
    assert (one["risk_band"], one["overdue"], one["visit_planned"]) == ("severe", "yes", "2026-10")
    assert (one["anchors_least"], one["anchors_most"]) == (21, 50)
    assert (one["next_inspection_on"], one["replace_by"]) == ("2026-07-01", "2027-11-25")
    assert (one["material_recommended"], bool(one["by_the_sea"])) == ("titanium", False)


@pytest.mark.parametrize(
    ("visits", "planned"),
    [
        ({}, False),
        ({"Alder": "2026-10"}, False),  # not the one that is overdue
        ({"Birch": "2026-06"}, False),  # before the month of the assessment
        ({"Birch": "2026-07"}, True),
        ({"Birch": "2027-01"}, True),
    ],
)
def test_an_overdue_place_is_planned_for_from_the_month_of_the_assessment_on(
    region, visits, planned
):
    found = places_on(region, land(visits=visits))
    assert (found.overdue, found.overdue_planned) == (1, planned)
    none = places_on(region, land("Alder", visits=visits if "Alder" in visits else {}))
    assert (none.overdue, none.overdue_planned) == (0, False)


def test_of_two_overdue_places_both_must_be_planned_for(region):
    region.flat.sectors.loc[region.flat.sectors["crag"] == "Cedar", "overdue"] = "yes"
    for visits, planned in (({"Birch": "2026-08"}, False),
                            ({"Birch": "2026-08", "Cedar": "2026-09"}, True)):  # fmt: skip
        found = places_on(region, land(visits=visits))
        assert (found.overdue, found.overdue_planned) == (2, planned)


def test_only_what_lies_on_the_land_counts(region):
    west = shapely.box(-4.97, 43.4, -4.88, 43.5)
    here = places_on(region, land(land=west))
    assert [row["crags"] for row in here.table.to_dict("records")] == [("Birch",), ("Alder",)]
    assert here.anchors == (21, 50)  # 30
    # both the crags and the land must hold
    alder = places_on(region, land("Alder", "Cedar", land=west))
    assert [row["crags"] for row in alder.table.to_dict("records")] == [("Alder",)]
    assert alder.anchors == (6, 20)
    with pytest.raises(OptionError, match="the land: no anchor of the register is on this land"):
        places_on(region, land("Cedar", land=west))


@pytest.mark.parametrize("more", [
    {"crags": ("Aldr",)}, {"crags": ("Alder",), "visits": {"Aldr": "2026-10"}},
    {"crags": ("Alder",), "works": (Work("Aldr", "All renewed."),)},
])  # fmt: skip
def test_a_crag_that_the_register_lacks_is_refused_wherever_it_is_named(region, more):
    there = Holding(name="the land", contact=Contact("Us", phone="112"), **more)
    with pytest.raises(OptionError, match=r"crag 'Aldr' is not in the register; did you mean 'Al"):
        places_on(region, there)
    with pytest.raises(OptionError, match=r"'Zzz' is not in the register; use a name of the reg"):
        places_on(region, land("Zzz"))


def test_places_of_one_band_are_told_by_name(region):
    region.flat.sectors["risk_band"] = "raised"
    found = places_on(region, land())
    assert found.table["crags"].tolist() == [("Alder",), ("Birch",), ("Cedar",)]
