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
from saltreach.intake.cells import code
from saltreach.intake.options import Options
from saltreach.intake.rock_mapping import read_rock_mapping
from saltreach.layers import geology
from saltreach.layers.geology import RockMap, map_origin, rock_map_at, rock_record, rock_values
from saltreach.layers.layer import Origin
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
    assert found.legend.tolist() == [str(v) for v in cells[row, column]]


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
        ("code,what\n1,granite\n", "no column lithology"),
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


def said(legend, lithology, **more):
    """What an invented map says."""
    return RockMap(np.array(legend, object), np.array(lithology, object), np.array(legend, object),
                   Origin("map", "lithology", source="map.gpkg"), **more)  # fmt: skip


def test_every_case_of_a_register_beside_a_map():
    """Register, legend and rock of the map; then what is used, from where, and what is unread."""
    table = [
        ("slate", "Granitos", "granite", "slate", "register", ""),
        ("slate", "moon dust", "unknown", "slate", "register", ""),
        ("moon dust", "Granitos", "granite", "granite", "map", ""),
        ("moon dust", "cheese", "unknown", "unknown", "unknown", "moon dust"),
        ("", "cheese", "unknown", "unknown", "unknown", "cheese"),
        ("", "", "unknown", "unknown", "unknown", ""),
        (None, "Granitos", "granite", "granite", "map", ""),
        ("Unknown", "cheese", "unknown", "unknown", "unknown", ""),
        (" granite ", "Granitos", "granite", "granite", "register", ""),
    ]
    word, legend, mapped, rock, source, unread = (list(v) for v in zip(*table, strict=True))
    given = anchors(word)
    values = rock_values(given, said(legend, mapped))
    assert values["lithology"].tolist() == rock
    assert values["lithology_source"].tolist() == source
    assert values["rock_unread"].tolist() == unread
    assert (values["rock_disagreement"] != "").tolist() == [True] + [False] * 8
    assert values.index.equals(given.index)


def test_the_mapping_reads_the_registers_words_too():
    values = rock_values(anchors(["7", "moon dust"]), None, {"7": "gneiss", "moon dust": "basalt"})
    assert values["lithology"].tolist() == ["gneiss", "basalt"]
    assert rock_record(values, None) == {
        "anchors_by_source": {"register": 2}, "disagreements": 0, "unmapped_entries": {},
    }  # fmt: skip


def test_the_record_counts_everything():
    found = said(["Granitos", "cheese", "cheese", "", "Calizas"],
                 ["granite", "unknown", "unknown", "unknown", "limestone"],
                 overlaps=3, mapping={"7": "gneiss"})  # fmt: skip
    values = rock_values(anchors(["slate", "", "basalt", "moon dust", "gneiss"]), found)
    assert rock_record(values, found) == {
        "anchors_by_source": {"register": 3, "unknown": 2},
        "disagreements": 2,
        "unmapped_entries": {"cheese": 2},
        "file": "map.gpkg",
        "anchors_outside_the_map": 1,
        "anchors_on_overlaps": 3,
        "mapping": {"7": "gneiss"},
    }
    assert said([], []).overlaps == 0


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, ""), (np.nan, ""), (pd.NA, ""), (7.0, "7"), (np.float32(2.5), "2.5"), (12, "12"),
     (np.int64(3), "3"), ("  Calizas ", "Calizas"), (1234567.0, "1234567"), (np.inf, "inf")],
)  # fmt: skip
def test_entries_of_a_legend_as_text(value, text):
    assert geology._entry(value) == text


def test_overlaps_are_of_different_rock_only(tmp_path):
    """Three squares on each other, two of them limestone by other words; a multipolygon beside."""
    path = tmp_path / "over.gpkg"
    frame = gpd.GeoDataFrame(
        {"unit": ["Calizas", "limestone", "granite", "slate", "slate"]},
        geometry=[
            shapely.box(0, 0, 4, 1), shapely.box(0, 0, 2, 1), shapely.box(0, 0, 1, 1),
            shapely.MultiPolygon([shapely.box(5, 0, 6, 1), shapely.box(7, 0, 8, 1)]),
            shapely.Polygon(),
        ],
        crs=4326,
    )  # fmt: skip
    frame.to_file(path)
    found = rock_map_at([0.5, 1.5, 3.0, 5.5, 6.5], [0.5] * 5, path, column="unit")
    assert found.lithology.tolist() == ["granite", "limestone", "limestone", "slate", "unknown"]
    assert found.legend.tolist() == ["granite", "limestone", "Calizas", "slate", ""]
    assert found.overlaps == 1
    far = rock_map_at([50.0, np.nan, 60.0], [0.5, 0.5, 0.5], path, column="unit")
    assert (far.legend.tolist(), far.overlaps) == (["", "", ""], 0)
    beside = rock_map_at([4.5, 6.5], [0.5, 0.5], path, column="unit")
    assert (beside.lithology.tolist(), beside.overlaps) == (["unknown"] * 2, 0)
    lost = rock_map_at([np.nan, 0.5], [0.5, np.nan], path, column="unit")
    assert lost.legend.tolist() == ["", ""]
    none = rock_map_at([np.nan], [np.nan], path, column="unit")
    assert (none.legend.tolist(), none.overlaps) == ([""], 0)


def test_the_layer_of_the_file_that_has_the_column_is_read(tmp_path):
    path = tmp_path / "layers.gpkg"
    for layer, column, rock in (("a", "name", "basalt"), ("b", "unit", "granite")):
        gpd.GeoDataFrame({column: [rock]}, geometry=[shapely.box(0, 0, 1, 1)], crs=4326).to_file(
            path, layer=layer
        )
    assert rock_map_at([0.5], [0.5], path, column="unit").lithology.tolist() == ["granite"]
    assert rock_map_at([0.5], [0.5], path, column="name").lithology.tolist() == ["basalt"]
    with pytest.raises(
        LayerError, match=r"no layer has a column 'rock'; columns: a: name; b: unit$"
    ):
        rock_map_at([0.5], [0.5], path, column="rock")
    gpd.GeoDataFrame({"unit": ["x"]}, geometry=[shapely.box(0, 0, 1, 1)], crs=4326).to_file(
        path, layer="c"
    )
    with pytest.raises(LayerError, match=r"several layers have a column 'unit'.*keep one of the"):
        rock_map_at([0.5], [0.5], path, column="unit")


def test_a_table_without_shapes_and_shapes_of_mixed_kinds_are_refused(tmp_path):
    table = tmp_path / "table.csv"
    table.write_text("unit\ngranite\n")
    with pytest.raises(LayerError):
        rock_map_at([0.5], [0.5], table, column="unit")
    mixed = tmp_path / "mixed.geojson"
    gpd.GeoDataFrame(
        {"unit": ["a", "b"]}, geometry=[shapely.box(0, 0, 1, 1), shapely.Point(0.5, 0.5)], crs=4326
    ).to_file(mixed)
    with pytest.raises(LayerError, match="holds Point, Polygon; give polygons only"):
        rock_map_at([0.5], [0.5], mixed, column="unit")


def test_polygons_of_one_and_of_several_parts_stand_in_one_map(tmp_path):
    near, far = shapely.box(0, 0, 1, 1), shapely.box(5, 0, 6, 1)
    several = shapely.union(far, shapely.box(7, 0, 8, 1))
    file = tmp_path / "both.geojson"
    frame = gpd.GeoDataFrame({"rock": ["granite", "slate"]}, geometry=[near, several], crs=4326)
    frame.to_file(file)
    found = rock_map_at([0.5, 7.5, 3.0], [0.5, 0.5, 0.5], file, column="rock")
    assert found.lithology.tolist() == ["granite", "slate", "unknown"]


def test_a_raster_by_its_ending_in_any_letters(tmp_path):
    path = tmp_path / "ROCK.TIF"
    with rasterio.open(
        path, "w", driver="GTiff", width=2, height=1, count=1, dtype="float32", crs="EPSG:4326",
        transform=Affine(1, 0, 0, 0, -1, 1),
    ) as file:  # fmt: skip
        file.write(np.array([[2.5, 7]], "float32"), 1)
    found = rock_map_at([0.5, 1.5], [0.5, 0.5], path, mapping={"2.5": "granite", "7": "slate"})
    assert found.lithology.tolist() == ["granite", "slate"]
    assert found.overlaps == 0
    assert found.mapping == {"2.5": "granite", "7": "slate"}


def test_the_layer_reads_what_the_options_name(squares, tmp_path):
    table = tmp_path / "codes.csv"
    table.write_text("code,lithology\npizarra,basalt\n")
    options = Options(geology_file=str(squares), rock_column="unit", rock_mapping_file=str(table))
    source = geology.LAYER.open(options)
    assert (source.file, source.column, dict(source.mapping)) == (
        squares, "unit", {"pizarra": "basalt"},
    )  # fmt: skip
    places = anchors(["", "slate"]).assign(lon=[1.5, 0.5], lat=0.5)
    found = geology.LAYER.sample(source, places)
    assert found["lithology"].tolist() == ["basalt", "slate"]
    assert found["rock_map"].lithology.tolist() == ["basalt", "granite"]
    (origin,) = geology.LAYER.origins(source)
    assert origin.note == "legend column unit; the smallest polygon governs where several overlap"
    assert map_origin(squares, None).note == "the smallest polygon governs where several overlap"
    bare = geology.LAYER.open(Options())
    assert (bare.file, bare.mapping) == (None, {})
    assert geology.LAYER.origins(bare) == ()
    assert geology.LAYER.sample(bare, places)["rock_map"] is None


def test_codes_of_seven_figures_are_told_apart():
    mapping = {code(text): rock for text, rock in (("1234567", "granite"), ("1234571.0", "basalt"))}
    found = mapped_lithology(
        ["1234567", "1234571", "1.50", "NaN"], mapping | {code("1.5"): "slate"}
    )
    assert found.tolist() == ["granite", "basalt", "slate", "unknown"]


def test_what_may_be_called_the_same():
    rocks = ["limestone", "limestone", "carbonate sedimentary", "unknown", "granite", "granite",
             "dolerite", "dolerite", "basalt"]  # fmt: skip
    other = ["limestone", "carbonate sedimentary", "limestone", "slate", "unknown", "gabbro",
             "basic plutonic", "basic volcanic", "basic plutonic"]  # fmt: skip
    wanted = [True, True, True, True, True, False, True, True, False]
    assert same_rock(rocks, other).tolist() == wanted
    assert same_rock(other, rocks).tolist() == wanted
    assert same_rock([], []).tolist() == []
