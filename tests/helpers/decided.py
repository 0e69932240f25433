"""The places of `places_decided.csv` through the tool, beside what was expected of each.

The expectations were written blind, by somebody who had not seen the tool's answers; the basis of
each (common practice, or a source by name) stands in its row, and `other_view` says how a second
officer would differ. `python tests/helpers/decided.py` writes the tool's answers again to
`places_decided_tool.csv`, which the test compares by value: a changed answer is seen.
"""

import datetime as dt
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.assessment.assess import assess
from saltreach.intake import read_register
from saltreach.intake.options import Options
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import BANDS

HERE = Path(__file__).parents[1] / "reference"
PLACES = HERE / "places_decided.csv"
ANSWERS = HERE / "places_decided_tool.csv"
TODAY = dt.date(2026, 11, 25)
CLASSES = ("I", "II", "III", "IV", "V")
MONTHS = ("", "6", "12", "24", "36", "48", "60")
METALS = ("304", "316", "titanium")
"""Commonly made bonded metals, in steps: superaustenitic and duplex count as titanium's step."""

ASPECTS = {
    "metal": ("expected_metal", "material_recommended", METALS),
    "class": ("expected_class", "crc", CLASSES),
    "hazard": ("expected_hazard", "scc_band", BANDS),
    "months": ("expected_months", "inspection_interval_months", MONTHS),
    "risk": ("expected_risk_band", "risk_band", BANDS),
    "sea cliff": ("expected_sea_cliff", "sea_cliff", ("no", "yes")),
    "action": ("expected_action", "action", None),
}
"""What is compared: expected column, the tool's column, and the order of its steps."""


def assessed() -> pd.DataFrame:
    """The tool's answers, one row per place, by `anchor_id`."""
    given = pd.read_csv(PLACES, dtype=str, keep_default_na=False)
    register = given[[c for c in given if c in REGISTER_BY_NAME]]
    failed = register["condition"] == "4"  # one register: they would speak for the undated ones
    answers = pd.concat([_assessed(register[failed]), _assessed(register[~failed])])
    return answers.reindex(given["anchor_id"])


def _assessed(register: pd.DataFrame) -> pd.DataFrame:
    anchors = anchors_of(register)
    text = anchors[["anchor_id", *(tool for _, tool, _ in ASPECTS.values())]].astype("object")
    return text.fillna("").astype(str).set_index("anchor_id")


def anchors_of(register: pd.DataFrame) -> pd.DataFrame:
    """The anchors of a register given as text, assessed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "places.csv"
        register.to_csv(path, index=False)
        found = read_register(path, today=TODAY)
    if len(found.rejected):
        raise SystemExit(found.rejected.to_string())
    return assess(found, Options(today=TODAY)).flat.anchors


def judged(answers: pd.DataFrame) -> pd.DataFrame:
    """Each aspect of each place: right, one step off, or wrong."""
    given = pd.read_csv(PLACES, dtype=str, keep_default_na=False).set_index("anchor_id")
    answers = answers.reindex(given.index)
    out = {}
    for aspect, (expected, tool, order) in ASPECTS.items():
        want, got = given[expected], answers[tool]
        if order is None:
            off = np.where(want == got, 0, 9)
        else:
            steps = {word: i for i, word in enumerate(order)}
            if aspect == "metal":
                steps |= {"duplex": 2, "superaustenitic": 2}
                steps |= {m: -9 for m in MATERIAL_NAMES if m not in steps}
            off = np.abs(want.map(steps).fillna(-9) - got.map(steps).fillna(9)).to_numpy(float)
        out[aspect] = np.select([off == 0, off == 1], ["right", "one step off"], "wrong")
    return pd.DataFrame(out, index=given.index)


def table(answers: pd.DataFrame) -> str:
    """The comparison as a table of Markdown, for the documentation."""
    given = pd.read_csv(PLACES, dtype=str, keep_default_na=False).set_index("anchor_id")
    answers, verdict = answers.reindex(given.index), judged(answers)
    lines = [
        "| place | " + " | ".join(ASPECTS) + " | basis |",
        "|" + "---|" * (len(ASPECTS) + 2),
    ]
    for key in given.index:
        cells = []
        for aspect, (expected, tool, _) in ASPECTS.items():
            want, got = given.at[key, expected] or "none", answers.at[key, tool] or "none"
            mark = {"right": "", "one step off": " (one off)", "wrong": " (WRONG)"}
            said = got if want == got else f"{got}, expected {want}"
            cells.append(said + mark[verdict.at[key, aspect]])
        name = f"{given.at[key, 'crag']}, {given.at[key, 'sector']}"
        lines.append(f"| {name} | " + " | ".join(cells) + f" | {given.at[key, 'basis']} |")
    counts = verdict.apply(lambda column: column.value_counts()).fillna(0).astype(int)
    for word in ("right", "one step off", "wrong"):
        row = counts.loc[word] if word in counts.index else pd.Series(0, index=verdict.columns)
        lines.append(f"| **{word}** | " + " | ".join(str(v) for v in row) + " | |")
    return "\n".join(lines)


if __name__ == "__main__":
    found = assessed()
    found.to_csv(ANSWERS, lineterminator="\n")
    print(table(found))
