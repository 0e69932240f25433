"""Write one register in all seven formats, for tests that compare what is read back."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree as ET
from pathlib import Path

import pandas as pd

KML = "http://www.opengis.net/kml/2.2"
GPX = "http://www.topografix.com/GPX/1/1"
POSITION = ("lon", "lat")


def _cells(frame: pd.DataFrame) -> list[dict[str, object]]:
    """Rows as plain Python values: None where empty, whole numbers as integers."""

    def plain(value: object) -> object:
        if value is None or value is pd.NA or value is pd.NaT:
            return None
        if isinstance(value, float) and math.isnan(value):
            return None
        if hasattr(value, "item"):
            value = value.item()
        return value

    records = frame.to_dict("records")
    return [{name: plain(v) for name, v in record.items()} for record in records]


def _written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _fields(record: dict[str, object], *without: str) -> dict[str, str]:
    return {
        name: _written(value)
        for name, value in record.items()
        if value is not None and name not in (*POSITION, *without)
    }


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    text = frame.map(lambda v: _written(v) if isinstance(v, bool) else v)
    text.to_csv(path, index=False, encoding="utf-8")


def write_xlsx(frame: pd.DataFrame, path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    for i, name in enumerate(frame.columns):
        sheet.cell(1, i + 1, name)
    for row, record in enumerate(_cells(frame)):
        for i, value in enumerate(record.values()):
            if value is None:
                continue
            cell = sheet.cell(row + 2, i + 1, value)
            if isinstance(value, str):
                cell.data_type = "s"  # text that starts with = is text, not a formula
    book.save(path)
    book.close()


def write_geojson(frame: pd.DataFrame, path: Path) -> None:
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [r["lon"], r["lat"]]},
            "properties": {k: v for k, v in r.items() if k not in POSITION},
        }
        for r in _cells(frame)
    ]
    document = {"type": "FeatureCollection", "features": features}
    path.write_text(json.dumps(document, ensure_ascii=False), encoding="utf-8")


def write_gpkg(frame: pd.DataFrame, path: Path) -> None:
    import geopandas as gpd

    points = gpd.points_from_xy(frame["lon"], frame["lat"])
    table = frame.drop(columns=list(POSITION))
    table = table.dropna(axis=1, how="all")
    layer = gpd.GeoDataFrame(table, geometry=points, crs="EPSG:4326")
    layer.to_file(path, layer="anchors", driver="GPKG")


def write_gpx(frame: pd.DataFrame, path: Path) -> None:
    """`key=value` text for crag and sector where it can hold them, extensions for the rest."""
    ET.register_namespace("", GPX)
    root = ET.Element(f"{{{GPX}}}gpx", version="1.1", creator="test")
    for record in _cells(frame):
        point = ET.SubElement(
            root, f"{{{GPX}}}wpt", lat=repr(record["lat"]), lon=repr(record["lon"])
        )
        if record.get("elevation_m") is not None:
            ET.SubElement(point, f"{{{GPX}}}ele").text = str(record["elevation_m"])
        ET.SubElement(point, f"{{{GPX}}}name").text = str(record["anchor_id"])
        fields = _fields(record, "anchor_id", "elevation_m")
        simple = {
            k: fields.pop(k)
            for k in ("crag", "sector")
            if not set(fields.get(k, "=")) & set("=;\n")
        }
        desc = "; ".join(f"{k}={v}" for k, v in simple.items())
        ET.SubElement(point, f"{{{GPX}}}desc").text = desc
        more = ET.SubElement(point, f"{{{GPX}}}extensions")
        for name, value in fields.items():
            ET.SubElement(more, f"{{https://example.org/anchor}}{name}").text = value
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)


def write_kml(frame: pd.DataFrame, path: Path) -> None:
    ET.register_namespace("", KML)
    root = ET.Element(f"{{{KML}}}kml")
    document = ET.SubElement(root, f"{{{KML}}}Document")
    for record in _cells(frame):
        mark = ET.SubElement(document, f"{{{KML}}}Placemark")
        ET.SubElement(mark, f"{{{KML}}}name").text = str(record["anchor_id"])
        data = ET.SubElement(mark, f"{{{KML}}}ExtendedData")
        for name, value in _fields(record, "anchor_id").items():
            item = ET.SubElement(data, f"{{{KML}}}Data", name=name)
            ET.SubElement(item, f"{{{KML}}}value").text = value
        point = ET.SubElement(mark, f"{{{KML}}}Point")
        ET.SubElement(point, f"{{{KML}}}coordinates").text = f"{record['lon']!r},{record['lat']!r}"
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)


def write_parquet(frame: pd.DataFrame, path: Path) -> None:
    """GeoParquet with the types the columns have."""
    import geopandas as gpd

    places = gpd.points_from_xy(frame["lon"], frame["lat"])
    other = frame.drop(columns=list(POSITION))
    gpd.GeoDataFrame(other, geometry=places, crs="EPSG:4326").to_parquet(path, index=False)


WRITERS = {
    "csv": write_csv,
    "xlsx": write_xlsx,
    "geojson": write_geojson,
    "gpkg": write_gpkg,
    "gpx": write_gpx,
    "kml": write_kml,
    "parquet": write_parquet,
}


def write_all_formats(frame: pd.DataFrame, folder: Path) -> dict[str, Path]:
    """Write a register as CSV, XLSX, GeoJSON, GeoPackage, GPX, KML and GeoParquet.

    `frame` has columns of the register (`anchor_id`, `crag`, `sector`, `lon`, `lat` filled,
    lon and lat as floats) and any extra columns whose names are XML names. Returns format ->
    path of `register.<format>` in `folder`.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = {name: folder / f"register.{name}" for name in WRITERS}
    for name, write in WRITERS.items():
        write(frame, paths[name])
    return paths


def comparable(register) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Anchors and refused rows without what must differ between formats.

    The row number (a spreadsheet counts its header), the file's name, the text of numbers in
    refused cells, and extra columns with nothing in them (some formats cannot hold those).
    """
    from saltreach.vocabulary.columns import REGISTER_BY_NAME

    anchors = pd.DataFrame(register.anchors.drop(columns=["source_row", "geometry"]))
    empty = [c for c in anchors if c not in REGISTER_BY_NAME and anchors[c].isna().all()]
    anchors = anchors.drop(columns=empty)
    shift = 1 if register.format in ("CSV", "XLSX") else 0
    rejected = register.rejected.assign(row=register.rejected["row"] - shift)
    order = [c for c in anchors if c in REGISTER_BY_NAME]
    order += sorted(c for c in anchors if c not in REGISTER_BY_NAME)
    reasons = rejected["reason"].str.replace(r"row \d+", "row", regex=True)
    return anchors[order], rejected.assign(reason=reasons).drop(columns=["file", "value"])
