"""From an anchor in place and its exposure to what to do, worked out anew and in plain steps.

    python tests/reference/worked/by_hand_anchor.py FILE...

reads `[given]` and `[[beside]]` of worked anchors, works everything out and writes `[[step]]` and
`[expected]` behind them. Imports nothing of saltreach (see `by_hand_rock` and `by_hand_life`):
the answers stood before the tool was asked.
"""

import datetime as dt
import math
import sys
import tomllib
from pathlib import Path
from statistics import median

import by_hand_life as life
import by_hand_rock as rock
from dateutil.relativedelta import relativedelta

BANDS = ["low", "moderate", "raised", "high", "severe"]
LIMITS = [1 / 2000, 1 / 200, 1 / 50, 1 / 10]
CLASSES = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
HELD = {  # class that a metal or grade meets: EN 1993-1-4 Table A.3; 0 none, 6 above V (judgement)
    "aluminium": 0, "brass": 0, "zinc-plated steel": 0, "galvanised steel": 0, "430": 1, "303": 1,
    "stainless": 2, "304": 2, "316": 3, "duplex": 4, "superaustenitic": 5, "titanium": 6,
    "1.4439": 4, "1.4539": 4, "1.4410": 5, "1.4362": 3, "1.4462": 4, "A2-70": 2, "A4-70": 3,
    "A4-80": 3, "1.4301": 2, "1.4404": 3, "titanium grade 1": 6, "titanium grade 2": 6,
    "titanium grade 5": 6,
}  # fmt: skip
PRICES = {"304": 1.0, "316": 1.3, "duplex": 2.0, "superaustenitic": 4.0, "titanium": 4.5}


def known(value):
    return value is not None and value != "" and value != "unknown"


def read(path):
    """The file, its anchor and the register, blanks left out."""
    with Path(path).open("rb") as stream:
        file = tomllib.load(stream)
    place = {"crag": "crag", "sector": "sector", "outside_standard": False}
    subject = place | file["given"]
    rows = [subject]
    for other in file.get("beside", []):
        rows += [subject | {k: v for k, v in other.items() if k != "times"}
                 for _ in range(other.get("times", 1))]  # fmt: skip
    clean = [{k: v for k, v in row.items() if known(v)} for row in rows]
    return file, clean[0], clean


def class_held(anchor):
    bolt = HELD.get(anchor.get("grade"), HELD.get(anchor.get("material")))
    both = [c for c in (bolt, HELD.get(anchor.get("hanger_material"))) if c is not None]
    return min(both) if both else None


def may_crack(metal):
    return metal not in ("superaustenitic", "titanium", "zinc-plated steel", "galvanised steel")


def band(p):
    return None if p is None else sum(p >= limit for limit in LIMITS)


def worst(*bands):
    return max(b for b in bands if b is not None)


def bands(a):
    metal = band(a["metal_probability_y1"])
    rocks = band(a["rock_probability_y1"])
    if a.get("condition") == 4:
        metal = 4
    if a.get("condition") == 3:
        metal = worst(metal, 2)
    if a["like_failed_share"] > 0:
        metal = worst(metal, 1)
    if a["like_failed_share"] >= 0.2:
        metal = worst(metal, 2)
    mpa = a.get("rock_strength_mpa")
    if rock.veto(a) or (mpa is not None and mpa <= 5):
        rocks = 4
    if mpa is None or mpa < 25:
        rocks = worst(rocks, 1)
    both = worst(metal, rocks, band(a["failure_probability_y1"]))
    if metal != rocks:
        governs = "metal" if metal > rocks else "rock"
    else:
        m, r = a["metal_probability_y1"], a["rock_probability_y1"]
        governs = "metal" if m > 3 * r else "rock" if r > 3 * m else "metal and rock"
    return metal, rocks, both, governs


def action(a, today):
    metal = life.weaker_metal(a)
    held, needed = class_held(a), CLASSES.get(a.get("crc"))
    below = held is not None and needed is not None and held < needed
    metal_band, rock_band = (BANDS.index(a[n]) for n in ("metal_band", "rock_band"))
    no_new = a["kind_advised"] == "do not place here"
    above, loose = metal_band >= 2, rock_band >= 2
    advised = a.get("material_recommended")
    why = []
    if a.get("condition") == 3:
        why.append("poor")
    if a.get("steel_life_left_y") == 0:
        why.append("spent")
    if below and a["failure_probability_y10"] > 0.05 and a["risk_governed_by"] != "rock":
        why.append("below class and soon risky")
    if below and a["outside_standard"]:
        why.append("outside the standard")
    if above and metal != "unknown":
        if advised and life.METALS.index(advised) > life.METALS.index(metal):
            why.append("risky")
        if a.get("diameter_mm", 99) < a["diameter_required_mm"]:
            why.append("thin")
    going = bool(why)
    driven = a.get("kind") in rock.MECHANICAL
    tested = a.get("rock_strength_mpa") is not None and (driven or not a["untested"])
    after = band(a.get("rock_probability_after"))
    if loose and after is not None and after < rock_band and tested and "kind" in a:
        why.append("mends")
    if a.get("condition") == 4:
        word = "take out of use"
    elif rock.veto(a) or (no_new and (going or loose)):
        word = "move or remove"
    elif why:
        word = "replace"
    elif metal == "unknown" or loose or (above and a.get("condition") is None):
        word = "find out"
    else:
        word = "keep"
    months = {"severe": 12, "high": 24, "raised": 36, "moderate": 60, "low": 60}[a["risk_band"]]
    by = ""
    if word in ("replace", "move or remove") or (word == "find out" and months < 60):
        by = (today + relativedelta(months=months)).isoformat()
    return word, by, ", ".join(why) or "no reason to replace"


LADDER = (6, 12, 24, 36, 48, 60)


def months_asked(a, curve, policy):
    """What each rule allows, in the order in which a tie is decided."""
    metal = life.weaker_metal(a)
    target = policy.get("failure_target_per_y", 0.005)
    asked = {}
    if a.get("steel_life_left_y") is not None:  # API 570: half of it, at most 5 years
        asked["half of remaining life"] = min(12 * a["steel_life_left_y"] / 2, 60)
    reached = next((n for n, p in enumerate(curve) if p >= target), None)
    if reached is None:
        until = math.inf
    elif reached == 0:
        until = 0.0
    else:
        before, after = curve[reached - 1], curve[reached]
        until = 12 * (reached - 1 + (target - before) / (after - before))
    m, r = a["metal_probability_y1"], a["rock_probability_y1"]
    rusts = metal in life.ZINC_UM and (m > r or m >= target)
    least = 6 if rusts and curve[0] >= 10 * target else 12
    asked["yearly failure probability"] = max(until, least)
    asked["external rule"] = a.get("interval_set_months")
    asked["hollow rock"] = 6 if a.get("tap_response") == "hollow" else None
    asked["volcanic gas"] = 6 if a["outside_standard"] else None
    seen = a.get("condition")
    asked["condition"] = None if seen is None else (60, 48, 24, 6, 6)[seen]
    if may_crack(metal):
        asked["stress-corrosion hazard"] = {
            "low": 60, "moderate": 48, "raised": 24, "high": 12, "severe": 12,
        }.get(a.get("scc_band"))  # fmt: skip
    asked["corrosivity category"] = {
        "C1": 60, "C2": 60, "C3": 48, "C4": 36, "C5": 24, "CX": 12,
    }.get(a.get("corrosivity_category"))  # fmt: skip
    held, needed = class_held(a), CLASSES.get(a.get("crc"))
    held = 2 if held == 0 else held  # metals without a class count as 304
    if held is not None and needed is not None and held < needed:
        asked["metal below its class"] = 24
    if "material" not in a:
        asked["unknown metal"] = 24
    if "installed_on" not in a:
        asked["unknown date"] = 36
    if a["like_failed_share"] > 0:
        asked["failure of a like anchor (same sector, metal and year)"] = 12
    asked["longest of the policy"] = policy.get("longest_interval_months", 60)
    return {rule: float(m) for rule, m in asked.items() if m is not None}


def first_day(text):
    """The first day that a year, a month or a date can mean."""
    return dt.date.fromisoformat(text + "-01-01"[len(text) - 4 :])


def interval(a, curve, policy, today):
    if a.get("condition") == 4 or not (a.get("corrosivity_category") or a.get("crc")):
        return None, "", None, ""
    asked = months_asked(a, curve, policy)
    rule = min(asked, key=asked.get)
    months = max([step for step in LADDER if step <= asked[rule]], default=6)
    if asked[rule] > 60:
        rule = "longest interval in use"
    theirs = min(asked.get("external rule", 99), asked["longest of the policy"])
    if theirs < 6:
        months = max(int(theirs), 1)
    start = a.get("last_inspected_on") or a.get("installed_on")
    if start is None:
        return months, rule, today.isoformat(), "no"
    due = first_day(start) + relativedelta(months=months)
    return months, rule, max(due, today).isoformat(), "yes" if due < today else "no"


def told_of_interval(a, curve, policy, months, rule, today):
    """The sentences a reader gets with the interval."""
    if a.get("condition") == 4:
        return "Out of use: no inspection until it is replaced."
    if months is None:
        return "Category and class unknown: no interval can be given."
    asked = min(months_asked(a, curve, policy).values())
    step = "" if round(asked) == months else f", rounded down to {months}"
    if asked < min(months, 6):
        step = f"; the shortest is {months}"
    said = [f"Governed by: {rule} ({asked:.0f} months{step})."]
    if asked < min(months, 6):
        said.append("Even the shortest interval is longer than the rule asks: looking does not "
                    "mend it, replace it or keep it out of use.")  # fmt: skip
    cracks = may_crack(life.weaker_metal(a)) and a.get("scc_band", "low") != "low"
    by_metal = a["metal_probability_y1"] > a["rock_probability_y1"]
    if rule == "yearly failure probability" and cracks and by_metal:
        said.append("An eye sees next to nothing of stress-corrosion cracks: better metal, not "
                    "looks.")  # fmt: skip
    start = a.get("last_inspected_on") or a.get("installed_on")
    if start is None:
        return " | ".join([*said, "Due now: neither inspection nor placement is dated."])
    due = first_day(start) + relativedelta(months=months)
    if "last_inspected_on" in a:
        said += [f"Due now: it was due on {due.isoformat()}."] if due < today else []
    elif due < today:
        said.append(f"Due now: never inspected since {start[:4]}.")
    else:
        said.append("Never inspected on record: from placement.")
    return " | ".join(said)


def told_of_action(a, word, by, why):
    """The sentences a reader gets with the action, but what the rock says of a refused spot."""
    metal, above = life.weaker_metal(a), BANDS.index(a["metal_band"]) >= 2
    loose = BANDS.index(a["rock_band"]) >= 2
    held, needed = class_held(a), CLASSES.get(a.get("crc"))
    below = held is not None and needed is not None and held < needed
    driven = a.get("kind") in rock.MECHANICAL
    untested = a.get("rock_strength_mpa") is None or (a["untested"] and not driven)
    cases = {
        "take out of use": [
            (True, "Recorded as failed: take it out of use today, and look again only once it is "
             "replaced."),
        ],
        "replace": [
            ("poor" in why, "Recorded as poor."),
            ("spent" in why, "By the rates of its air its zinc and a fifth of its section are used "
             "up where it rusts most."),
            (below, "Its metal is below the class the place needs."),
            ("risky" in why.replace("soon risky", "") or "thin" in why,
             "The risk of its metal is above the default target."),
            ("thin" in why, "It is thinner than the loads ask of the metal advised."),
            ("mends" in why, "Its hold in the rock is weak; a new anchor as advised holds better "
             "in the same rock."),
        ],
        "find out": [
            (metal == "unknown", "Its metal is unknown: find it out before anything is bought."),
            (loose and "kind" not in a, "Its kind is not recorded, and its hold in the rock is in "
             "doubt: look what it is."),
            (loose and untested, "Its hold in the rock is in doubt and the strength of the rock is "
             "not sure: test the rock on site before anything is bought."),
            (loose and not untested and "kind" in a, "Its hold in the rock is in doubt and a new "
             "anchor would not be surer: test the rock on site before anything is bought."),
            (above and a.get("condition") is None, "Its condition is not recorded, and its risk is "
             "above the default target: look at it before anything is bought."),
        ],
        "keep": [
            (below, "Its metal is below the class the place needs: it may serve its time, the next "
             "one is of the metal advised."),
            (above, "The risk of its metal is above the default target and no better metal is "
             "advised: keep to the interval, and replace it when a look finds it worse."),
        ],
    }  # fmt: skip
    said = [sentence for applies, sentence in cases[word] if applies]
    if by and word == "find out":
        said.append(f"Know it, or close by {by}.")
    elif by and may_crack(metal) and a.get("scc_band") in ("high", "severe"):
        said.append("Looking does not mend it (an eye sees next to nothing of stress-corrosion "
                    f"cracks): replace or close by {by}.")  # fmt: skip
    elif by:
        said.append(f"Replace or close by {by}.")
    return " | ".join(said)


def priority(a, register, policy):
    counted = [x["visits_per_year"] for x in register if "visits_per_year" in x]
    visits = a.get("visits_per_year", median(counted) if counted else 100.0)
    weight = {"belay": 10, "lower-off": 8, "runner": 2}.get(a.get("position"), 10)
    least = [0, *LIMITS][BANDS.index(a["risk_band"])]
    now = max(a["failure_probability_y1"], least) * weight * visits
    bought = a["action"] in ("replace", "take out of use")
    bought = bought and a["kind_advised"] != "do not place here"
    out = {"yearly_loss": now, "yearly_loss_after": now, "replacement_cost": 0.0,
           "priority_score": 0.0}  # fmt: skip
    if "rock_probability_after" not in a or "material_recommended" not in a:
        return out
    new = {"condition": 0, "since_inspection_y": 0.0, "age_y": 0.0,
           "scc_hazard": a.get("scc_hazard", math.nan), "material": a["material_recommended"],
           "crag": "new", "diameter_mm": a["diameter_required_mm"]}  # fmt: skip
    (metal,) = life.metal_curve(new, [new], years=1)
    after = life.either(metal, a["rock_probability_after"])
    if math.isnan(after):
        return out
    out["risk_band_after"] = BANDS[band(after)]
    if bought:
        cost = policy.get("work_cost", 4.0) + PRICES[a["material_recommended"]]
        then = after * weight * visits
        out |= {"yearly_loss_after": min(then, now), "replacement_cost": cost,
                "priority_score": max(now - then, 0) / cost}  # fmt: skip
    return out


def worked(file, register):
    """Every column of the first anchor of a register, and the steps."""
    today = dt.date.fromisoformat(str(file["today"]))
    policy, axial = file.get("policy", {}), file.get("axial_kn", 15.0)
    steps = []

    def say(what, rule, source, value):
        steps.append({"what": what, "rule": rule, "source": source, "value": value})

    given = [dict(a) for a in register]
    for a in register:
        if "installed_on" in a:
            a["age_y"] = life.years_since(a["installed_on"], today)
        if "last_inspected_on" in a:
            a["since_inspection_y"] = life.years_since(a["last_inspected_on"], today)
    for a, own in zip(register, given, strict=True):
        mpa, sigma = rock.strength(a, register)
        if mpa is not None:
            a |= {"rock_strength_mpa": mpa, "rock_sigma_ln": sigma}
        a |= own
    for a, own in zip(register, given, strict=True):
        a |= rock.rock_mass(a, register, file.get("survey", [])) | own
    a, own = register[0], given[0]
    a |= rock.resistance(a, register, axial) | own
    if a["kind_advised"] == "do not place here":
        a.pop("rock_after_kn_p05", None)
    if "age_y" in a:
        say("age", "middle of a date known to the year, month or day", "arithmetic", a["age_y"])
    if a.get("rock_strength_mpa"):
        say("strength of the rock, median MPa", "lithology updated by the tests",
            "Bayes' rule; Deere and Miller 1966, ISRM 1978, ranges from memory; weathering and "
            "tap judgement", a["rock_strength_mpa"])  # fmt: skip
    if "gsi" in a:
        say("GSI", "RMR89 dry and unadjusted less 5",
            "Bieniawski 1989; Hoek, Kaiser and Bawden 1995, from memory", a["gsi"])  # fmt: skip
    say("what the rock holds, 5th percentile kN", "weakest of bond or pull-through, cone, pry-out "
        "and edge, over the share of the load that pulls outwards",
        "EN 1992-4:2018 7.2.1.4, 7.2.2.4, 7.2.2.5, ACI 318-19 17.6.5, from memory; judgement",
        a["rock_kn_p05"])  # fmt: skip
    say("metal that counts", "the weaker of bolt and hanger", "judgement", life.weaker_metal(a))
    chances = life.metal_chances(a, register)
    if len(chances) > 1:
        said = ", ".join(f"{m} {c:.3f}" for m, c in chances.items())
        say("what the metal may be", "the crag's counts, the region's as 5 anchors, in it the "
            "trade's as 10", "judgement", said)  # fmt: skip
    left, zinc_y = life.rust_life_left(a, register)
    if left is not None:
        a |= {"steel_life_left_y": left, "coating_life_y": zinc_y} | own
        say("life of the zinc, years", "thin end of the usual coating", "ISO 9224:2012, from "
            "memory; common practice", zinc_y)  # fmt: skip
        say("steel left, years", "zinc, then a fifth of the section at three times the mean loss",
            "ISO 9224:2012, from memory; judgement", left)  # fmt: skip
    elif life.CRACKING.get(metal := life.weaker_metal(a), 0) * a.get("scc_hazard", 0) > 0:
        say("Weibull scale, years", "6 over hazard and the metal's factor (shape 2)",
            "judgement, within the crack growth of Nuclear Engineering and Design 2008",
            life.cracking_y(metal, a))  # fmt: skip
    a["like_failed_share"] = life.like_failed(a, register)
    a |= own
    factor = 1.0
    if any(x.get("condition") == 4 for x in life.batch(a, register)):
        for x in life.batch(a, register):
            x["metal_before_batch"] = life.metal_curve(x, register, years=1)[0]
        factor = life.batch_factor(a, register)
        say("a failure in its batch multiplies the rate by", "gamma prior of shape 0.5, counts",
            "Gamma and Poisson; the shape is judgement", factor)  # fmt: skip
    metal = life.metal_curve(a, register, factor)
    usual = life.condition_chances(register)
    age = sum(t * w for t, w in life.age_chances(a, register))
    rocks = [life.rock_fails(a, age, n, usual) for n in range(31)]
    curve = [life.either(m, r) for m, r in zip(metal, rocks, strict=True)]
    a |= {
        "metal_probability_y1": metal[0], "rock_probability_y1": rocks[0],
        "failure_probability_y1": curve[0], "failure_probability_y10": life.either(*curve[:10]),
        "failure_probability_y30": life.either(*curve[:30]),
        "capacity_kn_p05": life.capacity_kn(a, register),
    }  # fmt: skip
    if "rock_after_kn_p05" in a:
        a["rock_probability_after"] = life.rock_gives_way(
            a["rock_after_kn_p05"], a["rock_after_kn_p50"]
        )
    a |= own
    say("the metal fails within a year", "rust, cracks or overload, a constant rest, what was "
        "recorded of it", "judgement", a["metal_probability_y1"])  # fmt: skip
    say("the rock fails within a year", "having held a year's greatest load, 4 kN median",
        "judgement", a["rock_probability_y1"])  # fmt: skip
    metal_band, rock_band, both, governs = bands(a)
    a |= {"metal_band": BANDS[metal_band], "rock_band": BANDS[rock_band], "risk_band": BANDS[both],
          "risk_governed_by": governs} | own  # fmt: skip
    say("band of metal, rock, both", "1 in 2,000, 200, 50, 10 a year, and the floors", "judgement",
        f"{a['metal_band']}, {a['rock_band']}, {a['risk_band']}")  # fmt: skip
    a["action"], a["replace_by"], why = action(a, today)
    say(
        "why " + a["action"],
        "order: failed, refused, to go, to find out, to keep",
        "judgement",
        why,
    )
    months, rule, due, overdue = interval(a, curve, policy, today)
    a |= {"interval_rule": rule}
    a["interval_reasons"] = told_of_interval(a, curve, policy, months, rule, today)
    if a["action"] != "move or remove" and a["kind_advised"] != "do not place here":
        a["action_reasons"] = told_of_action(a, a["action"], a["replace_by"], why)
    if months is not None:
        a |= {"inspection_interval_months": months, "next_inspection_on": due, "overdue": overdue}
        asked = months_asked(a, curve, policy)
        three = sorted(asked, key=asked.get)[:3]
        say("months by rule, the shortest first", "the shortest, down to 6, 12, 24, 36, 48 or 60",
            "API 570 (second-hand), BS 7883:1997 12.1.2 (the norm of a year); caps judgement",
            "; ".join(f"{r} {asked[r]:.4g}" for r in three))  # fmt: skip
    a |= priority(a, register, policy)
    return a, steps


COLUMNS = (
    "rock_strength_mpa", "rock_sigma_ln", "rmr89", "rmr_class", "gsi", "rock_axial_kn_p05",
    "rock_radial_kn_p05", "resistance_mode", "resistance_short", "embedment_short",
    "rock_kn_p05", "rock_kn_p50", "rock_after_kn_p05", "rock_after_kn_p50",
    "kind_advised", "embedment_required_mm", "diameter_required_mm",
    "capacity_kn_p05", "coating_life_y", "steel_life_left_y", "like_failed_share",
    "metal_probability_y1", "rock_probability_y1", "failure_probability_y1",
    "failure_probability_y10", "failure_probability_y30", "rock_probability_after",
    "metal_band", "rock_band", "risk_band", "risk_governed_by", "action", "replace_by",
    "action_reasons", "interval_reasons", "inspection_interval_months", "interval_rule",
    "next_inspection_on", "overdue",
    "risk_band_after", "yearly_loss", "yearly_loss_after", "replacement_cost", "priority_score",
)  # fmt: skip

OF_THE_ROCKS_KN = (
    "capacity_kn_p05", "rock_probability_y1", "failure_probability_y1", "failure_probability_y10",
    "failure_probability_y30", "rock_probability_after", "yearly_loss", "yearly_loss_after",
    "priority_score", "interval_reasons",
)  # fmt: skip
"""Steep in what the rock holds: written only where that is given and not sampled."""

CLOSE = 0.02
OF_THE_DEPTH = ("embedment_required_mm", "rock_after_kn_p05", "rock_after_kn_p50")
"""Not written where a step of depth is decided by less than this share of the load: the tool's few
draws may rightly say the next one."""


def literal(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value + '"'
    return f"{float(value):.5g}" if value != round(value) or abs(value) > 1e5 else f"{value:g}"


def lines(file, found, steps):
    out = []
    for step in steps:
        out += ["", "[[step]]", *(f"{k} = {literal(v)}" for k, v in step.items())]
    out += ["", "[expected]"]
    columns = [c for c in COLUMNS if c in found and c not in file["given"]]
    if "rock_kn_p05" not in file["given"]:
        columns = [c for c in columns if c not in OF_THE_ROCKS_KN]
    if found["depth_margin"] < CLOSE:
        columns = [c for c in columns if c not in OF_THE_DEPTH]
    return [*out, *(f"{c} = {literal(found[c])}" for c in columns), ""]


def written(path):
    """A file as it is to be: what is given stays, steps and answers are worked out again."""
    file, _, register = read(path)
    found, steps = worked(file, register)
    text = path.read_text(encoding="utf-8").split("\n[[step]]")[0].rstrip("\n")
    return "\n".join([text, *lines(file, found, steps)])


def main(paths):
    for path in map(Path, paths):
        path.write_text(written(path), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
