"""Science and decisions for the anchors of a whole region of sea cliffs and inland crags.

The main job in three lines::

    import saltreach as sr
    result = sr.assess(sr.read_register("anchors.csv"))
    result.sectors
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from saltreach.assessment.result import Assessment

__version__ = "0.1.0"

if TYPE_CHECKING:
    from saltreach.assessment.files import read_results
    from saltreach.assessment.surface import surface
    from saltreach.intake import Register
    from saltreach.intake.options import Options
    from saltreach.intake.own_words import own_words
    from saltreach.outputs.landowner.page import landowner
    from saltreach.outputs.notebook import show_map
    from saltreach.outputs.sheets.page import write_sheets
    from saltreach.outputs.surface.write import write_surface
    from saltreach.outputs.tables.plan import write_plan
    from saltreach.outputs.tables.priorities import write_priorities
    from saltreach.outputs.tables.results import write_results
    from saltreach.planning.options import PlanOptions
    from saltreach.planning.plan import Plan, plan
    from saltreach.planning.priorities import Priorities, priorities
    from saltreach.planning.trips import trips_of
    from saltreach.records.book import open_book, start_book
    from saltreach.records.history import history_of
    from saltreach.records.reading import assess, read_register
    from saltreach.records.returns import apply_returns, read_returns
    from saltreach.records.sources import learned

_HOMES = {
    "Options": "saltreach.intake.options",
    "Plan": "saltreach.planning.plan",
    "PlanOptions": "saltreach.planning.options",
    "Priorities": "saltreach.planning.priorities",
    "Register": "saltreach.intake",
    "apply_returns": "saltreach.records.returns",
    "assess": "saltreach.records.reading",
    "history_of": "saltreach.records.history",
    "landowner": "saltreach.outputs.landowner.page",
    "learned": "saltreach.records.sources",
    "open_book": "saltreach.records.book",
    "own_words": "saltreach.intake.own_words",
    "plan": "saltreach.planning.plan",
    "priorities": "saltreach.planning.priorities",
    "read_register": "saltreach.records.reading",
    "read_results": "saltreach.assessment.files",
    "read_returns": "saltreach.records.returns",
    "show_map": "saltreach.outputs.notebook",
    "start_book": "saltreach.records.book",
    "surface": "saltreach.assessment.surface",
    "trips_of": "saltreach.planning.trips",
    "write_plan": "saltreach.outputs.tables.plan",
    "write_priorities": "saltreach.outputs.tables.priorities",
    "write_results": "saltreach.outputs.tables.results",
    "write_sheets": "saltreach.outputs.sheets.page",
    "write_surface": "saltreach.outputs.surface.write",
}

__all__ = [
    "Assessment", "Options", "Plan", "PlanOptions", "Priorities", "Register",
    "__version__", "apply_returns", "assess", "history_of", "landowner", "learned",
    "open_book", "own_words", "plan", "priorities", "read_register", "read_results",
    "read_returns", "show_map", "start_book", "surface", "trips_of", "write_plan",
    "write_priorities", "write_results", "write_sheets", "write_surface",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load the heavy parts when they are first asked for."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'saltreach' has no attribute {name!r}")


def _html(result: Assessment) -> str:
    from saltreach.outputs.notebook import assessment_html

    return assessment_html(result)


Assessment._repr_html_ = _html  # here, since the assessment knows no output
