"""What was understood of a table, one row for each of its columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from saltreach.intake.cells import text_of
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.words import UNKNOWN

UNDERSTOOD_COLUMNS = ("header", "column", "meaning", "unit", "filled_pct", "examples", "reading")
_EXAMPLES = 3


def understood(
    headers: Sequence[str],
    cells: pd.DataFrame,
    places: Mapping[str, int],
    values: pd.DataFrame,
    *,
    columns: Mapping[str, Column],
    notes: Sequence[str],
) -> pd.DataFrame:
    """Each column of a file: what it was taken for, and how.

    Parameters
    ----------
    headers : sequence of str
        As the file has them.
    cells : DataFrame
        Text of each cell, in columns 0, 1, 2 ...
    places : mapping of str to int
        Our column -> its place in the file.
    values : DataFrame
        What was read, by our columns.
    columns : mapping of str to Column
        Our columns by name.
    notes : sequence of str
        Sentences on the reading; those that begin with a column's name stand with it.

    Returns
    -------
    DataFrame
        `UNDERSTOOD_COLUMNS` in the order of the file. `column`, `meaning` and `unit` are empty
        for columns that are none of ours, `filled_pct` is the share of rows with a value that
        can be used, `examples` the first different ones as they were read.
    """
    ours = {place: name for name, place in places.items()}
    rows = []
    for place, header in enumerate(headers):
        name = ours.get(place, "")
        column = columns.get(name)
        read = values[name] if name else cells[place]
        known = read[read.notna() & (read != UNKNOWN) & cells[place].notna()]
        texts = dict.fromkeys(text_of(value, column) for value in known.head(1000))
        said = [note.partition(": ")[2] for note in notes if name and note.startswith(f"{name}: ")]
        rows.append(
            {
                "header": header,
                "column": name,
                "meaning": column.meaning if column else "",
                "unit": (column.unit or "") if column else "",
                "filled_pct": round(100 * len(known) / len(read), 1) if len(read) else 0.0,
                "examples": "; ".join(list(texts)[:_EXAMPLES]),
                "reading": "; ".join(said),
            }
        )
    return pd.DataFrame(rows, columns=list(UNDERSTOOD_COLUMNS))
