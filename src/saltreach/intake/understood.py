"""What was understood of a table, one row for each of its columns."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from saltreach.intake.formats import Table, cell_text
from saltreach.intake.headers import Headers
from saltreach.vocabulary.columns import REGISTER_BY_NAME

UNDERSTOOD_COLUMNS = ("header", "column", "meaning", "unit", "filled_pct", "examples", "reading")
_EXAMPLES = 3


def understood(
    table: Table, headers: Headers, values: pd.DataFrame, notes: Sequence[str]
) -> pd.DataFrame:
    """Each column of a register's file: what it was taken for, and how.

    Parameters
    ----------
    table : Table
        From a reader.
    headers : Headers
        Which header is which column.
    values : DataFrame
        What was read, by our columns.
    notes : sequence of str
        Sentences on the reading; those that begin with a column's name stand with it.

    Returns
    -------
    DataFrame
        `UNDERSTOOD_COLUMNS` in the order of the file. `column`, `meaning` and `unit` are empty
        for columns that are none of ours, `filled_pct` is the share of rows with a value that
        can be used, `examples` the first different ones as they were read.
    """
    ours = {place: name for name, place in headers.ours.items()}
    rows = []
    for place, header in enumerate(table.headers):
        name = ours.get(place, "")
        column = REGISTER_BY_NAME.get(name)
        read = values[name] if name else table.cells[place]
        said = [note.partition(": ")[2] for note in notes if note.startswith(f"{name}: ")]
        known = read[read.notna() & (read != "unknown")]
        rows.append(
            {
                "header": header,
                "column": name,
                "meaning": column.meaning if column else "",
                "unit": (column.unit or "") if column else "",
                "filled_pct": round(100 * len(known) / len(read), 1) if len(read) else 0.0,
                "examples": "; ".join(
                    str(cell_text(v)) for v in known.drop_duplicates().head(_EXAMPLES)
                ),
                "reading": "; ".join(said) if name else "",
            }
        )
    return pd.DataFrame(rows, columns=list(UNDERSTOOD_COLUMNS))
