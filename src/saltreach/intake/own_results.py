"""Whether a table is one of our results, handed in where a table of the user's own belongs."""

from __future__ import annotations

from collections.abc import Sequence

from saltreach.vocabulary.columns import columns_of

_RESULTS = {
    "sectors": "sectors of an assessment",
    "crags": "crags of an assessment",
    "find_out": "what an assessment says is worth finding out",
    "rejected": "refused rows",
    "plan": "a plan",
    "unmet": "what a plan could not meet",
    "priorities": "an order of rebolting",
}
"""Tables that are written, and what each is. Anchors are none of them: they may be read again."""
_LEAST_SHARE = 0.8
"""Columns of a result that a table has which is that result (own choice)."""
_FILLED_IN = "done_on"
"""The column of a plan's sheet in which the visits done are written."""
_INSTEAD = {"plan": "what is planned is not done yet: give the visits done, with done_on"}


def said_of_results(headers: Sequence[str]) -> str:
    """A sentence's end that says which result of ours a table is; empty where it is none.

    Examples
    --------
    >>> said_of_results(list(columns_of("rejected")))
    'this is a result of saltreach (refused rows); give the file it was made from'
    """
    given = {header.strip() for header in headers}
    if _FILLED_IN in given:
        return ""
    shared = {name: given.intersection(columns_of(name)) for name in _RESULTS}
    name = max(shared, key=lambda one: len(shared[one]))
    if len(shared[name]) < _LEAST_SHARE * len(columns_of(name)):
        return ""
    instead = _INSTEAD.get(name, "give the file it was made from")
    return f"this is a result of saltreach ({_RESULTS[name]}); {instead}"
