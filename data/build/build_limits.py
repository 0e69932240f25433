"""Write data/limits_and_judgement.md: what the answers rest on, from the code's own tables.

Run from the top: ``python data/build/build_limits.py``. A test compares the page with what this
makes, so that a judged number cannot change unseen.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pandas as pd

TOP = Path(__file__).resolve().parents[2]
TARGET = TOP / "data" / "limits_and_judgement.md"
sys.path.insert(0, str(TOP / "tests"))

from helpers.decided import ANSWERS, table  # noqa: E402
from saltreach.assessment import risk, state  # noqa: E402
from saltreach.assessment.corrosivity import CATEGORY_FLOORS  # noqa: E402
from saltreach.assessment.material import COMMONLY_MADE, CONFIDENCE, HAZARD_FLOORS  # noqa: E402
from saltreach.assessment.sectors import WORST_SHARE  # noqa: E402
from saltreach.science.metal.stress_corrosion import MINIMUM_MATERIAL, WEIGHTS  # noqa: E402
from saltreach.science.rock import bond  # noqa: E402
from saltreach.science.rock.placement import (  # noqa: E402
    SOFT_ROCK_MEDIAN_MPA,
    TOO_WEAK_MEDIAN_MPA,
)
from saltreach.science.time import inspection, updating  # noqa: E402
from saltreach.science.time.reliability import MODEL  # noqa: E402
from saltreach.vocabulary.metals import GRADES  # noqa: E402
from saltreach.vocabulary.words import BANDS  # noqa: E402


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
        (f"condition {i}", "none: out of use" if i == 4 else f"{m:.0f}", "judgement")
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
    by.append(("coated steel", "half of its remaining life", "API 570 (second-hand)"))
    by.append(("yearly probability at the target", f"{inspection.NORM_MONTHS:.0f}, or 6 where rust "
               "governs ten times above it", "judgement"))  # fmt: skip
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
        (risk.POOR_METAL_FLOOR, "metal: recorded as poor"),
        (risk.LIKE_FAILED_FLOOR, "metal: a like anchor (sector, metal, year) failed"),
        (risk.MANY_FAILED_FLOOR, f"metal: {risk.MANY_FAILED:.0%} of the like anchors failed"),
        *((band, rock[name]) for name, band in risk.ROCK_FLOORS),
        (risk.UNKNOWN_ROCK_FLOOR, "rock: neither rock nor test known"),
    ]


def page() -> str:
    """The whole page."""
    answers = pd.read_csv(ANSWERS, dtype=str, keep_default_na=False).set_index("anchor_id")
    ladder = ", ".join(str(m) for m in inspection.LADDER_MONTHS)
    parts = [
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
                ("metal", ", ".join(f"{m} {p:g}" for m, p in state.METAL_PRIOR.items()),
                 f"{state.METAL_PRIOR_WEIGHT:g}; the region's {state.REGION_WEIGHT:g} beside a "
                 "crag's own"),
                ("age, years", ", ".join(f"{a:g}" for a in state.AGE_PRIOR_Y)
                 + "; of the register its quantiles "
                 + ", ".join(f"{q:g}" for q in state.AGE_QUANTILES),
                 f"{state.METAL_PRIOR_WEIGHT:g}"),
                ("condition 0 to 4", ", ".join(f"{p:g}" for p in updating.CONDITION_SHARES),
                 f"as many as are blank, at least {state.CONDITION_PRIOR_WEIGHT:g}"),
            ],
        ),
        "",
        "## Failure model",
        "",
        *rows(("number", "value"), [(n, f"{v:g}") for n, v in MODEL._asdict().items()]),
        "",
        "## Places decided blind",
        "",
        "Expected answers by somebody who had not seen the tool's; how a second officer would "
        "differ stands in `tests/reference/places_decided.csv`. One person's list: it judges the "
        "tool, and it is no measurement.",
        "",
        table(answers),
        "",
    ]  # fmt: skip
    return "\n".join(parts)


if __name__ == "__main__":
    TARGET.write_text(page(), encoding="utf-8")
    print(TARGET.name)
