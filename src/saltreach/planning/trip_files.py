"""Trips from the files a user hands in: the plan, and what limits or supplies it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from saltreach.assessment.files import assessment_in
from saltreach.assessment.result import Assessment
from saltreach.intake.datasheet import read_cure_table
from saltreach.intake.holding import read_contact
from saltreach.intake.plan_file import left_out_in, read_bought, read_plan
from saltreach.intake.prices import read_prices
from saltreach.intake.sheets import NOTHING, refuse_unknown, settled
from saltreach.intake.teams import read_tides, read_windows
from saltreach.planning.bring import TripOptions
from saltreach.planning.trip import Trip
from saltreach.planning.trips import trips_of


def trips_from(
    result: Assessment | Path | str,
    *,
    plan: Path | str | None = None,
    trips: Sequence[str] = (),
    sectors: Sequence[str] = (),
    kind: str = "",
    date: str = "",
    prices: Path | str | None = None,
    rebolt: Path | str | None = None,
    data_sheet: Path | str | None = None,
    rock_temperature_c: float | None = None,
    windows: Path | str | None = None,
    tides: Path | str | None = None,
    contact: Path | str | None = None,
    leave_out_refused: bool = False,
    options: TripOptions | None = None,
) -> tuple[Trip, ...]:
    """Trips of a plan, or one for each sector, from files.

    Parameters
    ----------
    result : Assessment, or path
        From `assess`, or the folder of its results.
    plan : path, optional
        plan.csv of `saltreach plan`.
    trips, sectors, kind, date, rock_temperature_c, options
        As for `trips.trips_of`.
    prices : path, optional
        Prices with a stock list.
    rebolt : path, optional
        priorities.csv of `saltreach priorities`: the pieces that were bought.
    data_sheet : path, optional
        Times of the adhesive.
    windows, tides : path, optional
        Tables of closures and of tides.
    contact : path, optional
        TOML that says who to call.
    leave_out_refused : bool
        Whether to go on without refused rows of the tables; every sheet then says so first.

    Returns
    -------
    tuple of Trip

    Raises
    ------
    RegisterError, OptionError
        A file or a setting that cannot be used, or a refused row.
    """
    result = assessment_in(result)
    known: dict[str, set[str]] = {
        str(crag): set(rows) for crag, rows in result.flat.sectors.groupby("crag")["sector"]
    }
    shut = NOTHING if windows is None else refuse_unknown(read_windows(windows), known)
    dry = NOTHING if tides is None else refuse_unknown(read_tides(tides), known)
    left_out = list(settled([shut, dry], leave_out=leave_out_refused))
    given: dict[str, Any] = {}
    if plan is not None:
        given["visits"] = read_plan(plan)
        before = left_out_in(plan)
        left_out += [f"In the plan: {before}"] if before else []
    if prices is not None:
        given["prices"] = read_prices(prices, leave_out_refused=leave_out_refused)
        left_out += given["prices"].left_out
    if rebolt is not None:
        given["bought"] = read_bought(rebolt)
    if data_sheet is not None:
        given["data_sheet"] = read_cure_table(data_sheet)
    if contact is not None:
        given["contact"] = read_contact(Path(contact))
    return trips_of(
        result, trips=trips, sectors=sectors, kind=kind, date=date,
        rock_temperature_c=rock_temperature_c, windows=shut.rows, tides=dry.rows,
        left_out=left_out, options=options, **given,
    )  # fmt: skip
