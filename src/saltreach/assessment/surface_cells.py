"""What a surface says of a place nobody looked at: the chain of the anchors, without a register.

A cell knows where it is and what the layers know there. It cannot know what decides most at a
cliff: whether rain washes the face, which rock it is (without a geological map), where the face
looks to and how steep it is, how high above the sea an anchor stands, and what seeps or drips. All
of that counts as unknown, as it does for an anchor of which the register says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from saltreach.assessment.corrosivity import corrosivity, wet_and_liquid
from saltreach.assessment.material import choose_material, stress_corrosion_hazard
from saltreach.intake.options import Options
from saltreach.intake.policy import DEFAULT, Policy, read_policy
from saltreach.intake.prices import read_prices
from saltreach.layers.catalogue import LAYERS
from saltreach.layers.coast import Coast
from saltreach.layers.join import open_layers, sample_layers, with_layers
from saltreach.layers.layer import Layer
from saltreach.science.metal import stainless
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import CATEGORIES, CLASSES, Scale

Floats = NDArray[np.float64]
Codes = NDArray[np.uint8]

AT_ONCE = 50_000
"""Places worked out at once, which bounds memory."""
UNKNOWN_CODE, SEA_CODE = 0, 255
"""In bands of classes: on land but not known, and no land. Word k of a scale has the code k + 1."""
CANNOT_KNOW = (
    "A cell knows its place and the layers, not the cliff: washing by rain, rock (without a "
    "geological map), the face's direction and slope, height above the sea and seepage are unknown "
    "and count at their harsh end, as for an anchor of which nothing is said. The metal is that of "
    "an ordinary bonded anchor, unwashed."
)


class Band(NamedTuple):
    """One band: name, what it is, unit (CF), and for classes their words in order."""

    name: str
    says: str
    unit: str
    standard_name: str = ""
    words: Scale = Scale(())


NUMBERS = (
    Band("coast_distance_m", "distance to the sea", "m"),
    Band("chloride_mg_m2_d_p10", "chloride deposition, 10th percentile", "mg m-2 d-1"),
    Band("chloride_mg_m2_d", "chloride deposition, median", "mg m-2 d-1"),
    Band("chloride_mg_m2_d_p90", "chloride deposition, 90th percentile", "mg m-2 d-1"),
    Band("scc_hazard", "stress-corrosion cracking hazard, 0 to 1", "1"),
)
CLASS_BANDS = (
    Band("corrosivity_category", "ISO 9223 corrosivity category", "1", words=CATEGORIES),
    Band("crc_washed", "EN 1993-1-4 resistance class where rain washes", "1", words=CLASSES),
    Band(
        "crc_unwashed", "EN 1993-1-4 resistance class where rain does not wash", "1", words=CLASSES
    ),
    Band("material_recommended", "metal for an ordinary anchor", "1", words=PLACEABLE),
)


@dataclass(frozen=True)
class Opened:
    """What a surface is made from, opened once a process.

    `smooth`: whether all layers vary so slowly between shores that cells may be interpolated.
    """

    sources: dict[str, Any]
    policy: Policy
    stock: frozenset[str] | None
    smooth: bool
    left_out: tuple[str, ...]


@lru_cache(maxsize=2)
def opened(options: Options) -> Opened:
    """The layers, the policy and the stock list that options name.

    Raises
    ------
    SaltreachError
        A file cannot be used.
    """
    policy = DEFAULT
    if options.policy_file is not None:
        policy = read_policy(Path(options.policy_file), allow_looser=options.allow_looser_policy)
    prices = None
    if options.prices_file is not None:
        prices = read_prices(Path(options.prices_file), leave_out_refused=options.leave_out_refused)
    sources = open_layers(options, _used())
    rough = (options.dem_file, options.pack_folder, options.geology_file)
    return Opened(
        sources=sources,
        policy=policy,
        stock=None if prices is None else prices.stock_metals(),
        smooth=all(one is None for one in rough) and type(sources["coast"]) is Coast,
        left_out=() if prices is None else prices.left_out,
    )


@dataclass(frozen=True)
class Cells:
    """Values of places, each of shape (n,).

    `land`: whether it is land, or the side is not known. `shore_deg` (n, 2): nearest place of the
    shore. `numbers` (n, 5): `NUMBERS`; `classes` (n, 4): codes of `CLASS_BANDS`; of land only.
    """

    land: NDArray[np.bool_]
    distance_m: Floats
    shore_deg: Floats
    numbers: Floats
    classes: Codes


def cells_at(lon: Floats, lat: Floats, options: Options) -> Cells:
    """Every value of places nobody looked at, exactly as `assess` has them for an anchor there.

    Parameters
    ----------
    lon, lat : ndarray, shape (n,)
        Degrees, WGS 84.
    options : Options
        As for `assess`.

    Returns
    -------
    Cells
    """
    parts = [
        _part(lon[i : i + AT_ONCE], lat[i : i + AT_ONCE], opened(options))
        for i in range(0, max(1, len(lon)), AT_ONCE)
    ]
    if len(parts) == 1:
        return parts[0]
    return Cells(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in Cells.__dataclass_fields__
        }
    )


def _part(lon: Floats, lat: Floats, by: Opened) -> Cells:
    places = unknown_places(lon, lat)
    shore = sample_layers(places, by.sources, ["coast"])
    land = np.asarray(shore["coast_side"] != "sea")
    cells = Cells(
        land=land,
        distance_m=np.asarray(shore["shore_distance_m"], float),
        shore_deg=np.column_stack([shore["shore_lon"], shore["shore_lat"]]),
        numbers=np.full((len(lon), len(NUMBERS)), np.nan),
        classes=np.full((len(lon), len(CLASS_BANDS)), SEA_CODE, np.uint8),
    )
    if land.any():
        here = {name: values[land] for name, values in shore.items()}
        table = _chain(places[land].reset_index(drop=True), here, by)
        cells.numbers[land] = table[[band.name for band in NUMBERS]].to_numpy(float)
        for i, band in enumerate(CLASS_BANDS):
            rank = band.words.rank(table[band.name].to_numpy(object))
            cells.classes[land, i] = np.where(np.isnan(rank), UNKNOWN_CODE, np.nan_to_num(rank) + 1)
    return cells


def _chain(places: pd.DataFrame, shore: dict[str, Any], by: Opened) -> pd.DataFrame:
    """The steps of `assess` up to the metal."""
    names = [layer.name for layer in _used()]
    found = sample_layers(places, by.sources, names, known=shore)
    for layer in LAYERS:  # those that only ask a reader of a register
        if layer not in _used():
            found |= {value.name: np.full(len(places), value.unknown) for value in layer.gives}
    table = with_layers(places, found)
    table = table.assign(**dict(corrosivity(table).items()))
    months = found["temperature_c_by_month"], found["relative_humidity_pct_by_month"]
    counted = found["wet_counted_h_y"], found["liquid_salt_counted_share"]
    table = table.join(wet_and_liquid(*months, *counted))
    table["warm_month_c"] = months[0].max(axis=1)
    table = table.join(stress_corrosion_hazard(table))
    table = table.join(choose_material(table, by.policy, by.stock))
    for name in ("washed", "unwashed"):
        number = stainless.resistance_class(table[f"crf_{name}"].to_numpy(float))
        number = np.where(table["outside_standard"], float(len(CLASSES)), number)
        table[f"crc_{name}"] = CLASSES.word(number - 1)
    return table


@lru_cache(maxsize=1)
def _used() -> tuple[Layer, ...]:
    """Layers that the values rest on; the others hold questions for a register's reader."""
    return tuple(layer for layer in LAYERS if layer.name not in ("roads", "marked_lakes"))


def unknown_places(lon: Floats, lat: Floats) -> pd.DataFrame:
    """Rows of a register that says nothing but where they are."""
    return pd.DataFrame({"lon": lon, "lat": lat}).assign(**_nothing_said())


@lru_cache(maxsize=1)
def _nothing_said() -> dict[str, Any]:
    """What a register that was read holds where nothing was said, by column."""
    from saltreach.intake import read_register

    names = ("anchor_id", "crag", "sector")
    row = pd.DataFrame({"lon": [-5.0], "lat": [43.0], **{name: ["place"] for name in names}})
    said = read_register(row).anchors.drop(columns=["lon", "lat", "geometry", "source_row", *names])
    return {name: said[name].iloc[0] for name in said}
