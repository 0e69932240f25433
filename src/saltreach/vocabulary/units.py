"""Units a person may write beside a number, and what each is of a column's own unit."""

from __future__ import annotations

from functools import lru_cache

from saltreach.vocabulary.tables import rows_of


@lru_cache(maxsize=1)
def _units() -> dict[str, tuple[str, float]]:
    """What a unit measures, and how many of its base it is, by each spelling without case."""
    found = {}
    for row in rows_of("units.csv"):
        for word in (row["unit"], *row["words"].split("; ")):
            found[_bare(word)] = (row["of"], float(row["in_base"]))
    return found


def _bare(word: str) -> str:
    return "".join(word.split()).casefold().rstrip(".")


def is_unit(word: str) -> bool:
    """Whether a word is a unit that is known.

    Examples
    --------
    >>> is_unit("Zoll"), is_unit("cm."), is_unit("bolt")
    (True, True, False)
    """
    return _bare(word) in _units()


def factor(word: str, unit: str | None) -> float | None:
    """Factor from a number with the unit `word` to one with `unit`; None where there is none.

    The units are the International System's; an inch is 25.4 mm (International yard and pound
    agreement, 1959).

    Examples
    --------
    >>> factor("cm", "mm"), factor("kN", "mm"), factor("bolts", "mm")
    (10.0, None, None)
    """
    given, own = _units().get(_bare(word)), _units().get(_bare(unit or ""))
    if given is None or own is None or given[0] != own[0]:
        return None
    return float(f"{given[1] / own[1]:.12g}")
