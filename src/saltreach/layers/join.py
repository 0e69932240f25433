"""Layer values at the anchors: one row per anchor, in the register's order."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.layers.climate import monthly_climate, sample_climate
from saltreach.layers.coast import Coast
from saltreach.layers.coast_index import CoastIndex, Shore
from saltreach.layers.openness import sea_openness
from saltreach.layers.salinity import sea_salinity_g_kg
from saltreach.layers.salt_lakes import salt_lake_at
from saltreach.layers.seas import in_europe, is_mild_sea
from saltreach.vocabulary.rocks import lithology_of
from saltreach.vocabulary.words import SEPARATOR

ODD_CLIFF_M = 2000.0
"""Said to be a sea cliff farther from the sea than this, a place is worth a second look."""
GIVEN_DISTANCE_SD_M = 10.0
GIVEN_DISTANCE_SD_SHARE = 0.05
"""A distance that the register gives is taken as known to 10 m or 5 %, whichever is more."""
ASSUMED_SO2_SIGMA_LN = float(np.log(2.0))
GIVEN_SO2_SIGMA_LN = 0.2
"""Standard deviation of ln(SO2): a factor of 2 where assumed, 20 % where given; judgement."""


def shore_of(anchors: pd.DataFrame, coast: Coast) -> tuple[Shore, CoastIndex]:
    """What the coast layer says of the anchors' positions, and the part of it that was asked."""
    index = coast.near(anchors["lon"], anchors["lat"])
    return index.shore(anchors["lon"], anchors["lat"]), index


def layer_values(
    anchors: pd.DataFrame,
    shore: Shore,
    coast: Coast,
    index: CoastIndex,
    *,
    so2_ug_m3: float,
    dem_file: Path | None = None,
    use_wind: bool = False,
) -> pd.DataFrame:
    """Everything the layers know of the anchors.

    Parameters
    ----------
    anchors : DataFrame
        Register columns; its own `coast_distance_m`, `elevation_m`, `so2_ug_m3` and
        `sea_salinity_g_kg` win.
    shore : Shore
        What `shore_of` returned for these anchors.
    coast, index : Coast, CoastIndex
        Layer that was asked, and its part around the anchors.
    so2_ug_m3 : float
        SO2 assumed where the register gives none.
    dem_file : Path, optional
        Height raster: gives elevation where the register has none, the slope and aspect that
        are compared with the register's, and shielding from the sea.
    use_wind : bool
        Whether to take the mean wind over the sea nearby.

    Returns
    -------
    DataFrame
        The result columns of stage "layers", plus `sea_cliff_said` (the register's word),
        `salt_lake_brine`, `salt_lake_salinity_g_kg`, `salt_lake_sd_m`, `so2_ug_m3_used`,
        `so2_assumed`, `so2_sigma_ln`, `mild_sea`, `in_europe`, `seaward_m` (distance of a
        position that falls into the sea, else 0), `layer_notes`. Same index as the anchors.
    """
    lon, lat = anchors["lon"].to_numpy(float), anchors["lat"].to_numpy(float)
    given = anchors["coast_distance_m"].to_numpy(float)
    at_sea = shore.on_land == 0
    use_given = ~np.isnan(given)
    by_layer = np.where(at_sea, 0.0, shore.distance_m)
    distance = np.where(use_given, given, by_layer)
    given_sd = np.maximum(GIVEN_DISTANCE_SD_M, GIVEN_DISTANCE_SD_SHARE * given)
    terrain = _terrain(anchors, shore, index, dem_file)
    climate = sample_climate(lon, lat, terrain["elevation_m"].to_numpy(float))
    salinity = anchors["sea_salinity_g_kg"].to_numpy(float)
    of_sea, _ = sea_salinity_g_kg(*index.foot(lon, lat))
    lake = salt_lake_at(lon, lat)
    from_dem = (terrain["elevation_source"] != "").to_numpy()
    so2 = anchors["so2_ug_m3"].to_numpy(float)
    side = np.where(np.isnan(shore.on_land), "", np.where(at_sea, "sea", "land"))
    values = {
        "coast_distance_m": distance,
        "coast_distance_sd_m": np.where(use_given, given_sd, coast.position_sd_m),
        "coast_distance_source": np.where(use_given, "register", coast.layer.name),
        "coast_side": side,
        "sea_openness": sea_openness(lon, lat, coast, index=index),
        "elevation_m": climate["elevation_m"].to_numpy(float),
        "elevation_source": np.where(
            from_dem, terrain["elevation_source"], climate["elevation_source"]
        ),
        "slope_deg": terrain["slope_deg"].to_numpy(float),
        "aspect_deg": terrain["aspect_deg"].to_numpy(float),
        "sea_shielding": terrain["sea_shielding"].to_numpy(float),
        "lithology": lithology_of(anchors["rock_type"].fillna("").astype("str")),
        "wind_speed_m_s": _wind(lon, lat) if use_wind else np.nan,
        "sea_salinity_g_kg": np.where(np.isnan(salinity), of_sea, salinity),
        "sea_cliff_said": anchors["sea_cliff"].to_numpy(object),
        **lake._asdict(),
        "so2_ug_m3_used": np.where(np.isnan(so2), so2_ug_m3, so2),
        "so2_assumed": np.isnan(so2),
        "so2_sigma_ln": np.where(np.isnan(so2), ASSUMED_SO2_SIGMA_LN, GIVEN_SO2_SIGMA_LN),
        "mild_sea": is_mild_sea(lon, lat),
        "in_europe": in_europe(lon, lat),
        "seaward_m": np.where(at_sea & ~use_given, shore.distance_m, 0.0),
        "layer_notes": _joined(
            _shore_notes(anchors, distance, by_layer, coast),
            _joined(climate["climate_notes"], terrain["terrain_notes"]),
        ),
    }
    for name in ("temperature_c", "temperature_sd_c", "relative_humidity_pct",
                 "relative_humidity_sd_pct", "rain_mm_y"):  # fmt: skip
        values[name] = climate[name].to_numpy(float)
    return pd.DataFrame(values, index=anchors.index)


def _shore_notes(
    anchors: pd.DataFrame, used_m: np.ndarray, layer_m: np.ndarray, coast: Coast
) -> np.ndarray:
    """Where what the register says of the shore and the layer cannot both be right."""
    apart = np.abs(used_m - layer_m) - GIVEN_DISTANCE_SD_SHARE * np.maximum(used_m, layer_m)
    cliff = (used_m > ODD_CLIFF_M) & (anchors["sea_cliff"] == "yes").to_numpy()
    text = _metres("Distance to the sea given as ", used_m)
    text = text + _metres(" m, the layer's is ", layer_m) + " m: check both."
    note = np.where(apart > 4 * coast.position_sd_m, text, "")
    odd = _metres("Said to be a sea cliff, ", used_m)
    odd = np.where(cliff, odd + " m from the sea: check it.", "")
    return _joined(note, odd)


def _metres(start: str, value: np.ndarray) -> np.ndarray:
    rounded = np.char.mod("%.0f", np.nan_to_num(value, posinf=0.0)).astype(object)
    return np.array(start, object) + rounded


def _terrain(
    anchors: pd.DataFrame, shore: Shore, index: CoastIndex, dem_file: Path | None
) -> pd.DataFrame:
    """Elevation to use, terrain of the raster and differences from the register's face."""
    own = anchors["elevation_m"].to_numpy(float)
    if dem_file is None:
        return pd.DataFrame(
            {"elevation_m": own, "elevation_source": "", "slope_deg": np.nan, "aspect_deg": np.nan,
             "sea_shielding": np.nan, "terrain_notes": ""},
            index=range(len(own)),
        )  # fmt: skip
    from saltreach.layers.shielding import sea_shielding
    from saltreach.layers.terrain import compare_faces, dem_layer, read_terrain

    lon, lat = anchors["lon"].to_numpy(float), anchors["lat"].to_numpy(float)
    terrain = read_terrain(dem_file, lon, lat)
    faces = compare_faces(
        anchors["face_azimuth_deg"].to_numpy(float),
        anchors["face_slope_deg"].to_numpy(float),
        terrain["aspect_deg"].to_numpy(float),
        terrain["slope_deg"].to_numpy(float),
    )
    measured = terrain["elevation_m"].to_numpy(float)
    use = np.isnan(own) & ~np.isnan(measured)
    return terrain.assign(
        elevation_m=np.where(use, measured, own),
        elevation_source=np.where(use, dem_layer(dem_file).name, ""),
        sea_shielding=sea_shielding(dem_file, lon, lat, *index.foot(lon, lat), shore.distance_m),
        terrain_notes=_joined(terrain["terrain_notes"], faces["face_notes"]),
    )


def _wind(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    from saltreach.layers.wind import sample_sea_wind

    return sample_sea_wind(lon, lat)[0]


def _joined(first: pd.Series | np.ndarray, second: pd.Series | np.ndarray) -> np.ndarray:
    a, b = (pd.Series(v).fillna("").astype("str").to_numpy(object) for v in (first, second))
    return np.where(a == "", b, np.where(b == "", a, a + SEPARATOR + b))


def months_of(anchors: pd.DataFrame, elevation_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Monthly mean temperature and relative humidity at the anchors, (n, 12) each."""
    months = monthly_climate(
        anchors["lon"].to_numpy(float), anchors["lat"].to_numpy(float), elevation_m
    )
    return months["temperature_c"].to_numpy(), months["relative_humidity_pct"].to_numpy()
