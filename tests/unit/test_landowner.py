"""The landowner's map: nothing in it may tell where an anchor is.

Checks of the method are arithmetic and geometry (distances by GeographicLib's algorithm through
pyproj). The rule of ranges and of the fewest together is our own choice.
"""

import dataclasses
import html
import json
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from pyproj import Geod

from helpers.holding_region import (
    HOSTILE,
    SECRETS,
    anchors,
    assessment,
    holding,
    landowner_data,
    with_anchors,
)
from saltreach.assessment.generalise import Grid, count_range, generalised
from saltreach.errors import OptionError, RegisterError
from saltreach.intake.holding import Contact, Holding, Work, read_holding
from saltreach.outputs.landowner.drawing import map_svg
from saltreach.outputs.landowner.page import landowner, landowner_page

GEOD = Geod(ellps="WGS84")
SIDES = (100.0, 250.0, 1000.0)


def jittered(points, side_m, seed):
    """The same anchors, each moved at random inside its own cell of the grid."""
    grid = Grid(side_m)
    row, column = grid.cell_of(points.geometry.x, points.geometry.y)
    west, south, east, north = grid.boxes(row, column, np.zeros_like(row)).T
    rng = np.random.default_rng(seed)
    lon = west + rng.uniform(0.001, 0.999, len(points)) * (east - west)
    lat = south + rng.uniform(0.001, 0.999, len(points)) * (north - south)
    import geopandas as gpd

    return points.assign(lon=lon, lat=lat).set_geometry(gpd.points_from_xy(lon, lat), crs=4326)


def places_in(page):
    """Every place the page gives, as degrees: each pair of numbers of each drawing command.

    The page states its frame in degrees; the drawing is linear between the frame's edges.
    """
    svg = re.search(r'<svg[^>]*class="holding-map".*?</svg>', page, re.S).group()
    _, _, width, height = map(float, re.search(r'viewBox="([^"]+)"', svg).group(1).split())
    west, south, east, north = (
        float(re.search(rf'data-{edge}="([^"]+)"', svg).group(1))
        for edge in ("west", "south", "east", "north")
    )
    pairs = []
    for path in re.findall(r' d="([^"]+)"', re.sub(r"<defs>.*?</defs>", "", svg, flags=re.S)):
        # Small letters are steps inside a mark (badge, arrow): only its start is a place.
        absolute = re.sub(r"[a-y][^A-Z]*", "", path)
        pairs += re.findall(r"(-?[\d.]+)[,](-?[\d.]+)", absolute)
    pairs += re.findall(r' x="(-?[\d.]+)" y="(-?[\d.]+)"', svg)
    xy = np.array(pairs, dtype=float)
    assert len(xy) > 20
    lon = west + xy[:, 0] / width * (east - west)
    lat = north - xy[:, 1] / height * (north - south)
    raw = np.array(re.findall(r"(-?\d+\.\d{2,})\D{1,40}?(-?\d+\.\d{2,})", page), dtype=float)
    raw = raw[(np.abs(raw) <= 90).all(axis=1)] if len(raw) else np.empty((0, 2))
    return np.vstack([np.column_stack([lon, lat]), raw, raw[:, ::-1]])


def nearest_m(places, points):
    lon, lat = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    a, b = np.meshgrid(np.arange(len(places)), np.arange(len(points)), indexing="ij")
    _, _, metres = GEOD.inv(
        places[a.ravel(), 0], places[a.ravel(), 1], lon[b.ravel()], lat[b.ravel()]
    )
    return np.min(metres)


@pytest.mark.parametrize("side_m", SIDES)
@pytest.mark.parametrize("seed", (1, 2))
def test_no_coordinate_in_the_file_is_nearer_to_an_anchor_than_the_stated_distance(side_m, seed):
    points = anchors(seed)
    page = landowner_page(landowner_data(assessment(points), holding(points), coarseness_m=side_m))
    places = places_in(page)
    assert nearest_m(places, points) >= side_m
    # The check can fail: an anchor written into the page's drawing is found.
    one = points.geometry.iloc[0]
    betrayed = page.replace("</h1>", f"</h1> {one.x:.6f}, {one.y:.6f}")
    assert nearest_m(places_in(betrayed), points) < 1.0


@pytest.mark.parametrize("side_m", SIDES)
def test_the_files_do_not_change_when_anchors_move_inside_their_cells(side_m, tmp_path):
    points = anchors()
    result = assessment(points)
    first = landowner(result, holding(points), tmp_path / "a", coarseness_m=side_m).files
    for seed in (3, 4):
        moved = with_anchors(result, jittered(points, side_m, seed))
        again = landowner(moved, holding(points), tmp_path / "b", coarseness_m=side_m).files
        assert [p.read_bytes() for p in first] == [p.read_bytes() for p in again]


def test_the_files_do_not_change_with_the_order_of_anchors_or_with_anchors_elsewhere(tmp_path):
    points = anchors()
    here = holding(points, crags=("Cabo Uno", "Peña Dos"))
    whole = assessment(points)
    first = landowner(whole, here, tmp_path / "a").files
    only = points["crag"].isin(here.crags)
    fewer = with_anchors(whole, points[only].sample(frac=1, random_state=1))
    second = landowner(fewer, here, tmp_path / "b").files
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]


def test_no_id_route_note_or_sector_reaches_the_files(tmp_path):
    points = anchors()
    page, statement = landowner(assessment(points), holding(points), tmp_path).files
    said = "".join(page.extract_text() for page in PdfReader(statement).pages)
    assert "Peña Dos" in said
    for text in (page.read_text(encoding="utf-8"), said):
        for secret in SECRETS:
            assert secret not in text


@pytest.mark.pinned("worked", answers=2)
def test_a_lone_anchor_is_not_known_better_than_to_four_sides():
    """Arithmetic: four sides and a ring on both sides make a square six sides wide."""
    areas = generalised(np.array([-4.9]), np.array([43.4]), np.array([0]), Grid(250))
    west, south, east, north = areas.shapes[0].bounds
    wide_m, tall_m = GEOD.inv(west, north, east, north)[2], GEOD.inv(west, south, west, north)[2]
    assert 1500 <= wide_m < 1500 * 1.03
    assert 1500 <= tall_m < 1500 * 1.03


@given(
    lon=st.floats(-180, 180),
    lat=st.floats(-88.9, 88.9),
    side_m=st.sampled_from((100.0, 777.0, 9e3)),
)
def test_cells_hold_their_point_and_are_never_smaller_than_the_side(lon, lat, side_m):
    grid = Grid(side_m)
    row, column = grid.cell_of(np.array([lon]), np.array([lat]))
    west, south, east, north = grid.boxes(row, column, np.zeros_like(row))[0]
    assert south <= lat <= north
    assert west - 1e-9 <= lon <= east + 1e-9 or lon == 180.0
    poleward = max(south, north, key=abs)
    assert GEOD.inv(west, poleward, east, poleward)[2] >= side_m or abs(poleward) > 88
    assert GEOD.inv(west, south, west, north)[2] >= side_m


@given(seed=st.integers(0, 10_000), lon=st.sampled_from((-4.95, 179.93, -0.001)),
       lat=st.sampled_from((43.0003, -0.01, 66.0, -54.999)))  # fmt: skip
def test_every_edge_drawn_is_a_side_away_from_every_anchor(seed, lon, lat):
    side_m = 250.0
    points = anchors(seed, count=40, centre=(lon, lat))
    x, y = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    areas = generalised(x, y, points["crag"].factorize()[0], Grid(side_m))
    import shapely

    corners = shapely.get_coordinates(shapely.segmentize(areas.shapes, 0.0005))
    assert nearest_m(corners, points) >= side_m
    # And each anchor lies in its crag's area.
    own = np.array(areas.shapes)[areas.area_of_group[points["crag"].factorize()[0]]]
    turned = np.where(x - areas.centre_lon > 180, x - 360, x)
    turned = np.where(turned - areas.centre_lon < -180, turned + 360, turned)
    assert shapely.contains_xy(own, turned, y).all()


def test_grid_nodes_do_not_depend_on_the_anchors():
    grid = Grid(250)
    shapes = [
        shape
        for seed in (5, 6)
        for shape in generalised(
            *(anchors(seed).geometry.get_coordinates().to_numpy().T), np.zeros(240, int), grid
        ).shapes
    ]
    import shapely

    lon, lat = shapely.get_coordinates(shapes).T
    rows = lat * grid.rows_per_degree
    assert np.abs(rows - np.round(rows)).max() < 1e-6
    row = np.round(rows).astype(int)
    columns = (lon + 180) / 360 * grid.columns(row)
    below = (lon + 180) / 360 * grid.columns(row - 1)
    off = np.minimum(np.abs(columns - np.round(columns)), np.abs(below - np.round(below)))
    assert off.max() < 1e-6


@pytest.mark.pinned("judgement", answers=7)
def test_counts_come_in_ranges_that_leave_no_gap():
    ends = [1, 5, 6, 20, 21, 50, 51, 100, 101, 200, 201, 500]
    said = [(a, b) for a, b in zip(ends[::2], ends[1::2], strict=True) for _ in range(2)]
    assert [count_range(n) for n in ends] == said
    assert count_range(501) == count_range(10_000) == (501, None)


def test_an_anchor_counts_by_its_cell_not_by_its_position():
    """A sliver of land across a cell must not tell on which side of it an anchor is."""
    import shapely

    points = anchors()
    grid = Grid(250)
    row, column = grid.cell_of(points.geometry.x[:1], points.geometry.y[:1])
    west, south, _, north = grid.boxes(row, column, np.zeros(1, int))[0]
    sliver = shapely.box(west + 1e-7, south + 1e-7, west + 2e-7, north - 1e-7)
    data = landowner_data(assessment(points), holding(points, land=sliver, crags=()))
    assert len(data["places"]) == 1
    moved = with_anchors(assessment(points), jittered(points, 250, 9))
    again = landowner_data(moved, holding(points, land=sliver, crags=()))
    assert json.dumps(data, sort_keys=True) == json.dumps(again, sort_keys=True)


def test_names_are_shown_as_text_and_nothing_runs():
    points = anchors()
    page = landowner_page(landowner_data(assessment(points), holding(points)))
    assert "<script" not in page.lower()
    assert "onerror=alert(1)>" not in page
    for name in HOSTILE:
        assert html.escape(name, quote=False).replace('"', "&#34;") in page
    policy = html.unescape(re.search(r'Security-Policy" content="([^"]*)"', page).group(1))
    assert "default-src 'none'" in policy
    assert re.search(r"script-src *;", policy), "an empty list of sources allows no script"
    assert not re.findall(r'(?:src|href)="(?!data:,|#|tel:|mailto:)', page)


def test_map_says_band_by_letter_and_word_besides_colour():
    points = anchors()
    data = landowner_data(assessment(points), holding(points))
    svg = map_svg(data, standalone=False)
    for area, place in zip(data["map"]["areas"], data["places"], strict=True):
        assert area["number"] == place["number"]
        assert f">{area['number']}</text>" in svg
        assert f">{place['letter']}</text>" in svg


def test_what_the_page_says_comes_from_the_sectors_and_the_user():
    points = anchors()
    result = assessment(points)
    row = result.flat.sectors[result.flat.sectors["crag"] == "Cabo Uno"].index[0]
    result.flat.sectors.loc[row, ["risk_band", "next_inspection_on", "overdue"]] = (
        "high", "2027-03-14", "no",
    )  # fmt: skip
    result.flat.sectors.loc[row, "material_recommended"] = "titanium"
    result.flat.sectors.loc[row, "inspection_interval_months"] = 24.0
    here = holding(
        points, crags=("Cabo Uno",), works=(Work("Cabo Uno", "All renewed.", "2027-04"),)
    )
    place = landowner_data(result, here)["places"][0]
    assert place["band"] == "high"
    assert place["visit"] == "By March 2027"
    assert place["interval"] == "then every 2 years"
    assert place["work"] == [
        "All renewed, by April 2027.", "When anchors are renewed, the new ones are of titanium.",
    ]  # fmt: skip
    planned = landowner_data(result, dataclasses.replace(here, visits={"Cabo Uno": "2026-09"}))
    assert planned["places"][0]["visit"] == "Planned for September 2026"


def test_what_cannot_wait_for_a_visit_is_said_first():
    points = anchors()
    here = points["crag"] == "Cabo Uno"
    at, other = points.index[here][:3], points.index[~here][0]
    points.loc[at, "action"] = ["take out of use", "replace", "move or remove"]
    points.loc[at, "replace_by"] = ["", "2028-03-31", "2027-11-25"]
    points.loc[other, "replace_by"] = "2026-12-01"  # elsewhere
    asked = points.index[here][3]  # only to be found out
    points.loc[asked, ["action", "replace_by"]] = ["find out", "2026-12-31"]
    land = holding(points, crags=("Cabo Uno",), works=(Work("Cabo Uno", "All renewed.", ""),))
    place = landowner_data(assessment(points), land)["places"][0]
    assert place["work"][:3] == [
        "At least one anchor is out of use: nobody may use it.",
        "Some are to be replaced, moved or closed by November 2027.",
        "All renewed.",
    ]


def test_two_crags_far_apart_with_a_lagoon_between_are_drawn(tmp_path):
    """Bornholm and Saxony: the shore between them, drawn coarser, crosses itself."""
    two = [anchors(count=8, names=(name,), centre=centre)
           for name, centre in (("Uno", (14.76, 55.28)), ("Dos", (14.07, 50.91)))]  # fmt: skip
    points = pd.concat(two, ignore_index=True)
    data = landowner_data(assessment(points), holding(points))
    assert data["map"]["shore_kind"] == "land"
    assert data["map"]["shore"].count("M") > 20


def test_an_overdue_visit_is_said_to_be_planned_only_where_each_one_is():
    points = anchors()
    result = assessment(points)
    result.flat.sectors["overdue"] = "yes"
    both = holding(points, crags=("Cabo Uno", "Peña Dos"))
    leads = [
        landowner_data(result, dataclasses.replace(both, visits=dict.fromkeys(crags, "2027-01")))[
            "lead"
        ][1]
        for crags in ((), ("Cabo Uno",), ("Cabo Uno", "Peña Dos"))
    ]
    assert leads == [
        "2 places are waiting for a visit that is overdue.",
        "2 places are waiting for a visit that is overdue.",
        "At 2 places a visit is overdue; each is planned.",
    ]
    one = holding(points, crags=("Cabo Uno",), visits={"Cabo Uno": "2027-01"})
    assert (
        landowner_data(result, one)["lead"][1] == "At one place a visit is overdue; it is planned."
    )
    for month, lead in (
        ("2026-07", "At one place a visit is overdue; it is planned."),  # assessed in July 2026
        ("2026-06", "One place is waiting for a visit that is overdue."),
    ):
        when = dataclasses.replace(one, visits={"Cabo Uno": month})
        assert landowner_data(result, when)["lead"][1] == lead
    result.flat.sectors["overdue"] = "no"
    assert landowner_data(result, one)["lead"][1] == "No visit is overdue."


@pytest.mark.parametrize(
    ("metal", "sea_cliff", "said"),
    [
        ("316", "yes", "stainless steel for the coast"),
        ("316", "no", "stainless steel of a more resistant kind"),
        ("316", "", "stainless steel of a more resistant kind"),
        ("duplex", "yes", "strong stainless steel for the coast"),
        ("duplex", "no", "strong stainless steel of a more resistant kind"),
        ("304", "yes", "stainless steel"),
        ("titanium", "no", "titanium"),
    ],
)
def test_a_metal_is_called_the_coast_s_only_by_the_sea(metal, sea_cliff, said, tmp_path):
    points = anchors()
    result = assessment(points)
    result.flat.sectors["sea_cliff"] = "yes"  # elsewhere: it must not reach the place asked for
    row = result.flat.sectors[result.flat.sectors["crag"] == "Cabo Uno"].index[0]
    result.flat.sectors.loc[row, ["material_recommended", "sea_cliff"]] = (metal, sea_cliff)
    here = holding(points, crags=("Cabo Uno",))
    place = landowner_data(result, here)["places"][0]
    assert place["work"] == [f"When anchors are renewed, the new ones are of {said}."]
    page, statement = landowner(result, here, tmp_path).files
    words = "".join(part.extract_text() for part in PdfReader(statement).pages)
    for text in (page.read_text(encoding="utf-8"), " ".join(words.split())):
        assert ("for the coast" in text) == ("coast" in said)


def test_in_a_place_with_both_the_sector_that_needs_the_metal_decides():
    points = anchors(names=("Cabo Uno", "Peña Dos"))  # all but one anchor stand at Cabo Uno
    points.loc[points.index[::2], "sector"] = "Sector inland"
    result = assessment(points)
    inland = result.flat.sectors["sector"] == "Sector inland"
    result.flat.sectors["sea_cliff"] = np.where(inland, "no", "yes")
    for here, there, said in (
        ("duplex", "304", "strong stainless steel of a more resistant kind"),
        ("304", "duplex", "strong stainless steel for the coast"),
        ("316", "316", "stainless steel for the coast"),
    ):
        result.flat.sectors["material_recommended"] = np.where(inland, here, there)
        place = landowner_data(result, holding(points, crags=("Cabo Uno",)))["places"][0]
        assert place["work"][-1] == f"When anchors are renewed, the new ones are of {said}."


def test_refusals_say_what_to_do():
    points = anchors()
    result = assessment(points)
    with pytest.raises(OptionError, match="did you mean 'Cabo Uno'"):
        landowner_data(result, holding(points, crags=("Cabo Un",)))
    import shapely

    with pytest.raises(OptionError, match="no anchor of the register"):
        landowner_data(result, holding(points, crags=(), land=shapely.box(0, 0, 1, 1)))
    with pytest.raises(OptionError, match="from 100 to 10000"):
        Grid(10)
    with pytest.raises(RegisterError, match="latitude"):
        Grid(250).cell_of(np.array([0.0]), np.array([89.5]))


GOOD = 'crags = ["A"]\n[contact]\norganisation = "Us"\nphone = "+44 1632 960123"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = 1\n" + GOOD.replace('crags = ["A"]\n', ""), "name the land"),
        (GOOD.replace("phone", "fone"), "did you mean 'phone'"),
        (GOOD.replace('"+44 1632 960123"', '"javascript:1"'), "not a telephone number"),
        (GOOD + 'email = "x@y"\n', "not a mail address"),
        (GOOD + '[visits]\nA = "soon"\n', "write the month as 2027-04"),
        ('crags = ["A"]\n', "who looks after"),
        ("crags = [", "not valid TOML"),
        ('crags = "A"\n' + GOOD.split("\n", 1)[1], "give a list"),
        (GOOD.replace('crags = ["A"]', 'land = "none.geojson"'), "no such file"),
    ],
)
def test_a_bad_holding_is_refused_with_the_fix(tmp_path, text, says):
    file = tmp_path / "holding.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(OptionError, match=re.escape(says)):
        read_holding(file)


def test_holding_is_read_from_a_polygon_file_with_columns(tmp_path):
    import geopandas as gpd
    import shapely

    frame = gpd.GeoDataFrame(
        {"name": ["Land"], "organisation": ["Us"], "phone": ["112"]},
        geometry=[shapely.box(500_000, 4_800_000, 501_000, 4_801_000)],
        crs="EPSG:25830",
    )
    file = tmp_path / "land.gpkg"
    frame.to_file(file)
    found = read_holding(file)
    assert (found.name, found.contact) == ("Land", Contact("Us", "", "112"))
    # 500,000 m east in UTM zone 30 is its central meridian, 3 degrees west (definition of UTM).
    assert found.land.bounds[0] == pytest.approx(-3.0, abs=1e-6)
    more = tmp_path / "more.toml"
    more.write_text('[contact]\nemail = "a@example.org"\n', encoding="utf-8")
    assert read_holding(file, more).contact == Contact("Us", "", "112", "a@example.org")
    assert isinstance(read_holding(file, more), Holding)


@pytest.mark.parametrize(
    "centre",
    [(-30.0, 0.01), (179.97, -16.6), (15.6, 78.2)],
    ids=["open sea", "antimeridian", "arctic"],
)
def test_the_method_holds_anywhere(centre, tmp_path):
    points = anchors(count=60, names=("Uno", "Dos"), centre=centre)
    page, _ = landowner(assessment(points), holding(points), tmp_path).files
    places = places_in(page.read_text(encoding="utf-8"))
    assert nearest_m(places, points) >= 250
