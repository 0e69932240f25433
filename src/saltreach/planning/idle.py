"""What was handed in to limit a plan and limits nothing, or lets nobody come."""

from __future__ import annotations

from collections.abc import Mapping

from saltreach.assessment.reasons import MOST_SHOWN, some
from saltreach.errors import in_rows
from saltreach.intake.sheets import Sheet
from saltreach.planning.problem import Problem
from saltreach.planning.windows import day_number


def idle_limits(problem: Problem, given: Mapping[str, Sheet]) -> list[str]:
    """Sentences on tables without rows, closures that are over, skills that nobody has.

    Parameters
    ----------
    problem : Problem
        The plan's.
    given : mapping of str to Sheet
        Its tables by name.
    """
    notes = [
        f"{sheet.name}: it has no row, and limits nothing"
        for sheet in given.values()
        if sheet.table is not None and not sheet.rows and not len(sheet.rejected)
    ]
    windows = given["windows"]
    over = [
        row["row"]
        for row in windows.rows
        if len(row["until"]) == 10 and day_number(row["until"]) < problem.start
    ]
    if over:
        notes.append(
            f"{windows.name}: what ends before the plan begins limits nothing, "
            f"{in_rows(sorted(over))}; for a window of every year write MM-DD, as 02-01"
        )
    had = {skill for team in problem.teams for skill in team["skills"]}
    wanted: dict[str, list[str]] = {}
    for task in problem.tasks.itertuples(index=False):
        for skill in set(task.needs_skills) - had:
            place = f"{task.crag} / {task.sector}"
            wanted.setdefault(skill, []).append(place)
    for skill, places in sorted(wanted.items()):
        shown = some(list(dict.fromkeys(places)), MOST_SHOWN)
        notes.append(f"no team has the skill {skill!r}, which is needed at {shown}")
    return notes
