"""Sectors and crags from anchors whose decisions are given: every column, worked out by hand.

The anchors are invented; the answers follow from the rule that each column documents
(`vocabulary/columns.csv`), not from the tool. How each was worked out stands beside it in
`worked/sectors`; `calm.toml` holds what the anchors of every file share.
"""

import json
import tempfile
import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.groups import grouped, ranked
from saltreach.assessment.rock import rock_mass
from saltreach.intake.policy import DEFAULT
from saltreach.intake.survey import read_survey, survey_at
from saltreach.vocabulary.columns import columns_of

FOLDER = Path(__file__).parent / "worked/sectors"
CALM = "calm.toml"
TABLES = {
    name: {n: c for n, c in columns_of(name).items() if c.sector != "key" and n != "caution"}
    for name in ("sectors", "crags")
}
"""Columns of sectors.csv and crags.csv that are worked out."""
SETTINGS = ("as", "order", "survey")


def read(file):
    return tomllib.loads((FOLDER / file).read_text(encoding="utf-8"))


def world(file):
    """What a file says, and where it says nothing what the file says on which it builds."""
    own = read(file)
    if file == CALM:
        return own
    base = world(own.get("as", CALM))
    lines = {n: base.get(n, {}) | line for n, line in own.items() if n not in SETTINGS}
    return base | lines | {n: own[n] for n in ("order", "survey") if n in own}


def expected(line, table):
    return line.get(table, line.get("groups"))


def rows(said):
    """Number of sectors and of crags of a file."""
    keys = {n: said[n]["anchors"] for n in ("crag", "sector")}
    if isinstance(keys["crag"], str):
        return {"sectors": 1, "crags": 1}
    return {"sectors": len(set(zip(*keys.values(), strict=True))), "crags": len(set(keys["crag"]))}


def answers(file):
    """How many cells of sectors and crags the file itself, not what it builds on, gives."""
    size = rows(world(file))
    return sum(
        size[table]
        for name, line in read(file).items()
        if name not in SETTINGS
        for table, columns in TABLES.items()
        if name in columns and expected(line, table) is not None
    )


FILES = sorted(f.name for f in FOLDER.glob("*.toml") if f.name != CALM)


def table_of(said):
    """The anchors as they are after their own decisions."""
    size = len(said["anchor_id"]["anchors"])
    lines = {n: line["anchors"] for n, line in said.items() if isinstance(line, dict)
             and n != "curve" and "anchors" in line}  # fmt: skip
    # `anchors` is the count of a group too: that line has no list of anchors
    table = pd.DataFrame({n: v if isinstance(v, list) else [v] * size for n, v in lines.items()})
    if "survey" in said:
        with tempfile.TemporaryDirectory() as folder:
            sheet = Path(folder) / "survey.csv"
            pd.DataFrame([said["survey"]]).to_csv(sheet, index=False)
            surveyed, kept = survey_at(read_survey(sheet), table)
        assert not len(kept.rejected)
        found = rock_mass(table, surveyed)
        table = table.drop(columns=[n for n in found if n in table]).join(found)
    curve = np.array(said["curve"]["anchors"], float)
    return table, np.broadcast_to(curve, (size, curve.shape[-1]))


CASES = [pytest.param(f, marks=pytest.mark.pinned("worked", answers=answers(f))) for f in FILES]


@cache
def grouped_as(file):
    """What the file says, and the three tables the tool makes of its anchors."""
    said = world(file)
    table, curve = table_of(said)
    register = gpd.GeoDataFrame(
        table[["anchor_id", "crag", "sector"]],
        geometry=gpd.points_from_xy(np.linspace(-5.0, -5.001, len(table)), [43.4] * len(table)),
        crs=4326,
    )
    policy = replace(DEFAULT, order=said.get("order", DEFAULT.order))
    anchors, groups = grouped(table, register, curve)
    sectors, crags, rank = ranked([groups], anchors, policy)
    return said, (anchors.assign(priority_rank=rank), sectors, crags)


def same(column, got, want):
    if column.kind in ("curve", "probabilities") and want != "":
        found = json.loads(got)
        if isinstance(want, dict):
            assert list(found) == list(want)
            found, want = list(found.values()), list(want.values())
        return found == pytest.approx(want, rel=1e-6)
    if column.kind in ("number", "integer"):
        got = float("nan") if pd.isna(got) else float(got)
        return got == pytest.approx(want, rel=1e-6, nan_ok=True)
    return got == want


@pytest.mark.parametrize("file", CASES)
def test_every_column_of_every_sector_and_crag(file):
    said, (_, sectors, crags) = grouped_as(file)
    size = rows(said)
    wrong = []
    for table, frame in (("sectors", sectors), ("crags", crags)):
        assert len(frame) == size[table]
        for name, column in TABLES[table].items():
            want = expected(said[name], table)
            assert want is not None, f"{name} of {table}: no answer in the file"
            listed = isinstance(want, list) and column.kind != "curve"
            for at, answer in enumerate(want if listed else [want] * size[table]):
                got = frame[name].iloc[at]
                if not same(column, got, answer):
                    wrong.append((table, at, name, got, answer))
            if listed:
                assert len(want) == size[table], name
    assert not wrong


@pytest.mark.parametrize("file", FILES)
def test_each_anchor_has_the_place_of_its_sector_in_the_order(file):
    said, (anchors, sectors, _) = grouped_as(file)
    want = said["priority_rank"]
    ranks = expected(want, "sectors")
    by = dict(zip(zip(sectors["crag"], sectors["sector"], strict=True),
                  ranks if isinstance(ranks, list) else [ranks], strict=True))  # fmt: skip
    keys = zip(anchors["crag"], anchors["sector"], strict=True)
    assert anchors["priority_rank"].tolist() == [by[key] for key in keys]


def test_every_column_is_worked_out_in_a_file_where_the_anchors_differ():
    """A column of anchors that are all alike pins no rule; one line of some file must do more.

    Wind is not used and stays empty (its column says so), but its rule is held all the same.
    """
    varied = {"sectors": set(), "crags": set()}
    for file in FILES:
        own = read(file)
        for table, columns in TABLES.items():
            varied[table] |= {
                n for n in columns if n in own and expected(own[n], table) is not None
            }
    for table, columns in TABLES.items():
        assert set(columns) - varied[table] == set()


def test_no_line_is_read_by_nobody():
    known = {n for t in ("anchors", "working", "sectors", "crags") for n in columns_of(t)}
    known |= {f"probability_{c}" for c in ("C1", "C2", "C3", "C4", "C5", "CX")}
    known |= {"curve", "yearly_loss_after", "replacement_cost"}
    for file in (CALM, *FILES):
        own = read(file)
        assert set(own) - known - set(SETTINGS) == set(), file
        for name, line in own.items():
            if name not in SETTINGS:
                assert set(line) <= {"anchors", "groups", "sectors", "crags"}, (file, name)
