"""From events to the register as it stands: one row per anchor that is in place."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import pandas as pd

from saltreach.assessment.state import FAILED
from saltreach.intake.dates import day_limits
from saltreach.intake.headers import AS_GIVEN
from saltreach.intake.policy import DEFAULT
from saltreach.records.facts import NUMBERS, Facts, Order, stated
from saltreach.records.placing import placement_doubts
from saltreach.vocabulary.columns import REGISTER, REGISTER_BY_NAME, REQUIRED, columns_of
from saltreach.vocabulary.words import (
    CLOSED_EVENT,
    CORRECTED,
    ENTERED,
    EVENT_KINDS,
    FINDINGS,
    JOIN,
    LOOKED_AT,
    MEASURED,
    PLACED,
    PROOF_RESULTS,
    PROOF_TEST,
    PULLED,
    REBOUND,
    REMOVED,
    REOPENED,
    REPLACED,
    TAKEN_BACK,
    TAPPED,
    UNKNOWN,
)

_HELD, _MOVED, _FAILED = PROOF_RESULTS
FOUND_BY = {_MOVED: "loose", _FAILED: "broken"}
"""What a proof test that did not hold finds."""
_PLACINGS = (PLACED, REPLACED)
_STATING = (*_PLACINGS, ENTERED, LOOKED_AT, TAPPED, REBOUND, MEASURED, CORRECTED, PROOF_TEST)
"""Kinds of events whose columns of the register count from then on."""
_THERE = (LOOKED_AT, CLOSED_EVENT, REOPENED)
"""What was done to an anchor that is in place, where people differ in it and it is settled."""
_DATES = tuple(c.name for c in REGISTER if c.kind == "date")
_OF_RETURNS = frozenset(columns_of("returns"))
_NOT_TAKEN_OVER = frozenset(
    (*(c.name for c in REGISTER if c.event == PLACED), "condition", "findings",
     *(c.name for c in REGISTER if c.name.startswith(("proof_", "placement_", "closed_"))))
)  # fmt: skip
"""What a new piece does not take over from the old one."""
_BEFORE_ALL = np.datetime64("0001-01-01")


def is_extra(name: str) -> bool:
    """Whether a column of an entered row is the user's own, and stays with the anchor.

    Words as they were given, beside a column of ours, are a record only.
    """
    return name not in REGISTER_BY_NAME and name.removesuffix(AS_GIVEN) not in REGISTER_BY_NAME


def live(events: pd.DataFrame) -> np.ndarray:
    """Which events count: an event is dead where a live one replaces it, or a correction that
    was itself corrected since.

    Parameters
    ----------
    events : DataFrame
        `event_id`, `kind` and `replaces`.

    Returns
    -------
    ndarray of bool
        A taking back that is taken back brings its event to life again.
    """
    said = events["replaces"].to_numpy(object)
    replacing = np.flatnonzero((said != "") & pd.notna(said))
    alive = np.ones(len(events), dtype=bool)
    if not len(replacing):
        return alive
    meant = np.flatnonzero(events["event_id"].isin(said[replacing]))
    found = pd.Index(events["event_id"].iloc[meant]).get_indexer(pd.Index(said[replacing]))
    target = np.full(len(events), -1)
    target[replacing[found >= 0]] = meant[found[found >= 0]]
    waiting = np.bincount(target[target >= 0], minlength=len(events))
    ready = np.flatnonzero((target >= 0) & (waiting == 0))
    stands = np.ones(len(events), dtype=bool)  # what it replaced stays replaced
    back = (
        (events["kind"] == TAKEN_BACK).to_numpy(bool) if "kind" in events else np.zeros_like(alive)
    )
    while len(ready):  # from those that nothing replaces, one step down at a time
        at = target[ready]
        ends = stands[ready]
        alive[at[ends]] = False
        stands[at[ends & (back[ready] | back[at])]] = False
        np.subtract.at(waiting, at, 1)
        at = np.unique(at)
        ready = at[(waiting[at] == 0) & (target[at] >= 0)]
    return alive


def state_of(events: pd.DataFrame, *, on: dt.date | None = None) -> pd.DataFrame:
    """The register that events add up to.

    Parameters
    ----------
    events : DataFrame
        Events of a book (`records.events.COLUMNS`), in any order.
    on : date, optional
        Without what happened after that day. A date known to the year or the month counts from
        its first day.

    Returns
    -------
    DataFrame
        One row per anchor in place, in the order in which they were first heard of: every column
        of the register, then the user's own. Numbers are floats, NaN where unknown.

    Notes
    -----
    Events of an anchor count by day and, on one day, in the order of entry. A row that was
    `entered` counts from the last day that it states: a look that was made later counts although
    it was entered earlier. A later statement overrides an earlier one. A new piece is not the old
    one: what was known of that is unknown. A look that states a condition and no findings found
    none. Doubts about a placing stay with it: whether a proof test settles them is the policy's
    to say (`assessment.placement`). Common practice, no source.
    """
    if not events["seq"].is_monotonic_increasing:
        events = events.sort_values("seq", kind="stable")
    events = events.reset_index(drop=True)
    anchor, anchors = pd.factorize(events["anchor_id"])
    kind = pd.Categorical(events["kind"], categories=list(EVENT_KINDS)).codes
    counts = live(events)
    days = _first_days(events["happened_on"])
    if on is not None:
        counts &= days <= np.datetime64(on)

    def of(*kinds: str) -> np.ndarray:
        return counts & np.isin(kind, [EVENT_KINDS.index(one) for one in kinds])

    codes = [EVENT_KINDS.index(one) for one in _STATING]
    heard = _heard(events, np.flatnonzero(np.isin(kind, codes)))
    own = _own_names(heard, kind)
    facts = {name: said.where(counts) for name, said in heard.items()}
    order = Order.of(anchor, _counted_days(days, of(ENTERED), facts), len(anchors))
    table = _Table(events["happened_on"], facts, order, of)
    columns = {
        "anchor_id": pd.Series(anchors, dtype="str"),
        **{c.name: table.column(c.name) for c in REGISTER[1:]},
        **{name: table.own(name) for name in own},
    }
    here = table.in_place()
    for name in REQUIRED:
        here &= columns[name].notna().to_numpy()
    state = pd.DataFrame(columns)[here].reset_index(drop=True)
    return state.drop(columns=[name for name in own if state[name].isna().all()])


def own_columns(events: pd.DataFrame) -> list[str]:
    """Columns of the user's own that events name, in the order in which they were first heard of.

    Parameters
    ----------
    events : DataFrame
        In the order of entry; dead ones count too, so that the order never changes.
    """
    kind = pd.Categorical(events["kind"], categories=list(EVENT_KINDS)).codes
    codes = [EVENT_KINDS.index(one) for one in (ENTERED, CORRECTED)]
    return _own_names(_heard(events, np.flatnonzero(np.isin(kind, codes))), kind)


def _heard(events: pd.DataFrame, rows: np.ndarray) -> dict[str, Facts]:
    return stated(pd.Series(events["says"].array, index=events["seq"]), rows)


def _first_days(dates: pd.Series) -> np.ndarray:
    """First day that each date can mean; before all others where it is not known."""
    codes, distinct = pd.factorize(dates)
    days, _ = day_limits(pd.Series(distinct, dtype="str"))
    known = np.append(days, np.datetime64("NaT")).astype("datetime64[D]")[codes]
    return np.where(np.isnat(known), _BEFORE_ALL, known)


def _counted_days(days: np.ndarray, entered: np.ndarray, facts: dict[str, Facts]) -> np.ndarray:
    """Days by which events are ordered: of a row that was entered, the last one it states."""
    counted = np.where(entered, _BEFORE_ALL, days)
    for name in _DATES:
        if name in facts:
            said = facts[name].where(entered)
            counted[said.rows] = np.maximum(
                counted[said.rows], _first_days(pd.Series(said.values, dtype="str"))
            )
    return counted


def _own_names(facts: dict[str, Facts], kind: np.ndarray) -> list[str]:
    first = {}
    for name, said in facts.items():
        if is_extra(name):
            rows = said.rows[np.isin(kind[said.rows], _own_kinds(name))]
            if len(rows):
                first[name] = rows.min()
    return sorted(first, key=first.__getitem__)


def _own_kinds(name: str) -> list[int]:
    """Kinds of events that may state a column of the user's own.

    A correction of what only a record holds is no column of the register.
    """
    kinds = (ENTERED,) if name in _OF_RETURNS else (ENTERED, CORRECTED)
    return [EVENT_KINDS.index(one) for one in kinds]


class _Table:
    """Columns of the register, each from its last statement."""

    def __init__(
        self,
        happened_on: pd.Series,
        facts: dict[str, Facts],
        order: Order,
        of: Callable[..., np.ndarray],
    ) -> None:
        self.happened_on, self.facts, self.order, self.of = happened_on, facts, order, of
        self.entered, self.placings = of(ENTERED), of(*_PLACINGS)
        self.looks, self.tests = of(LOOKED_AT), of(PROOF_TEST)

    def said(self, name: str) -> Facts:
        return self.facts.get(name, Facts.none(name in NUMBERS))

    def column(self, name: str) -> pd.Series:
        """One column of the register, one value per anchor."""
        facts = self._facts(name)
        values = pd.Series(self.order.value(facts))
        if name == "findings":
            values = self._with_found(values, facts)
        return values.fillna(UNKNOWN) if UNKNOWN in REGISTER_BY_NAME[name].choices else values

    def own(self, name: str) -> pd.Series:
        """One column of the user's own."""
        kinds = [EVENT_KINDS[code] for code in _own_kinds(name)]
        facts = self.said(name).where(self.of(*kinds))
        start = Facts.unknown(np.flatnonzero(self.entered), numeric=False)
        return pd.Series(self.order.value(start.then(facts)))

    def in_place(self) -> np.ndarray:
        """Whether an anchor is in place."""
        there, gone = self.entered | self.placings, self.of(REMOVED, PULLED)
        settled = self.said("done").where(self.of(CORRECTED))
        for what, which in ((_THERE, there), ((REMOVED,), gone)):
            which[settled.rows[np.isin(np.asarray(settled.values, dtype=object), what)]] = True
        rows = np.flatnonzero(there | gone)
        return self.order.value(Facts(rows, there[rows].astype(float))) == 1.0

    def _facts(self, name: str) -> Facts:
        """All that is stated of a column; of one event, what comes later here wins."""
        numeric = name in NUMBERS
        cleared = self.entered | self.placings if name in _NOT_TAKEN_OVER else self.entered
        facts = Facts.unknown(np.flatnonzero(cleared), numeric)
        said = self.said(name)
        if name == "proof_load_kn":
            said = said.where(~self.tests)
        if name == "placement_doubts":
            facts = facts.then(self._lacking())
        facts = facts.then(said)
        for more in self._derived(name):
            facts = facts.then(more)
        return facts

    def _derived(self, name: str) -> list[Facts]:
        """What events state of a column by their kind."""
        if name == "installed_on":
            return [self._dated(self.placings)]
        if name == "last_inspected_on":
            return [self._dated(self.placings | self.looks)]
        if name == "closed_on":
            reopened = np.flatnonzero(self.of(REOPENED))
            return [self._dated(self.of(CLOSED_EVENT)), Facts.unknown(reopened, numeric=False)]
        if name == "condition":
            rows = self._tested(_MOVED, _FAILED)
            return [Facts(rows, np.full(len(rows), float(FAILED)))]
        if name == "findings":
            told = self.looks.copy()
            told[self.said("findings").rows] = False
            rows = self.said("condition").where(told).rows
            return [Facts.unknown(rows, numeric=False)]
        held, failed = self._held(), self._tested(_MOVED, _FAILED)
        if name == "proof_tested_on":
            return [self._dated(held), Facts.unknown(failed, numeric=False)]
        if name == "proof_load_kn":
            return [Facts(held, self._load(held)), Facts.unknown(failed, numeric=True)]
        return []

    def _dated(self, which: np.ndarray) -> Facts:
        rows = np.flatnonzero(which) if which.dtype == bool else which
        return Facts(rows, pd.array(self.happened_on.to_numpy(object)[rows], dtype="str"))

    def _tested(self, *results: str) -> np.ndarray:
        """Proof tests with one of these results."""
        said = self.said("proof_result").where(self.tests)
        return said.rows[np.isin(np.asarray(said.values, dtype=object), results)]

    def _held(self) -> np.ndarray:
        """Proof tests that held, and no shorter than is asked where the time is stated."""
        said = self.said("proof_held_s").where(self.tests)
        short = said.rows[np.asarray(said.values, float) < DEFAULT.proof_held_s]
        held = self._tested(_HELD)
        return held[~np.isin(held, short)]

    def _load(self, rows: np.ndarray) -> np.ndarray:
        load = np.full(len(self.happened_on), np.nan)
        said = self.said("proof_load_kn")
        load[said.rows] = said.values
        return load[rows]

    def _lacking(self) -> Facts:
        """Doubts about each placing, from what its event says."""
        rows = np.flatnonzero(self.placings)
        says = {
            name: pd.Series(facts.values, index=facts.rows).reindex(rows)
            for name, facts in self.facts.items()
            if name in _OF_RETURNS
        }
        table = pd.DataFrame(says, index=rows).assign(done_on=self.happened_on.iloc[rows])
        doubts = placement_doubts(table)
        return Facts(rows, pd.array(doubts.where(doubts != "").to_numpy(object), dtype="str"))

    def _with_found(self, values: pd.Series, facts: Facts) -> pd.Series:
        """Findings, and what proof tests found since they were stated."""
        since = self.order.last(facts)
        rank = np.full(self.order.count, -1)
        rank[since >= 0] = self.order.rank[facts.rows[since[since >= 0]]]
        rows = self._tested(*FOUND_BY)
        rows = rows[self.order.rank[rows] > rank[self.order.anchor[rows]]]
        said = self.said("proof_result")
        result = pd.Series(said.values, index=said.rows).reindex(rows)
        found = pd.Series(result.map(FOUND_BY).to_numpy(object), index=self.order.anchor[rows])
        for at, words in found.groupby(level=0):
            there = [] if pd.isna(values[at]) else values[at].split(JOIN)
            words_of = {*there, *words}
            values[at] = JOIN.join(sorted(words_of, key=FINDINGS.index))
        return values
