"""By hand: salt, losses and ISO 9223 category by draws; hours of wetness by counting."""

from __future__ import annotations

import numpy as np
from hand import UNCERTAIN, Place, draws, normal
from hand_place import JUDGED, f1_road
from scipy.stats import truncnorm

ISO = "ISO 9223:2012, "
MEMORY = ", from memory"
CATEGORIES = ("C1", "C2", "C3", "C4", "C5", "CX")
UPPER = {"steel": (1.3, 25, 50, 80, 200, 700), "zinc": (0.1, 0.7, 2.1, 4.2, 8.4, 25)}
DOSE = {
    "steel": (1.77, 0.52, 0.020, 0.150, -0.054, 0.102, 0.62, 0.033, 0.040),
    "zinc": (0.0129, 0.44, 0.046, 0.038, -0.071, 0.0175, 0.57, 0.008, 0.085),
}
FITTED = {"T": (-17.1, 28.7), "RH": (34.0, 93.0), "SO2": (0.7, 150.4), "Cl": (0.4, 760.5)}
FIT = "fit to ISOCORRAG (ASTM DS68), MICAT and Cole 2003, units inferred"


def _or(value, otherwise):
    return otherwise if value is None else value


def salt_parts(at: Place, d: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Median chloride deposition at distances, mg/(m2 d), and the sigma of its logarithm."""
    layers, lake = at.layers, at.known["by lake"]
    share = 0.5 if lake else min(layers["sea_salinity_g_kg"], 35.0) / 35.0
    openness = layers.get("sea_openness")
    high = max(_or(at.number("height_above_sea_m"), 0.0) - 15.0, 0.0)
    hidden = 30.0 ** -layers.get("sea_shielding", 0.0)
    uphill = max(layers.get("elevation_m", 0.0) - 200.0, 0.0) / 500.0
    open_surf = 0.2 + 0.8 * _or(openness, 0.5) / 0.5
    open_spray = max((_or(openness, 0.5) - 0.2) / 0.3, 0.0)
    spray_one = share * 1000.0 * np.exp(-d / 30.0) * np.exp(-high / 30.0) * hidden
    spray = spray_one * open_spray
    lower = np.exp(-high / 100.0)
    surf = share * 263.0 / (1.0 + np.sqrt(d**2 + 30.0**2) / 282.0) ** 2 * open_surf * lower * hidden
    thinner = np.exp(-uphill * (1.0 - np.exp(-d / 50e3)))
    inland = thinner * (share * 1.49 * np.exp(-d / 100e3) + 6.74 * np.exp(-d / 500e3))
    median = spray + surf + inland + 0.2
    if not d.shape:
        at.known["parts"] = spray, surf, inland
    plain = spray_one * min(open_spray, 1.0)
    variance = 0.93**2 + 0.27**2 + (1.5 * plain / (plain + surf + inland + 0.2)) ** 2
    if openness is not None:
        variance = variance - (0.41 * surf / median) ** 2
    variance = variance + (0.5 * np.log(lower) * surf / median) ** 2
    variance = variance + (0.5 * np.log(thinner) * inland / (inland + 0.2)) ** 2
    return median, np.sqrt(variance)


def _factors(at: Place) -> None:
    """What changes the salt besides the distance, in words."""
    layers = at.layers
    water = "half of an ocean's, a salt lake" if at.known["by lake"] else (
        f"{layers['sea_salinity_g_kg']:g} g/kg, at most 35, over 35")  # fmt: skip
    at.step("share of the ocean's salt", 0.5 if at.known["by lake"] else
            min(layers["sea_salinity_g_kg"], 35.0) / 35.0, water, JUDGED)  # fmt: skip
    at.step("share of open sea around, 0.5 a straight coast", layers["sea_openness"],
            "surf times 0.2 + 0.8 o/0.5, spray times (o - 0.2)/0.3", JUDGED)  # fmt: skip
    if "sea_shielding" in layers:
        at.step("terrain towards the sea, 0 to 1", layers["sea_shielding"],
                "surf and spray over 30 to its power",
                "Equipment Environmental Engineering 2023 no. 2, abstract")  # fmt: skip
    if at.number("height_above_sea_m") is not None:
        at.step("height above the sea, m", at.number("height_above_sea_m"),
                "above 15 m surf by 1/e each 100 m, spray each 30 m", JUDGED)  # fmt: skip
    if layers["elevation_m"] > 200:
        at.step("elevation of the ground, m", layers["elevation_m"],
                "above 200 m what travels far by 1/e each 500 m, less near the sea",
                JUDGED)  # fmt: skip


def salt(at: Place) -> None:
    """Chloride deposition with its spread."""
    d, sd = at.known["salt m"], at.known["salt sd m"]
    _factors(at)
    median, sigma = (float(v) for v in salt_parts(at, np.float64(d)))
    at.step(
        "chloride at just that distance, mg/(m2 d)", median,
        "spray {:.3g} + surf {:.3g} + far travelled and inland {:.3g} + residue 0.2".format(
            *at.known["parts"]
        ),
        FIT,
    )  # fmt: skip
    at.step(
        "sigma of its logarithm", sigma, "0.93 between stations, 0.27 of the fit, 1.5 of the spray "
        "by its share, less 0.41 of a known openness by the surf's, half of a decrease with height",
        FIT,
    )  # fmt: skip
    where = np.maximum(d + sd * normal("distance"), 0.0)
    middle, spread = salt_parts(at, where)
    drawn = at.known["salt"] = middle * np.exp(spread * normal("salt"))
    p10, p50, p90 = np.quantile(drawn, (0.1, 0.5, 0.9))
    at.known["salt quantiles"] = p10, p50, p90
    at.step(
        "chloride with the distance uncertain too: p10, p50, p90", [p10, p50, p90],
        f"{len(drawn)} draws, distance {d:g} +- {sd:g} m", "arithmetic",
    )  # fmt: skip
    at.expect(chloride_mg_m2_d_p10=p10, chloride_mg_m2_d=p50, chloride_mg_m2_d_p90=p90)


def loss(metal: str, T, RH, P, S):
    """The SO2 part and the salt part of the first-year loss, um."""
    a1, p1, h1, cold, warm, a2, p2, h2, t2 = DOSE[metal]
    f = np.where(T <= 10, cold * (T - 10), warm * (T - 10))
    return a1 * P**p1 * np.exp(h1 * RH + f), a2 * S**p2 * np.exp(h2 * RH + t2 * T)


def _outside(name: str, value, unit: float):
    low, high = FITTED[name]
    if unit:  # a difference in its unit
        return np.maximum(np.maximum(value - high, low - value), 0.0) / unit
    value = np.maximum(value, low / 100)
    return np.maximum(np.maximum(np.log(value / high), np.log(low / value)), 0.0)


def losses(at: Place) -> None:
    """First-year losses of steel and zinc, the category and its chances, floors included."""
    layers, S, so2 = at.layers, at.known["salt"], at.known["so2"]
    mean, sd = layers["relative_humidity_pct"], layers["relative_humidity_sd_pct"]
    T = layers["temperature_c"] + layers["temperature_sd_c"] * normal("temperature")
    cut = truncnorm((1 - mean) / sd, (100 - mean) / sd, mean, sd)
    RH = cut.ppf(draws()["humidity"])
    P = 0.8 * so2 * np.exp(at.known["so2 sigma"] * normal("so2"))
    middle = (layers["temperature_c"], mean, 0.8 * so2, at.known["salt quantiles"][1])
    least, why = _least(at)
    if least:
        at.step("category no milder than", CATEGORIES[least], why[0], why[1])
    worst, category = np.zeros(S.shape), 0
    for metal, ends in UPPER.items():
        acid, saline = loss(metal, T, RH, P, S)
        w = acid / (acid + saline)
        off = _outside("T", T, 10) ** 2 + _outside("RH", RH, 10) ** 2
        off = off + (w * _outside("SO2", P, 0)) ** 2 + ((1 - w) * _outside("Cl", S, 0)) ** 2
        own = np.sqrt(np.log(1.5) ** 2 + 0.4**2 * off)
        rate = (acid + saline) * np.exp(own * normal("function"))
        worst = np.maximum(worst, np.searchsorted(ends[:-1], rate))
        parts = [float(v) for v in loss(metal, *middle)]
        at.step(
            f"first-year loss of {metal} at the middle of every input, um", sum(parts),
            f"SO2 part {parts[0]:.4g} + salt part {parts[1]:.4g}",
            ISO + f"equation ({1 if metal == 'steel' else 2})" + MEMORY,
        )  # fmt: skip
        found = np.quantile(rate, (0.1, 0.5, 0.9))
        if least:
            low, high = ends[least - 1], ends[least]
            found = np.maximum(found, (low, (low * high) ** 0.5, high))
        at.step(
            f"first-year loss of {metal}: p10, p50, p90, um", found.tolist(),
            "drawn, with the function's own -33 to +50 %" + (", no milder than that" * bool(least)),
            ISO + "Annex A" + MEMORY,
        )  # fmt: skip
        category = max(category, int(np.searchsorted(ends[:-1], found[1])))
        name = f"{metal}_rate_um_y"
        at.expect(**{f"{name}_p10": found[0], name: found[1], f"{name}_p90": found[2]})
    chance = np.bincount(np.maximum(worst, least).astype(int), minlength=6) / len(S)
    at.step(
        "category", CATEGORIES[category], "the worse of steel and zinc at their medians",
        ISO + "Table 2" + MEMORY,
    )  # fmt: skip
    at.step("chance of C1 to CX", chance.tolist(), "share of the draws", "arithmetic")
    beyond = any(
        not low <= value <= high for value, (low, high) in zip(middle, FITTED.values(), strict=True)
    )
    at.step("beyond the range of the functions", beyond, "at the middle of every input",
            ISO + "clause 8" + MEMORY)  # fmt: skip
    at.expect(
        corrosivity_category=CATEGORIES[category],
        category_probabilities=[round(float(p), 4) for p in chance],
        beyond_calibration=beyond,
    )


def _least(at: Place) -> tuple[int, tuple[str, str]]:
    annex = ISO + "Annex C" + MEMORY
    if at.said("volcanic_gas") == "yes":
        return 4, ("volcanic gas", JUDGED)
    if f1_road(at) <= -7:
        return 3, ("within 10 m of de-icing salt, or in its tunnel", annex)
    if f1_road(at) == -3:
        return 2, ("within 100 m of de-icing salt", annex)
    return 0, ("", "")


def wetness(at: Place) -> None:
    """Hours above 80 % and 0 degC, and those in which only MgCl2 and CaCl2 are liquid."""
    days = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    phase = np.cos(2 * np.pi * draws()[UNCERTAIN[0]])
    day, warmth = normal("humidity"), normal("temperature")
    wet = brine = 0.0
    months = zip(
        at.layers["temperature_c_by_month"],
        at.layers["relative_humidity_pct_by_month"],
        days,
        strict=True,
    )
    for T, RH, length in months:
        wave = max(min(15.0, 100.0 - RH, RH), 0.0)
        humidity = RH + wave * phase + 8.0 * day
        temperature = T - 4.0 * phase + 4.0 * warmth
        wet += 24 * length * np.mean((humidity > 80) & (temperature > 0))
        brine += length * np.mean((humidity > 33) & (humidity < 75)) / 365.25
    assumed = "day-night wave of 15 % and 4 degC, days differ by 8 % and 4 degC; "
    at.step(
        "time of wetness, h/y", wet, assumed + "counted above 80 % and 0 degC",
        "ISO 9223:1992 (definition)" + MEMORY + "; the wave: judgement",
    )  # fmt: skip
    at.known["brine"] = at.step(
        "share of the year in which only MgCl2 and CaCl2 are liquid", brine,
        assumed + "counted between 33 and 75 %", "deliquescence near 25 degC" + MEMORY,
    )  # fmt: skip
    at.expect(time_of_wetness_h_y=wet, liquid_salt_share=brine)
