"""What a placing lacks: what was not as it should be, and what nobody wrote down."""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.intake.dates import day_limits
from saltreach.vocabulary.words import PLACEMENT_DOUBTS, YES_NO

_NEEDED = (
    "kind", "hole_depth_mm", "piece_length_mm", "hole_cleaned", "adhesive_expires_on",
    "cure_needed_min", "set_at", "loaded_on", "loaded_at", "happened_on",
)  # fmt: skip
_BONDED = "bonded"


def doubts_of(placings: pd.DataFrame) -> pd.Series:
    """Doubts about each placing, from what its record says.

    Parameters
    ----------
    placings : DataFrame
        One row per placing: columns of `returns` as far as any record states them, and
        `happened_on`, the day it was set.

    Returns
    -------
    Series of str
        Some of `words.PLACEMENT_DOUBTS`, in their order, between semicolons; NaN where there is
        none. Of an anchor that is not bonded only the depth of its hole is asked. Common
        practice, no source.
    """
    table = placings.reindex(columns=list(dict.fromkeys([*placings.columns, *_NEEDED])))
    mechanical = table["kind"].notna() & ~table["kind"].astype("str").str.startswith(
        _BONDED, na=False
    )
    bonded = ~mechanical.to_numpy(bool)
    depth, length = (_number(table[name]) for name in ("hole_depth_mm", "piece_length_mm"))
    needed, waited = _number(table["cure_needed_min"]), _waited_min(table)
    cleaned = table["hole_cleaned"].astype("str")
    set_on, _ = day_limits(table["happened_on"])
    _, expires = day_limits(_dates(table["adhesive_expires_on"]))
    no, yes = YES_NO
    found = (
        bonded & (waited < needed),
        bonded & (np.isnan(waited) | np.isnan(needed)),
        depth < length,
        np.isnan(depth) | np.isnan(length),
        bonded & (cleaned == no).to_numpy(bool),
        bonded & ~cleaned.isin([no, yes]).to_numpy(bool),
        bonded & (expires < set_on),
        bonded & (np.isnat(expires) | np.isnat(set_on)),
    )
    text = np.full(len(table), "", dtype=object)
    for word, here in zip(PLACEMENT_DOUBTS, found, strict=True):
        text[here] = np.where(text[here] == "", word, text[here] + ("; " + word))
    said = pd.Series(text, index=placings.index, dtype="str")
    return said.where(said != "")


def _number(cells: pd.Series) -> np.ndarray:
    return pd.to_numeric(cells, errors="coerce").to_numpy(float)


def _dates(cells: pd.Series) -> pd.Series:
    """Cells that are ISO years, months or days."""
    text = cells.astype("str")
    return text.where(text.str.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?", na=False))


def _waited_min(table: pd.DataFrame) -> np.ndarray:
    """Minutes from setting to first loading; NaN where one of the times is not known."""
    set_on, last = day_limits(table["happened_on"])
    set_on = np.where(set_on == last, set_on, np.datetime64("NaT"))
    loaded_on, _ = day_limits(_dates(table["loaded_on"]))
    loaded_on = np.where(np.isnat(loaded_on), set_on, loaded_on)
    days = (loaded_on - set_on) / np.timedelta64(1, "D")
    return days * 1440 + _minute(table["loaded_at"]) - _minute(table["set_at"])


def _minute(clock: pd.Series) -> np.ndarray:
    parts = clock.astype("str").str.extract(r"^(\d\d):(\d\d)$").astype(float)
    return (parts[0] * 60 + parts[1]).to_numpy(float)
