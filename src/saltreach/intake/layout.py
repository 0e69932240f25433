"""Where the headers of a table stand, and which rows beneath them are no data.

Volunteers' spreadsheets have titles above the headers, headers of several lines, a line of
units, headers repeated on each printed page and sums at the end. Rows here are tuples of text
with "" for an empty cell.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from saltreach.errors import brief, in_rows
from saltreach.vocabulary.units import factor, is_unit
from saltreach.vocabulary.words import counted

MOST_ABOVE = 30
"""Rows in which the headers are looked for."""
MOST_LINES = 3
"""Lines of one header."""
SHOWN = 60
"""Letters of a row that a message shows."""

_PATTERN = re.compile(
    r"[dtjg]{2}[./-]mm[./-](?:yyyy|jjjj|aaaa)|yyyy(?:-mm(?:-dd)?)?|mm/dd/yyyy|jjjj|aaaa",
    re.IGNORECASE,
)
_KIND = re.compile(
    r"text|texto?|testo|texte|ja/nein|yes/no|y/n|s[ií]/no|oui/non|sim/não|wgs ?84", re.IGNORECASE
)
_RULE = re.compile(r"[\-=_+:*·.~ —–]+")
_MOST_OF_SUM = 3
_COUNT = re.compile(r"[0-9][0-9.,' ]*(?:[^\W\d]+\.?)?")
_SUM = re.compile(
    r"(total|sum|summe|gesamt|anzahl|suma|somme|totale|soma|stand|average|mean|mittel|"
    r"mittelwert|schnitt|promedio|moyenne|média|media)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class HeaderPlace:
    """Where the headers stand.

    `first` and `after`: index of their first row, and of the first row of data. `names`: one
    header for each column. `notes`: what was left out or put together, in sentences. `lines`: the
    rows of the headers as they stand.
    """

    first: int
    after: int
    names: tuple[str, ...]
    notes: tuple[str, ...]
    known: int
    lines: tuple[tuple[str, ...], ...] = ()


def _filled(row: Sequence[str]) -> int:
    return sum(1 for cell in row if cell.strip())


def _spread(line: Sequence[str]) -> list[str]:
    """A line of group headers: each goes on to the right until the next."""
    out, last = [], ""
    for cell in line:
        last = cell.strip() or last
        out.append(last)
    return out


def _joined(lines: Sequence[Sequence[str]], known: Callable[[str], bool]) -> tuple[str, ...]:
    """One header for each column out of several lines: the first wording that is known."""
    width = max(map(len, lines))
    padded = [[*line, *[""] * (width - len(line))] for line in lines]
    bottom, names = padded[-1], []
    upper = [_spread(line) for line in padded[:-1]]
    for i in range(width):
        own = bottom[i].strip()
        exact = " ".join(filter(None, (*(line[i].strip() for line in padded[:-1]), own)))
        groups = [line[i] for line in upper if line[i]]
        wordings = [exact, *([" ".join([*groups, own]), " ".join([own, *groups])] * bool(own)), own]
        wordings += [] if own else [line[i].strip() for line in padded[:-1]]
        names.append(next((w for w in wordings if w and known(w)), exact))
    return tuple(names)


def _shown(row: Sequence[str]) -> str:
    return brief(" ".join(" ".join(row).split()), SHOWN)


def find_headers(
    rows: Sequence[Sequence[str]], known: Callable[[str], bool], first_row: int = 1
) -> HeaderPlace:
    """Find the headers among the first rows of a table.

    Parameters
    ----------
    rows : sequence of sequences of str
        First rows of the table, at least `MOST_ABOVE` of them where it has so many.
    known : callable
        Whether a header is one of ours.
    first_row : int
        Number of the first of the rows as the user sees it.

    Returns
    -------
    HeaderPlace
        The line or lines with most headers that are known; where none are, the first row that
        is at least half as full as the fullest.

    Examples
    --------
    >>> rows = [("Bolts of 2026", ""), ("id", "crag"), ("1", "Cabo")]
    >>> find_headers(rows, {"id", "crag"}.__contains__).names
    ('id', 'crag')
    """
    known = cache(known)
    fullest = max(map(_filled, rows), default=0)
    start = next((i for i, row in enumerate(rows) if 2 * _filled(row) >= fullest > 0), 0)
    best = HeaderPlace(start, start + 1, tuple(rows[start]) if rows else (), (), 0)
    worth = (1, 0, 0)
    for first in range(min(len(rows), MOST_ABOVE)):
        if not _filled(rows[first]):
            continue
        for lines in range(1, min(MOST_LINES, len(rows) - first) + 1):
            names = _joined(rows[first : first + lines], known)
            count = len({name.casefold() for name in names if known(name)})
            if (count, -lines, -first) > worth:
                worth = count, -lines, -first
                best = HeaderPlace(first, first + lines, names, (), count)
    notes = []
    titles = [row for row in rows[: best.first] if _filled(row)]
    if titles:
        number = counted(len(titles), "title row")
        notes.append(
            f"{number} above the headers left out ({_shown(titles[0])!r}); "
            f"the headers are in row {best.first + first_row}"
        )
    if best.after - best.first > 1:
        last = best.after + first_row - 1
        notes.append(f"header lines put together from rows {best.first + first_row} to {last}")
    headers, after = list(best.names), best.after
    if after < len(rows) and is_unit_row(rows[after]):
        for i, cell in enumerate(rows[after][: len(headers)]):
            if factor(_bare(cell), "mm") or _PATTERN.fullmatch(_bare(cell)):
                headers[i] = f"{headers[i]} ({_bare(cell)})"
        notes.append(f"row {after + first_row} read as the units of the columns")
        after += 1
    as_given = tuple(tuple(row) for row in rows[best.first : best.after])
    return HeaderPlace(best.first, after, tuple(headers), tuple(notes), best.known, as_given)


def is_unit_row(row: Sequence[str]) -> bool:
    """Whether every filled cell of a row, two at least, is a unit or a pattern of dates.

    Examples
    --------
    >>> is_unit_row(("", "[mm]", "TT.MM.JJJJ")), is_unit_row(("A1", "mm", "cm"))
    (True, False)
    """
    cells = [_bare(cell) for cell in row if cell.strip()]
    return len(cells) > 1 and all(
        is_unit(cell) or _PATTERN.fullmatch(cell) or _KIND.fullmatch(cell) for cell in cells
    )


def _bare(cell: str) -> str:
    return cell.strip().strip("[]()").strip()


def no_data(
    cells: pd.DataFrame,
    headers: Sequence[str],
    rows: np.ndarray,
    *,
    lines: Sequence[Sequence[str]],
    keys: Callable[[str], bool] | None,
) -> tuple[np.ndarray, list[str]]:
    """Rows that are no data: headers again, ruled lines, remarks; and what to say of them.

    Parameters
    ----------
    cells : DataFrame
        Body of the table: text, NaN where empty; columns 0, 1, 2 ...
    headers : sequence of str
        One for each column.
    rows : ndarray of int
        Number of each row as the user sees it.
    lines : sequence of sequences of str
        The rows of the headers as they stand.
    keys : callable or None
        Whether a header is of a column that every entry needs, where a row with a single filled
        cell can be no entry: it is left out where that cell reads as a sum or a sentence, or its
        column is another; so is a sum with its numbers. None where such rows stay.

    Returns
    -------
    out : ndarray of bool
        True for rows that are no data.
    notes : list of str
    """
    repeated = np.zeros(len(cells), dtype=bool)
    for line in lines:
        named = [i for i, header in enumerate(line) if header.strip() and i in cells]
        again = np.zeros(len(cells), dtype=int)
        for i in named:
            again += cells[i].str.strip().eq(line[i].strip()).fillna(False).to_numpy(bool)
        repeated |= again >= max(2, int(np.ceil(0.8 * len(named))))
    notes = []
    if repeated.any():
        notes.append(f"header repeated in {in_rows(rows[repeated])}: left out")
    ruled = _ruled(cells)
    if ruled.any():
        notes.append(f"lines of signs in {in_rows(rows[ruled])}: left out")
    out = repeated | ruled
    if keys is None:
        return out, notes
    count = cells.notna().sum(axis=1).to_numpy()
    remarks = []
    for row in np.flatnonzero((count > 0) & (count <= _MOST_OF_SUM) & ~out):
        filled = cells.iloc[row].dropna()
        if len(filled) == 1:
            is_one = _is_remark(str(filled.iloc[0])) or not keys(headers[filled.index[0]])
        else:
            is_one = bool(_SUM.match(str(filled.iloc[0]))) and all(
                _COUNT.fullmatch(str(cell)) for cell in filled.iloc[1:]
            )
        if is_one:
            remarks.append(row)
    if remarks:
        out[remarks] = True
        shown = _shown([str(cell) for cell in cells.iloc[remarks[0]].dropna()])
        left = f"{in_rows(rows[remarks])}: a title, total, footer or remark, no anchor"
        notes.append(f"{left}, left out ({shown!r})")
    return out, notes


def _ruled(cells: pd.DataFrame) -> np.ndarray:
    """Rows of dashes and the like, two letters at least in two cells at least."""
    first = cells[0] if len(cells.columns) else pd.Series(dtype="str")
    out = np.zeros(len(cells), dtype=bool)
    for row in np.flatnonzero(first.str.fullmatch(_RULE.pattern, na=False) & (first.str.len() > 1)):
        texts = cells.iloc[row].dropna()
        out[row] = len(texts) > 1 and all(_RULE.fullmatch(str(text)) for text in texts)
    return out


def _is_remark(text: str) -> bool:
    return bool(_SUM.match(text.strip())) or ":" in text or len(text.split()) > 2
