"""A trip to the rock: which anchors, in which order, what to do at each, and what to bring.

Paper and phone show the same trips; everything they show is worked out here, as plain values that
`dataclasses.asdict` turns into JSON.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from saltreach.assessment.result import Assessment
from saltreach.errors import OptionError
from saltreach.intake.cells import clock
from saltreach.intake.holding import Holding
from saltreach.intake.plan_file import VISIT_COLUMNS
from saltreach.intake.prices import Piece, Prices
from saltreach.intake.sheets import nearest
from saltreach.planning.bring import TripOptions, bring_list
from saltreach.planning.places import access_of, cures_of, drawn, position_of, sheet_rows, tell_of
from saltreach.planning.spots import in_short, ready, spots_of
from saltreach.planning.tables import left_out_before, looser
from saltreach.planning.trip import LOOK, PLACE, Spot, Stop, Trip
from saltreach.science.rock.adhesive import CureTable
from saltreach.vocabulary.synonyms import plain
from saltreach.vocabulary.words import REBOLT, UNKNOWN, VISITS

__all__ = ["LOOK", "PLACE", "Spot", "Stop", "Trip", "TripOptions", "trips_of"]

NO_STOCK = "The prices have no stock list: pieces are the least that would do, not what you have."


def trips_of(
    result: Assessment,
    *,
    visits: pd.DataFrame | None = None,
    trips: Sequence[str] = (),
    sectors: Sequence[str] = (),
    kind: str = "",
    date: str = "",
    prices: Prices | None = None,
    bought: Mapping[tuple[str, str], tuple[Piece, str]] | None = None,
    data_sheet: CureTable | None = None,
    rock_temperature_c: float | None = None,
    windows: Sequence[Mapping[str, Any]] = (),
    tides: Sequence[Mapping[str, Any]] = (),
    contact: Holding | None = None,
    left_out: Sequence[str] = (),
    options: TripOptions | None = None,
) -> tuple[Trip, ...]:
    """The trips of a plan, or one for each sector.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.
    visits : DataFrame, optional
        From `intake.plan_file.read_plan`; without it each sector is a trip of its own.
    trips, sectors : sequence of str
        Only those: names of trips, and sectors as `Crag / Sector`; all by default.
    kind : str
        Only visits of that kind; without a plan all anchors are looked at (`inspect`), or those
        to replace get new ones (`rebolt`); by default each as its assessment says.
    date : str
        ISO day of the trips without a plan.
    prices : Prices, optional
        Its stock list, if any, is what pieces are taken from.
    bought : mapping, optional
        By (crag, sector) the piece bought and how much is replaced, from
        `plan_file.read_bought`.
    data_sheet : CureTable, optional
        Of the adhesive, for the hours it needs.
    rock_temperature_c : float, optional
        Temperature of the rock; by default the month's mean air temperature at the place.
    windows, tides : sequence of mapping
        Rows of the tables of closures and of tides.
    contact : Holding, optional
        Whose land it is and who is called, from `intake.holding.read_contact`.
    left_out : sequence of str
        What was left out of the tables.
    options : TripOptions, optional
        Cartridge, waste, spares, proof load.

    Returns
    -------
    tuple of Trip
        In the order of the plan, or of the sectors' priority.

    Raises
    ------
    OptionError
        A trip or a sector that is not there, or a kind that is none.
    """
    chosen = options or TripOptions()
    if kind not in ("", *VISITS):
        raise OptionError(f"kind {kind!r}: give one of {', '.join(VISITS)}")
    rows = _planned(result, visits, trips, sectors, kind, date)
    table = ready(pd.DataFrame(result.flat.anchors))
    anchors = dict(tuple(table.groupby(["crag", "sector"], sort=False)))
    found = pd.DataFrame(result.flat.sectors)
    known = {(s["crag"], s["sector"]): s for s in found.to_dict("records")}
    names = {tuple(place) for place in rows[["crag", "sector"]].itertuples(index=False)}
    gone = sorted(" / ".join(place) for place in names - {*known})
    if gone:
        raise OptionError(
            f"plan: {', '.join(gone)} not among the sectors assessed; make the plan again from "
            "these results"
        )
    said = (*left_out_before(result.provenance), *left_out)
    more = (NO_STOCK,) if prices is not None and not prices.stock else ()
    made = []
    placing = []
    for name, visits_of_trip in rows.groupby("trip", sort=False):
        stops = []
        for v in visits_of_trip.to_dict("records"):
            place = v["crag"], v["sector"]
            piece, v["scope"] = (bought or {}).get(place, (None, ""))
            spots, rule, order = spots_of(
                anchors[place], known[place], v, prices=prices, piece=piece, others=visits
            )
            if not spots and visits is None:
                continue
            sentences, closed = access_of(windows, tides, *place, v["date"])
            if v["kind"] == REBOLT:
                placing.append((order, v["date"]))
            stops.append(
                Stop(
                    *place, v["kind"], v["begins"], v["ends"], v["part"], sentences, closed,
                    tell_of(contact, anchors[place], v["crag"]),
                    known[place]["risk_band"] or UNKNOWN, in_short(order), rule, spots,
                    drawn=drawn(order), position=position_of(order),
                )
            )  # fmt: skip
        if stops:
            made.append((str(name), visits_of_trip, stops))
    cures = iter(cures_of(placing, data_sheet, rock_temperature_c))
    out = []
    for name, its, stops in made:
        cured = tuple(replace(s, cure=next(cures)) if s.kind == REBOLT else s for s in stops)
        out.append(_trip(name, its.iloc[0], its, cured, said, more, result, chosen))
    return tuple(replace(one, **sheet_rows(data_sheet)) for one in out)


def _trip(
    name: str, first: Any, visits: pd.DataFrame, stops: tuple[Stop, ...], said: tuple[str, ...],
    more: tuple[str, ...],
    result: Assessment, options: TripOptions,
) -> Trip:  # fmt: skip
    """One trip from its stops."""
    bring, notes = bring_list(stops, options)
    sectors = list(dict.fromkeys(f"{s.crag} / {s.sector}" for s in stops))
    work = pd.to_numeric(visits["work_hours"], errors="coerce").sum(min_count=1)
    travel = pd.to_numeric(visits["trip_travel_hours"], errors="coerce").iloc[0]
    leaves, back = first["trip_leaves"], first["trip_back"]
    return Trip(
        trip=name, title="; ".join(sectors), date=first["date"], team=first["team"],
        leaves=leaves, back=back, stops=stops, bring=bring,
        hours=_hours_between(leaves, back), work_hours=_known(work), travel_hours=_known(travel),
        proof_load_kn=options.proof_load_kn, left_out=said,
        notes=(*notes, *more, *looser(result.provenance)), made_from=result.provenance["time"],
    )  # fmt: skip


def _known(value: Any) -> float | None:
    return None if pd.isna(value) else round(float(value), 2)


def _hours_between(first: str, last: str) -> float | None:
    """Hours from one HH:MM to another of the same day."""
    if not first or not last:
        return None
    return round((clock(last) - clock(first)) / 60, 2)


def _planned(
    result: Assessment, visits: pd.DataFrame | None, trips: Sequence[str],
    sectors: Sequence[str], kind: str, date: str,
) -> pd.DataFrame:  # fmt: skip
    """Visits asked for, in order; made up, one or two a sector, where there is no plan."""
    if visits is None:
        if trips:
            raise OptionError("a trip is asked for without a plan: give --plan plan.csv")
        table = pd.DataFrame(result.flat.sectors)
        table = table.sort_values("priority_rank", kind="stable", na_position="last")
        names = (table["crag"] + " / " + table["sector"]).tolist()
        kinds = [kind] if kind else list(VISITS)
        rows = table[["crag", "sector"]].assign(trip=names).merge(
            pd.DataFrame({"kind": kinds}), how="cross"
        )  # fmt: skip
        rows = rows.reindex(columns=list(VISIT_COLUMNS), fill_value="")
        rows = rows.assign(date=date, anchors=-1, both=not kind)
    else:
        rows = visits[visits["kind"] == kind] if kind else visits
        rows = rows.assign(both=False)
    rows = _only(rows, rows["trip"], trips, "trip")
    return _only(rows, rows["crag"] + " / " + rows["sector"], sectors, "sector")


def _only(rows: pd.DataFrame, names: pd.Series, wanted: Sequence[str], what: str) -> pd.DataFrame:
    """Rows whose name is wanted; all where none is."""
    if not wanted:
        return rows
    there = {plain(name): name for name in names}
    for name in wanted:
        if name not in set(names):
            raise OptionError(f"{what} {name!r} is not there" + nearest(name, there))
    return rows[names.isin(wanted)]
