"""Registers as Parquet: a file or a folder of parts reads as the same table in CSV does."""

import datetime as dt
import hashlib
import json
from decimal import Decimal

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from shapely.geometry import LineString, MultiPoint, Point

from saltreach.assessment.inputs import usable
from saltreach.assessment.provenance import register_record
from saltreach.cli.commands.book import _listed
from saltreach.errors import NoGoodRowsError, OutputError, RegisterError
from saltreach.intake import read_register
from saltreach.intake.checked import checked
from saltreach.intake.formats import cell_text
from saltreach.intake.kinds import kinds_in
from saltreach.intake.parquet_file import folder_checksum, parts_below
from saltreach.intake.parts import Parts
from saltreach.intake.read import refuse_far_at_sea
from saltreach.intake.typed import number_texts
from saltreach.outputs.check import check_lines
from saltreach.outputs.tables.register_files import write_register
from saltreach.records.entering import joining
from saltreach.vocabulary.words import CAUTION

TODAY = dt.date(2026, 11, 25)
HOSTILE = [
    "<b>&amp;",
    "=1+1",
    'a "quote", b',
    "Peñón\u202e",
    "x\ny",
    "é́",
    "'12",
    "\U0001f9d7",
    "-",
    None,
]


def anchors(count=10, **columns):
    """Invented anchors in two crags, with texts that break careless readers."""
    rng = np.random.default_rng(1)
    base = {
        "anchor_id": [f"00{i}" for i in range(count)],
        "crag": ["Alder Point"] * (count // 2) + ["Möwenküste"] * (count - count // 2),
        "sector": "North",
        "lon": (rng.normal(0, 0.01, count) - 4.95).round(6),
        "lat": (rng.normal(0, 0.01, count) + 43.44).round(6),
        "material": ["316", "Edelstahl A4", None, "zinc-plated", "??"] * (count // 5),
        "diameter_mm": ["12", "12,5", "1/2 in", "12 mm", "abc"] * (count // 5),
        "installed_on": ["2009", "12.06.2009", "2009-06", None, "soon"] * (count // 5),
        "notes": HOSTILE * (count // 10),
    }
    return pd.DataFrame(base | columns)


def read(path, **how):
    return read_register(path, today=TODAY, **how)


def same(one, other):
    """The same anchors, refused and doubtful rows, but for file and number of each."""
    left = ["source_row", "geometry"]
    pd.testing.assert_frame_equal(
        pd.DataFrame(one.anchors).drop(columns=left), pd.DataFrame(other.anchors).drop(columns=left)
    )
    assert one.anchors.geometry.tolist() == other.anchors.geometry.tolist()
    for name in ("rejected", "doubts"):
        mine, theirs = (getattr(r, name).drop(columns=["row", "file"]) for r in (one, other))
        pd.testing.assert_frame_equal(mine, theirs)


def test_a_table_reads_the_same_as_csv_and_as_parquet(tmp_path):
    table = anchors()
    table.to_csv(tmp_path / "a.csv", index=False)
    table.to_parquet(tmp_path / "a.parquet", index=False)
    plain = read(tmp_path / "a.parquet")
    same(read(tmp_path / "a.csv"), plain)
    assert len(plain.anchors) == 10 and len(plain.doubts) == 4
    assert plain.format == "Parquet"
    data = (tmp_path / "a.parquet").read_bytes()
    assert plain.sha256 == hashlib.sha256(data).hexdigest()
    assert plain.anchors["source_row"].tolist() == list(range(1, 11))


def test_geometry_is_the_position(tmp_path):
    table = anchors()
    table.to_csv(tmp_path / "a.csv", index=False)
    placed = gpd.GeoDataFrame(
        table.drop(columns=["lon", "lat"]),
        geometry=gpd.points_from_xy(table["lon"], table["lat"]), crs="EPSG:4326",
    )  # fmt: skip
    for encoding, how in (("WKB", {}), ("geoarrow", {"schema_version": "1.1.0"})):
        path = tmp_path / f"{encoding}.parquet"
        placed.to_parquet(path, index=False, geometry_encoding=encoding, **how)
        found = read(path)
        assert found.format == "GeoParquet"
        same(read(tmp_path / "a.csv"), found)
    placed.to_crs("EPSG:25830").to_parquet(tmp_path / "utm.parquet")
    grid = read(tmp_path / "utm.parquet")
    assert "positions converted from EPSG:25830 to WGS 84" in grid.notes
    assert np.allclose(grid.anchors["lon"], table["lon"], rtol=0, atol=1e-9)


def test_what_is_no_point_is_refused_alone(tmp_path):
    shapes = [
        Point(0.5, 41.2),
        LineString([(0, 0), (1, 1)]),
        None,
        MultiPoint([(0.5, 41.2)]),
        Point(),
    ]
    table = anchors(5, notes="", anchor_id=list("abcde"), lon=0.5, lat=41.2)
    placed = gpd.GeoDataFrame(table.drop(columns=["lon", "lat"]), geometry=shapes, crs="EPSG:4326")
    placed.to_parquet(tmp_path / "a.parquet")
    whole = pq.read_table(tmp_path / "a.parquet")
    cells = whole.column("geometry").to_pylist()
    broken = pa.array([cells[0][:9], *cells[1:]], type=pa.binary())
    place = whole.column_names.index("geometry")
    pq.write_table(
        whole.set_column(place, whole.schema.field(place), broken), tmp_path / "b.parquet"
    )
    first, second = read(tmp_path / "a.parquet"), read(tmp_path / "b.parquet")
    assert first.anchors["anchor_id"].tolist() == ["a", "d"]
    assert second.anchors["anchor_id"].tolist() == ["d"]
    said = second.rejected.set_index("row")["value"]
    assert said[1].startswith("bytes that are no geometry") and said[2].startswith("LineString")


def test_texts_of_types(tmp_path):
    table = pa.table(
        {
            "anchor_id": pa.array(["a", "b"]).dictionary_encode(),
            "crag": pa.array([b"P", b"P"]),
            "sector": pa.array(["N", "N"], pa.large_string()),
            "lon": pa.array([0.5, 0.6], pa.float64()),
            "lat": pa.array([41.2, 41.3], pa.float64()),
            "installed_on": pa.array([dt.datetime(2009, 6, 12), None], pa.timestamp("ns", "UTC")),
            "last_inspected_on": pa.array([dt.date(2012, 1, 2), dt.date(2020, 2, 3)]),
            "condition": pa.array([2, None], pa.int8()),
            "nested": pa.array([{"a": [1, None], "b": dt.date(2020, 1, 1)}, None]),
            "parts": pa.array([["x"], []], pa.list_(pa.string())),
            "price": pa.array([Decimal("1250.00"), None]),
            "nothing": pa.nulls(2),
            "yes": pa.array([True, False]),
            "__index_level_0__": pa.array([1, 2]),
        }
    )
    pq.write_table(table, tmp_path / "a.parquet")
    one = read(tmp_path / "a.parquet").anchors.iloc[0]
    assert (one["anchor_id"], one["crag"], one["condition"]) == ("a", "P", 2.0)
    assert (one["installed_on"], one["last_inspected_on"]) == ("2009-06-12", "2012-01-02")
    assert json.loads(one["nested"]) == {"a": [1, None], "b": "2020-01-01"}
    assert (one["parts"], one["price"], one["yes"]) == ('["x"]', "1250.00", "true")
    assert pd.isna(one["nothing"]) and "__index_level_0__" not in one
    pq.write_table(
        table.set_column(8, "nested", pa.array([b"\xff\xfe", None])), tmp_path / "b.parquet"
    )
    with pytest.raises(
        RegisterError, match=r"^b.parquet: the column 'nested' holds bytes that are no"
    ):
        read(tmp_path / "b.parquet")


def folder_of(tmp_path, table, parts=3, hive=False):
    folder = tmp_path / "region"
    for number, rows in enumerate(np.array_split(np.arange(len(table)), parts)):
        below = folder / (f"country=ES {number}%2F" if hive else f"deep/{number}")
        below.mkdir(parents=True)
        table.iloc[rows].to_parquet(below / "part-0.parquet", index=False)
    (folder / "_metadata").write_bytes(b"PAR1")
    (folder / "_old.parquet").write_bytes(b"none")
    (folder / "notes.txt").write_text("none")
    return folder


def test_a_folder_of_parts_is_one_register(tmp_path):
    table = anchors()
    table.to_parquet(tmp_path / "a.parquet", index=False)
    folder = folder_of(tmp_path, table)
    found = read(folder)
    same(read(tmp_path / "a.parquet"), found)
    assert found.file == "region" and found.anchors["source_row"].tolist() == list(range(1, 11))
    fifth = found.doubts[found.doubts["row"] == 1].iloc[-1]
    assert fifth["file"] == "region/deep/1/part-0.parquet"  # the fifth of all, rows 4 3 3
    assert found.parts == Parts(tuple(f"deep/{i}/part-0.parquet" for i in range(3)), (4, 7, 10))


def test_a_folder_is_checked_as_a_register(tmp_path):
    folder = folder_of(tmp_path, anchors())
    assert kinds_in(folder) == ["register"]


def test_names_of_folders_are_columns(tmp_path):
    folder = folder_of(tmp_path, anchors(), hive=True)
    assert read(folder).anchors["country"].unique().tolist() == ["ES 0/", "ES 1/", "ES 2/"]


def test_rows_of_parts_are_named(tmp_path):
    table = anchors(10, anchor_id=["a", "b", "c", "d", "e", "B", "f", "g", "h", "i"])
    table.loc[8, "lat"] = 95.0
    folder = folder_of(tmp_path, table)
    found = read(folder)
    again, beyond = found.rejected.to_dict("records")
    assert (again["file"], again["row"]) == ("region/deep/1/part-0.parquet", 2)
    assert again["reason"].startswith("anchor_id already used in row 2 of deep/0/part-0.parquet")
    assert (beyond["file"], beyond["row"]) == ("region/deep/2/part-0.parquet", 2)
    far = np.where(found.anchors["anchor_id"] == "i", 9000.0, 0.0)
    out = refuse_far_at_sea(found, far, np.zeros(len(far), bool)).rejected.iloc[-1]
    assert (out["file"], out["row"]) == ("region/deep/2/part-0.parquet", 3)


def test_a_refused_row_is_said_with_its_part(tmp_path, capsys):
    table = anchors(10, anchor_id=list("abcdefghij"), notes="")
    table.loc[[1, 5], "lat"] = 95.0  # the second row of two parts
    folder = folder_of(tmp_path, table)
    lines = check_lines(checked(folder, "register"))
    assert ": 10 rows, 8 good, 2 refused, " in lines[0]
    refused = [line for line in lines if line.startswith("  refused: ")]
    assert [line.partition(", lat = ")[0] for line in refused] == [
        "  refused: row 2 of deep/0/part-0.parquet", "  refused: row 2 of deep/1/part-0.parquet",
    ]  # fmt: skip
    doubts = [line for line in lines if line.startswith("  in doubt: row 1 of deep/1/part-0.par")]
    assert "diameter_mm = 'abc'" in doubts[0]
    found = read(folder)
    assert register_record(found)["rejected"] == 2
    _listed(found.rejected, found.file)
    said = capsys.readouterr().err
    assert "refused: row 2 of deep/1/part-0.parquet, lat = '95': " in said
    assert "2 rows refused: not in the book" in said


def test_where_no_row_of_the_parts_can_be_used_the_first_is_said_with_its_part(tmp_path):
    folder = folder_of(tmp_path, anchors(10, crag=None))
    found = read(folder)
    shore = {"shore_distance_m": np.zeros(0), "coast_side": np.zeros(0)}
    with pytest.raises(
        NoGoodRowsError, match=r"the first: row 1 of deep/0/part-0.parquet, crag = "
    ):
        usable(found, shore, 5000.0)


def test_a_key_that_a_book_knows_is_refused_with_its_part(tmp_path):
    found = read(folder_of(tmp_path, anchors(10, anchor_id=list("abcdefghij"))))
    none = found.anchors.iloc[:0]
    joined = joining(found, none, pd.Series(["f"]), who="Ana", on=TODAY)
    place = joined.rejected[["file", "row"]].to_numpy().tolist()
    assert place == [["region/deep/1/part-0.parquet", 2]]


def test_the_checksum_of_a_folder_is_of_its_parts(tmp_path):
    folder = folder_of(tmp_path, anchors())
    names = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("part-0.parquet"))
    whole = hashlib.sha256()
    for name in names:
        data = (folder / name).read_bytes()
        whole.update(f"{name}\0{len(data)}\0".encode() + data)
    first = read(folder).sha256
    assert first == whole.hexdigest() == folder_checksum(folder, parts_below(folder))
    (folder / "notes.txt").write_text("other")
    assert read(folder).sha256 == first
    (folder / names[0]).rename(folder / "deep/0/part-1.parquet")
    assert read(folder).sha256 != first


def _broken(folder, part):
    part.write_bytes(part.read_bytes()[:-40])


def _other_type(folder, part):
    pd.read_parquet(part).assign(lon="x").to_parquet(part, index=False)


def _no_column(folder, part):
    pd.read_parquet(part).drop(columns="notes").to_parquet(part, index=False)


def _other_crs(folder, part):
    table = pd.read_parquet(part).drop(columns=["lon", "lat"])
    for number, one in enumerate(sorted(folder.rglob("part-0.parquet"))):
        crs = "EPSG:25830" if one == part else "EPSG:4326"
        shapes = [Point(number, i) for i in range(len(table))]
        gpd.GeoDataFrame(table, geometry=shapes, crs=crs).to_parquet(one)


def _other_depth(folder, part):
    (folder / "a=1").mkdir()
    part.rename(folder / "a=1/part-0.parquet")


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        (_broken, r"^deep/1/part-0.parquet: not a readable Parquet file .*; it is damaged"),
        (_other_type, r"^deep/1/part-0.parquet: the column 'lon' is string, but double in deep/0/"),
        (_no_column, r"^deep/1/part-0.parquet: no column 'notes', which deep/0/part-0.parquet has"),
        (_other_crs, r"^deep/1/part-0.parquet: its geometry is in another column or CRS than that"),
        (_other_depth, r"^deep/0/part-0.parquet: its folders name no column, those of a=1/part-0"),
    ],
)
def test_parts_that_do_not_fit_are_named(tmp_path, damage, told):
    folder = folder_of(tmp_path, anchors())
    damage(folder, folder / "deep/1/part-0.parquet")
    with pytest.raises(RegisterError, match=told):
        read(folder)


def test_a_part_with_an_empty_column_fits(tmp_path):
    folder = folder_of(tmp_path, anchors())
    part = folder / "deep/1/part-0.parquet"
    pd.read_parquet(part).assign(material=None).to_parquet(part, index=False)
    assert read(folder).anchors["material"].iloc[4:7].tolist() == ["unknown"] * 3


def _said(tmp_path, change):
    table = anchors().drop(columns=["lon", "lat"])
    gpd.GeoDataFrame(table, geometry=[Point(0.5, 41.2)] * 10, crs=4326).to_parquet(
        tmp_path / "a.parquet"
    )
    whole = pq.read_table(tmp_path / "a.parquet")
    about = json.loads(whole.schema.metadata[b"geo"])
    change(about, about["columns"]["geometry"])
    geo = json.dumps(about).encode()
    pq.write_table(whole.replace_schema_metadata({b"geo": geo}), tmp_path / "a.parquet")
    return tmp_path / "a.parquet"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda a, g: g.update(crs=None), "does not say its CRS; set it in the GIS"),
        (lambda a, g: g.update(crs={"type": "?"}), "the CRS of its geometry cannot be read"),
        (lambda a, g: a.update(primary_column="g2", columns={"g2": g}), "'g2', is missing"),
        (lambda a, g: a.pop("columns"), "is no GeoParquet; export it anew"),
        (lambda a, g: a.update(columns=[]), "is no GeoParquet; export it anew"),
    ],
)
def test_geometry_that_cannot_be_used_is_said(tmp_path, change, told):
    with pytest.raises(RegisterError, match=rf"^a.parquet: .*{told}"):
        read(_said(tmp_path, change))


def test_without_a_crs_the_standard_says_wgs84_and_the_user_may_say_another(tmp_path):
    path = _said(tmp_path, lambda a, g: g.pop("crs"))
    assert read(path).anchors["lon"].tolist() == [0.5] * 10
    assert not len(read(path, crs="EPSG:25830").anchors)


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("a.parquet", b"PAR1 and no more", "a.parquet: not a readable Parquet file"),
        ("a.parquet", b" ", "a.parquet: the file is empty"),
        (
            "sub/a.txt",
            b"x",
            r"sub is a folder that holds no \.parquet file .*; give the file of a register, or a",
        ),
        (
            "sub/_a.parquet",
            b"x",
            r"holds no \.parquet file \(those whose names begin with _ or \. ",
        ),
    ],
)
def test_unusable_files_and_folders(tmp_path, name, content, told):
    path = tmp_path / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content)
    with pytest.raises(RegisterError, match=told):
        read(path if name == "a.parquet" else path.parent)
    pq.write_table(pa.table({"anchor_id": pa.array([], pa.string())}), tmp_path / "none.parquet")
    with pytest.raises(RegisterError, match=r"^none.parquet: no rows in it"):
        read(tmp_path / "none.parquet")


def test_text_that_would_fill_the_memory_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("saltreach.intake.typed._MOST_LETTERS", 50_000)
    anchors(10, notes="x" * 6_000).to_parquet(tmp_path / "a.parquet")
    with pytest.raises(
        RegisterError, match=r"'notes' holds 60,000 bytes of text, more than can be"
    ):
        read(tmp_path / "a.parquet")


@pytest.mark.parametrize("low", [-9, -5, 0, 8, 14])
def test_numbers_are_written_as_ever(low):
    rng = np.random.default_rng(2)
    numbers = np.concatenate([10 ** rng.uniform(low, low + 3, 500), rng.integers(-99, 99, 50) / 8])
    numbers = np.append(numbers, [0.0, -0.0, np.inf, -np.inf, 1e15, 1e16, 5e-324, 1e-4, 1e9])
    assert number_texts(numbers).to_pylist() == [cell_text(n) for n in numbers]


def register(tmp_path, count=40):
    rng = np.random.default_rng(3)
    table = anchors(count, lon=rng.uniform(-5, 5, count).round(6), lat=rng.uniform(40, 45, count))
    table["crag"] = [f"Crag {i}" for i in range(count)]
    table.to_csv(tmp_path / "given.csv", index=False)
    return read(tmp_path / "given.csv").anchors.drop(columns="source_row")


def test_what_is_written_reads_as_the_same_register(tmp_path):
    given = register(tmp_path)
    write_register(given, tmp_path / "out.parquet")
    write_register(given, tmp_path / "parts", partitions=7)
    whole, parts = read(tmp_path / "out.parquet").anchors, read(tmp_path / "parts").anchors
    order = given["anchor_id"].tolist()
    assert sorted(parts["anchor_id"]) == sorted(order) and parts["anchor_id"].tolist() != order
    parts = parts.set_index("anchor_id", drop=False).loc[order].reset_index(drop=True)
    for found in (whole, parts):
        pd.testing.assert_frame_equal(
            pd.DataFrame(found)[list(given.columns)].drop(columns="geometry"),
            pd.DataFrame(given).drop(columns="geometry"),
        )
    names = [f"part-{i:04d}.parquet" for i in range(7)]
    assert sorted(p.name for p in (tmp_path / "parts").iterdir()) == names
    sizes = [len(gpd.read_parquet(tmp_path / "parts" / name)) for name in names]
    assert sizes == [6, 6, 6, 6, 6, 5, 5]
    assert pq.read_schema(tmp_path / "out.parquet").metadata[b"caution"] == CAUTION.encode()


def test_parts_hold_anchors_near_each_other(tmp_path):
    given = register(tmp_path)
    write_register(given, tmp_path / "parts.parquet", partitions=8)

    def area(table):
        return np.ptp(table["lon"]) * np.ptp(table["lat"])

    areas = [area(gpd.read_parquet(p)) for p in (tmp_path / "parts.parquet").iterdir()]
    assert len(areas) == 8 and sum(areas) < area(given)


def test_parts_appear_whole_or_not_at_all(tmp_path, monkeypatch):
    given = register(tmp_path)
    for partitions, told in ((0, "give 1 to 40"), (41, "41 parts of 40 anchors")):
        with pytest.raises(OutputError, match=told):
            write_register(given, tmp_path / "x", partitions=partitions)
    with pytest.raises(OutputError, match="name it x.parquet"):
        write_register(given, tmp_path / "x.csv", partitions=2)
    write_register(given, tmp_path / "x", partitions=2)
    with pytest.raises(OutputError, match="nothing is overwritten"):
        write_register(given, tmp_path / "x", partitions=2)
    before = sorted(p.name for p in tmp_path.iterdir())

    def fails(placed):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("saltreach.outputs.tables.register_files._parquet", fails)
    with pytest.raises(OutputError, match="disk is full|No space"):
        write_register(given, tmp_path / "y", partitions=2)
    assert sorted(p.name for p in tmp_path.iterdir()) == before
