"""Priorities: what the money rebolts, what to buy, and what more money would do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.files import assessment_in
from saltreach.assessment.reasons import Listing
from saltreach.intake.prices import Prices, read_prices
from saltreach.planning.budget import curve, ranked, shopping, used_up
from saltreach.planning.offers import choices
from saltreach.planning.options import BudgetLimits
from saltreach.planning.tables import frame_or_file, left_out_before, looser, typed
from saltreach.vocabulary.words import CAUTION

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment


@dataclass(frozen=True)
class FlatPriorities:
    """Tables of priorities as the files hold them.

    `sectors`: every sector in the order of the assessment's priority, with what is bought for it.
    `curve`: what each budget avoids, from nothing to all that can be done. `shopping`: what to
    buy.
    """

    sectors: pd.DataFrame
    curve: pd.DataFrame
    shopping: pd.DataFrame


@dataclass(frozen=True, repr=False, eq=False)
class Priorities:
    """What a budget rebolts.

    Attributes
    ----------
    sectors, curve, shopping : DataFrame
        As in `FlatPriorities`, with real types.
    figures : dict
        The choice in figures, as plain values.
    notes : list of str
        What was assumed or left out.
    flat : FlatPriorities
        The same tables as the files hold them.
    limits : BudgetLimits
        Money, time and order.
    prices : Prices
        What things cost.
    """

    flat: FlatPriorities
    figures: dict[str, Any]
    limits: BudgetLimits
    prices: Prices

    def __repr__(self) -> str:
        """One line."""
        f = self.figures
        return (
            f"<Priorities: {f['sectors']} sectors, {f['anchors']} anchors for {f['spent']:.2f} of "
            f"{f['budget']:.2f} {f['currency']}, {f['avoided_pct']:.1f} % of the loss avoided. "
            f"{CAUTION}>"
        )

    @property
    def left_out(self) -> list[str]:
        """Sentences on what was refused and left out, said first by every file."""
        return list(self.figures["left_out"])

    @property
    def notes(self) -> list[str]:
        """What was assumed or left out."""
        return list(self.figures["notes"])

    @cached_property
    def sectors(self) -> pd.DataFrame:
        """Every sector in order of priority, typed."""
        return typed(self.flat.sectors, "priorities")

    @cached_property
    def curve(self) -> pd.DataFrame:
        """What each budget avoids, typed."""
        return typed(self.flat.curve, "budget_curve")

    @cached_property
    def shopping(self) -> pd.DataFrame:
        """What to buy, typed."""
        return typed(self.flat.shopping, "shopping")


def priorities(
    result: Assessment | Path | str,
    budget: float,
    prices: Any,
    *,
    leave_out_refused: bool = False,
    on_step: Callable[[str], None] = lambda _: None,
    **limits: Any,
) -> Priorities:
    """What the money rebolts: sectors, metals, a shopping list, and what more money would do.

    Parameters
    ----------
    result : Assessment, or path
        From `assess`, or the folder of its results.
    budget : float
        Money, in the currency of the prices.
    prices : path, DataFrame or Prices
        What things cost: see `read_prices`; saltreach has no prices of its own.
    leave_out_refused : bool
        Whether to go on without refused rows of a table of prices; every file then says so first.
    on_step : callable
        Told the name of each step.
    **limits
        `team_days` (days of one team), `order`, `hours_per_day`, `hours_per_anchor`,
        `hours_per_sector`, `waste_factor`: see `saltreach.planning.options.BudgetLimits`.

    Returns
    -------
    Priorities

    Raises
    ------
    OptionError
        A price or a limit that cannot be used.

    Examples
    --------
    >>> priorities(result, 3000, "prices.toml").shopping  # doctest: +SKIP
    """
    result = assessment_in(result)
    limit = BudgetLimits(budget, **limits)
    cost = frame_or_file(
        prices, "prices", partial(read_prices, leave_out_refused=leave_out_refused)
    )
    left_out = [*left_out_before(result.provenance), *cost.left_out]
    on_step("choices")
    sectors = pd.DataFrame(result.flat.sectors)
    table, notes = choices(pd.DataFrame(result.flat.anchors), sectors, cost, limit)
    on_step(f"best of {len(table)} choices, and the budget curve")
    line, taken = curve(table, limit, prices=cost)
    short = used_up(table, taken, cost)
    if short:
        notes.append(Listing("too few left of the stock list for more", short))
    notes = [*left_out, *notes, *cost.notes, *looser(result.provenance)]
    at = line[line["budget"] == float(limit.budget)].iloc[0].to_dict()
    figures = {
        "left_out": left_out, **at, "sectors": int(at["sectors"]), "anchors": int(at["anchors"]),
        "order": limit.order, "team_days_limit": limit.team_days, "currency": cost.currency,
        "prices": cost.source, "example_prices": cost.example, "notes": notes,
        "solved_to_the_optimum": True, "assessment": result.provenance["time"],
        "caution": CAUTION,
    }  # fmt: skip
    flat = FlatPriorities(ranked(table, taken, sectors), line, shopping(table.iloc[taken]))
    return Priorities(flat, figures, limit, cost)
