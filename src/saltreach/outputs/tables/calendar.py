"""The visits as a calendar file (RFC 5545) that other programs import and update.

Each visit keeps its UID for life, so importing a later plan moves its event instead of adding
one; visits that a later plan drops are written as cancelled. Times are local without a zone
(RFC 5545 form 1): a visit at 10:00 is at 10:00 where the crag is. No positions are written,
because calendars are passed on.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.vocabulary.words import CAUTION

PRODID = "-//saltreach//inspection plan//EN"
DOMAIN = "plan.saltreach"
WORDS = {"inspect": "Inspect", "rebolt": "Rebolt"}


def write_calendar(
    visits: pd.DataFrame,
    path: Path,
    *,
    stamp: dt.datetime,
    dropped: pd.DataFrame | None = None,
    left_out: Sequence[str] = (),
) -> None:
    """Write the visits as events.

    Parameters
    ----------
    visits : DataFrame
        `VISIT_COLUMNS` of a plan.
    path : Path
        File to write.
    stamp : datetime
        Time of the assessment, with a zone: `DTSTAMP` of every event, so that the same plan
        gives the same bytes.
    dropped : DataFrame, optional
        Visits of the last plan that are no more, with its columns.
    left_out : sequence of str
        What the plan left out of its tables: first in the calendar's words and in each event's.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", "Inspections (advice)")
    calendar.add("description", "\n".join([*left_out, CAUTION]))
    for cancelled, table in ((False, visits), (True, dropped)):
        for row in () if table is None else table.to_dict("records"):
            calendar.add_component(_event(row, stamp.astimezone(dt.UTC), cancelled, left_out))
    path.write_bytes(calendar.to_ical())


def _event(
    row: dict[str, Any], stamp: dt.datetime, cancelled: bool, left_out: Sequence[str]
) -> Any:
    from icalendar import Event

    day = str(row["date"])
    place = f"{row['crag']} / {row['sector']}"
    part = "" if row["part"] == "1 of 1" else f", part {row['part']}"
    event = Event()
    event.add("uid", f"{row['visit_id']}@{DOMAIN}")
    event.add("dtstamp", stamp)
    event.add("dtstart", dt.datetime.fromisoformat(f"{day}T{row['begins']}"))
    event.add("dtend", dt.datetime.fromisoformat(f"{day}T{row['ends']}"))
    event.add("sequence", int(str(row["revision"])) + cancelled)
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("summary", f"{WORDS[str(row['kind'])]} {place}{part} ({row['team']})")
    event.add("location", place)
    late = f", {row['days_late']} days late" if int(str(row["days_late"])) else ""
    event.add(
        "description",
        "".join(f"{text}\n" for text in left_out)
        + f"Team: {row['team']}. Anchors: {row['anchors']}. Risk: {row['risk_band']}. "
        f"Due on {row['due_on']}{late}. Leaves home at {row['trip_leaves']}, back about "
        f"{row['trip_back']}.\nTide, weather and closures of the day come first.\n{CAUTION}",
    )
    event.add("categories", [str(row["kind"]), str(row["risk_band"])])
    return event
