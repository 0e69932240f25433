"""Geological maps: overlaps, boundaries, CRS, rasters, and what the register's word does.

Every map here is made of squares whose answer is known by construction.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine

from saltreach.errors import LayerError
from saltreach.intake.rock_mapping import read_rock_mapping
from saltreach.layers.geology import rock_map_at, rock_record, rock_values
from saltreach.layers.rock_types import (
    mapped_lithology,
    rock_families,
    same_rock,
)
from saltreach.vocabulary.rocks import lithologies

LON = np.array([0.5, 1.5, 2.0, 2.5, 9.0, np.nan])
LAT = np.array([0.5, 0.5, 0.5, 0.5, 0.5, 0.5])


@pytest.fixture
def squares(tmp_path):
    """Granite 0..2, limestone 2..3, and inside the granite a small square of slate 1.2..1.8."""
    frame = gpd.GeoDataFrame(
        {"unit": ["Granitos", "Calizas", "pizarra", None]},
        geometry=[
            shapely.box(0, 0, 2, 1),
            shapely.box(2, 0, 3, 1),
            shapely.box(1.2, 0.2, 1.8, 0.8),
            None,
        ],
        crs=4326,
    )
    path = tmp_path / "geology.gpkg"
    frame.to_file(path)
    return path


def anchors(rock, n=None):
    return pd.DataFrame({"rock_type": rock}, index=range(10, 10 + (n or len(rock))))


def test_smallest_polygon_governs_and_every_position_gives_one_row(squares):
    found = rock_map_at(LON, LAT, squares, column="unit")
    # 2.0 lies on the shared boundary: the limestone square is the smaller of the two
    assert found.lithology.tolist() == [
        "granite", "slate", "limestone", "limestone", "unknown", "unknown",
    ]  # fmt: skip
    assert found.overlaps == 2
    assert len(found.legend) == len(LON)


def test_of_equal_polygons_the_first_of_the_file_governs(tmp_path):
    box = shapely.box(0, 0, 1, 1)
    path = tmp_path / "twice.geojson"
    gpd.GeoDataFrame({"unit": ["basalt", "granite"]}, geometry=[box, box], crs=4326).to_file(path)
    found = rock_map_at([0.5], [0.5], path, column="unit")
    assert found.lithology.tolist() == ["basalt"]
    assert found.overlaps == 1


def test_another_crs_gives_the_same_rock(squares, tmp_path):
    moved = tmp_path / "utm.gpkg"
    gpd.read_file(squares).to_crs(32631).to_file(moved)
    inside = [0.5, 1.5, 2.5], [0.5, 0.5, 0.5]
    first, second = (rock_map_at(*inside, p, column="unit") for p in (squares, moved))
    assert first.lithology.tolist() == second.lithology.tolist()


def test_numeric_codes_and_unmapped_entries(tmp_path):
    path = tmp_path / "codes.gpkg"
    boxes = [shapely.box(i, 0, i + 1, 1) for i in range(3)]
    gpd.GeoDataFrame({"code": [7.0, 8.0, 9.0]}, geometry=boxes, crs=4326).to_file(path)
    table = tmp_path / "codes.csv"
    table.write_text("code,lithology\n7,granite\n8,Calizas\n")
    found = rock_map_at([0.5, 1.5, 2.5], [0.5] * 3, path, column="code",
                        mapping=read_rock_mapping(table))  # fmt: skip
    assert found.lithology.tolist() == ["granite", "limestone", "unknown"]
    record = rock_record(rock_values(anchors(["", "", ""]), found), found)
    assert record["unmapped_entries"] == {"9": 1}
    assert record["anchors_by_source"] == {found.origin.name: 2, "unknown": 1}


def test_the_register_wins_and_only_another_rock_is_a_disagreement(squares):
    found = rock_map_at([0.5, 2.5, 2.5, 0.5], [0.5] * 4, squares, column="unit")
    given = anchors(["slate", "carbonate", "", "moon dust"])
    values = rock_values(given, found)
    assert values["lithology"].tolist() == [
        "slate", "carbonate sedimentary", "limestone", "granite",
    ]  # fmt: skip
    assert values["lithology_source"].tolist() == ["register"] * 2 + [found.origin.name] * 2
    assert values["rock_disagreement"].tolist() == [
        "Rock: the register says slate, the map granite; the register's is used.", "", "", "",
    ]  # fmt: skip
    assert values.index.equals(given.index)


def test_a_word_of_the_register_that_names_no_rock_is_listed_not_guessed():
    values = rock_values(anchors(["moon dust", "unknown", ""]), None)
    assert values["lithology"].tolist() == ["unknown"] * 3
    assert values["rock_unread"].tolist() == ["moon dust", "", ""]
    assert rock_record(values, None)["unmapped_entries"] == {"moon dust": 1}


def test_raster_of_codes(tmp_path):
    """Cells of 1 degree from 0 N to 2 N: code = 10 * row from the north + column; 0 is nodata."""
    path = tmp_path / "rock.tif"
    cells = np.array([[0, 1, 2], [10, 11, 12]], dtype="int16")
    with rasterio.open(
        path, "w", driver="GTiff", width=3, height=2, count=1, dtype="int16", crs="EPSG:4326",
        transform=Affine(1, 0, 0, 0, -1, 2), nodata=0,
    ) as file:  # fmt: skip
        file.write(cells, 1)
    mapping = {"1": "granite", "11": "slate", "12": "basalt"}
    found = rock_map_at(
        [1.5, 1.5, 2.5, 0.5, 5.0, -0.1], [1.5, 0.5, 0.5, 1.5, 0.5, 0.5], path, mapping=mapping
    )
    assert found.legend.tolist() == ["1", "11", "12", "", "", ""]
    assert found.lithology.tolist() == ["granite", "slate", "basalt"] + ["unknown"] * 3
    with pytest.raises(LayerError, match="--rock-mapping"):
        rock_map_at([1], [1], path)
    with pytest.raises(LayerError, match="leave --rock-column out"):
        rock_map_at([1], [1], path, column="unit", mapping=mapping)


def test_a_raster_larger_than_a_tile_reads_the_right_cells(tmp_path):
    path = tmp_path / "large.tif"
    cells = np.arange(1200 * 1100, dtype="int32").reshape(1200, 1100)
    with rasterio.open(
        path, "w", driver="GTiff", width=1100, height=1200, count=1, dtype="int32",
        crs="EPSG:4326", transform=Affine(0.01, 0, 0, 0, -0.01, 12),
    ) as file:  # fmt: skip
        file.write(cells, 1)
    rng = np.random.default_rng(3)
    row, column = rng.integers(0, 1200, 500), rng.integers(0, 1100, 500)
    found = rock_map_at(
        (column + 0.5) * 0.01, 12 - (row + 0.5) * 0.01, path, mapping={"x": "granite"}
    )
    wanted = [f"{float(v):g}" for v in cells[row, column]]
    assert found.legend.tolist() == wanted


@pytest.mark.parametrize(
    ("make", "column", "says"),
    [
        (lambda f: f, None, "--rock-column; columns: geology: unit"),
        (lambda f: f, "rock", "no layer has a column 'rock'"),
        (lambda f: f.set_crs(None, allow_override=True), "unit", "has no CRS"),
        (lambda f: f.set_geometry(f.boundary), "unit", "give polygons only"),
    ],
)
@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_unusable_maps_say_what_to_do(squares, tmp_path, make, column, says):
    path = tmp_path / "bad" / "geology.gpkg"
    path.parent.mkdir()
    make(gpd.read_file(squares).iloc[:3]).to_file(path)
    with pytest.raises(LayerError, match=says):
        rock_map_at([0.5], [0.5], path, column=column)


def test_a_missing_file_and_a_text_file_are_refused(tmp_path):
    with pytest.raises(LayerError, match="does not exist"):
        rock_map_at([0], [0], tmp_path / "no.gpkg", column="x")
    text = tmp_path / "notes.gpkg"
    text.write_text("no map")
    with pytest.raises(LayerError, match="cannot be read"):
        rock_map_at([0], [0], text, column="x")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("code,rock\n1,granite\n", "no column lithology"),
        ("code,lithology\n1,moon dust\n", "row 2, lithology = 'moon dust': it names no rock"),
        (
            "code,lithology\n1,granite\n1.0,basalt\n",
            "row 3, code, lithology = '1.0, basalt': the code stands for another",
        ),
    ],
)
def test_bad_mappings(tmp_path, text, says):
    path = tmp_path / "map.csv"
    path.write_text(text)
    with pytest.raises(LayerError, match=says):
        read_rock_mapping(path)


def test_the_mapping_wins_over_the_words():
    assert mapped_lithology(["Granito de Tal"], {"granito de tal": "gneiss"}).tolist() == ["gneiss"]
    assert mapped_lithology([], {}).tolist() == []


def test_families_name_rocks_of_the_table():
    names = set(lithologies())
    for name, wider in rock_families().items():
        assert {name, *wider} <= names
    # GLiM level 1 classes (Hartmann and Moosdorf 2012): each family is one of them
    glim = {r.name for r in lithologies().values() if r.glim}
    assert set().union(*rock_families().values()) <= glim


def test_same_rock_is_symmetric():
    pairs = [("limestone", "mixed sedimentary"), ("granite", "basalt"), ("slate", "unknown")]
    for a, b in pairs:
        assert same_rock([a], [b])[0] == same_rock([b], [a])[0]
    assert same_rock(["granite"], ["basalt"]).tolist() == [False]
