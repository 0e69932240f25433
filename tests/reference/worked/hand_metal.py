"""By hand: hazard of stress-corrosion cracking, and the metal that is advised."""

from __future__ import annotations

import numpy as np
from hand import Place
from hand_place import ANNEX_A, ENOUGH, JUDGED, f1_road
from scipy.integrate import quad
from scipy.stats import norm

BANDS = ("low", "moderate", "raised", "high", "severe")
BAND_ENDS = (0.03, 0.10, 0.25, 0.45)
LADDER = ("304", "316", "duplex", "superaustenitic", "titanium")
BY_CLASS = ("304", "304", "316", "duplex", "superaustenitic")
BY_HAZARD = dict(
    zip(BANDS, ("304", "316", "duplex", "superaustenitic", "superaustenitic"), strict=True)
)
CARBONATE = ("limestone", "dolomite", "marble", "chalk", "calcarenite", "carbonate sedimentary")


def sun_of(azimuth_deg: float, slope_deg: float, lat_deg: float) -> float:
    """Beam on a face at the sunniest moment of a day over that of an overhead sun, year's mean."""
    a, s, f = np.radians([azimuth_deg, slope_deg, lat_deg])
    day, hour = np.meshgrid(np.arange(1, 366), np.radians(np.arange(-180, 180, 2.5)), indexing="ij")
    dec = np.radians(23.45) * np.sin(2 * np.pi * (284 + day) / 365)  # Cooper (1969)
    up = np.sin(f) * np.sin(dec) + np.cos(f) * np.cos(dec) * np.cos(hour)
    north = np.cos(f) * np.sin(dec) - np.sin(f) * np.cos(dec) * np.cos(hour)
    east = -np.cos(dec) * np.sin(hour)
    cosine = np.sin(s) * (np.sin(a) * east + np.cos(a) * north) + np.cos(s) * up
    through = 0.7 ** (np.maximum(up, 0.02) ** -0.678) / 0.7
    beam = np.where(up > 0, np.maximum(cosine, 0.0) * through, 0.0)
    return float(beam.max(axis=1).mean())


def bell(x: float) -> float:
    """Logistic curve."""
    return 1.0 / (1.0 + np.exp(-x))


class Hazard:
    """Hazard of a place as a function of its chloride deposition."""

    def __init__(self, *, temperature_c, warm_month_c, washed, sun, brine, carbonate, sulphate):
        warm = temperature_c + 8.0 if warm_month_c is None else max(warm_month_c, temperature_c)
        self.hot = warm + 4.0 + 12.0 * sun
        self.warmth = 0.5 * bell((self.hot - 30) / 5) + 0.5 * bell((temperature_c - 20) / 4)
        self.damp = 0.3 + 0.7 * brine / (brine + 0.15)
        self.rock = 1.15 if carbonate else 1.0
        self.seeps = 1.0 + 0.5 * sulphate
        self.washed = washed

    def at(self, chloride: float) -> float:
        """By the days that salt stays: 60 not washed, 20 washed, and a quarter of doubt."""

        def stuck(days: float) -> float:
            lies = chloride / 2.4 * days
            return lies**2 / (lies**2 + 1450.0**2)

        dry = stuck(60.0)
        lying = 0.75 * 0.5 * stuck(20.0) + 0.25 * dry if self.washed else dry
        return self.warmth * self.damp * self.rock * self.seeps * lying

    def mean(self, median: float, sigma: float) -> float:
        """Mean over a lognormal chloride, at most 1."""
        value, _ = quad(lambda z: self.at(median * np.exp(sigma * z)) * norm.pdf(z), -8, 8)
        return min(value, 1.0)


def hazard(at: Place) -> None:
    """Hazard, its band, and the band that is not exceeded with 84 % chance."""
    layers, known, step = at.layers, at.known, at.step
    p10, p50, p90 = known["salt quantiles"]
    sigma = np.log(p90 / p10) / (2 * norm.ppf(0.9))
    step("sigma of ln chloride", sigma, "ln(p90/p10)/2.563", "arithmetic")
    face = [at.number(c) for c in ("face_azimuth_deg", "face_slope_deg")]
    sun = None if None in face else sun_of(*face, float(at.register["lat"]))
    step("sun on the face, 0 to 1", "unknown" if sun is None else sun,
         "from its direction and slope",
         "solar geometry; Meinel and Meinel 1976, from memory")  # fmt: skip
    rock, seepage, washing = layers["lithology"], at.said("seepage"), known["washing"]
    sulphate = {"unknown": 0.02, "sulphate": 1.0}.get(seepage, 0.0)
    ends = {}
    for end in ("mild", "harsh"):
        harsh = end == "harsh"
        ends[end] = Hazard(
            temperature_c=layers["temperature_c"],
            warm_month_c=max(layers["temperature_c_by_month"]),
            washed=washing == "yes" or (washing == "unknown" and not harsh),
            sun=float(harsh) if sun is None else sun,
            brine=known["brine"],
            carbonate=harsh if rock == "unknown" else rock in CARBONATE,
            sulphate=sulphate,
        )
    worst = ends["harsh"]
    step("metal at its warmest, degC", worst.hot, "warmest month + 4 + 12 in full sun", JUDGED)
    step("warmth", worst.warmth, "half by 30 degC at the warmest, half by 20 degC in the mean",
         "Prosek 2009 (30 degC); the form is judgement")  # fmt: skip
    step("damp", worst.damp, "0.3 + 0.7 q / (q + 0.15), q the share of brine", JUDGED)
    step(
        "rock and seepage",
        worst.rock * worst.seeps,
        "1.15 on carbonate, 1.5 under sulphate",
        JUDGED,
    )
    least, why = _least(at)
    if least:
        step("hazard no lower than", least, why, JUDGED)
    found = {end: max(h.mean(p50, sigma), least) for end, h in ends.items()}
    step("hazard, unknowns at their harsh end", found["harsh"],
         "product of these with the salt that lies there (half at 1450 mg/m2), mean over the salt",
         "Örnek 2019 (1450); washing, doubt and days: judgement")  # fmt: skip
    step("hazard, unknowns at their mild end", found["mild"], "the same", JUDGED)
    band = step("band", band_of(found["harsh"]), "limits 0.03, 0.10, 0.25, 0.45", JUDGED)
    high = worst.at(p50 * np.exp(norm.ppf(ENOUGH) * sigma))
    known["band sure"] = step(
        f"band not exceeded with {ENOUGH:.0%} chance", band_of(max(high, least)),
        f"hazard {high:.4g} at the salt that {ENOUGH:.0%} do not exceed", JUDGED,
    )  # fmt: skip
    known["hazard floor"] = least
    at.expect(scc_hazard=found["harsh"], scc_hazard_mild=found["mild"], scc_band=band,
              scc_band_confident=known["band sure"])  # fmt: skip


def band_of(hazard: float) -> str:
    """A hazard on a limit is above."""
    return BANDS[sum(hazard >= end for end in BAND_ENDS)]


def _least(at: Place) -> tuple[float, str]:
    """Least hazard; where several apply, the first of the list counts."""
    brine = (
        at.known["by lake"]
        and at.known["salt m"] <= 2000
        and at.layers["salt_lake_brine"] == "magnesium"
    )
    warm = brine and at.layers["temperature_c"] >= 15
    if warm and at.known["washing"] != "yes":
        return 0.45, "shore of a warm magnesium brine, not washed"
    if warm:
        return 0.25, "shore of a warm magnesium brine"
    if at.said("seepage") == "sulphate" and at.known["salt m"] <= 10_000:
        return 0.25, "sulphate seeps within 10 km of the sea"
    if at.said("volcanic_gas") == "yes":
        return 0.10, "volcanic gas"
    if brine:
        return 0.03, "shore of a cold magnesium brine"
    if f1_road(at) <= -7:
        return 0.03, "within 10 m of de-icing salt"
    return 0.0, ""


def metal(at: Place) -> None:
    """The least metal that satisfies class, hazard and policy, and what can be had."""
    known, step, policy = at.known, at.step, at.policy
    codes: list[str] = []

    def rule(code: str, when: bool) -> bool:
        codes.extend([code] * when)
        return when

    odd, washing = known["odd"], known["washing"]
    rule("OUTSIDE-STANDARD", odd)
    rule("EN-1993-1-4", not odd)
    rule("SEA-CLIFF", known["nearest band"])
    rule("SALT-LAKE", known["by lake"] and known["f1 sea"] < 0)
    rule("ROAD-SALT", known["f1 road"] < known["f1 sea"])
    rule("WASHING-UNKNOWN", washing == "unknown")
    rule("CRUST", at.said("salt_crust") == "yes")
    numbers = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
    sure = max(known["class"], numbers[known["class sure"]])
    rule("CLASS-CONFIDENCE", sure > known["class"])
    minimum = step("least metal of the class", BY_CLASS[known["class"] - 1], "one grade of its row",
                   ANNEX_A + "Table A.3, from memory")  # fmt: skip
    wanted = step("metal by the class with confidence", BY_CLASS[sure - 1], "one grade of its row",
                  ANNEX_A + "Table A.3, from memory")  # fmt: skip
    duplex = policy.get("duplex_allowed", False)
    if rule("NO-DUPLEX", wanted == "duplex" and not duplex):
        wanted = step("no duplex", "superaustenitic", "the policy accepts none: the next", JUDGED)
    by_hazard = BY_HAZARD[known["band sure"]]
    if by_hazard == "duplex" and not duplex:
        by_hazard = "superaustenitic"
    step("metal by the hazard with confidence", by_hazard, known["band sure"], JUDGED)
    if rule("SCC-HAZARD", _more(by_hazard, wanted)):
        wanted = by_hazard
    rule("SCC-FLOOR", known["hazard floor"] > 0)
    cases = {
        "least_metal": True,
        "least_metal_sea_cliff": at.expected["sea_cliff"] == "yes",
        "least_metal_unwashed": washing != "yes",
    }
    for name, applies in cases.items():
        asked = policy.get(name, "304")
        if rule("POLICY", applies and _more(asked, wanted)):
            wanted = step(name, asked, "the association's rule", "policy")
    if odd:
        wanted = step("outside every rule", "titanium", "the most resistant", JUDGED)
    can = {"304", "316", "titanium"} | ({"duplex"} if duplex else set())
    if at.stock is not None:
        can = set(at.stock) - (set() if duplex else {"duplex"})
    enough = [m for m in LADDER if m in can and not _more(wanted, m)]
    advised = enough[0] if enough else ""
    rule("STOCK-SHORT", not enough)
    rule("AVAILABLE", bool(enough) and advised != wanted)
    step("metal that suffices", wanted, "the highest of these", "arithmetic")
    names = ", ".join(m for m in LADDER if m in can)
    step("metal advised", advised, "the least that suffices of " + names,
         "common practice, no source" if at.stock is None else "the stock list")  # fmt: skip
    at.expect(
        material_minimum=minimum,
        material_recommended=advised,
        material_alternative="" if advised == wanted else wanted,
        material_codes=codes,
    )


def _more(one: str, other: str) -> bool:
    return LADDER.index(one) > LADDER.index(other)
