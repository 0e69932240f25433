"""By hand: what kind of place it is, and the class of EN 1993-1-4 Annex A that it needs."""

from __future__ import annotations

import numpy as np
from hand import Place
from scipy.stats import norm

ANNEX_A = "EN 1993-1-4:2006+A1:2015, Annex A, "
JUDGED = "judgement"
CLASSES = ("I", "II", "III", "IV", "V")
ENOUGH = 0.84  # the chance with which a class or a band must suffice


def kind_of_place(at: Place) -> None:
    """Shore that counts, sea cliff or not, washing."""
    layers, step = at.layers, at.step
    sea_m, lake_m = layers["coast_distance_m"], layers.get("salt_lake_m", np.inf)
    lake = lake_m < sea_m
    at.known["by lake"] = lake
    at.known["salt m"] = step(
        "shore that throws salt, m",
        lake_m if lake else sea_m,
        f"the nearer of sea and salt lake: {layers['salt_lake']}" if lake else "the sea",
        JUDGED,
    )
    at.known["salt sd m"] = layers["salt_lake_sd_m" if lake else "coast_distance_sd_m"]
    _sea_cliff(at, sea_m)
    slope, said = at.number("face_slope_deg"), at.said("rain_washed")
    if "yes" in (at.said("vegetation"), at.said("salt_crust")):
        word, rule = "no", "plants or a crust keep the rain off"
    elif said != "unknown":
        word, rule = said, "the register's word"
    elif slope is not None and slope < 85:
        word, rule = "yes", "face below 85 degrees"
    elif slope is not None and slope > 100:
        word, rule = "no", "face above 100 degrees"
    else:
        word, rule = "unknown", "no word, and no face that tells"
    at.known["washing"] = step("washing", word, rule, "common practice, no source")
    at.expect(washing=word)


def _sea_cliff(at: Place, sea_m: float) -> None:
    said, slope = at.said("sea_cliff"), at.number("face_slope_deg")
    height = at.number("height_above_sea_m")
    height = at.number("elevation_m") if height is None else height
    measured = at.number("coast_distance_m") is not None
    low = not measured and height is not None and height <= 60 and sea_m <= 1000
    steep = slope is not None and slope >= 60 and sea_m <= 500
    sure = False
    if said in ("yes", "no"):
        word, rule, sure = said, "the register's word", said == "yes"
    elif at.layers["sea_salinity_g_kg"] > 45:
        word, rule = "no", "water above 45 g/kg is no sea"
    elif measured:
        word = "yes" if sea_m <= 250 else "no"
        rule = "measured: a cliff up to 250 m"
    elif low:
        word, rule, sure = "yes", "no higher than 60 m and within 1000 m of the layer's shore", True
    elif sea_m <= 500:
        word, rule, sure = "yes", "within 500 m of the layer's shore", steep
        rule += ", face of 60 degrees or more" if steep else ""
    else:
        word, rule = "no", "farther than 500 m"
    at.step("sea cliff", word, rule, JUDGED)
    nearest = sure and not measured and sea_m > 250
    at.known["nearest band"] = nearest
    at.known["class m"] = at.step(
        "distance that the class counts with, m",
        0.0 if nearest else at.known["salt m"],
        "a sea cliff beyond doubt, not measured: the nearest band" if nearest else "as it is",
        JUDGED,
    )
    at.known["class sd m"] = 0.0 if nearest else at.known["salt sd m"]
    at.expect(sea_cliff=word)


def so2_of_place(at: Place) -> None:
    """Concentration, its spread, and deposition."""
    given = at.number("so2_ug_m3")
    at.known["so2"] = at.step(
        "SO2, ug/m3",
        2.0 if given is None else given,
        "assumed, within a factor of 2" if given is None else "given, within 20 %",
        JUDGED,
    )
    at.known["so2 sigma"] = np.log(2) if given is None else 0.2
    deposition = at.step(
        "SO2 deposition, mg/(m2 d)", 0.8 * at.known["so2"], "0.8 of the concentration",
        "ISO 9223:2012, 6.2, from memory",
    )  # fmt: skip
    at.expect(so2_mg_m2_d=deposition)


def f1_sea(distance_m: float, mild: bool) -> int:
    """F1 of the sea."""
    if distance_m > 10_000:
        return 0
    if distance_m > 1_000:
        return -3
    if distance_m > 250:
        return -7
    return -10 if mild else -15


def f1_road(at: Place) -> int:
    """F1 of a road with de-icing salt."""
    road_m = at.number("salted_road_m")
    if at.said("salted_tunnel") == "yes":
        return -10
    if road_m is None or road_m > 100:
        return 0
    return -3 if road_m > 10 else -7


def f2_so2(so2_ug_m3: float) -> int:
    """F2; the table ends at 250."""
    if so2_ug_m3 < 10:
        return 0
    return -5 if so2_ug_m3 < 90 else -10


def factor(f1: int, f2: int, washed: bool) -> int:
    """F1 + F2 + F3; F3 counts only where the first two are below 0."""
    return f1 + f2 + (-7 if not washed and f1 + f2 < 0 else 0)


def class_of(crf: int) -> int:
    """Class I to V as 1 to 5."""
    if crf > 0:
        return 1
    if crf > -7:
        return 2
    if crf > -15:
        return 3
    return 4 if crf >= -20 else 5


def resistance_class(at: Place) -> None:
    """Factor and class at the best estimate, and the chance of each class."""
    known, step, mild = at.known, at.step, at.layers["mild_sea"]
    so2, washed, distance = known["so2"], known["washing"] == "yes", known["class m"]
    odd = at.said("volcanic_gas") == "yes" or so2 > 250
    sea, road, f2 = f1_sea(distance, mild), f1_road(at), f2_so2(so2)
    where = "Table A.1 (second-hand)"
    step(
        "F1 of the sea", sea, f"{distance:g} m" + (", a mild sea" if mild else ""), ANNEX_A + where
    )
    step("F1 of a salted road", road, "by its distance, or a tunnel", ANNEX_A + where)
    step("F2", f2, f"SO2 {so2:g} ug/m3", ANNEX_A + where)
    f1 = min(sea, road)
    both = [factor(f1, f2, w) for w in (True, False)]
    crf = both[0] if washed else both[1]
    f3 = crf - f1 - f2
    step("F3", f3, "washed" if washed else "not washed, counts below 0 only", ANNEX_A + where)
    known["odd"] = step(
        "outside the standard", odd, "volcanic gas, or SO2 above 250", ANNEX_A + "Table A.1"
    )
    number = 5 if odd else class_of(crf)
    if not odd:
        step("factor", crf, f"F1 {f1} + F2 {f2} + F3 {f3}", ANNEX_A + "A.2")
    step(
        "class",
        CLASSES[number - 1],
        "counts as V" if odd else "0 > -7 > -15 >= -20 >",
        JUDGED if odd else ANNEX_A + "Table A.2 (from memory)",
    )
    known |= {"class": number, "f1 sea": sea, "f1 road": road}
    # chance: the distance is normal (below 0 counts as 0), SO2 lognormal
    bands_m, sd = (0.0, 250.0, 1_000.0, 10_000.0, np.inf), known["class sd m"]
    bands_so2 = (0.0, 10.0, 90.0, 250.0)
    chance = np.zeros(5)
    for near, far in zip(bands_m, bands_m[1:], strict=False):
        if sd:
            p_sea = norm.cdf(far, distance, sd) - (norm.cdf(near, distance, sd) if near else 0.0)
        else:
            p_sea = float(near < distance <= far or (near == 0 and distance <= 0))
        for low, high in zip(bands_so2, bands_so2[1:], strict=False):
            ends = [
                norm.cdf(np.log(x / so2) / known["so2 sigma"]) if x else 0.0 for x in (low, high)
            ]
            f1_here = min(f1_sea(min(far, 1e6), mild), f1_road(at))
            worth = class_of(factor(f1_here, f2_so2(low), washed))
            chance[worth - 1] += p_sea * (ends[1] - ends[0])
    if odd:
        chance = np.eye(5)[4]
    sure = int(np.argmax(np.append(np.cumsum(chance)[:-1] >= ENOUGH, True))) + 1
    step(
        "chance of class I to V", chance.tolist(),
        f"distance {distance:g} m with standard deviation {sd:g} m, SO2 lognormal", "arithmetic",
    )  # fmt: skip
    known["class sure"] = step(
        f"class that suffices with {ENOUGH:.0%} chance", CLASSES[sure - 1], "summed up", JUDGED
    )
    at.expect(
        outside_standard=odd,
        crc=CLASSES[number - 1],
        crc_probabilities=[round(float(p), 4) for p in chance],
    )
    if not odd:
        at.expect(crf=crf)
    if so2 <= 250:
        at.expect(crf_washed=both[0], crf_unwashed=both[1])
