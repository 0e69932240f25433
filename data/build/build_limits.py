"""Write data/limits_and_judgement.md: what the answers rest on, from the code's own tables.

Run from the top: ``python data/build/build_limits.py``. A test compares the page with what this
makes, so that a judged number cannot change unseen. The first sections lay out what a reader asks
for; the last one lists every other named number of the modules in `GROUPS` with the note that
stands beside it in the code (`tests/helpers/constants.py`).
"""

from __future__ import annotations

import sys
from itertools import groupby
from pathlib import Path
from typing import Any

import pandas as pd

TOP = Path(__file__).resolve().parents[2]
TARGET = TOP / "data" / "limits_and_judgement.md"
sys.path.insert(0, str(TOP / "tests"))

from helpers.constants import Constant, constants  # noqa: E402
from helpers.decided import ANSWERS, table  # noqa: E402
from saltreach.assessment import region, risk, state  # noqa: E402
from saltreach.assessment.corrosivity import CATEGORY_FLOORS  # noqa: E402
from saltreach.assessment.findings import FOUND  # noqa: E402
from saltreach.assessment.material import COMMONLY_MADE, CONFIDENCE, HAZARD_FLOORS  # noqa: E402
from saltreach.assessment.sectors import WORST_SHARE  # noqa: E402
from saltreach.intake import far_apart  # noqa: E402
from saltreach.science.metal.stress_corrosion import MINIMUM_MATERIAL, WEIGHTS  # noqa: E402
from saltreach.science.rock import bond  # noqa: E402
from saltreach.science.rock.lithology import QUALIFIERS  # noqa: E402
from saltreach.science.rock.placement import (  # noqa: E402
    SOFT_ROCK_MEDIAN_MPA,
    TOO_WEAK_MEDIAN_MPA,
)
from saltreach.science.time import inspection, updating  # noqa: E402
from saltreach.vocabulary.metals import GRADES  # noqa: E402
from saltreach.vocabulary.rocks import lithologies  # noqa: E402
from saltreach.vocabulary.words import BANDS  # noqa: E402

GROUPS = {
    "Corrosivity of the air": (
        "science.air.atmosphere", "science.air.uncertainty", "layers.so2",
        "science.metal.metal_loss",
    ),
    "Salt of the sea": (
        "science.air.salt", "layers.openness", "layers.shielding", "layers.salinity",
        "layers.salt_lakes", "layers.marked_lakes", "layers.seas",
    ),
    "Roads and what else lies around": (
        "layers.roads", "layers.context", "layers.online.bring_context",
        "layers.online.osm_objects",
    ),
    "What open services are asked": (
        "layers.online.bring", "layers.online.web", "layers.where",
        "layers.online.bring_coast", "layers.online.bring_heights", "layers.online.copernicus_dem",
        "layers.online.bring_rock",
        "layers.online.macrostrat", "layers.online.geology_service",
    ),
    "Wetness and sun": ("science.air.wetness", "science.air.sunlight"),
    "Climate": ("layers.climate", "layers.climate_maps", "layers.climate_pack"),
    "Climate and air of open services": (
        "layers.online.figures", "layers.online.nasa_power", "layers.online.open_meteo",
        "layers.online.user_rasters",
    ),
    "Shore, sea cliff and face": (
        "layers.coast", "layers.coast_layer", "layers.osm_shore", "layers.patched_coast",
        "layers.terrain",
        "assessment.place", "assessment.material",
    ),
    "Stress corrosion": ("science.metal.stress_corrosion",),
    "Strength of rock": (
        "science.rock.strength", "science.rock.rebound", "science.rock.lithology",
        "science.rock.rmr", "assessment.resistance",
    ),
    "Resistance in rock": (
        "science.rock.resistance", "science.rock.capacity", "science.rock.knock_down",
        "science.rock.bond",
    ),
    "Placing a new anchor": ("science.rock.placement", "science.rock.adhesive"),
    "What the register as a whole says": ("assessment.region",),
    "Failure": (
        "science.time.reliability", "science.time.anchors", "science.time.failure",
        "science.time.updating",
        "assessment.state", "assessment.risk", "assessment.sectors",
    ),
    "What looks and tests teach": (
        "science.time.learning", "science.time.learning_rock", "science.time.learning_salt",
        "assessment.learned", "assessment.hazard",
    ),
    "Interval": ("science.time.inspection",),
    "Findings, doubts about a placing, proof tests": (
        "assessment.findings", "assessment.placement", "assessment.proof_tests",
        "science.time.proof",
    ),
    "Priority": ("science.time.consequence",),
    "What to find out": ("assessment.find_out",),
    "Maps and what a landowner sees": (
        "assessment.generalise", "assessment.landowner", "assessment.shapes",
        "assessment.land", "assessment.backdrop",
    ),
    "Surface of a region": (
        "assessment.surface", "assessment.surface_blocks", "assessment.surface_grid",
    ),
    "Names, places and heights of a register": (
        "intake.far_apart", "intake.near_names", "assessment.contradictions",
    ),
    "Plan": ("planning.options", "planning.problem", "planning.greedy"),
    "Budget": ("planning.offers",),
    "Trips": ("planning.bring", "planning.wall"),
    "Size of files": ("intake.sizes",),
}  # fmt: skip
"""Headings of the last section, and the modules whose numbers stand below each."""

LAID_OUT = {
    "assessment.findings": ("FOUND",),
    "assessment.material": ("CONFIDENCE", "HAZARD_FLOORS"),
    "assessment.risk": ("MANY_FAILED", "REPLACE_WITHIN_MONTHS"),
    "assessment.sectors": ("WORST_SHARE",),
    "assessment.region": (
        "METAL_PRIOR_WEIGHT", "CONDITION_PRIOR_WEIGHT", "REGION_WEIGHT", "AGE_PRIOR_Y",
        "AGE_QUANTILES",
    ),
    "assessment.state": ("RANGE_FACTOR",),
    "science.metal.stress_corrosion": ("WEIGHTS",),
    "science.rock.bond": ("ADHESIVES", "ROD_SHAPES", "HOLE_CONDITIONS"),
    "science.rock.lithology": ("QUALIFIERS",),
    "science.rock.placement": ("SOFT_ROCK_MEDIAN_MPA", "TOO_WEAK_MEDIAN_MPA"),
    "science.time.inspection": (
        "LADDER_MONTHS", "NORM_MONTHS", "CATEGORY_CAP_MONTHS", "SCC_CAP_MONTHS",
        "CONDITION_CAP_MONTHS", "UNKNOWN_METAL_CAP_MONTHS", "UNKNOWN_DATE_CAP_MONTHS",
        "HOLLOW_CAP_MONTHS", "VOLCANIC_CAP_MONTHS", "BELOW_CLASS_CAP_MONTHS",
        "RUST_ABOVE_TARGET", "HALF_LIFE_CAP_MONTHS", "TARGET_PER_Y",
    ),
    "science.time.updating": ("CONDITION_SHARES",),
}  # fmt: skip
"""Numbers that the sections before the last one show: module, names."""


def rows(heads: tuple[str, ...], body: list[tuple[object, ...]]) -> list[str]:
    """A table of Markdown."""
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    return lines + ["| " + " | ".join(str(v) for v in row) + " |" for row in body]


def caps() -> list[tuple[str, str, str]]:
    """Every cap of the interval, with why."""
    by = [
        (f"category {c}", f"{m:.0f}", "judgement") for c, m in
        inspection.CATEGORY_CAP_MONTHS.items()
    ]  # fmt: skip
    by += [
        (f"hazard {b}, metal that cracks", f"{m:.0f}", "looking does not mend a crack: the yearly "
         "norm and a day to replace by" if b in ("high", "severe") else "judgement")
        for b, m in inspection.SCC_CAP_MONTHS.items()
    ]  # fmt: skip
    by += [
        (f"condition {i}", f"{m:.0f}, and out of use" if i == 4 else f"{m:.0f}", "judgement")
        for i, m in enumerate(inspection.CONDITION_CAP_MONTHS)
    ]
    for name, months in (
        ("unknown metal", inspection.UNKNOWN_METAL_CAP_MONTHS),
        ("unknown date", inspection.UNKNOWN_DATE_CAP_MONTHS),
        ("hollow rock", inspection.HOLLOW_CAP_MONTHS),
        ("volcanic gas", inspection.VOLCANIC_CAP_MONTHS),
        (
            "metal below its class (no class counts as that of 304)",
            inspection.BELOW_CLASS_CAP_MONTHS,
        ),
    ):
        by.append((name, f"{months:.0f}", "judgement"))
    by.append(("coated steel", f"half of its remaining life, {inspection.HALF_LIFE_CAP_MONTHS:.0f}",
               "API 570 (second-hand)"))  # fmt: skip
    (factor, months), (_, above) = inspection.RUST_ABOVE_TARGET
    passed = f"yearly probability above the target ({inspection.TARGET_PER_Y:g})"
    for where, most in (
        (passed, inspection.NORM_MONTHS),
        (f"rust governs, up to {factor:g} times the target", months),
        ("rust governs, more than that", above),
    ):
        by.append((where, f"{most:.0f}", "judgement"))
    return by


def floors() -> list[tuple[str, str]]:
    """Least bands of metal and rock, whatever the probability."""
    rock = {
        "veto": "rock: hollow sound or completely weathered (W5, W6)",
        "weak": f"rock: median strength of {TOO_WEAK_MEDIAN_MPA:g} MPa or less",
        "soft": f"rock: median strength below {SOFT_ROCK_MEDIAN_MPA:g} MPa",
    }
    return [
        (BANDS[-1], "metal: recorded as failed"),
        (BANDS[-1], "rock: found loose"),
        (risk.FAULT_FLOOR, "both: placed with a known fault and not yet proof tested"),
        (risk.POOR_METAL_FLOOR, "metal: recorded as poor"),
        (risk.LIKE_FAILED_FLOOR, "metal: a like anchor (sector, metal, year) failed"),
        (risk.MANY_FAILED_FLOOR, f"metal: {risk.MANY_FAILED:.0%} of the like anchors failed"),
        *((band, rock[name]) for name, band in risk.ROCK_FLOORS),
        (risk.UNKNOWN_ROCK_FLOOR, "rock: neither rock nor test known"),
    ]


def found() -> list[tuple[str, ...]]:
    """What each finding asks for."""

    def number(value: float) -> str:
        return "" if value != value else f"{value:.0f}"

    return [
        (word, rule.answer, *map(number, (rule.months, rule.metal, rule.rock, rule.by_months)))
        for word, rule in FOUND.items()
    ]


def plain(value: Any) -> str:
    """A number, or a table of numbers, as it is read."""
    if hasattr(value, "_asdict"):
        own = {n: v for n, v in value._asdict().items() if v != value._field_defaults.get(n)}
        return plain(own)
    if isinstance(value, dict):
        return ", ".join(f"{name} {plain(v)}" for name, v in value.items())
    if isinstance(value, tuple):
        return "(" + ", ".join(map(plain, value)) + ")"
    if isinstance(value, float):
        exact = f"{value:.10g}"
        return exact if len(exact) < 10 else f"{value:.4g}"
    return str(value)


def listed(modules: tuple[str, ...]) -> list[Constant]:
    """The numbers of some modules that no section shows otherwise, in the order given."""
    return [
        one
        for module in modules
        for one in constants()
        if one.module == module and not one.kept_for and one.name not in LAID_OUT.get(module, ())
    ]


def section(heading: str, modules: tuple[str, ...]) -> list[str]:
    """Heading and table of their numbers; those that share a note share a row."""
    body = [
        (", ".join(f"`{one.name}` {plain(one.value)}" for one in ones), note)
        for (_, note), ones in (
            (key, list(found))
            for key, found in groupby(listed(modules), lambda one: (one.module, one.note))
        )
    ]
    table = rows(("number", "what it is, and its source"), body)
    return [f"### {heading}", "", *table, ""] if body else []


def far_places() -> list[str]:
    """The rule on crags whose anchors lie far apart, as the code says it."""
    head, _, rule = (far_apart.__doc__ or "").partition("\n\n")
    return [f"## {head.rstrip('.').split(':')[0]}", "", *rule.strip().splitlines(), ""]


def page() -> str:
    """The whole page."""
    answers = pd.read_csv(ANSWERS, dtype=str, keep_default_na=False).set_index("anchor_id")
    parts = [
        *numbers(),
        *far_places(),
        "## Places decided blind",
        "",
        "Expected answers by somebody who had not seen the tool's; how a second officer would "
        "differ stands in `tests/reference/places_decided.csv`. One person's list: it judges the "
        "tool, and it is no measurement.",
        "",
        table(answers),
        "",
    ]
    return "\n".join(parts)


def numbers() -> list[str]:
    """All but the places."""
    ladder = ", ".join(str(m) for m in inspection.LADDER_MONTHS)
    return [
        "# Limits and judgement",
        "",
        "Made from the code by `data/build/build_limits.py`; do not edit by hand. It advises; it "
        "never certifies an anchor as safe. Local code, the land manager and a competent person "
        "decide.",
        "",
        "## Risk bands",
        "",
        "One scale for metal, rock and both. **Every probability is a prior, not a counted rate**: "
        f"it may be {state.RANGE_FACTOR:g} times lower or higher. A sector shows its worst "
        f"anchor's band where {WORST_SHARE:.0%} of its anchors share it, else one below; both "
        "are said.",
        "",
        *rows(("band", "what it says"), list(risk.BAND_MEANINGS.items())),
        "",
        *rows(("band no milder than", "where (judgement)"), floors()),
        "",
        "Replace, move or close within, by the band of the risk: "
        + ", ".join(f"{b} {m} months" for b, m in risk.REPLACE_WITHIN_MONTHS.items())
        + ".",
        "",
        "## Interval between inspections",
        "",
        f"Ladder: {ladder} months; the shortest cap wins, rounded down. The norm is "
        f"{inspection.NORM_MONTHS:.0f} months where somebody owns fixed equipment (BS 7883:1997, "
        "UNI 11560:2022, EN 15567-1:2015, EN 365:2004).",
        "",
        *rows(("where", "no longer than, months", "why"), caps()),
        "",
        "## Findings of a look",
        "",
        "Some have no interval: out of use until reset or replaced. A finding counts as the "
        "condition beside it, for the metal or for the hold in the rock, where that is worse than "
        "the one recorded. All judgement.",
        "",
        *rows(
            ("finding", "at least", "no longer than, months", "metal as condition",
             "hold as condition", "act within, months"),
            found(),
        ),
        "",
        "## Corrosivity",
        "",
        "No milder than, whatever the functions say (they know the salt of the sea alone):",
        "",
        *rows(("place", "category", "why"), list(CATEGORY_FLOORS)),
        "",
        "## Metals",
        "",
        f"Class and hazard must suffice with {CONFIDENCE:.0%} chance. Commonly made bonded: "
        + ", ".join(COMMONLY_MADE)
        + ". Least metal by hazard: "
        + ", ".join(f"{b} {m}" for b, m in MINIMUM_MATERIAL.items())
        + " (duplex only where the policy accepts it).",
        "",
        *rows(
            ("grade", "metal", "least MPa", "used MPa", "shear", "class", "cracking", "bonded",
             "mechanical", "source"),
            [
                (g.name, g.material, f"{g.minimum_mpa:g}", f"{g.strength_mpa:g}",
                 f"{g.shear_ratio:g}", g.crc, f"{g.cracking:g}", g.bonded, g.mechanical, g.source)
                for g in GRADES
            ],
        ),
        "",
        "## Stress-corrosion hazard",
        "",
        *rows(
            ("weight", "value", "unit", "status", "source"),
            [(n, f"{w.value:g}", w.unit, w.status, w.source) for n, w in WEIGHTS.items()],
        ),
        "",
        *rows(("floor", "hazard", "why"), [(n, f"{v:g}", w) for n, v, w in HAZARD_FLOORS]),
        "",
        "## Bond of resin",
        "",
        *rows(
            ("part", "median", "sigma ln", "source"),
            [
                (f"{what} {n}", f"{f.median:.3g}", f"{f.sigma_ln:.2g}", f.source)
                for what, one in (("adhesive", bond.ADHESIVES), ("rod", bond.ROD_SHAPES),
                                  ("hole", bond.HOLE_CONDITIONS))
                for n, f in one.items()
            ],
        ),
        "",
        "## What an unknown may be",
        "",
        "The shares of the register and these of the trade together (all judgement).",
        "",
        *rows(
            ("what", "shares of the trade", "counts as so many anchors"),
            [
                ("metal", ", ".join(f"{m} {p:g}" for m, p in region.METAL_PRIOR.items()),
                 f"{region.METAL_PRIOR_WEIGHT:g}; the region's {region.REGION_WEIGHT:g} beside a "
                 "crag's own"),
                ("age, years", ", ".join(f"{a:g}" for a in region.AGE_PRIOR_Y)
                 + "; of the register its quantiles "
                 + ", ".join(f"{q:g}" for q in region.AGE_QUANTILES),
                 f"{region.METAL_PRIOR_WEIGHT:g}"),
                ("condition 0 to 4", ", ".join(f"{p:g}" for p in updating.CONDITION_SHARES),
                 f"as many as are blank, at least {region.CONDITION_PRIOR_WEIGHT:g}"),
            ],
        ),
        "",
        "## Rock by its name",
        "",
        "Wide textbook ranges from memory; each row says what it leans on.",
        "",
        *rows(
            ("rock", "strength, MPa", "density, t/m3", "leans on"),
            [
                (r.name, f"{r.ucs_low_mpa:g} to {r.ucs_high_mpa:g}",
                 f"{r.density_low_t_m3:g} to {r.density_high_t_m3:g}", r.source)
                for r in lithologies().values() if r.ucs_low_mpa > 0
            ],
        ),
        "",
        "Words beside the name, and the factor on the median (judgement): "
        + ", ".join(f"{word} {factor:g}" for word, factor, _ in QUALIFIERS)
        + ".",
        "",
        "## Every other number",
        "",
        "By what it serves. Where a row names no source, it is judgement. Numbers of published "
        "tables that `tests/reference` holds (functions of ISO 9223, EN 1993-1-4 Annex A, RMR89) "
        "stand there.",
        "",
        *(line for heading, modules in GROUPS.items() for line in section(heading, modules)),
    ]  # fmt: skip


if __name__ == "__main__":
    TARGET.write_text(page(), encoding="utf-8")
    print(TARGET.name)
