"""How long inspections take, and what a plan trades for what."""

from __future__ import annotations

from dataclasses import dataclass

from saltreach.errors import OptionError


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
        limits = {
            "years": (0.1, 5), "hours_per_anchor": (0.01, 8), "hours_per_sector": (0, 8),
            "hours_per_trip": (0, 8), "rebolt_hours_per_anchor": (0.05, 24),
            "rebolt_months": (1, 60), "road_factor": (1, 5), "speed_km_h": (1, 200),
            "overdue_hours": (0, 100), "unfair_hours": (0, 100), "change_hours": (0, 1000),
            "crags_per_day": (1, 3),
        }  # fmt: skip
        for name, (low, high) in limits.items():
            if not low <= getattr(self, name) <= high:
                raise OptionError(
                    f"option {name} = {getattr(self, name)}: give a value from {low} to {high}"
                )
