"""What a region's events teach: data for `science.time.learning`, and the lessons drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from importlib.metadata import version
from itertools import product

import numpy as np
import pandas as pd

from saltreach.assessment.hazard import cumulative_hazard, hazard_at
from saltreach.assessment.learned import air_group, kind_group, metal_group
from saltreach.assessment.state import metal_in_place
from saltreach.intake.dates import day_limits, year_fraction
from saltreach.intake.lessons import (
    FORMAT,
    VERSION,
    Believed,
    FailureLesson,
    LearnedFrom,
    Lessons,
)
from saltreach.records.places import as_believed, piece_table, rock_lessons, salt_lessons
from saltreach.records.watched import Source, rows_of
from saltreach.science.time import learning, learning_rock, learning_salt
from saltreach.vocabulary.words import LEARNED_AIR, LEARNED_KINDS, LEARNED_METALS

NOT_KNOWN = (
    "It cannot know what nobody wrote down: anchors that failed and were taken away before the "
    "watch began are guessed at as half of those that failed.",
    "Sound looks lower nothing of a metal that may crack, however many: an eye sees next to "
    "nothing of cracks. Only pulls and proof tests can.",
    "Who looks often where trouble is known makes a region look worse; who writes down the bad "
    "ones alone as well.",
    "Groups that were not looked at lean on the rest of the region, and are never counted safer.",
    "A factor speaks for the years that were seen, not for what comes: a wave of cracking begins "
    "late.",
    "Loads, the model's shape in time and its other numbers stay as they are; nothing certifies.",
)


def lessons_of(
    sources: Sequence[Source],
    today: date,
    *,
    on_step: Callable[[str], None] = lambda _: None,
) -> Lessons:
    """The lessons of one region or several.

    Parameters
    ----------
    sources : sequence of Source
        Books, registers, results.
    today : date
        What happened later is left out.
    on_step : callable, optional
        Told the name of each step as it begins.

    Returns
    -------
    Lessons
        Every group that was seen; without any data what is believed is exactly the prior.
    """
    left_out: list[str] = []
    on_step("looks and tests")
    watched = [_watched(source, today, left_out) for source in sources]
    table = pd.concat(watched, ignore_index=True)
    failure, region = _failure(table)
    on_step("rock and salt")
    rock = rock_lessons(sources, left_out)
    salt = salt_lessons(sources, left_out)
    return Lessons(
        format=FORMAT,
        version=VERSION,
        software=f"saltreach {version('saltreach')}",
        learned_for=today.isoformat(),
        made_from=tuple(LearnedFrom(file=s.file, sha256=s.sha256) for s in sources),
        events=sum(source.seen.events for source in sources),
        left_out=tuple(left_out),
        prior=PRIOR,
        region=region,
        failure=failure,
        rock=rock,
        salt=salt,
        cautions=NOT_KNOWN,
    )


PRIOR = {
    "region_sigma_ln": learning.REGION_SIGMA_LN,
    "group_sigma_ln": learning.GROUP_SIGMA_LN,
    "proof_sees": learning.PROOF_SEES,
    "still_there": learning.STILL_THERE,
    "rock_within_sigma_ln": learning_rock.WITHIN_SIGMA_LN,
    "salt_region_share": learning_salt.REGION_SHARE,
    "salt_near_share": learning_salt.NEAR_SHARE,
    "salt_near_length_m": learning_salt.NEAR_LENGTH_M,
}
"""Numbers that the answers rest on, written with them."""


def _watched(source: Source, today: date, left_out: list[str]) -> pd.DataFrame:
    """What `learning.Watched` needs of each piece, with its groups."""
    pieces = source.seen.pieces
    table = piece_table(pieces, source.table)
    dated = pd.Series([p.installed_on for p in pieces], dtype="str")
    placed = year_fraction(dated.where(dated != ""))[0][table["piece"]]
    watched_from = pd.Series([p.entered_on for p in pieces], dtype="str")
    entered = year_fraction(watched_from.where(watched_from != ""))[0][table["piece"]]
    rows = []
    later = 0
    for kind, what in (("look", "looks"), ("proof", "proofs")):
        part = pd.DataFrame(list(rows_of(pieces, what)), columns=["piece", "when", "failed"])
        when = part["when"].astype("str")
        when = when.where(when != "")
        first, _ = day_limits(when)
        part["year"] = year_fraction(when)[0]
        late = first > np.datetime64(today)
        later += int(late.sum())
        rows.append(part[~late].assign(kind=kind))
    seen = pd.concat(rows, ignore_index=True)
    at = pd.Series(np.arange(len(table)), index=table["piece"]).reindex(seen["piece"])
    seen = seen[at.notna().to_numpy()].assign(at=at.dropna().to_numpy(int))
    age = np.maximum(seen["year"].to_numpy(float) - placed[seen["at"]], 0.0)
    dated = ~np.isnan(age)
    hazard = cumulative_hazard(table, float(np.max(age, initial=1.0, where=dated)))
    seen["h"] = hazard_at(hazard, seen["at"].to_numpy(int), age)
    usable = seen[seen["h"].notna()]
    out = _outcome(usable, len(table))
    began = hazard_at(hazard, np.arange(len(table)), np.maximum(entered - placed, 0.0))
    # what was seen before an anchor was entered is where its watch began
    first = usable.groupby("at")["h"].min().reindex(range(len(table))).to_numpy(float)
    by_us = np.array([p.watched_since_placed for p in pieces], bool)[table["piece"]]
    out["entered"] = np.where(by_us, 0.0, np.fmin(began, first))
    metal = metal_in_place(table).map(metal_group).to_numpy(object)
    air = np.full(len(table), "", object)
    for group in LEARNED_METALS:
        air = np.where(metal == group, air_group(table, group), air)
    out = out.assign(metal=metal, kind=kind_group(table["kind"]), air=air)
    _say_left_out(source, table, seen, later, left_out)
    return out[(out["looks"] + out["proofs"] > 0) & (out["metal"] != "")]


def _outcome(seen: pd.DataFrame, count: int) -> pd.DataFrame:
    """Last sound look and test, and when and how each piece was found failed."""
    failed = seen[seen["failed"].astype(bool)].sort_values(["h", "kind"]).groupby("at").first()
    found = failed["h"].reindex(range(count)).to_numpy(float)
    by = failed["kind"].reindex(range(count)).to_numpy(object)
    sound = seen[~seen["failed"].astype(bool)]
    # a sound look of the same day, or of the same year where no more is known, takes nothing back
    sound = sound[sound["h"].to_numpy() < np.nan_to_num(found, nan=np.inf)[sound["at"]]]
    last = {
        kind: sound[sound["kind"] == kind].groupby("at")["h"].max().reindex(range(count))
        for kind in ("look", "proof")
    }
    counts = {
        kind: seen[seen["kind"] == kind].groupby("at").size().reindex(range(count), fill_value=0)
        for kind in ("look", "proof")
    }
    return pd.DataFrame(
        {
            "looked": last["look"].fillna(0.0).to_numpy(float),
            "tested": last["proof"].fillna(0.0).to_numpy(float),
            "outcome": np.select(
                [by == "look", by == "proof"], [learning.BY_EYE, learning.BY_TEST], learning.SOUND
            ),
            "found": np.nan_to_num(found),
            "looks": counts["look"].to_numpy(int),
            "proofs": counts["proof"].to_numpy(int),
        }
    )


def _say_left_out(
    source: Source, table: pd.DataFrame, seen: pd.DataFrame, later: int, left_out: list[str]
) -> None:
    missing = len(source.seen.pieces) - len(table)
    if missing:
        left_out.append(f"{source.file}: {missing} anchors could not be assessed.")
    if later:
        left_out.append(f"{source.file}: {later} looks and tests lie after the day asked for.")
    lost = int(seen["h"].isna().sum())
    if lost:
        left_out.append(
            f"{source.file}: {lost} looks and tests at anchors whose metal, date of placing or air "
            "is not known."
        )


def _failure(table: pd.DataFrame) -> tuple[tuple[FailureLesson, ...], Believed]:
    """Lessons of every group that was seen, and of one that was not."""
    keys = list(product(LEARNED_METALS, LEARNED_KINDS, LEARNED_AIR))
    of_row = pd.MultiIndex.from_frame(table[["metal", "kind", "air"]])
    group = pd.MultiIndex.from_tuples(keys).get_indexer(of_row)
    likelihood = np.zeros((len(keys), len(learning.GRID)))
    coated = (table["metal"] == LEARNED_METALS[0]).to_numpy()
    for way, rows in (("visible", coated), ("cracking", ~coated)):
        part = table[rows]
        watched = learning.Watched(
            group=group[rows],
            **{
                name: part[name].to_numpy(float)
                for name in ("entered", "looked", "tested", "outcome", "found")
            },
        )
        likelihood += learning.watched_log_likelihood(watched, len(keys), way)
    after = learning.pooled(likelihood)
    before = learning.belief(learning.pooled(np.zeros((1, len(learning.GRID)))).groups)
    believed = learning.belief(after.groups)
    prior = as_believed(before, 0)
    last = table[["looked", "tested", "found"]].max(axis=1)
    expected = -np.expm1(-last.to_numpy(float))
    lessons = []
    for at, (metal, kind, air) in enumerate(keys):
        own = group == at
        if own.any():
            part = table[own]
            lessons.append(
                FailureLesson(
                    metal=metal, kind=kind, air=air,
                    anchors=int(own.sum()),
                    looks=int(part["looks"].sum()),
                    proof_tests=int(part["proofs"].sum()),
                    failed=int((part["outcome"] != learning.SOUND).sum()),
                    expected=float(expected[own].sum()),
                    before=prior,
                    after=as_believed(believed, at),
                )
            )  # fmt: skip
    return tuple(lessons), as_believed(learning.belief(after.new), 0)
