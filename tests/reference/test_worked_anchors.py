"""Anchors in place, worked by an independent script before the tool was asked, held by value.

Each file of `worked/anchors` gives an anchor (and, where they matter, others `beside` it) with its
exposure, the steps with the standard, the clause or the word judgement, and what is expected. The
script is `worked/by_hand_anchor.py`; it imports nothing of saltreach. The anchors are invented.
"""

import tomllib
from dataclasses import replace
from pathlib import Path

import by_hand_anchor
import pandas as pd
import pytest

from saltreach.assessment.interval import inspection_interval
from saltreach.assessment.priority import anchor_priority
from saltreach.assessment.region import age_of_anchors
from saltreach.assessment.resistance import rock_resistance
from saltreach.assessment.risk import action_of, bands_of
from saltreach.assessment.rock import rock_mass, rock_strength
from saltreach.assessment.state import state_of_anchors
from saltreach.intake import read_register
from saltreach.intake.policy import DEFAULT
from saltreach.intake.survey import survey_at
from saltreach.science.time.reliability import rock_failure_probability
from saltreach.vocabulary.columns import REGISTER_BY_NAME

FILES = sorted((Path(__file__).parent / "worked" / "anchors").glob("*.toml"))
WORKED = {path.stem: tomllib.loads(path.read_text(encoding="utf-8")) for path in FILES}
NOT_WRITTEN = {"outside_standard": False, "crc": "", "corrosivity_category": "", "scc_band": "",
               "lithology": "unknown", "scc_hazard": float("nan")}  # fmt: skip
SHARE = 0.04
"""Within so much of the script's value: the tool takes rates of rust in steps of 2 %."""
WITHIN = dict.fromkeys(
    ("rock_kn_p05", "rock_kn_p50", "rock_after_kn_p05", "rock_after_kn_p50",
     "rock_axial_kn_p05", "rock_radial_kn_p05"), 0.08)  # fmt: skip
"""The tool has 256 fixed draws of the rock, the script 65,536."""
WITHIN["capacity_kn_p05"] = 0.05
"""A quantile between the 21 nodes of rust."""
LEAST_KN = 0.1


SPEAKS_FOR_OTHERS = ("kind", "material", "diameter_mm", "embedment_mm", "installed_on", "condition",
                     "lithology", "visits_per_year")  # fmt: skip
"""Where one of these is blank, an anchor needs a register of its own: what it may be is taken from
the others."""


def registers():
    """Names of the files that one register may hold together."""
    together = {}
    for name, file in WORKED.items():
        alone = "beside" in file or any(
            file["given"].get(c, "") in ("", "unknown") for c in SPEAKS_FOR_OTHERS
        )
        key = (
            name if alone else str([file.get(k) for k in ("today", "axial_kn", "policy", "survey")])
        )
        together.setdefault(key, []).append(name)
    return list(together.values())


def rows_of(name):
    """The anchor and the others of its register; what these do not say is as with the first."""
    file = WORKED[name]
    first = {"crag": "crag", "sector": "sector", "lon": 0.0, "lat": 45.0} | file["given"]
    rows = [first]
    for other in file.get("beside", []):
        rows += [first | other] * other.get("times", 1)
    ids = [name, *(f"{name} {n}" for n in range(1, len(rows)))]
    return [row | {"anchor_id": key, "crag": f"{name} {row['crag']}"}
            for key, row in zip(ids, rows, strict=True)]  # fmt: skip


def read(names):
    """Registers read as a user's are, all of one day at once, by `anchor_id`."""
    parts = []
    for today in {WORKED[name]["today"] for name in names}:
        rows = [row for n in names if WORKED[n]["today"] == today for row in rows_of(n)]
        frame = pd.DataFrame(rows)
        register = read_register(frame[[c for c in frame if c in REGISTER_BY_NAME]], today=today)
        assert not len(register.rejected), register.rejected.to_string()
        parts.append(pd.DataFrame(register.anchors.drop(columns="geometry")))
    return pd.concat(parts).set_index("anchor_id", drop=False)


def assessed(names, anchors):
    """The tool's answers for the files of one register: `assess` from the rock on."""
    file, rows = WORKED[names[0]], pd.DataFrame([row for n in names for row in rows_of(n)])
    policy, today = replace(DEFAULT, **file.get("policy", {})), file["today"]
    table = anchors.loc[rows["anchor_id"]].reset_index(drop=True)
    own = rows[[c for c in rows if c not in REGISTER_BY_NAME and c != "times"]]

    def joined(found):
        """The columns found, with what the files give in its place."""
        given = {
            c: found[c].astype(object).where(own[c].isna(), own[c]).infer_objects()
            for c in own
            if c in found
        }
        return table.assign(**dict(found.items()) | given)

    table = table.assign(lithology_source="register")
    table = joined(pd.DataFrame(NOT_WRITTEN, index=table.index)).assign(
        **{c: own[c] for c in own if c not in NOT_WRITTEN}
    )
    table = joined(rock_strength(table))
    table["age_y"] = age_of_anchors(table, today)
    surveyed, _ = survey_at(None, table)
    for sector in file.get("survey", []):
        surveyed = surveyed.assign(**{c: v for c, v in sector.items() if c in surveyed})
    table = joined(rock_mass(table, surveyed))
    table = joined(rock_resistance(table, file.get("axial_kn", 15.0)))
    state = state_of_anchors(table, today)
    table = joined(state.columns)
    table = joined(bands_of(table))
    table = joined(action_of(table, today))
    table = joined(inspection_interval(table, state.curve, today, policy))
    return joined(anchor_priority(table, policy)).set_index("anchor_id").loc[names]


@pytest.fixture(scope="module")
def answers():
    anchors = read(list(WORKED))
    return pd.concat([assessed(names, anchors) for names in registers()])


def agree(want, got, share):
    if isinstance(want, float | int) and not isinstance(want, bool):
        return abs(got - want) <= share * abs(want) + (LEAST_KN if share >= 0.05 else 0.0)
    return got == want


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.pinned("worked", answers=len(file["expected"])))
        for name, file in WORKED.items()
    ],
)
def test_anchor(name, answers):
    found = answers.loc[name]
    within = WITHIN | WORKED[name].get("within", {})
    wrong = {
        column: f"{want!r}, tool {found[column]!r}"
        for column, want in WORKED[name]["expected"].items()
        if not agree(want, found[column], within.get(column, SHARE))
    }
    assert not wrong, "\n".join(f"{column}: {said}" for column, said in wrong.items())


@pytest.mark.pinned("worked")
def test_rock_of_which_a_caller_knows_nothing():
    """8 kN at the 5th percentile, 30 in the middle (judgement): `by_hand_life.rock_gives_way`."""
    nan = float("nan")
    assert rock_failure_probability(nan, nan) == pytest.approx(0.0076275, rel=1e-3)


@pytest.mark.parametrize("part", range(4))
def test_the_files_are_what_the_script_writes(part):
    changed = [
        path.name
        for path in FILES[part::4]
        if path.read_text(encoding="utf-8") != by_hand_anchor.written(path)
    ]
    assert changed == []
