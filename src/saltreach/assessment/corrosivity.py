"""From exposures to corrosivity: the science's formulas applied to a table of anchors."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.learned import SALT_SHIFT, SALT_SPREAD
from saltreach.assessment.place import place_of
from saltreach.science.air import atmosphere, salt, uncertainty, wetness
from saltreach.science.metal import stainless
from saltreach.vocabulary.words import CATEGORIES, CLASSES, UNKNOWN

METALS = uncertainty.METALS
ROWS_AT_ONCE = 2048
PROBABILITY_COLUMNS = tuple(f"probability_{c}" for c in CATEGORIES)
CLASS_PROBABILITY_COLUMNS = tuple(f"probability_{c}" for c in CLASSES)
"""Working columns; written out as the JSON columns `category_probabilities` and
`crc_probabilities`."""


CATEGORY_FLOORS: tuple[tuple[str, str, str], ...] = (
    ("volcanic", "C5", "Volcanic gas: beyond the functions; judgement."),
    ("road_salt", "C4", "Within 10 m of de-icing salt, or in its tunnel: ISO 9223:2012 Annex C "
     "names strong effect of de-icing salts as C4 (from memory)."),
    ("road_salt_near", "C3", "Within 100 m of de-icing salt: some effect of chlorides, C3 there "
     "(from memory)."),
)  # fmt: skip
"""Places whose category and losses are no milder than these, whatever the functions say: they know
the salt of the sea alone."""


def corrosivity(table: pd.DataFrame) -> pd.DataFrame:
    """Chloride, first-year losses, ISO 9223 category, washing and their probabilities.

    Parameters
    ----------
    table : DataFrame
        Register columns and those of `layers.join.with_layers`.

    Returns
    -------
    DataFrame
        Columns of stage "science" up to `crc_probabilities`, `so2_mg_m2_d`, those of
        `place.place_of`, the working columns, and `beyond_calibration`.
    """
    place = place_of(table)
    table = table.assign(**{name: place[name] for name in place})
    air, chloride = exposure_of(table), chloride_at(table)
    found = _at_least(uncertainty.spread_by_quadrature(air, chloride), _least_category(table))
    so2 = atmosphere.so2_deposition_mg_m2_d(table["so2_ug_m3_used"])
    out: dict[str, Any] = {name: place[name] for name in place} | {"so2_mg_m2_d": so2}
    for name in ("chloride_mg_m2_d", "steel_rate_um_y", "zinc_rate_um_y"):
        p10, p50, p90 = getattr(found, name).T
        out.update({name: p50, f"{name}_p10": p10, f"{name}_p90": p90})
    worst = np.maximum.reduce([atmosphere.category_index(m, out[f"{m}_rate_um_y"]) for m in METALS])
    names = np.array([*CATEGORIES, ""], object)
    out["corrosivity_category"] = names[np.where(np.isnan(worst), -1, worst).astype(int)]
    out.update(zip(PROBABILITY_COLUMNS, found.category_probabilities.T, strict=True))
    out["beyond_calibration"] = atmosphere.beyond_calibration(
        temperature_c=table["temperature_c"],
        relative_humidity_pct=table["relative_humidity_pct"],
        so2_mg_m2_d=so2,
        chloride_mg_m2_d=out["chloride_mg_m2_d"],
    )
    f3 = np.where(table["washing"] == "yes", stainless.F3_WASHED, stainless.F3_UNWASHED)
    classes = stainless.crc_probabilities(
        table["class_distance_m"].to_numpy(float),
        table["class_distance_sd_m"].to_numpy(float),
        air.so2_ug_m3,
        air.so2_sigma_ln,
        f3,
        air.mild_sea,
        table["f1_road"].to_numpy(float),
    )
    classes[table["outside_standard"].to_numpy()] = np.eye(len(CLASSES))[-1]
    out.update(zip(CLASS_PROBABILITY_COLUMNS, classes.T, strict=True))
    return pd.DataFrame(out, index=table.index)


def _least_category(table: pd.DataFrame) -> np.ndarray:
    """Number of the least category of each place by `CATEGORY_FLOORS`, 0 where none applies."""
    near, far = (factor for _, factor in stainless.F1_ROAD)
    road = table["f1_road"].to_numpy(float)
    applies = {
        "volcanic": (table["volcanic_gas"] == "yes").to_numpy(),
        "road_salt": road <= near,
        "road_salt_near": road <= far,
    }
    least = [CATEGORIES.index(category) for _, category, _ in CATEGORY_FLOORS]
    return np.select([applies[name] for name, *_ in CATEGORY_FLOORS], least, 0)


def _at_least(found: uncertainty.Spread, least: np.ndarray) -> uncertainty.Spread:
    """The spread with losses and categories no milder than each place's least category.

    The category's lower limit, geometric mean and upper limit stand in for the quantiles.
    """
    chances = found.category_probabilities.copy()
    rates = {metal: getattr(found, f"{metal}_rate_um_y").copy() for metal in METALS}
    for number in sorted(set(least[least > 0].tolist())):
        at = least == number
        chances[at, number] = chances[at, : number + 1].sum(axis=1)
        chances[at, :number] = 0.0 * chances[at, :number]
        for metal, rate in rates.items():
            rate[at] = np.maximum(rate[at], atmosphere.category_rates_um_y(metal, number))
    return found._replace(
        category_probabilities=chances,
        **{f"{metal}_rate_um_y": rate for metal, rate in rates.items()},
    )


def exposure_of(table: pd.DataFrame) -> uncertainty.Exposure:
    """The uncertain air of the anchors, as the science takes it."""
    return uncertainty.Exposure(
        **{
            name: table[column].to_numpy(float)
            for name, column in (
                ("coast_distance_m", "salt_distance_m"),
                ("coast_distance_sd_m", "salt_distance_sd_m"),
                ("temperature_c", "temperature_c"),
                ("temperature_sd_c", "temperature_sd_c"),
                ("relative_humidity_pct", "relative_humidity_pct"),
                ("relative_humidity_sd_pct", "relative_humidity_sd_pct"),
                ("so2_ug_m3", "so2_ug_m3_used"),
                ("so2_sigma_ln", "so2_sigma_ln"),
                ("mild_sea", "mild_sea"),
            )
        }
    )


def chloride_at(table: pd.DataFrame) -> uncertainty.Chloride:
    """Chloride at any distance, with what else is known of each anchor's place."""
    known = {
        name: table[name].to_numpy(float)[:, None]
        for name in (
            "sea_openness",
            "height_above_sea_m",
            "elevation_m",
            "salt_share",
        )
    }
    known["shielding"] = table["sea_shielding"].to_numpy(float)[:, None]
    learned = None
    if SALT_SHIFT in table:
        learned = [table[name].to_numpy(float)[:, None] for name in (SALT_SHIFT, SALT_SPREAD)]

    def at(distance_m: np.ndarray, rows: slice) -> tuple[np.ndarray, np.ndarray]:
        found = salt.chloride(distance_m, **{name: value[rows] for name, value in known.items()})
        if learned is None:
            return found
        shift_ln, spread = (value[rows] for value in learned)
        return found.median * np.exp(shift_ln), found.sigma_ln * spread

    return at


def wet_and_liquid(
    temperature_c: np.ndarray,
    relative_humidity_pct: np.ndarray,
    wet_counted_h_y: np.ndarray,
    liquid_salt_counted_share: np.ndarray,
) -> pd.DataFrame:
    """Time of wetness, and the share of the year in which only some salts are liquid.

    Parameters
    ----------
    temperature_c, relative_humidity_pct : ndarray, shape (n, 12)
        Monthly means.
    wet_counted_h_y, liquid_salt_counted_share : ndarray, shape (n,)
        The same two, counted hour by hour in a region pack; NaN where it has none. They stand in
        place of what is estimated from the means.

    Returns
    -------
    DataFrame
        `time_of_wetness_h_y`, `liquid_salt_share`, `wetness_source` (counted, estimated, unknown).
    """
    hours, liquid = np.empty((2, len(temperature_c)))
    for begin in range(0, len(temperature_c), ROWS_AT_ONCE):
        p = slice(begin, begin + ROWS_AT_ONCE)
        air = (temperature_c[p], relative_humidity_pct[p])
        hours[p] = wetness.time_of_wetness_h_y(*air)
        liquid[p] = wetness.deliquescent_share_of_year(*air)
    counted = np.isfinite(wet_counted_h_y)
    hours = np.where(counted, wet_counted_h_y, hours)
    by = np.where(counted, "counted", np.where(np.isfinite(hours), "estimated", UNKNOWN))
    return pd.DataFrame(
        {
            "time_of_wetness_h_y": hours,
            "liquid_salt_share": np.where(counted, liquid_salt_counted_share, liquid),
            "wetness_source": by.astype(object),
        }
    )


def probabilities_json(table: pd.DataFrame, columns: tuple[str, ...]) -> pd.Series:
    """Working columns as one JSON text per row, empty where unknown."""
    values = table[list(columns)].to_numpy(float)
    known = ~np.isnan(values).any(axis=1)
    text = np.full(len(values), "", dtype=object)
    names = [column.removeprefix("probability_") for column in columns]
    form = "{" + ", ".join(f'"{name}": %.3f' for name in names) + "}"
    # rows that read alike are written once
    code, first = _alike(values[known])
    said = np.array([form % tuple(row) for row in values[known][first].tolist()], dtype=object)
    text[known] = said[code]
    return pd.Series(text, index=table.index, dtype=object)


def _alike(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number of each row, the same where all its values have the same three decimals, and the
    first row of each number."""
    steps = values * 1000.0
    nearest = np.rint(steps)
    # the decimals of what lies in the middle of two steps are left to the writing of each value
    plain = (np.abs(steps - nearest) < 0.4999) & (values > 0.0) & (values <= 1.0)
    cells = np.where(plain | (values == 0.0) & ~np.signbit(values), nearest / 1000.0, values)
    code = np.zeros(len(cells), dtype=np.int64)
    for column in cells.T:
        # by their bits: -0.0 is written otherwise than 0.0
        found, distinct = pd.factorize(np.ascontiguousarray(column).view(np.int64))
        code = pd.factorize(code * len(distinct) + found)[0]
    first = np.zeros(int(code.max(initial=-1)) + 1, dtype=np.int64)
    first[code[::-1]] = np.arange(len(code))[::-1]
    return code, first
