"""The files of `saltreach priorities`: ranked list, budget curve and its plot, shopping list."""

from __future__ import annotations

import json
from pathlib import Path
from textwrap import fill
from typing import Any

from saltreach.assessment.reasons import short
from saltreach.folders.claim import Claim, result_set
from saltreach.outputs.optional import left_out_on_failure
from saltreach.outputs.tables.results import spreadsheet_safe
from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.planning.priorities import Priorities
from saltreach.vocabulary.words import CAUTION, PURE_RISK

EXAMPLE = "EXAMPLE PRICES, invented: set your own before you decide."


def write_priorities(
    made: Priorities, out: Path | str | Claim, *, beside_other_files: bool = False
) -> list[str]:
    """Write priorities.csv, budget_curve.csv and .png, shopping.csv, priorities.xlsx and .json.

    Parameters
    ----------
    made : Priorities
        From `saltreach.priorities`.
    out : path
        Folder; made if absent.
    beside_other_files : bool
        As for `write_results`.

    Returns
    -------
    list of str
        What could not be drawn and is left out.
    """
    example = [EXAMPLE] if made.prices.example else []
    said = " ".join([*made.left_out, *example, CAUTION])
    tables = {
        "priorities": made.flat.sectors,
        "shopping": made.flat.shopping,
        "budget_curve": made.flat.curve,
    }
    rests_on = made.figures["assessment"]
    with result_set(
        out, "priorities", assessment=rests_on, beside_other_files=beside_other_files
    ) as work:
        for name, table in tables.items():
            spreadsheet_safe(table).assign(caution=said).to_csv(work / f"{name}.csv", index=False)
        missing: list[str] = []
        with left_out_on_failure("budget_curve.png", missing):
            plot_curve(made, work / "budget_curve.png")
        write_workbook(
            work / "priorities.xlsx",
            {name.replace("_", " ").capitalize(): table for name, table in tables.items()},
            [
                *priorities_lines(made),
                *(short(n, "priorities.json") for n in made.notes[len(made.left_out) :]),
                *missing,
            ],
            title="What to rebolt first (advice)",
        )
        text = json.dumps(made.figures, indent=2, ensure_ascii=False)
        (work / "priorities.json").write_text(text + "\n", encoding="utf-8")
    return missing


def priorities_lines(made: Priorities) -> list[str]:
    """The choice in sentences."""
    figures, currency = made.figures, made.prices.currency
    unit = f" {currency}" if currency else ""
    return [
        *made.left_out,
        *([EXAMPLE] if made.prices.example else []),
        f"Budget {figures['budget']:.2f}{unit}, {figures['order']}: {figures['sectors']} sectors, "
        f"{figures['anchors']} anchors for {figures['spent']:.2f}{unit} and "
        f"{figures['team_days']:.1f} team-days.",
        f"Avoids {figures['avoided_pct']:.1f} % of the region's expected loss; the most this "
        f"budget could avoid in any order is {figures['avoided_pure_risk_pct']:.1f} %.",
    ]


def plot_curve(made: Priorities, path: Path) -> None:
    """Draw loss avoided against money; lines differ in pattern as well as colour."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    curve, limits, prices = made.flat.curve, made.limits, made.prices
    figure = Figure(figsize=(8, 5), dpi=120, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    parts = [("avoided_pct", f"chosen ({limits.order})", "#0072B2", "-", "o")]
    if limits.order != PURE_RISK:
        parts += [
            ("avoided_pure_risk_pct", f"most in any order ({PURE_RISK})", "#D55E00", "--", "s"),
            ("avoided_sea_cliffs_pct", "of it on sea cliffs", "#009E73", ":", "^"),
        ]
    for name, label, colour, style, marker in parts:
        look: dict[str, Any] = {"color": colour, "marker": marker, "ms": 4, "label": label}
        axes.plot(curve["budget"], curve[name], style, **look)
    axes.axvline(limits.budget, color="#000000", lw=1)
    axes.annotate(
        f"budget {limits.budget:g}", (limits.budget, 0), xytext=(4, 6), textcoords="offset points"
    )
    axes.set_xlabel(f"money ({prices.currency or 'units of the price file'})")
    axes.set_ylabel("expected yearly loss avoided, % of the region's")
    axes.set_ylim(bottom=0)
    axes.grid(alpha=0.3)
    axes.legend(loc="lower right")
    axes.set_title(EXAMPLE if prices.example else "What the money avoids", fontsize=10)
    lines = [fill(text, 150) for text in (*made.left_out, CAUTION)]
    figure.supxlabel("\n".join(lines), fontsize=6)
    figure.savefig(path, metadata={"Software": None})
