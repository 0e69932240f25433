"""From events to what was seen of each piece of metal: looks, tests, pulls, measurements of salt.

A piece is what stood in one place from its placing until it was replaced or removed.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from saltreach.assessment.state import FAILED
from saltreach.errors import RecordError, brief, cause_of
from saltreach.records.state import live
from saltreach.science.time.reliability import MODEL
from saltreach.vocabulary.columns import REGISTER
from saltreach.vocabulary.words import (
    CORRECTED,
    ENTERED,
    FAILURE_WAYS,
    MEASURED,
    PLACED,
    PROOF_RESULTS,
    PROOF_TEST,
    PULLED,
    REMOVED,
    REPLACED,
)

OF_PIECE = tuple(c.name for c in REGISTER if c.event == PLACED)
"""Columns of the register that belong to the piece and not to its place."""
BROKEN = frozenset(("broken", "cracked"))
"""Findings of a metal that failed."""
ROCK_GAVE = frozenset(("loose", "hollow", "resin cracked", "resin missing", "proud"))
"""Findings of a rock side that failed: condition 4 with these alone says nothing of the metal."""
GAVE_WAY = BROKEN | {"loose"}
"""Findings of an anchor that no longer holds, whatever gave way."""
PROOF_COUNTS_KN = MODEL.load_median_kn
"""A test below the greatest load of a usual year proves nothing of the metal; judgement."""
SALT = ("candle_chloride_mg_m2_d", "salt_swab_mg_m2", "coupon_loss_um")
_HELD, _MOVED, _BROKE = PROOF_RESULTS
_METAL = FAILURE_WAYS[0]


@dataclass
class Piece:
    """One piece: its place, what it was, and what was seen of it, each with its date as text.

    `entered_on`: since when it was watched, where not since it was placed. `looks`: whether it
    had failed. `tests`: load (kN) and -1 below it, 0 there, 1 above it the rock side gave way;
    `proofs`: whether the metal had failed. `gave_way`: whether a look or a test found that it no
    longer holds, be it the metal or the rock; `tested`: whether a test found it.
    """

    anchor_id: str
    says: dict[str, Any]
    installed_on: str
    entered_on: str
    watched_since_placed: bool = False
    last: bool = True
    gone: bool = False
    gave_way: bool = False
    tested: bool = False
    looks: list[tuple[str, bool]] = field(default_factory=list)
    proofs: list[tuple[str, bool]] = field(default_factory=list)
    tests: list[tuple[float, int]] = field(default_factory=list)


@dataclass
class Seen:
    """What events say: pieces, and measurements of salt (anchor_id and what was stated)."""

    pieces: list[Piece] = field(default_factory=list)
    salt: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    events: int = 0


@dataclass(frozen=True)
class Source:
    """A region that is learned from.

    `table`: the assessed anchors, by `anchor_id`, with working columns where there are any;
    `seen`: what was seen of them; `file` and `sha256` name where it is from; `refused`: rows that
    could not be used.
    """

    table: pd.DataFrame
    seen: Seen
    file: str
    sha256: str
    refused: int = 0


def seen_of(events: pd.DataFrame) -> Seen:
    """What live events say of each piece.

    Parameters
    ----------
    events : DataFrame
        Columns of `records.events`.

    Raises
    ------
    RecordError
        An event states a value that cannot be one.
    """
    alive = events[live(events)].sort_values(["happened_on", "seq"], kind="stable")
    seen = Seen(events=len(alive))
    now: dict[str, Piece] = {}
    columns = (alive[name] for name in ("anchor_id", "kind", "happened_on", "says"))
    # the row that entered an anchor is what was known of it before any later event
    rows = sorted(zip(*columns, strict=True), key=lambda row: row[1] != ENTERED)
    for anchor_id, kind, when, text in rows:
        try:
            says = {name: value for name, value in json.loads(text).items() if value is not None}
            _take(seen, now, str(anchor_id), kind, str(when), says)
        except (AttributeError, TypeError, ValueError) as error:
            raise RecordError(
                f"anchor {anchor_id}, {kind} {when}: what it says cannot be used "
                f"({cause_of(error)}): {brief(str(text), 200)}; take the record back"
            ) from error
    return seen


def seen_in(table: pd.DataFrame) -> Seen:
    """What a register says by itself: each anchor's last look and proof test.

    Parameters
    ----------
    table : DataFrame
        Columns of the register.
    """
    seen, now = Seen(), dict[str, Piece]()
    names = [c.name for c in REGISTER if c.name in table]
    for row in table[names].itertuples(index=False):
        says = {
            name: value
            for name, value in zip(names, row, strict=True)
            if not pd.isna(value) and value != ""
        }
        _take(seen, now, str(says["anchor_id"]), ENTERED, "", says)
    return seen


def _take(
    seen: Seen, now: dict[str, Piece], anchor_id: str, kind: str, when: str, says: dict[str, Any]
) -> None:
    if any(name in says for name in SALT) and kind in (MEASURED, ENTERED):
        seen.salt.append((anchor_id, says))
    if kind in (PLACED, REPLACED, ENTERED):
        _start(seen, now, anchor_id, kind, when, says)
        return
    piece = now.get(anchor_id)
    if piece is None or piece.gone:
        return
    if kind == CORRECTED:
        piece.says |= says
        piece.installed_on = str(says.get("installed_on", piece.installed_on))
    elif kind == PROOF_TEST:
        _proof(piece, when, says)
    elif kind == PULLED:
        _pulled(piece, when, says)
    else:
        _look(piece, when, says)
    if kind in (PULLED, REMOVED):
        piece.gone = True


def _start(
    seen: Seen, now: dict[str, Piece], anchor_id: str, kind: str, when: str, says: dict[str, Any]
) -> None:
    before = now.get(anchor_id)
    if before is not None:
        before.last = False
    if kind == ENTERED:
        looked = str(says.get("last_inspected_on", ""))
        since = min(looked or when, when or looked)
        piece = Piece(anchor_id, dict(says), str(says.get("installed_on", "")), since)
        _look(piece, looked, says)
        if "proof_tested_on" in says:
            held = says | {"proof_result": _HELD}
            _proof(piece, str(says["proof_tested_on"]), held)
    else:
        piece = Piece(anchor_id, dict(says), when, "", watched_since_placed=True)
    now[anchor_id] = piece
    seen.pieces.append(piece)


def found_words(says: dict[str, Any]) -> set[str]:
    """The findings that a look states."""
    given = says.get("findings", "")
    words = given if isinstance(given, list | tuple) else str(given).split(";")
    return {str(word).strip() for word in words} - {""}


def failed_by(says: dict[str, Any]) -> bool | None:
    """Whether a look found the metal failed; None where it says nothing of the metal.

    Examples
    --------
    >>> failed_by({"condition": 1}), failed_by({"condition": 2, "findings": "cracked"})
    (False, True)
    >>> failed_by({"condition": 4, "findings": "loose"}), failed_by({"tap_response": "dull"})
    (None, None)
    """
    findings = found_words(says)
    if findings & BROKEN:
        return True
    condition = says.get("condition")
    if condition is None:
        return False if findings else None
    if float(condition) < FAILED:
        return False
    return None if findings and findings <= ROCK_GAVE else True


def _look(piece: Piece, when: str, says: dict[str, Any]) -> None:
    failed = failed_by(says)
    piece.gave_way |= bool(found_words(says) & GAVE_WAY) or says.get("condition") == FAILED
    if failed is not None:
        piece.looks.append((when, failed))


def _proof(piece: Piece, when: str, says: dict[str, Any]) -> None:
    result, way = says.get("proof_result"), says.get("failure_way")
    load = float(says.get("proof_load_kn", "nan"))
    if result not in PROOF_RESULTS:
        return
    piece.gave_way |= result != _HELD
    piece.tested |= result != _HELD
    metal = result == _BROKE and way in (None, _METAL, FAILURE_WAYS[-1])
    if metal or load >= PROOF_COUNTS_KN:
        piece.proofs.append((when, metal))
    if result == _HELD or (result == _BROKE and way == _METAL):
        piece.tests.append((load, 1))
    else:
        piece.tests.append((load, -1))


def _pulled(piece: Piece, when: str, says: dict[str, Any]) -> None:
    load = float(says.get("pulled_to_kn", "nan"))
    metal = says.get("failure_way") == _METAL
    piece.tests.append((load, 1 if metal else 0))
    if load >= PROOF_COUNTS_KN:
        piece.proofs.append((when, False))
    elif metal:
        piece.proofs.append((when, True))


def rows_of(pieces: list[Piece], what: str) -> Iterator[tuple[Any, ...]]:
    """Rows of looks, proofs or tests: number of the piece, then what was seen."""
    for at, piece in enumerate(pieces):
        for row in getattr(piece, what):
            yield (at, *row)
