"""How long work takes, what a plan trades for what, and what limits the money."""

from __future__ import annotations

from dataclasses import dataclass

from saltreach.errors import OptionError
from saltreach.vocabulary.words import ORDERS, SEA_CLIFFS_FIRST

NO_LIMIT = 1e7
"""A budget that limits nothing."""


@dataclass(frozen=True)
class PlanOptions:
    """How long things take, and what is traded for what.

    Attributes
    ----------
    years : float
        Length of the plan, 1 to 5.
    hours_per_anchor : float
        Inspection of one anchor by a team.
    hours_per_sector : float
        Setting up at a sector, once a visit.
    hours_per_trip : float
        Packing and briefing, once a team-day.
    rebolt_hours_per_anchor : float
        Replacing one anchor.
    rebolt_skill : str
        Skill a rebolting team must have.
    rebolt_months : int
        Months from the first day within which chosen rebolting is due, at most three quarters
        of the plan.
    road_factor, speed_km_h : float
        For travel that no table gives.
    overdue_hours : float
        Team hours worth spending to avoid one overdue day of a low-risk sector.
    unfair_hours : float
        Team hours worth spending to bring the busiest and the idlest team one tenth of their
        free time closer together.
    change_hours : float
        Team hours worth spending to keep one visit of the last plan as it was.
    crags_per_day : int
        Most crags on one team-day, 1 to 3.
    """

    years: float = 2.0
    hours_per_anchor: float = 0.15
    hours_per_sector: float = 0.5
    hours_per_trip: float = 0.5
    rebolt_hours_per_anchor: float = 1.0
    rebolt_skill: str = "rebolting"
    rebolt_months: int = 12
    road_factor: float = 1.4
    speed_km_h: float = 60.0
    overdue_hours: float = 0.25
    unfair_hours: float = 2.0
    change_hours: float = 2.0
    crags_per_day: int = 3

    def __post_init__(self) -> None:
        """Refuse impossible values."""
        _within(
            self, years=(0.1, 5), hours_per_anchor=(0.01, 8), hours_per_sector=(0, 8),
            hours_per_trip=(0, 8), rebolt_hours_per_anchor=(0.05, 24), rebolt_months=(1, 60),
            road_factor=(1, 5), speed_km_h=(1, 200), overdue_hours=(0, 100),
            unfair_hours=(0, 100), change_hours=(0, 1000), crags_per_day=(1, 3),
        )  # fmt: skip


@dataclass(frozen=True)
class BudgetLimits:
    """What limits the choice of what is rebolted.

    Attributes
    ----------
    budget : float
        Money, in the currency of the prices.
    team_days : float or None
        Days of one team; None for no limit.
    hours_per_day, hours_per_anchor, hours_per_sector : float
        Length of a day at the rock, replacing one anchor, setting up once a sector.
    order : str
        One of `ORDERS`.
    waste_factor : float
        Adhesive bought over adhesive in the holes; common practice without a source: a quarter
        is lost in nozzles, brushes and the first strokes.
    """

    budget: float
    team_days: float | None = None
    hours_per_day: float = 7.0
    hours_per_anchor: float = 1.0
    hours_per_sector: float = 0.5
    order: str = SEA_CLIFFS_FIRST
    waste_factor: float = 1.25

    def __post_init__(self) -> None:
        """Refuse impossible values."""
        _within(
            self, budget=(0, NO_LIMIT), hours_per_day=(1, 16), hours_per_anchor=(0.05, 24),
            hours_per_sector=(0, 12), waste_factor=(1, 5),
        )  # fmt: skip
        if self.team_days is not None:
            _within(self, team_days=(0, 1e5))
        if self.order not in ORDERS:
            raise OptionError(f"order {self.order!r}: give one of {', '.join(ORDERS)}")


def _within(record: object, **limits: tuple[float, float]) -> None:
    """Refuse a setting outside its limits."""
    for name, (low, high) in limits.items():
        value = getattr(record, name)
        if not low <= value <= high:
            raise OptionError(f"option {name} = {value}: give a value from {low} to {high:g}")
