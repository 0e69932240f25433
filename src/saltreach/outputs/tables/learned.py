"""The files of `saltreach learned`: lessons as JSON, as a table, as a picture, and in sentences."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.assessment.learned import salt_used
from saltreach.folders.claim import Claim, result_set
from saltreach.intake.lessons import FailureLesson, Lessons, RockLesson, SaltLesson, lessons_text
from saltreach.outputs.optional import left_out_on_failure
from saltreach.outputs.pictures.learned import plot_learned
from saltreach.outputs.tables.results import spreadsheet_safe
from saltreach.science.time.learning import factor_used
from saltreach.science.time.learning_rock import rock_factor_used
from saltreach.science.time.reliability import Z_95
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import CAUTION, LEARNED_SUBJECTS, counted

NOTHING = (
    "Nothing was learned: no look, test or measurement could be used. What is believed is the "
    "model's, unchanged."
)
_METAL, _ROCK, _SALT = LEARNED_SUBJECTS


def learned_table(lessons: Lessons) -> pd.DataFrame:
    """One row per group, with what was believed before and after as factors on the model.

    Returns
    -------
    DataFrame
        Columns of the table `learned`.
    """
    rows = [
        *(_failure_row(one) for one in lessons.failure),
        *(_rock_row(one) for one in lessons.rock),
        *(_salt_row(one) for one in lessons.salt),
    ]
    table = pd.DataFrame(rows, columns=list(columns_of("learned")))
    whole = [name for name, column in columns_of("learned").items() if column.kind == "integer"]
    return table.astype(dict.fromkeys(whole, "Int64"))


def _failure_row(one: FailureLesson) -> dict[str, object]:
    used = float(factor_used(one.after.p50, one.after.p90, one.anchors > 0))
    group = f"{one.metal}, {one.kind}, {one.air}"
    return {
        "subject": _METAL,
        "group": group,
        "anchors": one.anchors,
        "looks": one.looks,
        "tests": one.proof_tests,
        "found_failed": one.failed,
        "expected_failed": one.expected,
        **_span("before", one.before),
        **_span("after", one.after),
        "used": used,
        "said": f"{group}: {counted(one.anchors, 'anchor')}, {counted(one.looks, 'look')}, "
        f"{counted(one.proof_tests, 'proof test')}; {one.failed} found failed, "
        f"the model has {one.expected:.2g} failed by then, seen or not. "
        f"{_moved(one.before, one.after)} {_counted(used, 'fails', 'as often as')}",
    }


def _rock_row(one: RockLesson) -> dict[str, object]:
    told = one.to_failure + one.held + one.moved > 0
    used = float(rock_factor_used(one.after.p10, one.after.p50, told))
    group = f"{one.lithology}, {one.tap}"
    return {
        "subject": _ROCK,
        "group": group,
        "tests": one.to_failure + one.held + one.moved,
        **_span("before", one.before),
        **_span("after", one.after),
        "used": used,
        "said": f"{group}: {counted(one.to_failure, 'pull')} to failure, {one.held} held, "
        f"{one.moved} moved or failed. {_moved(one.before, one.after)} "
        f"{_counted(used, 'bears', 'as much as')}",
    }


def _salt_row(one: SaltLesson) -> dict[str, object]:
    shift, _ = salt_used(one)
    before, after = one.model_sigma_ln, one.model_sigma_ln * one.spread
    used = float(np.exp(shift))
    row = {
        "before_p05": np.exp(-Z_95 * before),
        "before_p50": 1.0,
        "before_p95": np.exp(Z_95 * before),
        "after_p05": np.exp(one.shift_ln - Z_95 * after),
        "after_p50": np.exp(one.shift_ln),
        "after_p95": np.exp(one.shift_ln + Z_95 * after),
    }
    own = counted(one.measurements, "measurement") if one.measurements else "none of its own"
    return {
        "subject": _SALT,
        "group": one.crag,
        "tests": one.measurements,
        **row,
        "used": used,
        "said": f"{one.crag}: {own}. Believed before: {_range(row, 'before')} times the model's "
        f"median; after: {_range(row, 'after')}. " + _counted(used, "is", "as salty as"),
    }


def _span(when: str, believed: object) -> dict[str, float]:
    return {f"{when}_{q}": getattr(believed, q) for q in ("p05", "p50", "p95")}


def _range(row: dict[str, float], when: str) -> str:
    low, middle, high = (float(row[f"{when}_{q}"]) for q in ("p05", "p50", "p95"))
    return f"{middle:.2g} ({low:.2g} to {high:.2g})"


def _moved(before: object, after: object) -> str:
    was, now = _range(_span("b", before), "b"), _range(_span("a", after), "a")
    return f"Believed before: {was} times the model; after: {now}."


def _counted(used: float, verb: str, than: str) -> str:
    if abs(used - 1.0) < 0.005:
        return "Counted as the model says."
    return f"Counted: it {verb} {used:.2g} times {than} the model says."


def learned_lines(lessons: Lessons) -> list[str]:
    """What was learned, in sentences: one line per group, what is left out, what it cannot know."""
    table = learned_table(lessons)
    files = ", ".join(dict.fromkeys(one.file for one in lessons.made_from))
    lines = [f"Learned up to {lessons.learned_for} from {files} ({lessons.events} events)."]
    if not lessons.told:
        lines.append(NOTHING)
    lines += [f"{row.subject}: {row.said}" for row in table.itertuples()]
    return [*lines, *(f"left out: {text}" for text in lessons.left_out)]


def write_learned(
    lessons: Lessons, out: Path | str | Claim, *, beside_other_files: bool = False
) -> list[str]:
    """Write learned.json (for `assess --learned`), learned.csv and learned.png.

    Parameters
    ----------
    lessons : Lessons
        From `records.lessons.lessons_of`.
    out : path
        Folder; made if absent.
    beside_other_files : bool
        As for `write_results`.

    Returns
    -------
    list of str
        What could not be drawn and is left out.
    """
    table = learned_table(lessons)
    missing: list[str] = []
    with result_set(out, "learned", beside_other_files=beside_other_files) as work:
        (work / "learned.json").write_text(lessons_text(lessons), encoding="utf-8")
        digits = {n: c.decimals for n, c in columns_of("learned").items() if c.decimals is not None}
        spreadsheet_safe(table.round(digits)).assign(caution=CAUTION).to_csv(
            work / "learned.csv", index=False
        )
        with left_out_on_failure("learned.png", missing):
            plot_learned(table, lessons, work / "learned.png")
    return missing
