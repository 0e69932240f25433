"""The files of `saltreach priorities`: ranked list, budget curve and its plot, shopping list."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.intake.prices import Prices
from saltreach.outputs.files import atomic_folder
from saltreach.outputs.tables.results import spreadsheet_safe
from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.planning.budget import Money
from saltreach.vocabulary.words import CAUTION

EXAMPLE = "EXAMPLE PRICES, invented: set your own before you decide."


def write_priorities(
    out: Path,
    *,
    ranked: pd.DataFrame,
    curve: pd.DataFrame,
    shopping: pd.DataFrame,
    record: dict[str, Any],
    prices: Prices,
    money: Money,
) -> None:
    """Write priorities.csv, budget_curve.csv and .png, shopping.csv, priorities.xlsx and .json.

    Parameters
    ----------
    out : Path
        Folder; made if absent.
    ranked, curve, shopping : DataFrame
        From `saltreach.planning.budget`.
    record : dict
        Figures for the JSON file and the first sheet.
    prices, money : Prices, Money
        What they rest on.
    """
    said = f"{EXAMPLE} {CAUTION}" if prices.example else CAUTION
    with atomic_folder(out) as work:
        for name, table in (
            ("priorities", ranked), ("budget_curve", curve), ("shopping", shopping),
        ):  # fmt: skip
            spreadsheet_safe(table).assign(caution=said).to_csv(work / f"{name}.csv", index=False)
        plot_curve(curve, work / "budget_curve.png", prices=prices, money=money)
        about = [
            *([EXAMPLE] if prices.example else []),
            *lines(record, prices),
            *record["notes"],
        ]
        write_workbook(
            work / "priorities.xlsx",
            {"Priorities": ranked, "Shopping": shopping, "Budget curve": curve},
            about,
            title="What to rebolt first (advice)",
        )
        text = json.dumps(record, indent=2, ensure_ascii=False)
        (work / "priorities.json").write_text(text + "\n", encoding="utf-8")


def lines(record: dict[str, Any], prices: Prices) -> list[str]:
    """The choice in sentences."""
    unit = f" {prices.currency}" if prices.currency else ""
    return [
        f"Budget {record['budget']:.2f}{unit}, {record['order']}: {record['sectors']} sectors, "
        f"{record['anchors']} anchors for {record['spent']:.2f}{unit} and "
        f"{record['team_days']:.1f} team-days.",
        f"Avoids {record['avoided_pct']:.1f} % of the region's expected loss; the most this "
        f"budget could avoid in any order is {record['avoided_pure_risk_pct']:.1f} %.",
    ]


def plot_curve(curve: pd.DataFrame, path: Path, *, prices: Prices, money: Money) -> None:
    """Draw loss avoided against money; lines differ in pattern as well as colour."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 5), dpi=120, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    parts = [("avoided_pct", f"chosen ({money.order})", "#0072B2", "-", "o")]
    if money.order != "pure-risk":
        parts += [
            ("avoided_pure_risk_pct", "most in any order (pure-risk)", "#D55E00", "--", "s"),
            ("avoided_sea_cliffs_pct", "of it on sea cliffs", "#009E73", ":", "^"),
        ]
    for name, label, colour, style, marker in parts:
        look: dict[str, Any] = {"color": colour, "marker": marker, "ms": 4, "label": label}
        axes.plot(curve["budget"], curve[name], style, **look)
    axes.axvline(money.budget, color="#000000", lw=1)
    axes.annotate(
        f"budget {money.budget:g}", (money.budget, 0), xytext=(4, 6), textcoords="offset points"
    )
    axes.set_xlabel(f"money ({prices.currency or 'units of the price file'})")
    axes.set_ylabel("expected yearly loss avoided, % of the region's")
    axes.set_ylim(bottom=0)
    axes.grid(alpha=0.3)
    axes.legend(loc="lower right")
    axes.set_title(EXAMPLE if prices.example else "What the money avoids", fontsize=10)
    figure.supxlabel(CAUTION, fontsize=6)
    figure.savefig(path, metadata={"Software": None})
