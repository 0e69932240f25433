"""What the entries of a geological map's legend mean, as the user says it in a table."""

from __future__ import annotations

from pathlib import Path

from saltreach.intake.sheets import read_table
from saltreach.intake.tables import ROCK_MAPPING


def read_rock_mapping(path: str | Path) -> dict[str, str]:
    """Lithology by legend entry, entries in the form they compare by (`cells.code`).

    Parameters
    ----------
    path : path
        CSV or XLSX with the columns of `tables.ROCK_MAPPING`.

    Raises
    ------
    LayerError
        The file cannot be used, a lithology is not known, or an entry stands for two.
    """
    return {row["code"]: row["lithology"] for row in read_table(path, ROCK_MAPPING).rows}
