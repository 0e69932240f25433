"""A part of a register, from its layers to its decisions: the main job for its rows."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd

from saltreach.assessment.contradictions import HEIGHTS
from saltreach.assessment.parts import PART_ROWS, Columns, shrunk
from saltreach.intake.options import Options
from saltreach.layers.catalogue import LAYERS
from saltreach.vocabulary.columns import ANCHORS_BY_NAME, REGISTER_BY_NAME
from saltreach.workers import Workers, workers

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    from numpy.typing import NDArray

    from saltreach.assessment.groups import Unranked
    from saltreach.assessment.region import Region
    from saltreach.intake.lessons import Lessons
    from saltreach.intake.policy import Policy
    from saltreach.layers.join import Found

CHANGED = {value.name for layer in LAYERS for value in layer.gives} | {*HEIGHTS, "sea_cliff"}
"""Columns of the register that the result may have otherwise."""
OWN = [
    name
    for name in ANCHORS_BY_NAME
    if name != "priority_rank" and (name not in REGISTER_BY_NAME or name in CHANGED)
]
"""Columns of the result that a part finds."""


@dataclass(frozen=True)
class Given:
    """What all parts have in common: settings, tables beside the register, and the region.

    `file`: name of the register. `gone`: what failed and is no longer in place. `keep_working`:
    whether every value met on the way is wanted.
    """

    file: str
    options: Options
    today: date
    policy: Policy
    stock: frozenset[str] | None
    lessons: Lessons | None
    left_out: tuple[str, ...]
    region: Region
    gone: pd.DataFrame | None
    keep_working: bool


@dataclass(frozen=True)
class Part:
    """Rows of a register, whole crags, numbered from 0; `rows` says which they are.

    `known`: what layers gave there already. `seen`: what findings make of the recorded columns
    (`findings.found_at`). `surveyed`: the survey's columns. `asked`: places of the rows that are
    asked what is worth finding out.
    """

    rows: NDArray[np.int64]
    anchors: gpd.GeoDataFrame
    known: Found
    seen: pd.DataFrame
    surveyed: pd.DataFrame
    asked: NDArray[np.int64]


class PartFound(NamedTuple):
    """What was found of a part.

    `columns`: those of `OWN`, and `layer_notes`, shrunk. `asked`: the rows that are asked, with
    every value met on the way; `working`: all rows so, where they are wanted.
    """

    columns: Columns
    groups: Unranked
    doubts: pd.DataFrame
    asked: pd.DataFrame
    tests: pd.DataFrame | None
    working: pd.DataFrame | None


def assess_part(
    part: Part,
    given: Given,
    sources: dict[str, Any],
    *,
    on_step: Callable[[str], None] = lambda _: None,
) -> PartFound:
    """Work out the rows of a part.

    Parameters
    ----------
    part : Part
        Whole crags.
    given : Given
        What it has in common with the other parts.
    sources : dict
        From `layers.join.open_layers`.
    on_step : callable, optional
        Told the name of each step as it begins.
    """
    from saltreach.assessment.contradictions import contradicted
    from saltreach.assessment.corrosivity import (
        CLASS_PROBABILITY_COLUMNS,
        PROBABILITY_COLUMNS,
        corrosivity,
        probabilities_json,
        wet_and_liquid,
    )
    from saltreach.assessment.groups import grouped
    from saltreach.assessment.interval import inspection_interval
    from saltreach.assessment.learned import with_learned_metal, with_learned_place
    from saltreach.assessment.material import choose_material, stress_corrosion_hazard
    from saltreach.assessment.priority import anchor_priority
    from saltreach.assessment.proof_tests import tests_of
    from saltreach.assessment.region import age_of_anchors
    from saltreach.assessment.resistance import rock_resistance
    from saltreach.assessment.risk import action_of, bands_of
    from saltreach.assessment.rock import rock_mass, rock_strength
    from saltreach.assessment.state import state_of_anchors
    from saltreach.assessment.warnings import warnings_of
    from saltreach.layers.join import sample_layers, with_layers

    options, today, policy, region = given.options, given.today, given.policy, given.region
    on_step("climate, openness, terrain and rock type")
    shore = sample_layers(part.anchors, sources, ["terrain"], known=part.known)
    anchors, doubts = contradicted(part.anchors, given.file, shore)
    found = sample_layers(anchors, sources, known=shore)
    table = with_learned_place(with_layers(anchors, found), given.lessons)
    as_given = table[[name for name in part.seen if name in table]]
    table = table.assign(**dict(part.seen.items()))
    on_step("corrosivity")
    months = found["temperature_c_by_month"], found["relative_humidity_pct_by_month"]
    counted = found["wet_counted_h_y"], found["liquid_salt_counted_share"]
    air = corrosivity(table)
    table = table.drop(columns=[c for c in air if c in table]).join(air)
    table = table.join(wet_and_liquid(*months, *counted)).join(rock_strength(table))
    on_step("metal")
    table["warm_month_c"] = months[0].max(axis=1)
    table = table.join(stress_corrosion_hazard(table))
    table = table.join(choose_material(table, policy, given.stock))
    on_step("rock")
    learned_name = Path(options.learned_file or "").name
    table = with_learned_metal(table, given.lessons, learned_name)
    table["age_y"] = age_of_anchors(table, today)
    table = table.join(rock_mass(table, part.surveyed))
    table = table.join(rock_resistance(table, options.axial_kn, region=region))
    on_step("decisions")
    metal_gone = None if given.gone is None else given.gone[given.gone["metal_failed"]]
    state = state_of_anchors(table, today, gone=metal_gone, region=region)
    table = table.join(state.columns)
    table = table.join(bands_of(table))
    table = table.join(action_of(table, today))
    table = table.join(inspection_interval(table, state.curve, today, policy))
    table = table.join(anchor_priority(table, policy, region=region))
    table["warnings"] = warnings_of(table, policy, given.left_out)
    table["category_probabilities"] = probabilities_json(table, PROBABILITY_COLUMNS)
    table["crc_probabilities"] = probabilities_json(table, CLASS_PROBABILITY_COLUMNS)
    on_step("sectors and crags")
    asked = table.iloc[part.asked]
    table = table.assign(**dict(as_given.items()))  # as it was handed in
    anchors, groups = grouped(table, part.anchors, state.curve)
    return PartFound(
        columns=shrunk(anchors[OWN].assign(layer_notes=table["layer_notes"])),
        groups=groups,
        doubts=doubts,
        asked=asked.set_axis(part.rows[part.asked]),
        tests=tests_of(table, policy, given.gone),
        working=table.set_axis(part.rows) if given.keep_working else None,
    )


def crew(
    count: int,
    options: Options,
    *,
    scheduler: str | None = None,
    processes: int | None = 1,
    at_most: int | None = None,
) -> AbstractContextManager[Workers]:
    """Workers for a register of some anchors; of one part it is this process.

    Parameters
    ----------
    count : int
        Anchors.
    options : Options
        Processes open the layers that they name at once, before anything is asked of them.
    scheduler, processes, at_most
        As for `assess`: the cluster, the processes without one, the anchors of a part.
    """
    many = count > (at_most or PART_ROWS)
    start = partial(_ready, options, version_of(options))
    return workers(scheduler, count=processes if many else 1, ready=start)


def version_of(options: Options) -> str:
    """Tells apart files of one name that were changed between two runs."""
    return json.dumps(options.record())


def _ready(options: Options, version: str) -> None:
    from saltreach.layers.climate import sample_climate

    _opened(options, version)
    sample_climate([0.0], [0.0])  # its maps are read at the first question


def work(item: tuple[Part, Given, str]) -> PartFound:
    """`assess_part` in a worker, which opens the layers once for options of a version."""
    part, given, version = item
    return assess_part(part, given, _opened(given.options, version))


@lru_cache(maxsize=1)
def _opened(options: Options, version: str) -> dict[str, Any]:
    from saltreach.layers.join import open_layers

    return open_layers(options)
