"""The coast layer: how far the sea is, on which side of the shoreline a point lies, and by whom."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.coast import FILE_SD_M, Coast, load_coast, read_coast_file
from saltreach.layers.coast_index import Floats
from saltreach.layers.layer import Layer, Value, joined, lonlat
from saltreach.layers.pack import packed
from saltreach.layers.packed_coast import COAST_FILE, read_packed_coast

if TYPE_CHECKING:
    from saltreach.intake.options import Options

ODD_CLIFF_M = 2000.0
"""Said to be a sea cliff farther from the sea than this, a place is worth a second look;
judgement."""
GIVEN_DISTANCE_SD_M = 10.0
GIVEN_DISTANCE_SD_SHARE = 0.05
"""A distance that the register gives is taken as known to 10 m or 5 %, whichever is more;
judgement."""


def open_coast(options: Options) -> Coast:
    """The shoreline the options ask for: a file of the user's, else the pack's, else embedded."""
    if options.coast_file is not None:
        sd = FILE_SD_M if options.coast_sd_m is None else options.coast_sd_m
        return read_coast_file(Path(options.coast_file), position_sd_m=sd)
    part = packed(options, "coast")
    if part is None:
        return load_coast()
    return read_packed_coast(part.file(COAST_FILE), part.origin, load_coast())


def _sample(coast: Coast, places: pd.DataFrame) -> dict[str, Any]:
    shore, sd_m, source, side_source, note = coast.measured(*lonlat(places))
    at_sea = shore.on_land == 0
    given = places["coast_distance_m"].to_numpy(float)
    use_given = ~np.isnan(given)
    given_sd = np.maximum(GIVEN_DISTANCE_SD_M, GIVEN_DISTANCE_SD_SHARE * given)
    by_layer = np.where(at_sea, 0.0, shore.distance_m)
    distance = np.where(use_given, given, by_layer)
    said = places["sea_cliff"].to_numpy(object)
    return {
        "coast_distance_m": distance,
        "coast_distance_sd_m": np.where(use_given, given_sd, sd_m),
        "coast_distance_source": np.where(use_given, "register", source),
        "coast_side": np.where(np.isnan(shore.on_land), "", np.where(at_sea, "sea", "land")),
        "seaward_m": np.where(at_sea & ~use_given, shore.distance_m, 0.0),
        "sea_cliff_said": said,
        "shore_distance_m": shore.distance_m,
        "shore_lon": shore.lon,
        "shore_lat": shore.lat,
        "shore_sd_m": sd_m,
        "coast_side_source": side_source,
        "coast_notes": joined(
            _notes(distance, by_layer, said == "yes", sd_m), np.where(use_given, "", note)
        ),
    }


def distances_differ(given_m: Floats, layer_m: Floats, sd_m: ArrayLike) -> NDArray[np.bool_]:
    """Where a distance to the sea that a register gives and the layer's cannot both be right."""
    apart = np.abs(given_m - layer_m) - GIVEN_DISTANCE_SD_SHARE * np.maximum(given_m, layer_m)
    return np.asarray(apart > 4 * np.asarray(sd_m))


def _notes(
    used_m: Floats, layer_m: Floats, cliff: NDArray[np.bool_], sd_m: Floats
) -> NDArray[np.object_]:
    """Where what the register says of the shore and the layer cannot both be right."""
    differ = distances_differ(used_m, layer_m, sd_m)
    odd = (used_m > ODD_CLIFF_M) & cliff
    differs, odds = (np.full(len(used_m), "", dtype=object) for _ in range(2))
    differs[differ] = [
        f"Distance to the sea given as {used:.0f} m, the layer's is {layer:.0f} m: check both."
        for used, layer in zip(used_m[differ], layer_m[differ], strict=True)
    ]
    odds[odd] = [
        f"Said to be a sea cliff, {used:.0f} m from the sea: check it." for used in used_m[odd]
    ]
    return joined(differs, odds)


LAYER = Layer(
    name="coast",
    gives=(
        Value("coast_distance_m", sd="coast_distance_sd_m", source="coast_distance_source"),
        Value("coast_distance_sd_m"),
        Value("coast_distance_source", ""),
        Value("coast_side", "", source="coast_side_source"),
        Value("seaward_m"),
        Value("sea_cliff_said", ""),
    ),
    passes=(
        Value("shore_distance_m"),
        Value("shore_lon"),
        Value("shore_lat"),
        Value("shore_sd_m"),
        Value("coast_side_source", ""),
        Value("coast_notes", ""),
    ),
    takes=("coast_distance_m", "sea_cliff"),
    open=open_coast,
    sample=_sample,
    origins=lambda coast: coast.origins,
)
