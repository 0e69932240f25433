"""Crags whose anchors lie far apart: two places of one name, or positions that are wrong.

The rule, our own judgement, in the order it is applied to each crag's anchors:

1. Anchors that steps of no more than `FAR_M` join are one group.
2. A group that an exchanged sign of longitude or latitude, or lon and lat exchanged, would bring
   among a larger group of the crag is wrong.
3. So is a group whose sectors are all at home in other groups (a sector is at home where more
   than half of its anchors are): one anchor alone against a home of at least `AT_HOME`, several
   against a home of `TIMES` times as many.
4. What is left are places of one name. The one with the least anchor_id keeps it, the others are
   numbered in the order of their least anchor_id: neither the order of rows nor new anchors with
   higher ids change that.
"""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from saltreach.intake import check
from saltreach.intake.names import keys_of, name_key, shortened
from saltreach.intake.together import earth_m, groups_within, place_in, tree_of

FAR_M = 20_000.0
"""Anchors of a crag farther than this from all its others are at another place; judgement."""
AT_HOME = 2
"""Fewest anchors that say where a sector is, against one alone; judgement."""
TIMES = 5
"""As many times more anchors say where it is, against several; judgement."""

_SLIPS = (
    ("the other sign of lon", -1.0, 1.0, False),
    ("the other sign of lat", 1.0, -1.0, False),
    ("the other signs of lon and lat", -1.0, -1.0, False),
    ("lon and lat exchanged", 1.0, 1.0, True),
)
"""What goes wrong with positions: what to say, factors of lon and lat, whether exchanged."""

_ELSE = "if it is another place of that name, give it a crag of its own"
_CORRECT = f"correct lon and lat; {_ELSE}"


class Apart(NamedTuple):
    """`crag`: names, those of far places numbered; `found`: rows that cannot be placed, as
    problems; `notes`: what was told apart."""

    crag: pd.Series
    found: pd.DataFrame
    notes: list[str]


def told_apart(places: pd.DataFrame, shown: pd.Series) -> Apart:
    """Far places of one name told apart, and positions that are wrong.

    Parameters
    ----------
    places : DataFrame
        `anchor_id`, `crag`, `sector`, `lon`, `lat` (degrees, known) and `row` of each anchor;
        its index is the place in the table read.
    shown : Series of str
        Each position as the user wrote it, by the same index.

    Returns
    -------
    Apart
        By the index of `places`, whose rows need no order.
    """
    names = places["crag"]
    crag = pd.factorize(names)[0]
    xyz = earth_m(places["lon"].to_numpy(), places["lat"].to_numpy())
    wide = _spread_m(xyz, crag) > FAR_M
    none = check.problems(np.zeros(0, dtype=bool), "", "", "", "")
    if not wide.any():
        return Apart(names, none, [])
    table = places[wide].assign(key=keys_of(places.loc[wide, "anchor_id"]))
    group = _by_least(groups_within(xyz[wide], crag[wide], FAR_M), table["key"])
    several = table["crag"].map(_count(group, table["crag"]) > 1).to_numpy(bool)
    if not several.any():
        return Apart(names, none, [])
    table, xyz, crag = table[several], xyz[wide][several], crag[wide][several]
    group = _by_least(group[several], table["key"])
    size = np.bincount(group)
    home = _homes(table, group, size)
    slip, meant, whole = _slips(table, tree_of(xyz, crag), crag, group, size)
    few = np.where(size == 1, size[home] >= AT_HOME, size[home] >= TIMES * size)
    astray = (home != np.arange(len(size))) & few
    stray = (whole | astray)[group]
    target = np.where(whole[group], meant, home[group])
    found = _problems(table, shown, group, stray, target, np.where(meant == target, slip, -1))
    numbered, notes = _numbered(table[~stray], group[~stray], set(keys_of(names).unique()))
    out = names.copy()
    out.loc[numbered.index] = numbered
    return Apart(out, found, notes)


def _count(group: np.ndarray, of: pd.Series) -> pd.Series:
    """Number of groups of each name."""
    return pd.Series(group, index=of.index).groupby(of).nunique()


def _spread_m(xyz: np.ndarray, crag: np.ndarray) -> np.ndarray:
    """Diagonal of the box that holds each anchor's crag."""
    order = np.argsort(crag, kind="stable")
    starts = np.flatnonzero(np.diff(crag[order], prepend=-1))
    box = np.maximum.reduceat(xyz[order], starts) - np.minimum.reduceat(xyz[order], starts)
    return np.linalg.norm(box, axis=1)[crag]


def _by_least(group: np.ndarray, key: pd.Series) -> np.ndarray:
    """The same groups, numbered in the order of their least key."""
    least = key.groupby(group).min().sort_values(kind="stable")
    number = np.empty(len(least), dtype=np.int64)
    number[least.index.to_numpy()] = np.arange(len(least))
    return number[group]


def _homes(table: pd.DataFrame, group: np.ndarray, size: np.ndarray) -> np.ndarray:
    """For each group the one where its sectors are at home: itself, where any of them is, or has
    no home."""
    parts = table[["crag", "sector"]].assign(group=group)
    parts = parts.groupby(["crag", "sector", "group"]).size().rename("n").reset_index()
    parts["size"] = size[parts["group"]]
    parts = parts.sort_values(["n", "size", "group"], ascending=[False, False, True], kind="stable")
    of_sector = parts.groupby(["crag", "sector"])
    most = 2 * of_sector["n"].transform("first") > of_sector["n"].transform("sum")
    parts["home"] = of_sector["group"].transform("first").where(most, parts["group"])
    own = parts.groupby("group")["home"].agg("first").to_numpy(copy=True)
    at_home = parts.loc[parts["home"] == parts["group"], "group"].unique()
    own[at_home] = at_home
    return own


def _slips(
    table: pd.DataFrame, tree: Any, crag: np.ndarray, group: np.ndarray, size: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which of `_SLIPS` each anchor may be (-1: none), the larger group it would then lie in, and
    which groups are one as a whole."""
    slip, meant = np.full(len(group), -1), np.full(len(group), -1)
    whole = np.zeros(len(size), dtype=bool)
    for number in range(len(_SLIPS)):
        lon, lat = _moved(table, number)
        possible = np.flatnonzero(np.abs(lat) <= 90)
        points = place_in(earth_m(lon[possible], lat[possible]), crag[possible])
        away, near = tree.query(points, distance_upper_bound=FAR_M)
        hit = np.isfinite(away)
        target = np.full(len(group), -1)
        target[possible[hit]] = group[near[hit]]
        fits = (target >= 0) & (size[target] > size[group])
        all_fit = np.bincount(group, weights=fits) == size
        # what a whole group may be goes before what one of its anchors may be
        new = fits & ((slip < 0) | all_fit[group]) & ~whole[group]
        slip[new], meant[new] = number, target[new]
        whole |= all_fit
    return slip, meant, whole


def _moved(table: pd.DataFrame, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Longitudes and latitudes as they are if they were written with a slip."""
    lon, lat = table["lon"].to_numpy(), table["lat"].to_numpy()
    _, by_lon, by_lat, exchanged = _SLIPS[number]
    return (lat, lon) if exchanged else (by_lon * lon, by_lat * lat)


def _problems(
    table: pd.DataFrame,
    shown: pd.Series,
    group: np.ndarray,
    stray: np.ndarray,
    target: np.ndarray,
    slip: np.ndarray,
) -> pd.DataFrame:
    """Rows that cannot be placed: how far they are from which others, and the fix."""
    least = table.assign(group=group).sort_values("key", kind="stable").groupby("group").first()
    size = np.bincount(group)
    others = least.loc[target[stray]]
    away_m = _distance_m(table[stray], others)
    moved = [_moved(table, number) for number in range(len(_SLIPS))]
    reasons, fixes = [], []
    for place, other, number, metres in zip(
        np.flatnonzero(stray), others["anchor_id"], size[target[stray]], away_m, strict=True
    ):
        more = f" and the {number - 1} others" if number > 1 else ""
        reasons.append(f"{metres / 1000:,.0f} km from {other!r}{more} of its crag")
        if slip[place] < 0:
            fixes.append(_CORRECT)
            continue
        lon, lat = (values[place] for values in moved[slip[place]])
        fixes.append(
            f"{_SLIPS[slip[place]][0]} would put it among them: write lon {_degrees(lon)}, lat "
            f"{_degrees(lat)}; {_ELSE}"
        )
    rows = table.index[stray]
    return pd.DataFrame(
        {"place": rows, "column": "lon, lat", "value": shown[rows].to_numpy(), "reason": reasons,
         "fix": fixes},
    )  # fmt: skip


def _distance_m(one: Any, other: Any) -> Any:
    from pyproj import Geod

    return Geod(ellps="WGS84").inv(one["lon"], one["lat"], other["lon"], other["lat"])[2]


def _degrees(value: float) -> str:
    return f"{value:.7f}".rstrip("0").rstrip(".")


def _numbered(
    table: pd.DataFrame, group: np.ndarray, taken: set[str]
) -> tuple[pd.Series, list[str]]:
    """Names of anchors whose crag lies in several places, and what to say of them."""
    ordered = table.assign(group=group).sort_values(["group", "key"], kind="stable")
    places = ordered.groupby("group").first().assign(anchors=ordered.groupby("group").size())
    many = places["crag"].map(places["crag"].value_counts()) > 1
    several = places[many].sort_values("crag", kind="stable")
    begins = several["crag"].ne(several["crag"].shift()).to_numpy()
    first = several[begins].take(np.cumsum(begins) - 1)
    away_km = _distance_m(first, several) / 1000
    listed = zip(
        several.index, several["crag"], map(_anchors, several["anchors"], several["anchor_id"]),
        away_km, strict=True,
    )  # fmt: skip
    new: dict[int, str] = {}
    notes = []
    for crag, each in groupby(listed, key=itemgetter(1)):
        (_, _, home, _), *others = each
        said, number = [], 2
        for at, _, anchors, apart_km in others:
            while name_key(name := f"{crag} ({number})") in taken:
                number += 1
            taken.add(name_key(name))
            new[int(at)] = name
            said.append(f"{name!r} for the {anchors}, {apart_km:,.0f} km away")
        shown = "; ".join(shortened(said, "places"))
        notes.append(
            f"crag {crag!r} lies in {1 + len(others)} places more than {FAR_M / 1000:g} km apart: "
            f"the name stays for the {home}; read as {shown}. Correct their positions, or "
            "give each place a name of its own"
        )
    chosen = np.isin(group, list(new))
    names = pd.Series([new[g] for g in group[chosen]], index=table.index[chosen], dtype="str")
    return names, shortened(notes, "crags in several places")


def _anchors(count: int, anchor_id: str) -> str:
    return f"{count} anchor{'s' if count > 1 else ''} with {anchor_id!r}"
