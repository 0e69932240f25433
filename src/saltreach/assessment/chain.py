"""One anchor's values, and how much each input is to blame for what is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from saltreach.assessment.corrosivity import chloride_at, exposure_of
from saltreach.errors import OptionError
from saltreach.science.air.uncertainty import METALS, variance_shares

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment


def anchor_chain(result: Assessment, anchor_id: str) -> tuple[pd.Series, pd.DataFrame]:
    """Every value met on the way to one anchor's decisions, and the shares of its inputs.

    Parameters
    ----------
    result : Assessment
        From `assess`, not read back from files.
    anchor_id : str
        Key of the anchor.

    Returns
    -------
    values : Series
        By column.
    shares : DataFrame
        Share of each input (rows) in the variance of the logarithm of the first-year loss of
        each metal (columns), 0 to 1; NaN where unknown.

    Raises
    ------
    OptionError
        When no good row has that key.
    """
    working = result.working
    if working is None:
        raise OptionError("only a fresh assessment can explain an anchor; run saltreach assess")
    rows = working[working["anchor_id"] == anchor_id]
    if not len(rows):
        some = ", ".join(working["anchor_id"].head(3))
        raise OptionError(
            f"no assessed anchor has anchor_id {anchor_id!r} (the first are {some}); "
            "if it is in the register, see the refused rows"
        )
    found = {m: variance_shares(m, exposure_of(rows), chloride_at(rows)) for m in METALS}
    shares = {m: {name: float(v[0]) for name, v in parts.items()} for m, parts in found.items()}
    return rows.iloc[0], pd.DataFrame(shares)
