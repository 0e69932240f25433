"""Who inspects and when: teams, closures, tides, travel, needs of sectors, what was done."""

from __future__ import annotations

from pathlib import Path

from saltreach.intake import tables
from saltreach.intake.sheets import Sheet, read_table
from saltreach.vocabulary.words import OPEN_ONLY, WEEKDAYS

__all__ = ["OPEN_ONLY", "WEEKDAYS", "read_done", "read_needs", "read_teams", "read_tides",
           "read_travel", "read_windows"]  # fmt: skip


def read_teams(path: str | Path) -> Sheet:
    """Teams: home, people, skills, free days."""
    return read_table(path, tables.TEAMS)


def read_windows(path: str | Path) -> Sheet:
    """Closures and seasons."""
    return read_table(path, tables.WINDOWS)


def read_tides(path: str | Path) -> Sheet:
    """Windows of tide-dependent sectors."""
    return read_table(path, tables.TIDES)


def read_needs(path: str | Path) -> Sheet:
    """Skills, people and time that crags or sectors need."""
    return read_table(path, tables.NEEDS)


def read_travel(path: str | Path) -> Sheet:
    """Travel times between teams' homes and crags, hours one way."""
    return read_table(path, tables.TRAVEL)


def read_done(path: str | Path) -> Sheet:
    """Visits that were done since the last plan."""
    return read_table(path, tables.DONE)
