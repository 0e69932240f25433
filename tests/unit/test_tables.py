"""The GeoPackage as older programs read it."""

import sqlite3
from contextlib import closing

import geopandas as gpd

from helpers.holding_region import anchors, assessment
from saltreach.outputs.tables.results import write_geopackage


def test_the_geopackage_says_version_1_2(tmp_path):
    """OGC 12-128r15 (GeoPackage 1.2), requirement 2: application_id GPKG, user_version 10200."""
    path = tmp_path / "x.gpkg"
    result = assessment(anchors())
    write_geopackage(result, path)
    with closing(sqlite3.connect(path)) as file:
        (application,) = file.execute("PRAGMA application_id").fetchone()
        (version,) = file.execute("PRAGMA user_version").fetchone()
        names = {name for (name,) in file.execute("SELECT table_name FROM gpkg_contents")}
    assert application.to_bytes(4, "big") == b"GPKG"
    assert version == 10200
    assert names == {"anchors", "sectors", "crags", "layer_styles"}
    for name, rows in (
        ("anchors", len(result.flat.anchors)),
        ("sectors", len(result.flat.sectors)),
    ):
        assert len(gpd.read_file(path, layer=name)) == rows
