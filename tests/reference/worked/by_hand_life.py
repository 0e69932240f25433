"""What is left of one anchor, worked out anew: failure of metal and rock year by year.

Imports nothing of saltreach; every number is written in again (see `by_hand_rock`). Integrals are
taken finely (scipy's quadrature, 2,401 nodes of a score) where the tool takes few nodes.
"""

import datetime as dt
import math
from functools import cache

import numpy as np
from by_hand_rock import STRENGTHS, metal_of, same, usual_size
from scipy import integrate, optimize, stats

METALS = ["aluminium", "brass", "zinc-plated steel", "galvanised steel", "430", "303", "stainless",
          "304", "316", "duplex", "superaustenitic", "titanium"]  # fmt: skip
"""In rising resistance."""
TRADE = {"zinc-plated steel": 29, "galvanised steel": 10, "303": 1, "304": 30, "316": 27,
         "duplex": 1, "superaustenitic": 1, "titanium": 1}  # fmt: skip
"""Of 100 anchors that nobody wrote down: judgement."""
CRACKING = {"aluminium": 1.0, "brass": 1.0, "430": 1.0, "303": 1.2, "stainless": 1.0, "304": 1.0,
            "316": 0.4, "duplex": 0.05, "superaustenitic": 0.01, "titanium": 0.0}  # fmt: skip
"""Rate of cracking relative to 304; 316 two to three times slower (Corrosion 75:1371, 2019)."""
ZINC_UM = {"zinc-plated steel": (5, 12), "galvanised steel": (45, 85)}
"""10th and 90th percentile of the coating: common practice."""
SEEN = {  # chance of recording condition 0 to 4 where it would fail within a year, and where not
    "visible": ((0.05, 0.10, 0.20, 0.35, 0.30), (0.70, 0.20, 0.08, 0.018, 0.002)),
    "cracking": ((0.80, 0.10, 0.05, 0.03, 0.02), (0.845, 0.10, 0.035, 0.013, 0.007)),
    "rock": ((0.55, 0.20, 0.12, 0.08, 0.05), (0.70, 0.20, 0.08, 0.018, 0.002)),
}
LOAD_KN, LOAD_SIGMA = 4.0, 0.4
ONE_SIDED = stats.norm.ppf(0.95)
DECILES = 2 * stats.norm.ppf(0.9)
Z = np.linspace(-6, 6, 2401)
Z_WEIGHT = stats.norm.pdf(Z) / stats.norm.pdf(Z).sum()


def decimal_year(text):
    """Middle of a date known to the year, the month or the day."""
    year, month, day = (*map(int, text.split("-")), None, None)[:3]
    first = dt.date(year, month or 1, day or 1)
    if month is None:
        after = dt.date(year + 1, 1, 1)
    elif day is None:
        after = dt.date(year + month // 12, month % 12 + 1, 1)
    else:
        after = first + dt.timedelta(1)
    start, length = dt.date(year, 1, 1), (dt.date(year + 1, 1, 1) - dt.date(year, 1, 1)).days
    return year + ((first - start).days + (after - start).days) / 2 / length


def now(today):
    return today.year + (today.timetuple().tm_yday - 0.5) / 365.25


def years_since(text, today):
    return max(now(today) - decimal_year(text), 0.0)


def weaker_metal(anchor):
    """The weaker of bolt and hanger where both are known, else the bolt's."""
    bolt, hanger = anchor.get("material"), anchor.get("hanger_material")
    if bolt in METALS and hanger in METALS:
        return min(bolt, hanger, key=METALS.index)
    return bolt if bolt in METALS else "unknown"


def metal_chances(anchor, register):
    metal = weaker_metal(anchor)
    if metal != "unknown":
        return {metal: 1.0}
    held = [(a["crag"], weaker_metal(a)) for a in register if weaker_metal(a) != "unknown"]
    chances = {}
    for name in METALS:
        region = sum(m == name for _, m in held) + 10 * TRADE.get(name, 0) / 100
        own = sum(m == name and crag == anchor["crag"] for crag, m in held)
        chances[name] = own + 5 * region / (len(held) + 10)
    total = sum(chances.values())
    hanger = anchor.get("hanger_material")
    out = dict.fromkeys(METALS, 0.0)
    for name, chance in chances.items():
        if hanger in METALS and METALS.index(name) > METALS.index(hanger):
            name = hanger
        out[name] += chance / total
    return {n: c for n, c in out.items() if c > 0}


def age_chances(anchor, register):
    if anchor.get("age_y") is not None:
        return [(anchor["age_y"], 1.0)]
    known = [a["age_y"] for a in register if a.get("age_y") is not None]
    parts = [(float(np.quantile(known, q)), len(known) / 5) for q in (0.1, 0.3, 0.5, 0.7, 0.9)
             if known]  # fmt: skip
    parts += [(age, 10 / 5) for age in (5.0, 12.0, 20.0, 28.0, 35.0)]
    total = sum(w for _, w in parts)
    return [(age, w / total) for age, w in parts]


def condition_chances(register):
    """How usual conditions 0 to 4 are: the trade's count at least as 20 anchors."""
    trade = [0.55, 0.25, 0.12, 0.07, 0.003]
    blank = sum(a.get("condition") is None for a in register)
    weight = max(20, blank) / sum(trade)
    counts = [sum(a.get("condition") == c for a in register) + weight * t
              for c, t in enumerate(trade)]  # fmt: skip
    return [c / sum(counts) for c in counts]


def odds(p, ratio):
    """Bayes' rule on odds."""
    if math.isinf(ratio):
        return 1.0
    return p * ratio / (p * ratio + 1 - p)


def either(*parts):
    out = 1.0
    for p in parts:
        out *= 1 - p
    return 1 - out


def evidence(anchor, way, since, age, usual):
    """Factor on the odds by what was recorded; a good finding halves in three years."""
    fails, holds = SEEN[way]
    condition = anchor.get("condition")
    if condition is None:
        bad = sum(
            u * max(f / h, 1) for u, f, h in zip(usual[:4], fails[:4], holds[:4], strict=True)
        )
        return 1 + min(age / 15, 1) * (bad / sum(usual[:4]) - 1)
    if condition == 4:
        return math.inf
    ratio = fails[condition] / holds[condition]
    if ratio < 1:
        ratio **= 0.5 ** (since / 3) if since is not None else 0.0
    return ratio


def loss_um(rate, years, power):
    """ISO 9224:2012: a power law for 20 years, then its tangent."""
    years = np.asarray(years, float)
    late = 20**power + power * 20 ** (power - 1) * (years - 20)
    return rate * np.where(years <= 20, years**power, late)


def years_to(loss, rate, power):
    if loss / rate <= 20**power:
        return (loss / rate) ** (1 / power)
    return 20 + (loss / rate - 20**power) / (power * 20 ** (power - 1))


def overload(median_kn, sigma):
    """Chance that the greatest load of a year is above a lognormal strength."""
    with np.errstate(divide="ignore"):
        margin = np.log(median_kn / LOAD_KN)
    return stats.norm.sf(margin / math.hypot(sigma, LOAD_SIGMA))


def rusted(metal, age, anchor, diameter):
    """Median strength (kN) of coated steel at every node of one score, harsh to mild."""
    low, high = ZINC_UM[metal]

    def spread(name):
        if anchor.get(name + "_p90") is None:
            return 0.4
        return math.log(anchor[name + "_p90"] / anchor[name + "_p10"]) / DECILES

    zinc = anchor["zinc_rate_um_y"] * np.exp(
        math.hypot(spread("zinc_rate_um_y"), math.log(high / low) / DECILES) * Z
    )
    steel = anchor["steel_rate_um_y"] * np.exp(math.hypot(spread("steel_rate_um_y"), 0.3) * Z)
    coated_y = np.array([years_to(math.sqrt(low * high), z, 0.813) for z in zinc])
    bare_y = np.maximum(age - coated_y, 0)
    deep_mm = 3 * loss_um(steel, bare_y, 0.523) / 1000
    left = np.maximum(1 - 2 * deep_mm / diameter, 0) ** 2
    whole = legs(anchor) * 0.6 * 500 * math.pi / 4 * diameter**2 / 1000
    return whole * left * math.exp(ONE_SIDED * 0.05)


def whole_kn(metal, anchor, diameter):
    """Median of an uncracked bar in shear; EN 1992-4:2018 7.2.2.3.1, from memory, for the ratio."""
    mpa, shear = metal_of(anchor) or STRENGTHS[metal]
    return (
        legs(anchor) * shear * mpa * math.pi / 4 * diameter**2 / 1000 * math.exp(ONE_SIDED * 0.05)
    )


def legs(anchor):
    return 2 if anchor.get("kind") == "bonded twin-leg" else 1


def cracking_y(metal, anchor):
    rate = anchor.get("scc_hazard", math.nan) * CRACKING[metal] if CRACKING[metal] else 0.0
    return math.inf if rate == 0 else 6.0 / rate


def cracks_in(metal, age, anchor):
    """Weibull, shape 2: chance to crack in the year after an age reached."""
    scale = cracking_y(metal, anchor)
    return -math.expm1((age / scale) ** 2 - ((age + 1) / scale) ** 2)


def metal_fails(metal, age, ahead, anchor, diameter, usual, factor=1.0):
    """Chance that one metal, now of that age, fails in the year after `ahead` years."""
    since = anchor.get("since_inspection_y")
    since = None if since is None else since + ahead
    seen = evidence(anchor, "visible", since, age, usual)
    cracks = evidence(anchor, "cracking", since, age, usual)

    def often(p):
        return 1 - (1 - min(p, 1 - 1e-12)) ** factor

    rest = odds(often(1e-5), seen)
    if metal in ZINC_UM:
        strengths = rusted(metal, age + ahead, anchor, diameter)
        p = odds(often(float((Z_WEIGHT * overload(strengths, 0.05)).sum())), seen)
        as_304 = odds(often(cracks_in("304", age + ahead, anchor)), cracks)
        p = max(p, as_304) if not math.isnan(as_304) else p
    else:
        p = odds(often(cracks_in(metal, age + ahead, anchor)), cracks)
        p = either(p, overload(whole_kn(metal, anchor, diameter), 0.05))
    failed = 0.0
    if anchor.get("condition") is None:
        failed = min(age / 15, 1) * usual[4]
    return either(p, rest, failed)


@cache
def rock_gives_way(p05, p50):
    """Chance in a year, having held the load of a year before this one."""
    middle, spread = math.log(p50), math.log(p50 / p05) / ONE_SIDED

    def mean(power):
        def f(z):
            holds = stats.norm.cdf((middle + spread * z - math.log(LOAD_KN)) / LOAD_SIGMA)
            return stats.norm.pdf(z) * holds**power

        return integrate.quad(f, -9, 9, epsabs=1e-13, limit=400)[0]

    return 1 - mean(2) / mean(1)


def rock_fails(anchor, age, ahead, usual):
    p = rock_gives_way(anchor.get("rock_kn_p05", 8.0), anchor.get("rock_kn_p50", 30.0))
    since = anchor.get("since_inspection_y")
    since = None if since is None else since + ahead
    seen = dict(anchor)
    if seen.get("condition") == 4:  # the metal's; the rock then counts as poor
        seen["condition"] = 3
    return odds(p, evidence(seen, "rock", since, age, usual))


def metal_curve(anchor, register, factor=1.0, years=31):
    usual, diameter = condition_chances(register), usual_size(anchor, register, "diameter_mm")
    out = []
    for ahead in range(years):
        p = 0.0
        for metal, chance in metal_chances(anchor, register).items():
            for age, share in age_chances(anchor, register):
                p += chance * share * metal_fails(
                    metal, age, ahead, anchor, diameter, usual, factor
                )  # fmt: skip
        out.append(p)
    return out


def batch(anchor, register):
    """Same crag, sector, metal and year of placing."""

    def key(a):
        return weaker_metal(a), (a.get("installed_on") or "")[:4]

    return [a for a in same(anchor, register, "crag", "sector") if key(a) == key(anchor)]


def batch_factor(anchor, register):
    """Failures seen over failures expected in the batch, gamma prior of shape 0.5; not below 1."""
    failed, expected = 0, 0.0
    for a in batch(anchor, register):
        if a.get("condition") == 4:
            failed += 1
        else:
            yearly = a.get("metal_before_batch", math.nan)
            yearly = 0.0 if math.isnan(yearly) else yearly
            expected += min(yearly * (a.get("age_y") or 0.0) / 2, 1)
    return max((0.5 + failed) / (0.5 + expected), 1.0) if failed else 1.0


def like_failed(anchor, register):
    """Share of failed among the like (sector, metal, year); without a date like all years."""
    metal = weaker_metal(anchor)
    like = [a for a in same(anchor, register, "crag", "sector") if weaker_metal(a) == metal]
    if anchor.get("installed_on"):
        year = anchor["installed_on"][:4]
        like = [a for a in like if not a.get("installed_on") or a["installed_on"][:4] == year]
    return sum(a.get("condition") == 4 for a in like) / len(like)


def capacity_kn(anchor, register):
    """5th percentile of the lesser of metal and rock today."""
    if anchor.get("condition") == 4:
        return 0.0
    diameter = usual_size(anchor, register, "diameter_mm")
    p05, p50 = anchor.get("rock_kn_p05", 8.0), anchor.get("rock_kn_p50", 30.0)
    parts = []  # weight, median kN
    for metal, chance in metal_chances(anchor, register).items():
        for age, share in age_chances(anchor, register):
            if metal in ZINC_UM:
                strengths = rusted(metal, age, anchor, diameter)
                parts += [(chance * share * Z_WEIGHT, strengths)]
                continue
            cracked = -math.expm1(-((age / cracking_y(metal, anchor)) ** 2))
            if anchor.get("condition") is not None:
                since = anchor.get("since_inspection_y")
                cracked = odds(cracked, evidence(anchor, "cracking", since, age, None))
            both = np.array([cracked, 1 - cracked]) * chance * share
            parts.append((both, np.array([0.0, whole_kn(metal, anchor, diameter)])))
    weight, kn = (np.concatenate(v) for v in zip(*parts, strict=True))
    spread = math.log(p50 / p05) / ONE_SIDED

    def below(ln_kn):
        with np.errstate(divide="ignore"):
            metal = (weight * stats.norm.cdf((ln_kn - np.log(kn)) / 0.05)).sum()
        rock = stats.norm.cdf((ln_kn - math.log(p50)) / spread)
        return either(metal, rock) - 0.05

    if below(math.log(1e-3)) >= 0:
        return 0.0
    return math.exp(optimize.brentq(below, math.log(1e-3), math.log(1e3)))


def rust_life_left(anchor, register):
    """Years until a fifth of the section is gone at the worst place, and until the zinc is."""
    metal = weaker_metal(anchor)
    if metal not in ZINC_UM:
        return None, None
    thin = ZINC_UM[metal][0]
    zinc_y = years_to(thin, anchor["zinc_rate_um_y"], 0.813)
    diameter = anchor.get("diameter_mm", 8.0)  # where unknown: the thinnest in common use
    spare_um = 500 * diameter * (1 - math.sqrt(0.8)) / 3
    life = zinc_y + years_to(spare_um, anchor["steel_rate_um_y"], 0.523)
    known = [a["age_y"] for a in register if a.get("age_y") is not None]
    age = anchor.get("age_y")
    age = age if age is not None else max(known) if known else 35.0
    return max(life - age, 0.0), zinc_y
