"""Rows of a table of reference values as test cases, each marked by what stands behind it."""

import pandas as pd
import pytest


def pinned_cases(path, **mark):
    """One case a row: `memory` where its status or source says so, else `published`.

    A row whose status is arithmetic is that of a published formula.
    """
    for row in pd.read_csv(path).to_dict("records"):
        said = f"{row['status']} {row['source']}"
        kind = "memory" if "from memory" in said else "published"
        yield pytest.param(row, marks=pytest.mark.pinned(kind, **mark))
