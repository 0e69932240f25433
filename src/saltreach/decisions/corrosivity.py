"""From exposures to corrosivity: the science's formulas applied to a table of anchors."""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.register.columns import CATEGORIES
from saltreach.science import atmosphere, salt

METALS = ("steel", "zinc")
PROBABILITY_COLUMNS = tuple(f"probability_{c}" for c in CATEGORIES)
"""Working columns; written out as the one JSON column `category_probabilities`."""
P10, P90 = 0.1, 0.9


def corrosivity(table: pd.DataFrame) -> pd.DataFrame:
    """Chloride, first-year losses, ISO 9223 category and its probabilities for each anchor.

    Parameters
    ----------
    table : DataFrame
        Columns `coast_distance_m`, `temperature_c`, `temperature_sd_c`,
        `relative_humidity_pct`, `relative_humidity_sd_pct`, `so2_ug_m3_used`.

    Returns
    -------
    DataFrame
        Columns of stage "science" up to `category_probabilities`, `so2_mg_m2_d`, the working
        columns `PROBABILITY_COLUMNS`, and `beyond_calibration`.
    """
    chloride = salt.chloride_mg_m2_d(table["coast_distance_m"])
    so2 = atmosphere.so2_deposition_mg_m2_d(table["so2_ug_m3_used"])
    air = (table["temperature_c"], table["relative_humidity_pct"], so2, chloride)
    out = {"so2_mg_m2_d": so2, "chloride_mg_m2_d": chloride}
    for name, p in (("p10", P10), ("p90", P90)):
        out[f"chloride_mg_m2_d_{name}"] = salt.lognormal_quantile(chloride, salt.SIGMA_LN, p)
    rates, sigmas = {}, {}
    for metal in METALS:
        rate = atmosphere.first_year_loss_um_y(metal, *air)
        sigma = atmosphere.loss_sigma_ln(
            metal,
            *air,
            temperature_sd_c=table["temperature_sd_c"],
            relative_humidity_sd_pct=table["relative_humidity_sd_pct"],
            chloride_sigma_ln=salt.SIGMA_LN,
        )
        rates[metal], sigmas[metal] = rate, sigma
        out[f"{metal}_rate_um_y"] = rate
        for name, p in (("p10", P10), ("p90", P90)):
            out[f"{metal}_rate_um_y_{name}"] = salt.lognormal_quantile(rate, sigma, p)
    worst = np.maximum.reduce([atmosphere.category_index(m, rates[m]) for m in METALS])
    names = np.array([*CATEGORIES, ""], object)
    out["corrosivity_category"] = names[np.where(np.isnan(worst), -1, worst).astype(int)]
    probabilities = atmosphere.worse_category_probabilities(rates, sigmas)
    out.update(zip(PROBABILITY_COLUMNS, probabilities.T, strict=True))
    out["beyond_calibration"] = atmosphere.beyond_calibration(
        temperature_c=air[0],
        relative_humidity_pct=air[1],
        so2_mg_m2_d=air[2],
        chloride_mg_m2_d=air[3],
    )
    return pd.DataFrame(out, index=table.index)


def probabilities_json(table: pd.DataFrame) -> pd.Series:
    """`PROBABILITY_COLUMNS` as one JSON text per row, empty where unknown."""
    values = table[list(PROBABILITY_COLUMNS)].to_numpy(float)
    text = np.array("{", object)
    for i, category in enumerate(CATEGORIES):
        number = np.char.mod("%.3f", np.nan_to_num(values[:, i])).astype(object)
        text = text + f'{", " if i else ""}"{category}": ' + number
    text = np.where(np.isnan(values).any(axis=1), "", text + "}")
    return pd.Series(text, index=table.index, dtype=object)
