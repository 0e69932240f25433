"""Sulphur dioxide: the register's figure, else the pack's, else the one assumed for all.

No layer is embedded. A raster of the user's in the pack wins over what a service models: somebody
chose it for the region.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.layers.cells import cell_at, read_cells, taken
from saltreach.layers.layer import Layer, Origin, Value, lonlat
from saltreach.layers.pack import packed

if TYPE_CHECKING:
    from saltreach.intake.options import Options

NAME, FILE = "air", "air.csv"
RASTER, OPEN_METEO = "so2_raster", "so2_open_meteo"
"""Names of the sources, in the file and in the provenance."""
SO2 = "so2_ug_m3"
COLUMNS = (SO2, "hours_missing_share")
"""Columns of values in the pack's file: mean SO2, and the share of hours that were missing."""

ASSUMED_SIGMA_LN = float(np.log(2.0))
GIVEN_SIGMA_LN = 0.2
"""Standard deviation of ln(SO2): a factor of 2 where assumed, 20 % where given; judgement."""
PACKED_SIGMA_LN = {RASTER: float(np.log(1.6)), OPEN_METEO: float(np.log(1.8))}
"""The same of what a pack holds, in the order in which they are asked: judgement, hardly better
than assumed. A global reanalysis of CAMS had persistent biases at the ground over Europe, and its
SO2 went with the stations no better than a rival's (Lacima and others 2023, abstract); a cell of
10 to 40 km shows no single works or harbour. A raster of the user's was at least chosen."""


@dataclass(frozen=True)
class Air:
    """What is assumed, and the cells of a pack, none where there is no pack."""

    assumed_ug_m3: float
    cells: pd.DataFrame
    origins: tuple[Origin, ...] = ()


def _open(options: Options) -> Air:
    part = packed(options, NAME)
    if part is None:
        return Air(options.so2_ug_m3, pd.DataFrame(columns=["source"]))
    return Air(options.so2_ug_m3, read_cells(part, FILE, COLUMNS), part.origins)


def _sample(air: Air, places: pd.DataFrame) -> dict[str, Any]:
    known = {"register": (places[SO2].to_numpy(float), GIVEN_SIGMA_LN)}
    for name, sigma in PACKED_SIGMA_LN.items():
        cells = air.cells[air.cells["source"] == name]
        if len(cells):
            row = cell_at(cells, *lonlat(places))
            known[name] = taken(cells[SO2].to_numpy(float), row), sigma
    known["assumed"] = np.full(len(places), air.assumed_ug_m3), ASSUMED_SIGMA_LN
    has = [np.isfinite(values) for values, _ in known.values()]
    source = np.select(has, list(known), "").astype(object)
    return {
        "so2_ug_m3_used": np.select(has, [values for values, _ in known.values()], np.nan),
        "so2_assumed": source == "assumed",
        "so2_sigma_ln": np.select(has, [sigma for _, sigma in known.values()], np.nan),
        "so2_source": source,
    }


LAYER = Layer(
    name="so2",
    gives=(
        Value("so2_ug_m3_used", source="so2_source"),
        Value("so2_assumed", True),
        Value("so2_sigma_ln"),
        Value("so2_source", ""),
    ),
    takes=("so2_ug_m3",),
    open=_open,
    origins=lambda air: air.origins,
    sample=_sample,
)
