"""A surface: what the layers and the science say of every cell of a box, as a lazy Dataset."""

from __future__ import annotations

import json
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import numpy as np

from saltreach.assessment.surface_blocks import (
    DISTANCE_SHARE,
    FINE,
    NONE,
    ROUNDINGS,
    Job,
    fill,
)
from saltreach.assessment.surface_cells import (
    CANNOT_KNOW,
    CLASS_BANDS,
    NUMBERS,
    SEA_CODE,
    UNKNOWN_CODE,
    Band,
    opened,
)
from saltreach.assessment.surface_grid import Grid, grid_of
from saltreach.errors import OptionError
from saltreach.intake.options import Options
from saltreach.layers.join import origins_of
from saltreach.vocabulary.words import CAUTION, UNKNOWN
from saltreach.workers import INSTALL

if TYPE_CHECKING:
    import xarray as xr

CHLORIDE_SHARE = 0.05  # interpolated chloride is held to so much of it; measured: 0.03
HAZARD_STEP = 0.01  # interpolated hazard; measured: 0.002
CLASS_SHARE = 0.002  # cells with another class than exactly; measured: 0.0001
"""Measured on two coasts and inland, not proven as the distance is; openness as asked together."""


def surface(
    bbox: tuple[float, float, float, float],
    resolution_m: float = 100.0,
    options: Options | None = None,
    *,
    rounding: str = FINE,
) -> xr.Dataset:
    """What every cell of a box has before anybody has looked at it; worked out when asked for.

    Parameters
    ----------
    bbox : tuple of float
        West, south, east, north, degrees, WGS 84; not across 180 degrees.
    resolution_m : float
        Side of a cell at the box's middle latitude, m; 10 to 50,000.
    options : Options, optional
        As for `assess`: shore, height raster, pack, geological map, policy, prices (their stock
        list). What belongs to a register is not used.
    rounding : {"fine", "none"}
        "none": every cell as exactly as `assess` has an anchor there. "fine": cells between are
        interpolated where that is enough (`CHLORIDE_SHARE` and beside it say to what), many times
        faster; with a height raster, a pack or a geological map every cell is worked out anyway.

    Returns
    -------
    Dataset
        Dimensions `lat` (from north), `lon`; dask arrays in blocks. `coast_distance_m` (m),
        `chloride_mg_m2_d` with `_p10` and `_p90` (mg/(m² d)), `scc_hazard` (0 to 1), float32, NaN
        at sea and where unknown. `corrosivity_category`, `crc_washed`, `crc_unwashed`,
        `material_recommended`, uint8 with `flag_values` and `flag_meanings`: 0 is land of which
        it is not known, 255 no land. Attributes by the CF conventions, with grid, options, layers
        and what a cell cannot know.

    Raises
    ------
    OptionError
        A box, a resolution or a word that cannot be, or dask is not installed.
    SaltreachError
        A file cannot be used.

    References
    ----------
    The layers and formulas of `assess`. Interpolation: see `surface_blocks`.

    Examples
    --------
    >>> cells = surface((-5.9, 43.6, -5.8, 43.7), resolution_m=2000)
    >>> dict(cells.sizes), cells["material_recommended"].dtype.name
    ({'lat': 7, 'lon': 5}, 'uint8')
    """
    import xarray as xr

    try:
        import dask
        import dask.array as da
    except ImportError as error:
        raise OptionError(f"a surface needs the package dask; {INSTALL}") from error
    grid = grid_of(bbox, resolution_m)
    options = checked(options, rounding)
    across = len({block.column for block in grid.blocks})
    work = dask.delayed(fill, pure=True)
    filled = [(block, work(Job(grid, block, options, rounding))) for block in grid.blocks]

    def array(part: int, count: int, dtype: Any) -> Any:
        one = [
            da.from_delayed(found[part], (count, block.rows, block.columns), dtype)
            for block, found in filled
        ]
        return da.block([one[i : i + across] for i in range(0, len(one), across)])

    numbers = array(0, len(NUMBERS), np.float32)
    classes = array(1, len(CLASS_BANDS), np.uint8)
    dims = ("lat", "lon")
    bands = {band.name: (dims, numbers[i], band_attributes(band)) for i, band in enumerate(NUMBERS)}
    bands |= {
        band.name: (dims, classes[i], band_attributes(band)) for i, band in enumerate(CLASS_BANDS)
    }
    return xr.Dataset(
        bands | {"crs": ((), np.int32(0), CRS)},
        coords={
            "lat": ("lat", grid.lat_deg(), AXES["lat"]),
            "lon": ("lon", grid.lon_deg(), AXES["lon"]),
        },
        attrs=attributes(grid, options, rounding),
    )


def checked(options: Options | None, rounding: str) -> Options:
    """Options for a surface, without what belongs to a register.

    Raises
    ------
    OptionError
        No options, or a rounding that is not known.
    """
    options = Options() if options is None else options
    if not isinstance(options, Options):
        raise OptionError(f"options: {type(options).__name__} given; give saltreach.Options(...)")
    if rounding not in ROUNDINGS:
        raise OptionError(f"rounding {rounding!r}: give one of {', '.join(ROUNDINGS)}")
    return options


AXES = {
    "lat": {"standard_name": "latitude", "units": "degrees_north", "axis": "Y"},
    "lon": {"standard_name": "longitude", "units": "degrees_east", "axis": "X"},
}
CRS = {
    "grid_mapping_name": "latitude_longitude",
    "semi_major_axis": 6378137.0,
    "inverse_flattening": 298.257223563,
    "longitude_of_prime_meridian": 0.0,
}


def band_attributes(band: Band) -> dict[str, Any]:
    """Attributes of a band by the CF conventions (no standard name exists for any of them)."""
    about: dict[str, Any] = {"long_name": band.says, "grid_mapping": "crs"}
    if not band.words:
        return about | {"units": band.unit}
    codes = codes_of(band) | {SEA_CODE: "no land"}
    return about | {
        "flag_values": np.array(list(codes), np.uint8),
        "flag_meanings": " ".join(word.replace(" ", "_") for word in codes.values()),
    }


def codes_of(band: Band) -> dict[int, str]:
    """Words of a band of classes by code; `SEA_CODE`, no land, is not among them."""
    return {UNKNOWN_CODE: UNKNOWN, **{i + 1: word for i, word in enumerate(band.words)}}


def attributes(grid: Grid, options: Options, rounding: str) -> dict[str, str]:
    """What a surface is and what it rests on, as text by name; the same for the same request.

    What would be empty is not there.
    """
    by = opened(options)
    origins = origins_of(by.sources)
    credit = dict.fromkeys(origin.attribution for origin in origins if origin.attribution)
    assumed = [*by.left_out, *(f"LOOSER POLICY: {text}." for text in by.policy.loosened)]
    exact = rounding == NONE or not by.smooth or grid.widest_square == 2
    about = {
        "Conventions": "CF-1.11",
        "title": "Corrosion of climbing anchors: what is known of a place before anybody looks",
        "source": f"saltreach {version('saltreach')}",
        "summary": CANNOT_KNOW,
        "comment": CAUTION,
        "accuracy": _EXACT if exact else _FINE,
        "attribution": "; ".join(credit),
        "left_out": " ".join(assumed),
        "grid": _text(grid.record()),
        "options": _text(options.record() | {"rounding": rounding}),
        "policy": _text(by.policy.record()),
        "layers": _text([origin.record() for origin in origins]),
    }
    return {name: text for name, text in about.items() if text}


_EXACT = "Every cell is worked out by itself, at its middle."
_FINE = (
    "Cells between those that are worked out are interpolated: the distance to within "
    f"{DISTANCE_SHARE / 2:.2%} of what the shore layer says (proven), chloride to "
    f"{CHLORIDE_SHARE:.0%} and the hazard to {HAZARD_STEP:g} (measured), beside what the layers "
    "themselves are known to; a class may begin a cell earlier or later "
    f"({CLASS_SHARE:.1%} of cells at most)."
)


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, default=str)
