"""Whether a table is one of our results, handed in where a table of the user's own belongs."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from saltreach.intake.tables import DONE
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.synonyms import plain

_RESULTS = {
    "sectors": "sectors of an assessment",
    "crags": "crags of an assessment",
    "find_out": "what an assessment says is worth finding out",
    "tests": "which anchors are to be proof tested",
    "rejected": "refused rows",
    "plan": "a plan",
    "unmet": "what a plan could not meet",
    "priorities": "an order of rebolting",
}
"""Tables that are written, and what each is. Anchors are none of them: they may be read again."""
_LEAST_SHARE = 0.8
"""Columns of a result that a table has which is that result (own choice)."""
_INSTEAD = {"plan": "what is planned is not done yet: give the visits done, with done_on"}
_OF_PLANS = {plain(name) for name in ("due_on", "days_late", "trip_leaves", "trip_back")}
"""Headers that only a plan of ours has, in its table and on its sheet."""
_ESTIMATED = {
    "coast_distance_m": ("coast_distance_source", ("register",)),
    "elevation_m": ("elevation_source", ("register",)),
    "sea_cliff": ("sea_cliff_reason", ("The register says so.", "The register says not.")),
    "sea_salinity_g_kg": ("coast_distance_source", ()),
}
"""Columns of a register that results fill, the column that says by what, and its words for what
the register gave. Of the salinity nothing says it: it is worked out anew."""


def is_a_plan(headers: Sequence[str]) -> bool:
    """Whether a table is a plan of ours, as it was written or filled in."""
    return {plain(header) for header in headers} >= _OF_PLANS


def without_estimates(
    given: pd.DataFrame, cells: pd.DataFrame, headers: Sequence[str]
) -> tuple[pd.DataFrame, list[str]]:
    """A register without what saltreach itself worked out, where results are read again.

    Parameters
    ----------
    given : DataFrame
        Columns of the register as text.
    cells : DataFrame
        All columns of the file, by place.
    headers : sequence of str
        One for each place.

    Returns
    -------
    given : DataFrame
        Estimates are empty: they must not pass for what was measured.
    notes : list of str
    """
    notes = []
    for name, (source, own) in _ESTIMATED.items():
        if name in given and source in headers:
            said = cells[list(headers).index(source)]
            estimated = given[name].notna() & said.notna() & ~said.isin(own)
            if estimated.any():
                given = given.assign(**{name: given[name].where(~estimated)})
                notes.append(
                    f"{name}: {int(estimated.sum())} values that saltreach worked out are left "
                    "out and worked out anew; only what was measured belongs in a register"
                )
    return given, notes


def said_of_results(headers: Sequence[str]) -> str:
    """A sentence's end that says which result of ours a table is; empty where it is none.

    Examples
    --------
    >>> said_of_results(list(columns_of("rejected")))
    'this is a result of saltreach (refused rows); give the file it was made from'
    """
    given = {header.strip() for header in headers}
    if DONE.filled_in in given:  # a plan's sheet with the visits done written into it
        return ""
    shared = {name: given.intersection(columns_of(name)) for name in _RESULTS}
    name = max(shared, key=lambda one: len(shared[one]))
    if len(shared[name]) < _LEAST_SHARE * len(columns_of(name)):
        return ""
    instead = _INSTEAD.get(name, "give the file it was made from")
    return f"this is a result of saltreach ({_RESULTS[name]}); {instead}"
