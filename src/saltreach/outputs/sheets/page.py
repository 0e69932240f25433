"""The files of the trips: a PDF each, a table to type returns into, and the page for the phone."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd

from saltreach.errors import OptionError
from saltreach.folders.claim import Claim, result_set
from saltreach.outputs.sheets.fields import headers_of
from saltreach.outputs.sheets.sheet import FORMS, sheet_pdf, texts
from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.planning.trip import Trip
from saltreach.vocabulary.columns import columns_of

LONGEST_NAME = 60
"""Letters of a file's name before its ending."""
RETURNS = "returns"
"""Name of the sheet that the returned workbook is read from, and of its table."""
NAMED = ("trip", "anchor_id", "crag", "sector"), ("done", "done_on", "who")
"""Columns that a row of a returned workbook begins with: what is printed, what is typed in."""


def file_stem(name: str) -> str:
    """A trip's name as that of a file: the same for the same trip, whatever its letters.

    Examples
    --------
    >>> file_stem("2027-01-10 Central team"), file_stem("Peña Oscalda / Main wall")
    ('2027-01-10-central-team', 'pena-oscalda-main-wall')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    stem = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:LONGEST_NAME].strip("-")
    lost = sum(c.isalnum() for c in unicodedata.normalize("NFKC", name)) > sum(
        c.isalnum() for c in plain
    )
    return f"{stem or 'trip'}-{_digest(name)}" if lost or len(name) > LONGEST_NAME else stem


def _digest(name: str) -> str:
    return hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]


def file_stems(trips: Sequence[Trip]) -> list[str]:
    """`file_stem` of each trip, told apart where two would be one file."""
    stems = [file_stem(trip.trip) for trip in trips]
    return [
        f"{stem}-{_digest(trip.trip)}" if stems.count(stem) > 1 else stem
        for stem, trip in zip(stems, trips, strict=True)
    ]


def blank_rows(trip: Trip) -> pd.DataFrame:
    """The rows of a sheet as the table `returns`: what names an anchor, the rest to be typed in.

    Columns are what names a visit, then the fields of the trip's forms in the order of the paper.
    """
    forms = dict.fromkeys(FORMS[stop.kind] for stop in trip.stops)
    asked = [field["column"] for field in headers_of(forms)]
    rows = [
        {"trip": trip.trip, "anchor_id": spot.anchor_id, "crag": stop.crag, "sector": stop.sector}
        for stop in trip.stops
        for spot in stop.anchors
    ]
    columns = list(dict.fromkeys([*NAMED[0], *NAMED[1], *asked]))
    return pd.DataFrame(rows, columns=list(NAMED[0])).reindex(columns=columns, fill_value="")


def write_sheets(
    trips: Sequence[Trip],
    out: Path | str | Claim,
    *,
    blank_sheet: bool = False,
    phone: bool = False,
    beside_other_files: bool = False,
    on_step: Callable[[str], None] = lambda _: None,
) -> list[Path]:
    """Write the sheet of each trip, all or none.

    Parameters
    ----------
    trips : sequence of Trip
        From `saltreach.planning.trips.trips_of` or `trip_files.trips_from`.
    out : path
        Folder; made if absent.
    blank_sheet : bool
        Also a workbook for each trip with its anchors and the fields of its forms, to be typed
        in and handed to `saltreach returns`.
    phone : bool
        Also the page for the phone.
    beside_other_files : bool
        As for `saltreach.write_results`.
    on_step : callable
        Told the name of each step.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    OptionError
        No trip is left to write.
    """
    if not trips:
        raise OptionError("no trip is left: check --trip, --sector and --kind against the plan")
    columns = columns_of(RETURNS)
    with result_set(
        out, "sheets", assessment=trips[0].made_from, beside_other_files=beside_other_files
    ) as work:
        for n, (stem, trip) in enumerate(zip(file_stems(trips), trips, strict=True), 1):
            on_step(f"sheets: {n} of {len(trips)}")
            (work / f"{stem}.pdf").write_bytes(sheet_pdf(trip))
            if blank_sheet:
                rows = blank_rows(trip)
                about = [*trip.left_out, texts()["typed_in_note"], texts()["typed_in_empty"]]
                told = pd.DataFrame(
                    [
                        {"column": c.name, "unit": c.unit, "words": ", ".join(c.choices),
                         "meaning": c.meaning}
                        for c in map(columns.__getitem__, rows)
                    ]
                )  # fmt: skip
                write_workbook(
                    work / f"{stem}.xlsx", {RETURNS: rows, "columns": told}, about,
                    title=f"{texts()['kind_of_file']}: {trip.trip}",
                )  # fmt: skip
        if phone:
            from saltreach.outputs.phone.page import write_phone

            on_step("phone")
            write_phone(trips, work)
        names = sorted(p.relative_to(work) for p in work.rglob("*") if p.is_file())
    folder = out.shown if isinstance(out, Claim) else Path(out)
    return [folder / name for name in names]
