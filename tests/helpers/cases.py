"""Rows of a table of reference values as test cases, each marked by what stands behind it."""

import pandas as pd
import pytest


def pinned_cases(path, **mark):
    """One case a row: `memory` where its status or source says so, else `published`.

    A row whose status is arithmetic is that of a published formula.
    """
    rows = pd.read_csv(path).to_dict("records")
    from_memory = ["from memory" in f"{row['status']} {row['source']}" for row in rows]
    kinds = [("published", "memory")[memory] for memory in from_memory]
    marks = [pytest.mark.pinned(kind, **mark) for kind in kinds]
    return [pytest.param(row, marks=own) for row, own in zip(rows, marks, strict=True)]
