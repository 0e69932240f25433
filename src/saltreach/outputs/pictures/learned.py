"""One picture of what was learned: before and after, group by group."""

from __future__ import annotations

import warnings
from pathlib import Path
from textwrap import fill
from typing import Any

import numpy as np
import pandas as pd

from saltreach.intake.lessons import Lessons
from saltreach.vocabulary.words import CAUTION, LEARNED_SUBJECTS, counted

BEFORE, AFTER, USED = "#8b98a1", "#0b5f73", "#43195a"
TITLES = {
    LEARNED_SUBJECTS[0]: "How often the metal fails",
    LEARNED_SUBJECTS[1]: "What the rock side bears",
    LEARNED_SUBJECTS[2]: "How salty it is",
}
ROW_IN, HEAD_IN, TOP_IN, FOOT_IN, WIDTH_IN = 0.34, 0.9, 0.75, 0.6, 9.6
TICKS = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)
MOST_ROWS = 40
"""Groups of one subject that are drawn; the table holds all."""
_NAME_LETTERS = 46


def plot_learned(table: pd.DataFrame, lessons: Lessons, path: Path) -> None:
    """Draw what was believed before and after, and what counts.

    Parameters
    ----------
    table : DataFrame
        From `tables.learned.learned_table`.
    lessons : Lessons
        Where it is from.
    path : Path
        PNG to write; the same lessons give the same bytes.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    parts = [(s, own[:MOST_ROWS]) for s in LEARNED_SUBJECTS if len(own := _of(table, s))]
    heights = [HEAD_IN + ROW_IN * len(own) for _, own in parts] or [HEAD_IN + 1.0]
    total = sum(heights) + FOOT_IN + TOP_IN
    figure = Figure(figsize=(WIDTH_IN, total), dpi=110)
    FigureCanvasAgg(figure)
    files = ", ".join(dict.fromkeys(one.file for one in lessons.made_from))
    figure.text(
        0.03, 1 - 0.3 / total, f"What was learned up to {lessons.learned_for}", fontsize=13,
        weight="bold", va="center", parse_math=False,
    )  # fmt: skip
    top = total - TOP_IN
    if not parts:
        figure.text(0.03, 1 - 1.0 / total, "Nothing yet: no look, test or measurement to learn "
                    "from.", fontsize=11)  # fmt: skip
    for at, (subject, own) in enumerate(parts):
        height = ROW_IN * len(own)
        bottom = top - 0.42 - height
        axes = figure.add_axes((0.36, bottom / total, 0.47, height / total))
        _draw(axes, subject, own)
        if at == 0:
            figure.legend(
                *axes.get_legend_handles_labels(), loc="upper right", ncols=3, fontsize=8,
                bbox_to_anchor=(0.99, 1 - 0.42 / total), frameon=False, handletextpad=0.3,
            )  # fmt: skip
        top -= heights[at]
    foot = [f"From {files}, {lessons.events} events.", CAUTION]
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        figure.text(
            0.03, 0.12 / total, "\n".join(fill(line, 150) for line in foot), fontsize=7.5,
            va="bottom", parse_math=False,
        )  # fmt: skip
        figure.savefig(path, metadata={"Software": None})


def _of(table: pd.DataFrame, subject: str) -> pd.DataFrame:
    return table[table["subject"] == subject]


def _draw(axes: Any, subject: str, own: pd.DataFrame) -> None:
    rows = np.arange(len(own))[::-1].astype(float)
    for when, colour, shift, marker, dash in (
        ("before", BEFORE, 0.17, "o", ":"), ("after", AFTER, -0.17, "s", "-"),
    ):  # fmt: skip
        low, middle, high = (own[f"{when}_{q}"].to_numpy(float) for q in ("p05", "p50", "p95"))
        axes.hlines(rows + shift, low, high, color=colour, lw=2.0, ls=dash)
        axes.plot(
            middle, rows + shift, marker, color=colour, ms=5, ls="",
            label=f"{when}: median, 5 to 95 %",
        )  # fmt: skip
    axes.plot(own["used"], rows, "D", mfc="none", color=USED, ms=8, mew=1.6, ls="", label="counted")
    axes.axvline(1.0, color="#4b5b66", lw=0.8)
    axes.set(xscale="log", ylim=(-0.6, len(own) - 0.4))
    ends = own[["before_p05", "before_p95", "after_p05", "after_p95"]].to_numpy(float)
    axes.set_xlim(ends.min() / 1.3, ends.max() * 1.3)
    low, high = axes.get_xlim()
    ticks = [tick for tick in TICKS if low <= tick <= high]
    axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.set_xticks([], minor=True)
    axes.set_yticks(rows, [""] * len(own))
    axes.tick_params(axis="x", labelsize=8)
    axes.tick_params(axis="y", length=0)
    for at, row in zip(rows, own.itertuples(), strict=True):
        name = str(row.group)
        name = name if len(name) <= _NAME_LETTERS else name[: _NAME_LETTERS - 1] + "…"
        axes.annotate(
            name, (0, at), xycoords=("axes fraction", "data"), xytext=(-6, 0), ha="right",
            textcoords="offset points", va="center", fontsize=8, parse_math=False,
        )  # fmt: skip
        axes.annotate(
            _amount(row), (1, at), xycoords=("axes fraction", "data"), xytext=(6, 0), ha="left",
            textcoords="offset points", va="center", fontsize=7.5,
        )  # fmt: skip
    axes.set_title(f"{TITLES[subject]}, times what the model says", fontsize=10, loc="left")
    axes.grid(axis="x", color="#d5dcdf", lw=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def _amount(row: Any) -> str:
    """How much data a group has."""
    if row.subject == LEARNED_SUBJECTS[0]:
        return f"{counted(row.anchors, 'anchor')}, {row.found_failed} failed"
    if row.subject == LEARNED_SUBJECTS[1]:
        return counted(row.tests, "pull")
    return f"{row.tests} measured"
