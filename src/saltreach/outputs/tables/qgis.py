"""Styles inside the GeoPackage, so that QGIS opens its layers coloured by risk band.

QGIS keeps styles in an attribute table `layer_styles` of the GeoPackage, one row per layer
(QGIS documentation, "Save in Database").
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as ET

from saltreach.outputs.map.colourings import STYLE_OF, UNKNOWN_STYLE

_TABLE = """
CREATE TABLE layer_styles (
    id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256),
    f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
    useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
    update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now'))
)
"""


def add_styles(path: Path, layers: dict[str, str], time: str) -> None:
    """Add a default style for each layer of a GeoPackage.

    Parameters
    ----------
    path : Path
        The GeoPackage.
    layers : dict
        Layer name to kind of symbol, "marker" or "fill".
    time : str
        ISO time of the assessment.
    """
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(_TABLE)
        database.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, "
            "last_change) VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?)",
            (time.replace("+00:00", ".000Z"),),
        )
        columns = dict(
            database.execute("SELECT table_name, column_name FROM gpkg_geometry_columns")
        )
        database.executemany(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, "
            "f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, "
            "owner, ui) VALUES ('', '', ?, ?, 'risk band', ?, '', 1, 'coloured by risk_band', "
            "'', '')",
            [(name, columns[name], style_qml(kind)) for name, kind in layers.items()],
        )


def style_qml(kind: str) -> str:
    """A QGIS style that colours features by `risk_band` and labels each band in the legend."""
    root = ET.Element("qgis", version="3.22", styleCategories="Symbology")
    renderer = ET.SubElement(root, "renderer-v2", type="categorizedSymbol", attr="risk_band")
    categories = ET.SubElement(renderer, "categories")
    symbols = ET.SubElement(renderer, "symbols")
    for i, style in enumerate(STYLE_OF.values()):
        known = style is not UNKNOWN_STYLE
        ET.SubElement(
            categories,
            "category",
            symbol=str(i),
            value=style.word if known else "",
            label=f"{style.letter} {style.word}",
            render="true",
        )
        symbol = ET.SubElement(symbols, "symbol", type=kind, name=str(i), alpha="0.9")
        layer_class = "SimpleMarker" if kind == "marker" else "SimpleFill"
        layer = ET.SubElement(symbol, "layer", {"class": layer_class, "enabled": "1"})
        options = ET.SubElement(layer, "Option", type="Map")
        for key, value in {
            "color": _rgba(style.fill),
            "outline_color": _rgba("#16222b"),
            "outline_width": "0.26",
            "outline_style": "solid",
            "name": "circle",
            "size": "2.4",
            "style": "solid",
        }.items():
            ET.SubElement(options, "Option", name=key, value=value, type="QString")
    return ET.tostring(root, encoding="unicode")


def _rgba(colour: str) -> str:
    return ",".join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5)) + ",255"
