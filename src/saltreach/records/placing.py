"""What a placing lacks, from what was written down at the cliff.

Every time and size is taken as a range: what is written narrows it, what is missing leaves it
open. A fault is said where the whole range is at fault, a doubt where part of it is.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from saltreach.assessment.placement import doubts_left
from saltreach.errors import OptionError
from saltreach.intake.datasheet import expiry_state
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.science.rock.adhesive import WET_HOLE_FACTOR, CureTable, cure_time_min
from saltreach.science.rock.capacity import is_mechanical
from saltreach.vocabulary.words import JOIN, PLACEMENT_DOUBTS, UNKNOWN

__all__ = ["doubts_left", "placement_doubts"]

DAY_MIN = 1440.0
EPOCH = date(1970, 1, 1).toordinal()
WET_HOLES = ("damp", "water-filled")
DRY_HOLES = ("clean and dry",)
"""Any other hole may have been wet: nobody says."""


def placement_doubts(
    placings: pd.DataFrame, policy: Policy = DEFAULT, data_sheet: CureTable | None = None
) -> pd.Series:
    """Doubts about each placing.

    Parameters
    ----------
    placings : DataFrame
        One row per placing: the day `done_on` (ISO text; a year or a month alone leaves the day
        open; `happened_on` in events) and columns of the table `returns` of the event "placed";
        any of them may be missing. Times are "HH:MM" or minutes after midnight. A column
        `embedment_required_mm` is heeded where there is one.
    policy : Policy
        Its `least_embedment_mm`.
    data_sheet : CureTable, optional
        Its time at `rock_temperature_c` counts where it is longer than the row's, or the row
        has none.

    Returns
    -------
    Series of str
        Words of `vocabulary.words.PLACEMENT_DOUBTS` between semicolons, in their order.

    Notes
    -----
    * Cure: from `set_at` on `done_on` to `loaded_at` on `loaded_on`. Without `loaded_on` it is
      the day it was set, or the day after where the clock shows less. The time needed is the
      longer of the row's and the data sheet's (none outside its temperatures), which is
      `WET_HOLE_FACTOR` times as long in a hole that was damp or full of water. Whether the row's
      is so already is not known: without a data sheet only as many times as long is surely enough,
      unless the hole was dry.
    * Depth: `hole_depth_mm`, else `embedment_mm`, against `piece_length_mm`, else
      `embedment_mm`, the embedment required and the policy's least.
    * Cleaning: `hole_cleaned` or the `hole_condition`; the worse of the two counts.
    * Mechanical anchors have no resin: depth alone counts. A kind that is not known counts as
      bonded.

    References
    ----------
    Common practice, no source; the wet-hole factor as in `science.rock.adhesive`.

    Examples
    --------
    >>> row = {"kind": "bonded", "done_on": "2026-05-02", "set_at": "21:00", "loaded_at": "07:00",
    ...        "cure_needed_min": 720, "hole_condition": "clean and dry", "hole_depth_mm": 110,
    ...        "piece_length_mm": 100, "adhesive_expires_on": "2026-05"}
    >>> placement_doubts(pd.DataFrame([row])).tolist()
    ['cure time short']
    """
    if "done_on" not in placings:
        placings = placings.rename(columns={"happened_on": "done_on"})
    glued = is_mechanical(_text(placings, "kind").to_numpy(object)) == 0
    cure_short, cure_unknown = _cure(placings, data_sheet)
    shallow, depth_unknown = _depth(placings, policy)
    dirty, cleaning_unknown = _cleaning(placings)
    expired, expiry_unknown = _expiry(placings)
    applies = np.column_stack(
        [
            cure_short & glued, cure_unknown & glued, shallow, depth_unknown,
            dirty & glued, cleaning_unknown & glued, expired & glued, expiry_unknown & glued,
        ]
    )  # fmt: skip
    text = np.full(len(placings), "", dtype=object)
    for at, word in enumerate(PLACEMENT_DOUBTS):
        more = np.where(text == "", word, text + (JOIN + word))
        text = np.where(applies[:, at], more, text)
    return pd.Series(text, index=placings.index).astype("str")


def _text(table: pd.DataFrame, name: str) -> pd.Series:
    """A column as text, empty where it is missing."""
    if name not in table:
        return pd.Series("", index=table.index, dtype="str")
    return table[name].fillna("").astype("str").str.strip()


def _number(table: pd.DataFrame, name: str) -> np.ndarray:
    if name not in table:
        return np.full(len(table), np.nan)
    return pd.to_numeric(table[name], errors="coerce").to_numpy(float, na_value=np.nan)


def _clock(table: pd.DataFrame, name: str) -> np.ndarray:
    """Minutes after midnight, NaN where not given."""
    text = _text(table, name)
    parts = text.str.extract(r"^(\d{1,2}):(\d{2})$").astype(float)
    minutes = 60 * parts[0].to_numpy() + parts[1].to_numpy()
    plain = pd.to_numeric(text.where(text != ""), errors="coerce").to_numpy(float)
    return np.where(np.isnan(minutes), plain, minutes)


def _days(table: pd.DataFrame, name: str) -> tuple[np.ndarray, np.ndarray]:
    """First and last day that a text can mean, as days since 1970; NaN where not given."""
    text = _text(table, name)
    first = text.where(text.str.len() != 4, text + "-01-01")
    first = first.where(first.str.len() != 7, first + "-01")
    day = pd.to_datetime(first.where(first != ""), format="%Y-%m-%d", errors="coerce")
    span = {4: pd.DateOffset(years=1), 7: pd.DateOffset(months=1)}
    end = day + pd.DateOffset(days=1)
    for length, more in span.items():
        end = end.where(text.str.len() != length, day + more)
    low, after = ((d - pd.Timestamp(0)) / pd.Timedelta(days=1) for d in (day, end))
    return low.to_numpy(float), after.to_numpy(float) - 1.0


def _cure(table: pd.DataFrame, data_sheet: CureTable | None) -> tuple[np.ndarray, np.ndarray]:
    """Whether the cure was too short, and whether nobody can tell."""
    set_at, loaded_at = _clock(table, "set_at"), _clock(table, "loaded_at")
    set_first, set_last = (DAY_MIN * day for day in _days(table, "done_on"))
    given = _days(table, "loaded_on")
    next_day = np.where(loaded_at < set_at, DAY_MIN, 0.0)
    same = ~np.isnan(loaded_at) & ~np.isnan(set_at)
    load_first, load_last = (
        np.where(np.isnan(day), np.where(same, begin + next_day, np.nan), DAY_MIN * day)
        for day, begin in zip(given, (set_first, set_last), strict=True)
    )
    early, late = (np.where(np.isnan(set_at), edge, set_at) for edge in (0.0, DAY_MIN))
    load_early, load_late = (
        np.where(np.isnan(loaded_at), edge, loaded_at) for edge in (0.0, DAY_MIN)
    )
    open_day = np.isnan(given[0])  # set and loaded on days that move together
    least = load_first + load_early - (np.where(open_day, set_first, set_last) + late)
    most = load_last + load_late - (np.where(open_day, set_last, set_first) + early)
    wrong = most < 0  # loaded before it was set: somebody mistyped
    least, most = (np.where(wrong, np.nan, v) for v in (least, most))
    written, by_sheet = _number(table, "cure_needed_min"), _sheet_min(table, data_sheet)
    hole = _text(table, "hole_condition")
    wet, dry = hole.isin(WET_HOLES).to_numpy(), hole.isin(DRY_HOLES).to_numpy()
    if_wet = np.where(dry, 1.0, WET_HOLE_FACTOR)
    short = most < np.fmax(written, by_sheet * np.where(wet, WET_HOLE_FACTOR, 1.0))
    sure = np.where(np.isnan(by_sheet), written * if_wet, np.fmax(written, by_sheet * if_wet))
    return short, ~short & ~(least >= sure)


def _sheet_min(table: pd.DataFrame, data_sheet: CureTable | None) -> np.ndarray:
    """Minutes in a dry hole by the data sheet; NaN where it has none."""
    if data_sheet is None:
        return np.full(len(table), np.nan)
    warm = _number(table, "rock_temperature_c")
    low, high = data_sheet.rock_temperature_c[[0, -1]]
    inside = np.where((warm >= low) & (warm <= high), warm, np.nan)
    return cure_time_min(inside, data_sheet)


def _depth(table: pd.DataFrame, policy: Policy) -> tuple[np.ndarray, np.ndarray]:
    hole, set_in, length, required = (
        _number(table, name)
        for name in ("hole_depth_mm", "embedment_mm", "piece_length_mm", "embedment_required_mm")
    )
    depth = np.where(np.isnan(hole), set_in, hole)
    piece = np.where(np.isnan(length), set_in, length)
    least = np.fmax(required, policy.least_embedment_mm)
    shallow = (depth < np.fmax(piece, least)) | (set_in < least)
    return shallow, ~shallow & (np.isnan(depth) | np.isnan(piece))


def _cleaning(table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    said, hole = _text(table, "hole_cleaned"), _text(table, "hole_condition")
    dirty = (said == "no") | (hole == "uncleaned")
    clean = (said == "yes") | (hole == "clean and dry")
    return dirty.to_numpy(), (~dirty & ~clean).to_numpy()


def _expiry(table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Expired on the first day it can have been used; unknown where not in date on the last."""
    printed = _text(table, "adhesive_expires_on")
    first, last = (_expiry_states(printed, days) for days in _days(table, "done_on"))
    expired = first == "expired"
    return expired, ~expired & (last != "in date")


def _expiry_states(printed: pd.Series, days: np.ndarray) -> np.ndarray:
    pairs = pd.MultiIndex.from_arrays([printed, days])
    codes, unique = pairs.factorize()
    return np.array([_state(*pair) for pair in unique], dtype=object)[codes]


def _state(printed: str, day: float) -> str:
    try:
        return (
            UNKNOWN if np.isnan(day) else expiry_state(printed, date.fromordinal(int(day) + EPOCH))
        )
    except OptionError:  # a text that is no date
        return UNKNOWN
