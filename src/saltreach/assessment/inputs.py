"""What an assessment starts from: the files its options name, and the anchors that can be used."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from saltreach.errors import NoGoodRowsError
from saltreach.intake import refuse_far_at_sea
from saltreach.intake.options import Options

if TYPE_CHECKING:
    from saltreach.intake import Register
    from saltreach.intake.policy import Policy
    from saltreach.intake.sheets import Sheet
    from saltreach.layers.join import Found


def open_policy(options: Options) -> Policy:
    """The association's rules, or saltreach's own."""
    from saltreach.intake.policy import DEFAULT, read_policy

    if options.policy_file is None:
        return DEFAULT
    return read_policy(Path(options.policy_file), allow_looser=options.allow_looser_policy)


def open_stock(options: Options) -> frozenset[str] | None:
    """Metals that the stock list of the prices file can place bonded; None without a list."""
    from saltreach.intake.prices import read_prices

    return None if options.prices_file is None else read_prices(options.prices_file).stock_metals()


def open_survey(options: Options) -> Sheet | None:
    """The survey of sectors the options name."""
    from saltreach.intake.survey import read_survey

    return None if options.survey_file is None else read_survey(options.survey_file)


def usable(register: Register, shore: Found, limit_m: float) -> tuple[Register, Found]:
    """A register without the anchors that lie too far out at sea, and what is known of the rest.

    Raises
    ------
    NoGoodRowsError
        When no row is left to assess.
    """
    rows = register.anchors["source_row"]
    register = refuse_far_at_sea(
        register, shore["shore_distance_m"], shore["coast_side"] != "sea", limit_m=limit_m
    )
    if not len(register.anchors):
        raise NoGoodRowsError(
            f"{register.file}: it has no row below its header; give one row for each anchor"
            if register.rows_read == 0
            else f"{register.file}: none of its {register.rows_read} rows can be used; correct the "
            "refused rows (saltreach check lists them)",
            register.rejected,
        )
    kept = rows.isin(register.anchors["source_row"]).to_numpy()
    return register, {name: values[kept] for name, values in shore.items()}


def refused(register: Register, survey: Sheet | None) -> pd.DataFrame:
    """The refused rows of the register and of the survey."""
    rejected = [register.rejected] + ([] if survey is None else [survey.rejected])
    return rejected[0] if len(rejected) == 1 else pd.concat(rejected, ignore_index=True)
