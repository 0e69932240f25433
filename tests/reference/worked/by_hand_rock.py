"""The rock at one anchor, worked out anew: strength, rock mass, resistance, depth, kind.

Imports nothing of saltreach, and every number is written in again: from the standards and papers
named beside it, from memory where that is said, and else from the page of limits and judgement
or from the statement of the rule. Resistance is sampled, with 65,536 Sobol points in place of the
tool's 256 fixed draws.

An anchor is a dict; what is not in it is not known. `register` is the list of all anchors of the
file, itself among them.
"""

import math
from functools import cache
from statistics import median

import numpy as np
from scipy import stats

ROCKS = {  # strength MPa low, high (10th, 90th percentile), density t/m3 low, high: from memory
    "granite": (100, 250, 2.6, 2.7), "basalt": (100, 300, 2.8, 3.0), "tuff": (3, 50, 1.4, 2.2),
    "gneiss": (80, 200, 2.6, 2.8), "quartzite": (150, 300, 2.6, 2.7),
    "schist": (30, 120, 2.6, 2.8), "limestone": (30, 200, 2.4, 2.7),
    "dolomite": (60, 200, 2.7, 2.85), "chalk": (1, 15, 1.5, 2.2),
    "calcarenite": (3, 50, 1.6, 2.4), "sandstone": (20, 170, 2.1, 2.6),
    "conglomerate": (30, 150, 2.4, 2.6), "rhyolite": (60, 250, 2.4, 2.6),
    "slate": (60, 180, 2.7, 2.8), "mudstone": (5, 50, 2.2, 2.6), "gypsum": (10, 40, 2.2, 2.3),
    "marble": (60, 160, 2.6, 2.75), "dolerite": (100, 300, 2.8, 3.0),
    "andesite": (60, 250, 2.5, 2.8), "gabbro": (100, 250, 2.8, 3.1),
    "diorite": (100, 250, 2.7, 2.9), "porphyry": (60, 250, 2.5, 2.7),
    "phyllite": (30, 100, 2.6, 2.8),
}  # fmt: skip
SAID = {"silicified": 1.6, "well cemented": 1.3, "rotten": 0.1, "soft": 0.5, "porous": 0.6}
GRADE_MPA = {  # ISRM 1978; the end of R6 is the tool's
    "R0": (0.25, 1), "R1": (1, 5), "R2": (5, 25), "R3": (25, 50), "R4": (50, 100),
    "R5": (100, 250), "R6": (250, 400),
}  # fmt: skip
WEATHERED = {"W1": 1.0, "W2": 0.8, "W3": 0.5, "W4": 0.2, "W5": 0.05, "W6": 0.02}
TAPS = {"ringing": 0.5, "mixed": -0.5, "dull": -2.0, "hollow": -4.0}
TENTH = stats.norm.ppf(0.9)


def same(anchor, register, *names):
    return [a for a in register if all(a.get(n) == anchor.get(n) for n in names)]


def strength(anchor, register):
    """Median (MPa) and spread of ln strength: prior times evidence, integrated on a grid."""
    x = np.linspace(-8.0, 12.0, 200_001)
    ln_weight, any_known = np.zeros(len(x)), False
    rock, density = anchor.get("lithology"), None
    if rock in ROCKS:
        low, high, light, heavy = ROCKS[rock]
        density = (light + heavy) / 2
        weathering = WEATHERED[anchor.get("weathering_grade", "W1")]
        middle = math.log(low * high) / 2 + math.log(weathering)
        said = anchor.get("rock_type", "")
        for word, factor in SAID.items():
            middle += math.log(factor) if word in said else 0.0
        if "weathered" in said and "weathering_grade" not in anchor:
            middle += math.log(0.5)
        if "welded" in said and rock == "tuff":
            middle += math.log(4.0)
        ln_weight += stats.norm.logpdf(x, middle, math.log(high / low) / (2 * TENTH))
        any_known = True
    group = same(anchor, register, "crag", "sector", "lithology")
    rebounds = [a["rebound_number"] for a in group if "rebound_number" in a]
    if rebounds:  # Deere and Miller 1966, in the form of Barton and Choubey 1977, from memory
        gamma = 26.0 if density is None else 9.81 * density
        middle = math.log(10) * (0.00088 * gamma * sum(rebounds) / len(rebounds) + 1.01)
        spread2 = 0.53**2 + (math.log(2) / TENTH) ** 2 / len(rebounds)
        spread2 += 0.16**2 if density is None else 0.0
        ln_weight += stats.norm.logpdf(x, middle, math.sqrt(spread2))
        any_known = True
    grades = sorted(a["strength_grade"] for a in group if "strength_grade" in a)
    if grades:
        grade = grades[(len(grades) - 1) // 2]  # the median, the lower of two
        grade = min(grade, anchor.get("strength_grade", grade))
        low, high = GRADE_MPA[grade]
        ln_weight += stats.norm.logpdf(x, math.log(low * high) / 2, math.log(5) / math.sqrt(12))
        any_known = True
    if not any_known:
        return None, None
    ln_weight += TAPS.get(anchor.get("tap_response"), 0.0) * x
    weight = np.exp(ln_weight - ln_weight.max())
    weight /= weight.sum()
    mean = (weight * x).sum()
    return math.exp(mean), math.sqrt((weight * (x - mean) ** 2).sum())


def veto(anchor):
    if anchor.get("tap_response") == "hollow":
        return "hollow"
    return {"W5": "rotten", "W6": "rotten"}.get(anchor.get("weathering_grade"), "")


def rating(value, steps, least):
    """Points of a value between limits; a value on a limit takes the poorer."""
    points = least
    for limit, more in steps:
        if value > limit:
            points = more
    return points


def rock_mass(anchor, register, survey):
    """Spacing, RMR89 and GSI of the sector: Bieniawski 1989, Hoek and others 1995."""
    found = next((s for s in survey if s["sector"] == anchor["sector"]), None)
    if found is None:
        return {}
    own = [a["rock_strength_mpa"] for a in same(anchor, register, "crag", "sector")]
    spacing = found["joint_spacing_mm"]
    per_m = 100.0 / spacing  # Priest and Hudson 1976, from memory
    rqd = found.get("rqd_pct", 100 * math.exp(-per_m) * (per_m + 1))
    points = rating(median(own), ((1, 1), (5, 2), (25, 4), (50, 7), (100, 12), (250, 15)), 0)
    points += rating(rqd, ((25, 8), (50, 13), (75, 17), (90, 20)), 3)
    points += rating(spacing, ((60, 8), (200, 10), (600, 15), (2000, 20)), 5)
    length, opening = found["persistence_m"], found["aperture_mm"]
    points += (6, 4, 2, 1, 0)[sum(length >= limit for limit in (1, 3, 10, 20))]
    points += 6 if opening == 0 else (5, 4, 1, 0)[sum(opening >= limit for limit in (0.1, 1, 5))]
    points += {"very rough": 6, "rough": 5, "slightly rough": 3, "smooth": 1, "slickensided": 0}[
        found["roughness"]
    ]
    points += {"none": 6, "hard below 5 mm": 4, "hard above 5 mm": 2, "soft below 5 mm": 2,
               "soft above 5 mm": 0}[found["infilling"]]  # fmt: skip
    points += {"unweathered": 6, "slight": 5, "moderate": 3, "high": 1, "decomposed": 0}[
        found["joint_weathering"]
    ]
    water = {"dry": 15, "damp": 10, "wet": 7, "dripping": 4, "flowing": 0}[found["water"]]
    turned = {"very favourable": 0, "favourable": -5, "fair": -25, "unfavourable": -50,
              "very unfavourable": -60}.get(found.get("favourability"), 0)  # fmt: skip
    total = max(points + water + turned, 0)
    dry = points + 15
    classes = ("V", "IV", "III", "II", "I")
    out = {"joint_spacing_mm": spacing, "rmr89": total,
           "rmr_class": classes[sum(total > limit for limit in (20, 40, 60, 80))]}  # fmt: skip
    return out | ({"gsi": dry - 5} if dry > 23 else {})


MECHANICAL = ("expansion", "screw", "drive-in", "other")
RESIN = {  # median MPa, spread of its logarithm; ranges of assessments in concrete, from memory
    "epoxy": (11, 17), "hybrid": (12, 18), "vinylester": (8, 12), "polyester": (6, 9),
}  # fmt: skip
SHAPE = {"threaded": (1.0, 0.0), "ribbed": (0.85, 0.1), "plain": (0.45, 0.2)}
HOLE = {  # Cook and Konz 2001, from memory; cored and unknown: judgement
    "clean and dry": (1.0, 0.0), "damp": (0.77, 0.4), "water-filled": (0.43, 0.55),
    "uncleaned": (0.71, 0.5), "cored": (0.7, 0.25),
}  # fmt: skip


def resin_bond(adhesive, shape, hole):
    if adhesive in RESIN:
        low, high = RESIN[adhesive][0], 1.5 * RESIN[adhesive][1]
        parts = [(math.sqrt(low * high), math.log(high / low) / (2 * TENTH))]
    else:
        parts = [(2.8, 0.25) if adhesive == "cement" else (11.5, 0.45)]
    parts += [SHAPE.get(shape, (0.8, 0.2)), HOLE.get(hole, (0.92, 0.2))]
    return math.prod(m for m, _ in parts), math.sqrt(sum(s * s for _, s in parts))


def down(value, step):
    return math.floor(value / step + 1e-9) * step


def to_the_weaker_side(rock):
    """Inputs are rounded to the weaker side, so that many anchors share one calculation."""
    out = {}
    if rock.get("mpa") is not None:
        out["mpa"] = math.exp(down(math.log(rock["mpa"]), 0.03))
        out["sigma"] = -down(-rock["sigma"], 0.02)
    for name, far in (("edge", 1000.0), ("crack", 500.0)):
        if rock.get(name) is not None:
            distance = min(rock[name], far)
            out[name] = down(distance, 50.0 if distance >= 200 else 10.0)
    if rock.get("spacing") is not None:
        out["spacing"] = math.exp(down(math.log(rock["spacing"]), 0.05))
    if rock.get("gsi") is not None:
        out["gsi"] = down(rock["gsi"], 2.0)
    return out


@cache
def scores():
    points = stats.qmc.Sobol(7, scramble=True, seed=12).random_base2(16)
    return stats.norm.ppf(points[:, :6]).T, points[:, 6]


def cone_left(depth, rock):
    """What cracks, joints, the rock mass and an edge leave of a cone."""
    crack = rock.get("crack")
    parts = []
    if crack is not None:  # at one embedment EN 1992-4's cracked over uncracked, 7.7 / 11
        parts.append(7.7 / 11 * (crack / depth) ** 0.7)
    mass = []
    if rock.get("spacing") is not None:
        mass.append((rock["spacing"] / (3 * depth)) ** 0.7)
    if rock.get("gsi") is not None:
        mass.append(mass_left(rock["gsi"]))
    parts += mass or [7.7 / 11]
    parted = min(max(min(parts), 0.2), 1.0)
    if rock.get("edge") is None:
        return parted
    near = min(rock["edge"] / (1.5 * depth), 1.0)  # EN 1992-4:2018, 7.2.1.4, from memory
    return parted * (1.5 * depth + near * 1.5 * depth) / (3 * depth) * (0.7 + 0.3 * near)


def mass_left(gsi):
    return 0.2 + 0.8 * min(max((gsi - 20) / 60, 0.0), 1.0)


def sampled(share_bonded, share_driven, legs, diameter, depth, rock, bond, steel, cycles=0.0):
    """Resistance of every mode in every draw, kN. `steel`: strength MPa and shear over tension."""
    (z_rock, z_resin, z_wall, z_cone, z_edge, z_grip), kind = scores()
    mpa = rock["mpa"] * np.exp(rock["sigma"] * z_rock)
    glued = kind < share_bonded
    hammered = kind >= 1 - (1 - share_bonded) * share_driven
    # resin on the rod, and the wall of the hole, 2 mm wider (uniform bond, ACI 318-19 17.6.5)
    on_rod = math.pi * diameter * depth * bond[0] * np.exp(bond[1] * z_resin)
    weak, strong = (0.25, 0.35), (0.1, 0.3)  # Littlejohn and Bruce 1977, from memory; judgement
    along = np.clip(np.log(mpa / 7) / math.log(50 / 7), 0, 1)
    ln_ratio = (1 - along) * math.log(weak[0] * weak[1]) / 2
    ln_ratio = ln_ratio + along * math.log(strong[0] * strong[1]) / 2
    spread = (1 - along) * math.log(weak[1] / weak[0]) + along * math.log(strong[1] / strong[0])
    at_wall = np.exp(ln_ratio + spread / (2 * TENTH) * z_wall) * mpa
    on_wall = math.pi * (diameter + 2) * depth * at_wall
    pull_out = np.where(glued, legs * np.minimum(on_rod, on_wall) / 1000, np.inf)
    # mechanical anchors are pulled through: 20 kN for 10 mm at 25 MPa, from memory; judgement
    rel = np.minimum(mpa, 60) / 25
    through = 0.2 * diameter**2 * np.where(rel < 1, rel**2, np.sqrt(rel))
    through = through * (0.5 + 0.5 / (1 + cycles / 20_000))
    soft = np.clip(1 - mpa / 25, 0, None)
    through = through * np.exp((0.25 + 0.3 * soft) * z_grip)
    out_of_hole = 3.0 * (diameter / 10) ** 2 * np.exp(1.1 * z_grip)  # Law 2011, snippet
    through = np.where(hammered, np.minimum(through, out_of_hole), through)
    through = np.where(glued, np.inf, through)
    # cone of rock: mean of concrete, 13.5 (Fuchs and others 1995, from memory), capped at 60 MPa
    root = np.sqrt(np.minimum(mpa, 60))
    twin = 1 + min(50 / (3 * depth), 1) if legs > 1 else 1.0
    cone = 13.5 * depth**1.5 / 1000 * root * twin * cone_left(depth, rock) * np.exp(0.3 * z_cone)
    steel_kn = legs * math.pi / 4 * diameter**2 * steel[0] / 1000
    pry = np.minimum(cone, pull_out) * (2 if depth >= 60 else 1)  # EN 1992-4 k8, from memory
    sideways = 13.0 * (diameter / 10) ** 2 * np.exp(0.2 * z_grip)
    pry = np.where(hammered, np.minimum(pry, sideways), pry)
    edge = np.full(len(mpa), np.inf)
    if rock.get("edge") is not None:  # EN 1992-4:2018, 7.2.2.5, k9 = 1.7, from memory
        c = max(rock["edge"], 10.0)
        length = min(depth, 12 * diameter)
        reach = diameter ** (0.1 * math.sqrt(length / c)) * length ** (0.1 * (diameter / c) ** 0.2)
        reach *= min(rock["edge"] / 10, 1.0)
        left = mass_left(rock["gsi"]) if rock.get("gsi") is not None else 7.7 / 11
        edge = 1.7 * reach * root * c**1.5 / 1000 * left * np.exp(0.3 * z_edge)
    return {"bond": pull_out, "pull-through": through, "cone": cone, "pry-out": pry,
            "edge": edge}, steel_kn, steel_kn * steel[1]  # fmt: skip


AXIAL, RADIAL = ("bond", "pull-through", "cone"), ("pry-out", "edge")
METAL_SCATTER = 0.05


@cache
def steel_scatter(count):
    places = (np.arange(count) * 0.6180339887498949 + 0.5 / count) % 1.0
    return np.exp(METAL_SCATTER * stats.norm.ppf(places))


def quantiles(modes, names, *steel_kn):
    weakest = np.min([modes[n] for n in names], axis=0)
    if not steel_kn:
        with np.errstate(invalid="ignore"):
            return tuple(np.quantile(weakest, p) for p in (0.05, 0.5))
    # 5th percentile of the lesser of rock and steel, whose scatter is independent
    nominal = steel_kn[0]
    median_kn = nominal * math.exp(-METAL_SCATTER * stats.norm.ppf(0.05))
    return (np.quantile(np.minimum(weakest, median_kn * steel_scatter(len(weakest))), 0.05),)


def shares_of_kind(anchor, register):
    kind = anchor.get("kind")
    if kind is not None:
        legs = 2 if kind == "bonded twin-leg" else 1
        return float(kind.startswith("bonded")), float(kind in ("drive-in", "other")), legs
    known = [a["kind"] for a in register if "kind" in a]
    rest = [k for k in known if not k.startswith("bonded")]
    glued = (len(known) - len(rest) + 5 * 0.4) / (len(known) + 5)
    hammered = (sum(k in ("drive-in", "other") for k in rest) + 5 * 0.1) / (len(rest) + 5)
    return glued, hammered, 1


def usual_size(anchor, register, name):
    """The size, or the lower quartile of what the register and the trade have of that kind."""
    if name in anchor:
        return anchor[name]
    driven = anchor.get("kind") in MECHANICAL
    own = [a[name] for a in register if name in a and (a.get("kind") in MECHANICAL) == driven]
    trade = {
        ("diameter_mm", False): [10, 12, 12, 14], ("embedment_mm", False): [70, 80, 100, 120],
        ("diameter_mm", True): [8, 10, 10, 12], ("embedment_mm", True): [50, 60, 70, 80],
    }[name, driven]  # fmt: skip
    return float(np.quantile(own + trade, 0.25))


def strength_or_mixture(anchor, register):
    if anchor.get("rock_strength_mpa") is not None:
        return anchor["rock_strength_mpa"], anchor["rock_sigma_ln"]
    known = [a for a in register if a.get("rock_strength_mpa") is not None]
    here = same(anchor, known, "crag") or known
    parts = [(math.log(a["rock_strength_mpa"]), a["rock_sigma_ln"]) for a in here]
    parts += [(math.log(60.0), 0.9)] * 5
    mean = sum(m for m, _ in parts) / len(parts)
    var = sum(s * s + (m - mean) ** 2 for m, s in parts) / len(parts)
    return math.exp(mean), math.sqrt(var)


def loads_borne(anchor, register):
    def usual(name, otherwise):
        known = [a[name] for a in register if a.get(name) is not None]
        return anchor[name] if anchor.get(name) is not None else (
            median(known) if known else otherwise
        )  # fmt: skip

    if anchor.get("kind") not in MECHANICAL:
        return 0.0
    loads = usual("visits_per_year", 100.0) * usual("age_y", 20.0)
    return next((s for s in (0, 300, 1000, 3000, 10_000, 30_000) if loads <= s), 100_000)


STRENGTHS = {  # tensile strength MPa, shear over tension: product standards, from memory
    "aluminium": (290, 0.6), "brass": (360, 0.6), "zinc-plated steel": (500, 0.6),
    "galvanised steel": (500, 0.6), "430": (400, 0.6), "303": (500, 0.6), "stainless": (500, 0.6),
    "304": (500, 0.6), "316": (500, 0.6), "duplex": (530, 0.5), "superaustenitic": (650, 0.5),
    "titanium": (400, 0.6), "A2-70": (700, 0.5), "A4-70": (700, 0.5), "A4-80": (800, 0.5),
    "1.4362": (600, 0.5), "1.4439": (580, 0.5), "1.4462": (650, 0.5), "1.4539": (530, 0.5),
    "1.4410": (730, 0.5), "titanium grade 1": (240, 0.6), "titanium grade 2": (400, 0.6),
    "titanium grade 5": (895, 0.6), "1.4301": (500, 0.6), "1.4404": (500, 0.6),
}  # fmt: skip


def metal_of(anchor):
    return STRENGTHS.get(anchor.get("grade"), STRENGTHS.get(anchor.get("material")))


def least_diameter(metal, axial_kn):
    """Next usual diameter whose metal bears 25 kN radial (EN 959:2018, 4.3) and the axial load."""
    mpa, shear = STRENGTHS.get(metal, (500, 0.6))
    for d in (6, 8, 10, 12, 14, 16, 20, 24):
        kn = math.pi / 4 * d * d * mpa / 1000
        if kn >= axial_kn - 1e-9 and kn * shear >= 25 - 1e-9:
            return float(d)
    return None


NEW = resin_bond("vinylester", "ribbed", "clean and dry")
DEPTHS = range(5, 301, 5)


@cache
def found_depth(kind, diameter, rock_items, axial_kn):
    rock = dict(rock_items)
    glued = float(kind.startswith("bonded"))
    shares = (glued, float(kind in ("drive-in", "other")), 2 if kind == "bonded twin-leg" else 1)
    least = 70.0 if glued else 5 * diameter  # EN 959:2018, 4.2.6

    def over(depth):
        modes, steel, shear = sampled(*shares, diameter, depth, rock, NEW, (500, 0.6))
        return min(quantiles(modes, AXIAL, steel)[0] / axial_kn,
                   quantiles(modes, RADIAL, shear)[0] / 25.0)  # fmt: skip

    found = {}
    low, high = 0, len(DEPTHS)  # bisect: resistance never falls with depth
    while low < high:
        at = (low + high) // 2
        found[at] = over(DEPTHS[at])
        low, high = (low, at) if found[at] >= 1 else (at + 1, high)
    margin = min(abs(v - 1) for v in found.values())
    if low == len(DEPTHS):
        return None, margin
    return max(float(DEPTHS[low]), math.ceil(least / 5) * 5.0), margin


def least_depth(kind, diameter, rock, axial_kn):
    """Least depth whose 5th percentile bears both loads; None where none up to 300 mm does.

    With it the least margin: how far the answer's own and the next shorter depth are from the
    loads, as a share. Below 2 % the tool's few draws may rightly say one step more or less.
    """
    return found_depth(kind, diameter, tuple(sorted(rock.items())), axial_kn)


def slope_share(slope):
    """Largest share of a load that pulls outwards: 0.6 on a wall, 1 in a roof; judgement."""
    if slope is None:
        return 0.8
    return 0.6 + 0.4 * min(max((slope - 100) / 30, 0), 1)


def advised(anchor, register, axial_kn):
    """Kind, depth and diameter of a new anchor, and whether only tests would allow it."""
    recommended = anchor.get("material_recommended")
    least = least_diameter(recommended, axial_kn)
    diameter = max(anchor.get("diameter_mm", 0.0), least)
    out = {"diameter_required_mm": least, "new_diameter": diameter, "untested": False,
           "depth_margin": 1.0}  # fmt: skip
    refused = out | {"kind_advised": "do not place here"}
    mpa, sigma = anchor.get("rock_strength_mpa"), anchor.get("rock_sigma_ln")
    if veto(anchor):
        return refused
    if mpa is None:
        return out | {"kind_advised": "unknown"}
    if mpa <= 5.0:
        return refused
    rock = to_the_weaker_side({
        "mpa": mpa, "sigma": sigma, "edge": anchor.get("edge_distance_mm"),
        "crack": anchor.get("crack_distance_mm"), "spacing": anchor.get("joint_spacing_mm"),
        "gsi": anchor.get("gsi"),
    })  # fmt: skip
    depth, margin = least_depth("bonded", diameter, rock, axial_kn)
    out["depth_margin"] = margin
    if depth is None and rock["mpa"] > 5.0:
        sure = rock | {"sigma": min(rock["sigma"], 0.35)}
        depth, margin = least_depth("bonded", diameter, sure, axial_kn)
        out |= {"untested": depth is not None, "depth_margin": margin}
    if depth is None:
        return refused | {"depth_margin": margin}
    kind = "bonded, longer" if mpa < 25.0 else "bonded"
    if mpa * math.exp(-TENTH * sigma) >= 50.0 and mpa >= 5:
        kind = "mechanical or bonded"
    if kind == "mechanical or bonded" and recommended in ("duplex", "superaustenitic", "titanium"):
        kind = "bonded"  # not commonly made mechanical
    if kind == "mechanical or bonded" and anchor.get("kind") in MECHANICAL:
        depth, margin = least_depth(anchor["kind"], diameter, rock, axial_kn)
        out["depth_margin"] = margin
    out["kind_advised"] = kind
    return out | ({} if depth is None else {"embedment_required_mm": depth})


def resistance(anchor, register, axial_kn):
    """Everything that the rock says of an anchor in place and of a new one there."""
    mpa, sigma = strength_or_mixture(anchor, register)
    rock = to_the_weaker_side({
        "mpa": mpa, "sigma": sigma, "edge": anchor.get("edge_distance_mm"),
        "crack": anchor.get("crack_distance_mm"), "spacing": anchor.get("joint_spacing_mm"),
        "gsi": anchor.get("gsi"),
    })  # fmt: skip
    diameter, depth = (usual_size(anchor, register, n) for n in ("diameter_mm", "embedment_mm"))
    bond = resin_bond(*(anchor.get(n) for n in ("adhesive", "rod_shape", "hole_condition")))
    metal = metal_of(anchor) or (500, 0.6)
    modes, steel, shear = sampled(*shares_of_kind(anchor, register), diameter, down(depth, 1.0),
                                  rock, bond, metal, loads_borne(anchor, register))  # fmt: skip
    out = advised(anchor, register, axial_kn)
    share = slope_share(anchor.get("face_slope_deg"))
    axial, radial = quantiles(modes, AXIAL), quantiles(modes, RADIAL)
    out |= {"rock_kn_p05": min(axial[0] / share, radial[0]),
            "rock_kn_p50": min(axial[1] / share, radial[1])}  # fmt: skip
    complete = all(anchor.get(n) is not None
                   for n in ("rock_strength_mpa", "diameter_mm", "embedment_mm"))  # fmt: skip
    if complete:
        n = quantiles(modes, AXIAL, steel)[0]
        v = quantiles(modes, RADIAL, shear)[0]
        out |= {"rock_axial_kn_p05": n, "rock_radial_kn_p05": v}
        each = {m: np.quantile(q, 0.05, method="lower") for m, q in modes.items()}
        each |= {"steel": steel, "steel shear": shear}
        way, some = ("axial", (*AXIAL, "steel")) if n / axial_kn <= v / 25 else (
            "radial", (*RADIAL, "steel shear"))  # fmt: skip
        out["resistance_mode"] = min((m for m in some if m in each), key=each.get) + f", {way}"
    out["resistance_short"] = bool(complete and min(n / axial_kn, v / 25) < 1)
    least = 70.0 if anchor.get("kind", "").startswith("bonded") else None
    if least is None and "diameter_mm" in anchor:
        five = 5 * anchor["diameter_mm"]
        least = five if anchor.get("kind") in MECHANICAL else max(five, 70.0)
    out["embedment_short"] = bool(least and anchor.get("embedment_mm", 1e9) < least)
    if out["kind_advised"] != "do not place here":
        new_depth = out.get("embedment_required_mm", 100.0)
        new, _, _ = sampled(1.0, 0.0, 1, out["new_diameter"], new_depth, rock, NEW, (500, 0.6))
        axial, radial = quantiles(new, AXIAL), quantiles(new, RADIAL)
        out |= {"rock_after_kn_p05": min(axial[0] / share, radial[0]),
                "rock_after_kn_p50": min(axial[1] / share, radial[1])}  # fmt: skip
    return out
