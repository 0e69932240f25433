"""What an assessment starts from: the files its options name, and the anchors that can be used."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.errors import NoGoodRowsError, SaltreachError
from saltreach.intake import refuse_far_at_sea
from saltreach.intake.options import Options

if TYPE_CHECKING:
    from collections.abc import Callable

    from saltreach.intake import Register
    from saltreach.intake.lessons import Lessons
    from saltreach.intake.policy import Policy
    from saltreach.intake.prices import Prices
    from saltreach.intake.sheets import Sheet
    from saltreach.layers.join import Found


@dataclass(frozen=True)
class Beside:
    """The files beside the register, read and checked.

    `stock`: metals that the stock list of the prices can place bonded; None without a list.
    `left_out`: a sentence on each table that refused rows are left out of. `learned_from`: one on
    what looks and tests the lessons are drawn from.
    """

    policy: Policy
    prices: Prices | None
    stock: frozenset[str] | None
    survey: Sheet | None
    rock_mapping: Sheet | None
    lessons: Lessons | None
    left_out: tuple[str, ...]
    learned_from: str = ""

    def notes(self) -> list[str]:
        """What was ignored or assumed in the tables."""
        sheets = [sheet for sheet in (self.survey, self.rock_mapping) if sheet is not None]
        said = [] if self.prices is None else list(self.prices.notes)
        learned = [] if self.lessons is None else [self.learned_from]
        return [*(note for sheet in sheets for note in sheet.said), *said, *learned]


def beside(options: Options, register: Register) -> Beside:
    """The files that the options name besides layers, before anything is computed.

    Raises
    ------
    SaltreachError
        A file cannot be used, or rows of a table are refused and not to be left out; the problems
        of all files are said together.
    """
    from saltreach.intake.lessons import read_lessons
    from saltreach.intake.policy import DEFAULT, read_policy
    from saltreach.intake.prices import read_prices
    from saltreach.intake.sheets import read_table, settled
    from saltreach.intake.survey import read_survey, with_names
    from saltreach.intake.tables import ROCK_MAPPING

    errors: list[SaltreachError] = []
    leave_out = options.leave_out_refused

    def opened(file: str | None, read: Callable[[Path], Any]) -> Any:
        try:
            return None if file is None else read(Path(file))
        except SaltreachError as error:
            errors.append(error)
            return None

    policy = opened(
        options.policy_file, lambda f: read_policy(f, allow_looser=options.allow_looser_policy)
    )
    prices = opened(options.prices_file, lambda f: read_prices(f, leave_out_refused=leave_out))
    mapping = opened(options.rock_mapping_file, lambda f: read_table(f, ROCK_MAPPING))
    survey = opened(options.survey_file, read_survey)
    if survey is not None and len(register.anchors):
        survey = with_names(survey, register.anchors)
    lessons = opened(options.learned_file, read_lessons)
    left_out = settled([] if survey is None else [survey], leave_out=leave_out, errors=errors)
    return Beside(
        policy=policy or DEFAULT,
        prices=prices,
        stock=None if prices is None else prices.stock_metals(),
        survey=survey,
        rock_mapping=mapping,
        lessons=lessons,
        learned_from="" if lessons is None else _learned_from(lessons, options, register),
        left_out=(*left_out, *(() if prices is None else prices.left_out)),
    )


def _learned_from(lessons: Lessons, options: Options, register: Register) -> str:
    """What lessons are drawn from, and whether that is the register in hand."""
    files = ", ".join(dict.fromkeys(one.file for one in lessons.made_from)) or "no book"
    said = (
        f"LEARNED: hazards, rock and salt are changed by what looks, tests and measurements up to "
        f"{lessons.learned_for} showed ({Path(str(options.learned_file)).name}, from {files})"
    )
    own = any(one.sha256 == register.sha256 for one in lessons.made_from)
    return said + ("." if own else "; the register in hand is another one, or a later state of it.")


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
        said = f"{register.file}: it has no row below its header; give one row for each anchor"
        if register.rows_read:
            from saltreach.intake.sheets import row_said

            first = row_said(next(register.rejected.itertuples(index=False)), register.file)
            said = (
                f"{register.file}: none of its {register.rows_read} rows can be used; the first: "
                f"{first}"
            )
        raise NoGoodRowsError(said, register.rejected)
    kept = rows.isin(register.anchors["source_row"]).to_numpy()
    return register, {name: values[kept] for name, values in shore.items()}


def refused(register: Register, survey: Sheet | None) -> pd.DataFrame:
    """The refused rows of the register and of the survey."""
    rejected = [register.rejected] + ([] if survey is None else [survey.rejected])
    return rejected[0] if len(rejected) == 1 else pd.concat(rejected, ignore_index=True)
