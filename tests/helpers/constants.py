"""Every number that a module of the rooms that decide gives a name, and what holds it.

A number is on the page of limits and judgement (`data/build/build_limits.py`), or a test of a
published source holds it (`HELD`), or it changes no answer (`TECHNICAL`).
"""

from __future__ import annotations

import ast
import functools
import importlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

SOURCE = Path(__file__).parents[2] / "src" / "saltreach"
ROOMS = ("science", "assessment", "planning", "layers")
ALSO = ("intake/far_apart.py", "intake/near_names.py", "intake/sizes.py")
"""Files of other rooms that judge, or whose numbers a user meets."""

TECHNICAL = {
    "intake.far_apart": {"_SLIPS": "signs"},
    "assessment.counts": {"MOST_TO_FIND_OUT": "rows shown"},
    "assessment.backdrop": {"EARTH_RADIUS_M": "EPSG:3857"},
    "assessment.grouping": {"_ROWS_AT_ONCE": "memory"},
    "assessment.shapes": {"MERCATOR_LIMIT_DEG": "end of the web map"},
    "assessment.reasons": {"MOST_SHOWN": "names shown"},
    "assessment.resistance_curves": {"LENGTHS_MM": "points of a curve that is drawn"},
    "assessment.generalise": {
        "_SLACK": "rounding",
        "_POLAR_LIMIT_DEG": "cells end before the pole",
        "_LAT_DEGREE_M": "WGS 84",
        "_LON_DEGREE_M": "WGS 84",
    },
    "assessment.find_out": {"MOST_ANCHORS": "size of a sample"},
    "assessment.resistance": {
        "STRENGTH_STEP_LN": "grid of a table",
        "SIGMA_STEP": "grid of a table",
        "SPACING_STEP_LN": "grid of a table",
        "GSI_STEP": "grid of a table",
        "NEAR_STEP_MM": "grid of a table",
        "FAR_STEP_MM": "grid of a table",
        "FAR_MM": "grid of a table",
        "CRACK_FAR_MM": "end of a table",
        "EDGE_FAR_MM": "end of a table",
    },
    "assessment.risk": {"POOR": "place in the scale of conditions"},
    "assessment.corrosivity": {"ROWS_AT_ONCE": "memory"},
    "assessment.parts": {"PART_ROWS": "memory", "LONG_ROWS": "memory", "_WORLD_DEG": "WGS 84"},
    "assessment.region": {"FAILED": "place in the scale of conditions"},
    "assessment.surface": {"CRS": "WGS 84", "_FINE": "a sentence"},
    "assessment.surface_blocks": {
        "LEAST_RADIUS_M": "WGS 84", "MANTISSA_BITS": "rounding", "_AT_ONCE": "memory",
        "_CORNERS": "places of nodes", "_PARTS": "places of nodes",
    },
    "assessment.surface_cells": {
        "AT_ONCE": "memory", "UNKNOWN_CODE": "code", "SEA_CODE": "code",
    },
    "assessment.surface_picture": {"MOST_PIXELS": "memory"},
    "assessment.surface_grid": {"BLOCK_CELLS": "memory", "MERIDIAN_M": "WGS 84"},
    "layers.climate": {"BLOCK": "memory", "_MONTH_SHARE": "calendar"},
    "layers.cells": {"_EDGE": "rounding"},
    "layers.climate_maps": {"GlobalGrid.scale": "unit", "_DENSITY_LEVELS": "as packed"},
    "layers.coast": {
        "BLOCK": "format of the file", "_CELL_M": "search of blocks", "_KM_PER_DEGREE": "WGS 84",
        "_MOST_CELLS": "search of blocks", "_ALL_FROM": "search of blocks", "_CUBES": "bits",
    },
    "layers.coast_fast": {"_FAN": "boxes in a box", "_DEEP": "memory"},
    "layers.coast_index": {
        "PIECE_M": "search", "EXACT_BEYOND_M": "search", "_CHUNK": "memory",
    },
    "layers.coast_search": {
        "FAN": "boxes in a box", "FAST_FROM": "speed", "_FEW": "speed", "_TOLD_APART_M": "rounding",
        "_AT_ONCE": "search", "_CURVE_M": "an order",
    },
    "layers.gshhg_full": {
        "CASPIAN": "a place in it", "LAKE_LEVEL": "format of the file",
        "_VERTEX_BYTES": "format of the file",
    },
    "layers.online.overpass": {
        "TIMEOUT_S": "settings of a query", "MAXSIZE_BYTES": "settings of a query",
        "_SAID": "letters shown",
    },
    "layers.osm_shore": {"_MARGIN_DEG": "rounding", "_AREA_SHARE": "rounding"},
    "layers.patched_coast": {
        "SEAM_DEG": "where longitudes end", "_SEEN_DEG": "rounding", "_ON_EDGE_DEG": "rounding",
        "_EDGE_M": "rounding",
    },
    "layers.geology": {"RockMap.overlaps": "counts"},
    "layers.geodesy": {"MEAN_RADIUS_M": "IUGG", "_E2": "WGS 84"},
    "layers.online.web": {"_WORDS": "words by status", "Request.about_bytes": "no number"},
    "layers.online.copernicus_dem": {
        "CELLS_PER_DEGREE": "as the service has them", "NO_TILE": "status of HTTP",
        "_BLOCK": "as the service has them", "_BLOCK_BYTES": "size to expect",
        "_HEAD_BYTES": "size to expect",
    },
    "layers.online.geology_service": {"_PIXELS": "pixels", "ABOUT_BYTES": "size to expect"},
    "layers.online.bring_coast": {"ABOUT_BYTES": "size to expect"},
    "layers.online.macrostrat": {"ABOUT_BYTES": "size to expect"},
    "layers.online.osm_objects": {
        "WANTED": "words of OpenStreetMap by prominence", "_SAID": "letters shown",
        "BYTES_PER_KM2": "size to expect",
    },
    "layers.online.by_node": {"CANNOT": "HTTP"},
    "layers.online.nasa_power": {"ANSWER_BYTES": "size of an answer", "_DAYS": "calendar"},
    "layers.online.open_meteo": {"BYTES_AN_HOUR": "size of an answer"},
    "layers.online.user_rasters": {"ZERO_CELSIUS_K": "unit"},
    "layers.openness": {
        "DIRECTIONS": "nodes of a sum", "CELL_M": "nodes of a sum", "TILE_DEG": "a grid",
        "_HALF_CELLS": "as far as rays reach", "_RAYS_AT_ONCE": "memory", "_LEGS": "speed",
        "_TILES_KEPT": "memory", "_ROWS": "a grid",
    },
    "layers.raster": {"WINDOW_CELLS": "memory", "_WIDEST": "memory"},
    "layers.shielding": {"STEPS": "nodes of a sum"},
    "layers.terrain": {"_METRES": "units"},
    "planning.budget": {
        "PARTS": "rounding", "POINTS": "points of a curve", "FINE": "points of a curve",
    },
    "planning.bound": {"NEVER": "no number"},
    "planning.large": {"TURNS_PER_NODE": "size of a search", "SAY_TURNS": "words on the screen"},
    "planning.master": {
        "SLACK_MIN": "rounding", "TOWARDS_BEST": "search", "CLOSE": "end of a search",
        "CHEAPER_MIN": "rounding",
    },
    "planning.model": {"PERCENT": "unit"},
    "planning.options": {"NO_LIMIT": "no number"},
    "planning.parts": {
        "PART_DAYS": "size of a search",
        "PART_TEAMS": "size of a search",
        "PART_TASKS": "size of a search",
        "PART_PAIRS": "size of a search",
        "PART_SECONDS": "size of a search", "PART_NODES": "size of a search",
    },
    "planning.plan": {
        "WHOLE_BY_NODES_PAIRS": "size of a search",
        "Plan.kept": "counts",
        "SECONDS": "size of a search",
        "WHOLE_MODEL_PAIRS": "size of a search",
    },
    "planning.problem": dict.fromkeys(
        ("OPEN", "NO_SKILL", "FEW_PEOPLE", "SHUT", "NO_TIDE", "TOO_FAR"), "names of reasons"
    ),
    "planning.reschedule": {"NEVER": "no number", "TOO_LONG_MIN": "no number"}
    | dict.fromkeys(
        ("TRIES", "SWEEPS", "NEIGHBOURS", "COMPANY", "MOST_OUT", "TRIPS_NEAR", "BEFORE_DAYS",
         "SPELLS_STAND"),
        "size of a search",
    ),
    "planning.spots": {"MOST_REASONS": "sentences shown"},
    "planning.visits": {"MONTH_FIGURES": "columns of a table"},
    "science.air.sunlight": {
        "DECLINATIONS_DEG": "nodes of a sum",
        "DAY_WEIGHTS": "nodes of a sum",
        "HOURS": "nodes of a sum",
        "_ROWS_AT_ONCE": "memory",
    },
    "science.air.uncertainty": {
        "SAMPLES_AT_ONCE": "memory",
        "_DISTANCE_NODES": "nodes of a sum",
        "_CHLORIDE_END": "nodes of a sum",
        "_CHLORIDE_NODES": "nodes of a sum",
        "_TEMPERATURE_NODES": "nodes of a sum",
        "_SHARE_NODES": "nodes of a sum",
    },
    "science.air.wetness": {
        "HOURS_OF_MONTH": "calendar", "PHASES": "nodes of a sum", "_COSINES": "nodes of a sum",
        "_FEWER": "nodes of a sum", "_EVEN_WAVE": "nodes of a sum",
    },
    "science.distributions": {"_ROWS_AT_ONCE": "memory"},
    "science.normal": {
        "_ABOVE": "published, a test compares with scipy",
        "_BELOW": "published, a test compares with scipy",
        "_FARTHEST": "keeps powers finite", "_BLOCK": "memory", "_STEPS": "end of a search",
        "_CLOSE": "end of a search", "_MOST_BENT": "steps of a search",
    },
    "science.rock.adhesive": {"ZERO_CELSIUS_K": "unit"},
    "science.rock.capacity": {"DRAWS": "nodes of a sum", "_VARIABLES": "counts the variables"},
    "science.rock.lithology": {"GRAVITY_M_S2": "unit"},
    "science.rows": {"_CHUNK_ROWS": "memory", "_FEW": "speed alone"},
    "science.time.anchors": {"Anchors.batch_factor": "none", "Anchors.legs": "one rod"},
    "science.time.curves": {"_SURE": "keeps a logarithm finite"},
    "science.time.failure": {
        "YEARS": "length of a curve",
        "_CHUNK_ROWS": "memory",
        "_COLUMNS": "memory",
    },
    "science.time.rust": {
        "_RATE_STEP_LN": "grid of a table", "SCORES": "nodes of a sum",
        "SCORE_WEIGHTS": "nodes of a sum", "_GONE": "keeps a logarithm finite",
    },
    "science.time.strength_left": {
        "_LEAST_KN": "ends of a search", "_MOST_KN": "ends of a search",
        "_CLOSE": "end of a search", "_STEPS": "end of a search",
        "_SURE": "keeps a logarithm finite", "_STEEP": "arithmetic",
    },
    "science.time.learning": {
        "STEP_LN": "nodes of a sum", "HALF_WIDTH_LN": "nodes of a sum", "GRID": "nodes of a sum",
        "SOUND": "names of outcomes", "BY_EYE": "names of outcomes", "BY_TEST": "names of outcomes",
        "QUANTILES": "what is told", "_LEAST": "keeps a logarithm finite", "_ROUNDING": "rounding",
        "_ROWS_AT_ONCE": "memory",
        "Watched.tested": "none", "Watched.found": "none",
    },
    "science.time.learning_rock": {
        "ROCK_GRID": "nodes of a sum", "EXACT": "names of outcomes", "ABOVE": "names of outcomes",
        "BELOW": "names of outcomes", "_ROUNDING": "rounding",
    },
    "science.time.learning_salt": {
        "LOWERED_SCORE": "normal distribution",
        "_YEAR_D": "calendar", "_ROUNDS": "end of a search", "_LONGEST_STEP": "end of a search",
        "_TINY_UM_Y": "keeps a logarithm finite",
    },
    "assessment.hazard": {"_SURE": "keeps a logarithm finite"},
    "assessment.learned": {"SAID_FROM": "what is told"},
    "science.time.reliability": {
        "_NO_STRENGTH_KN": "keeps a logarithm finite",
        "Z_95": "normal distribution",
        "_ROCK_SCORES": "nodes of a sum",
        "_ROCK_WEIGHTS": "nodes of a sum",
    },
    "science.time.updating": {"CONDITIONS": "counts the conditions"},
}  # fmt: skip
"""Numbers that no answer rests on: module, name, why."""

HELD = {
    "science.air.atmosphere": {
        "DOSE_RESPONSE": "test_atmosphere.py",
    },
    "science.metal.metal_loss": {
        "LINEAR_AFTER_Y": "test_metal_loss.py",
    },
    "science.metal.stainless": {
        "F1_SEA": "test_stainless.py",
        "F1_MILD_SEA": "test_stainless.py",
        "F1_ROAD": "test_stainless.py",
        "F1_ROAD_TUNNEL": "test_stainless.py",
        "F2_SO2": "test_stainless.py",
        "F3_WASHED": "test_stainless.py",
        "F3_CLEANED": "test_stainless.py",
        "F3_UNWASHED": "test_stainless.py",
    },
    "science.rock.rmr": {
        "STRENGTH_STEPS": "test_rmr.py",
        "RQD_STEPS": "test_rmr.py",
        "SPACING_STEPS": "test_rmr.py",
        "PERSISTENCE_STEPS": "test_rmr.py",
        "APERTURE_STEPS": "test_rmr.py",
        "ROUGHNESS": "test_rmr.py",
        "INFILLING": "test_rmr.py",
        "JOINT_WEATHERING": "test_rmr.py",
        "WATER": "test_rmr.py",
        "ORIENTATION": "test_rmr.py",
    },
}
"""Numbers of a published table: module, name, the file of tests/reference that holds them."""


class Constant(NamedTuple):
    """A named number or table of numbers; a field of a record is named `Record.field`."""

    module: str
    name: str
    note: str

    @property
    def owner(self) -> Any:
        """What holds the value: the module, or the record's class."""
        module = importlib.import_module(f"saltreach.{self.module}")
        return getattr(module, self.name.split(".")[0]) if "." in self.name else module

    @property
    def value(self) -> Any:
        """The value, read from the code."""
        field = self.name.split(".")[-1]
        defaults = getattr(self.owner, "_field_defaults", {})
        return defaults[field] if field in defaults else getattr(self.owner, field)

    @property
    def kept_for(self) -> str:
        """Why it needs no place on the page, empty where it needs one."""
        for kept in (TECHNICAL, HELD):
            if why := kept.get(self.module, {}).get(self.name):
                return why
        return ""


def _has_number(node: ast.expr) -> bool:
    """Whether a number is written in an expression; the place of an entry in a table is none."""
    if isinstance(node, ast.Subscript):
        return _has_number(node.value)
    if isinstance(node, ast.Constant):
        return type(node.value) in (int, float)
    return any(_has_number(n) for n in ast.iter_child_nodes(node) if isinstance(n, ast.expr)) or (
        isinstance(node, ast.Call) and any(_has_number(k.value) for k in node.keywords)
    )


def _numbers(node: ast.stmt) -> list[str]:
    """Names to which a statement gives numbers."""
    if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
        return []
    target = node.targets[0] if isinstance(node, ast.Assign) else node.target
    pairs = [(target, node.value)]
    if isinstance(target, ast.Tuple):
        each = isinstance(node.value, ast.Tuple)
        values = node.value.elts if each else [node.value] * len(target.elts)
        pairs = list(zip(target.elts, values, strict=True))
    return [ast.unparse(name) for name, value in pairs if _has_number(value)]


def _remark(line: str) -> str:
    """The remark at the end of a line."""
    _, _, said = line.partition("  # ")
    return "" if said.startswith("fmt:") else said


def _noted(body: list[ast.stmt], lines: list[str]) -> Iterator[tuple[str, str]]:
    """Names of the numbers of a body and their notes: the remark on the line, else the text below.

    Lines without an empty one between them share the text below the last of them.
    """
    for at, node in enumerate(body):
        note, end = _remark(lines[node.end_lineno - 1]), node
        for after in () if note else body[at + 1 :]:
            if after.lineno > end.end_lineno + 1:
                break
            if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
                note = re.sub(r"\s+", " ", str(after.value.value))
                break
            end = after
        for name in _numbers(node):
            yield name, note


def _attributes(record: ast.ClassDef) -> dict[str, str]:
    """Notes of a record whose own text describes its fields, as numpydoc has it."""
    text = ast.get_docstring(record) or ""
    found = re.findall(r"^(\w[\w, ]*) : .*\n((?:    .*\n?)+)", text, re.MULTILINE)
    return {
        name: re.sub(r"\s+", " ", said).strip()
        for names, said in found
        for name in names.split(", ")
    }


@functools.cache
def constants() -> tuple[Constant, ...]:
    """Every number that a module or a record of the rooms gives a name, in order of the code."""
    return tuple(_constants())


def _constants() -> Iterator[Constant]:
    for room in (*ROOMS, *ALSO):
        for file in sorted((SOURCE / room).rglob("*.py")) or [SOURCE / room]:
            text = file.read_text(encoding="utf-8")
            lines = text.splitlines()
            module = ".".join(file.relative_to(SOURCE).with_suffix("").parts)
            tree = ast.parse(text)
            for name, note in _noted(tree.body, lines):
                yield Constant(module, name, note)
            for record in (node for node in tree.body if isinstance(node, ast.ClassDef)):
                told = _attributes(record)
                for name, note in _noted(record.body, lines):
                    yield Constant(module, f"{record.name}.{name}", note or told.get(name, ""))
