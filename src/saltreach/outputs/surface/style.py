"""QGIS styles of a surface's GeoTIFFs: classes in their colours with their names, and numbers."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from saltreach.assessment.surface import codes_of
from saltreach.assessment.surface_cells import NUMBERS, Band
from saltreach.outputs.map.colourings import INTERVAL_STYLES
from saltreach.outputs.surface.colours import colours_of
from saltreach.outputs.surface.geotiff import names_of

CHLORIDE_STEPS = (3.0, 10.0, 30.0, 100.0, 300.0, 1000.0)
"""Colours of median chloride, mg/(m² d): limits of S1 to S3 of ISO 9223 (3, 60, 300, 1500) lie
among them; for drawing only."""


def styles_of(name: str) -> dict[str, str]:
    """QML by name of file, for the files of a surface."""
    return {
        f"{file.rpartition('.')[0]}.qml": _numbers() if band is None else _classes(band)
        for file, band in names_of(name).items()
    }


def _classes(band: Band) -> str:
    root, renderer = _root(type="paletted", band="1", opacity="1")
    palette = ET.SubElement(renderer, "colorPalette")
    words = codes_of(band)
    for code, colour in colours_of(band).items():
        ET.SubElement(palette, "paletteEntry", value=str(code), color=colour, alpha="255",
                      label=words[code])  # fmt: skip
    return ET.tostring(root, encoding="unicode") + "\n"


def _numbers() -> str:
    band = next(i for i, one in enumerate(NUMBERS, 1) if one.name == "chloride_mg_m2_d")
    low, high = CHLORIDE_STEPS[0], CHLORIDE_STEPS[-1]
    root, renderer = _root(
        type="singlebandpseudocolor", band=str(band), opacity="1",
        classificationMin=f"{low:g}", classificationMax=f"{high:g}",
    )  # fmt: skip
    shader = ET.SubElement(
        ET.SubElement(renderer, "rastershader"), "colorrampshader",
        colorRampType="DISCRETE", classificationMode="1", clip="0",
    )  # fmt: skip
    limits = [*CHLORIDE_STEPS[:-1], float("inf")]
    for limit, style in zip(limits, INTERVAL_STYLES, strict=True):
        said = f"to {limit:g} mg/(m² d)" if limit < high else f"above {CHLORIDE_STEPS[-2]:g}"
        ET.SubElement(shader, "item", value=f"{limit:g}", color=style.fill, alpha="255",
                      label=said)  # fmt: skip
    return ET.tostring(root, encoding="unicode") + "\n"


def _root(**renderer: str) -> tuple[ET.Element, ET.Element]:
    root = ET.Element("qgis", version="3.22", styleCategories="Symbology")
    pipe = ET.SubElement(root, "pipe")
    return root, ET.SubElement(pipe, "rasterrenderer", renderer)
