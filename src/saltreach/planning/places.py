"""What holds at a stop on its day: closures and tides, who is told, cure, and its drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import OptionError
from saltreach.intake.cells import clock_text
from saltreach.intake.holding import Holding
from saltreach.layers.climate import monthly_temperature_c
from saltreach.planning.travel import middle
from saltreach.planning.wall import SPREAD_LEAST_M
from saltreach.planning.windows import day_number, in_window, open_days, windows_of
from saltreach.science.rock.adhesive import CureTable, cure_time_min, gel_time_min
from saltreach.vocabulary.words import OPEN_ONLY

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
NAN = float("nan")
CLOSED_TODAY = "CLOSED ON THIS DAY: do not climb, ask who set the closure."
NO_TIDE_TODAY = "NO TIDE WINDOW ON THIS DAY: the tide table has none for it."
NO_RULE = "No closure and no tide is on the lists handed in."
ASK = "Not asked yet: no day is planned. Read the dates."


def access_of(
    windows: Sequence[Mapping[str, Any]], tides: Sequence[Mapping[str, Any]], crag: str,
    sector: str, date: str,
) -> tuple[tuple[str, ...], bool]:  # fmt: skip
    """Sentences on when a sector is open, and whether a rule shuts it on the day.

    Parameters
    ----------
    windows, tides : sequence of mapping
        Rows of the tables, as `intake.teams` reads them.
    crag, sector : str
        Where.
    date : str
        ISO day; empty for none, which says the rules and shuts nothing.
    """
    rules = windows_of(windows, crag, sector)
    dry = windows_of(tides, crag, sector)
    said = []
    closed = False
    if date:
        day = np.array([day_number(date)])
        closed = not open_days(rules, day)[0]
        said += [CLOSED_TODAY] if closed else []
        today = sorted({(t["from"], t["until"]) for t in dry if day_number(t["date"]) == day[0]})
        said += [f"Tide: work from {clock_text(a)} to {clock_text(b)} only." for a, b in today]
        if dry and not today:
            said.append(NO_TIDE_TODAY)
            closed = True
    elif rules or dry:
        said.append(ASK)
    for rule in rules:
        now = " It holds on this day." if date and in_window(rule, day)[0] else ""
        word = "Open only" if rule["access"] == OPEN_ONLY else "Closed"
        why = f" ({rule['reason']})" if rule["reason"] else ""
        said.append(f"{word} {_when(rule)}{why}.{now}")
    return tuple(said or [NO_RULE]), closed


def _when(rule: Mapping[str, Any]) -> str:
    ends = [rule["from"], rule["until"]]
    if len(ends[0]) == 5:
        ends = [f"{int(e[3:])} {MONTHS[int(e[:2]) - 1]}" for e in ends]
        return f"each year from {ends[0]} to {ends[1]}"
    return f"from {ends[0]} to {ends[1]}"


def tell_of(contact: Holding | None, anchors: pd.DataFrame, crag: str) -> tuple[str, ...]:
    """Sentences on whose land it is and who is called.

    Parameters
    ----------
    contact : Holding or None
        With land or crags: the land is named where an anchor of the stop is on it.
    anchors : DataFrame
        `lon`, `lat` of the stop's sector.
    crag : str
        Its crag.
    """
    if contact is None:
        return ()
    who = contact.contact
    said = []
    if _on_land(contact, anchors, crag):
        said.append(f"Land: {contact.name}. Tell its owner before you go.")
    names = ", ".join(filter(None, (who.organisation, who.person)))
    reach = ", ".join(filter(None, (who.phone, who.email)))
    said.append(f"Anchors: {': '.join(filter(None, (names, reach)))}")
    if who.emergency_phone:
        said.append(f"Emergency: {who.emergency_phone}")
    return tuple(said)


def _on_land(contact: Holding, anchors: pd.DataFrame, crag: str) -> bool:
    if contact.crags:
        return crag in contact.crags
    if contact.land is None:
        return False
    import shapely

    lon, lat = (anchors[name].to_numpy(float) for name in ("lon", "lat"))
    return bool(shapely.intersects_xy(contact.land, lon, lat).any())


def sheet_rows(sheet: CureTable | None) -> dict[str, Any]:
    """A data sheet as a trip carries it, for times at the temperature that is measured there.

    Parameters
    ----------
    sheet : CureTable or None
        Of the user's adhesive.

    Returns
    -------
    dict
        `cure_times` and `cure_source` of a `Trip`; empty without a sheet.
    """
    if sheet is None:
        return {"cure_times": (), "cure_source": ""}
    columns = {
        "rock_temperature_c": sheet.rock_temperature_c, "gel_min": sheet.gel_min,
        "cure_min": sheet.cure_min,
    }  # fmt: skip
    rows = pd.DataFrame(columns).astype(float).to_dict("records")
    return {"cure_times": tuple(rows), "cure_source": sheet.source}


def cures_of(
    stops: Sequence[tuple[pd.DataFrame, str]],
    sheet: CureTable | None,
    rock_temperature_c: float | None,
) -> list[dict[str, Any]]:
    """How long an adhesive needs at some stops, as plain values.

    Parameters
    ----------
    stops : sequence of (DataFrame, str)
        `lon`, `lat`, `elevation_m` of the anchors, and the ISO day; without one the coldest month
        counts.
    sheet : CureTable or None
        Of the user's adhesive; without one no time is known.
    rock_temperature_c : float or None
        Measured or expected by the user; else the month's mean air temperature at the place.

    Returns
    -------
    list of dict
        `temperature_c`, `temperature_from`, `gel_min`, `cure_min`, `cure_wet_min`, `source`,
        `note` of each stop.

    Notes
    -----
    Rock follows the air of days, not of hours: a month's mean is a first guess (judgement), and
    the sheet asks to measure.
    """
    if rock_temperature_c is not None:
        return [_cure(float(rock_temperature_c), "as given", sheet) for _ in stops]
    months_c = _months_c([anchors for anchors, _ in stops])
    return [
        _cure(*_of_month(months, date), sheet) if len(anchors) else _cure(NAN, "no anchor", sheet)
        for months, (anchors, date) in zip(months_c, stops, strict=True)
    ]


def _cure(degrees: float, said: str, sheet: CureTable | None) -> dict[str, Any]:
    """The times at a temperature, and where that is from."""
    found: dict[str, Any] = {
        "temperature_c": None if np.isnan(degrees) else round(degrees, 1), "temperature_from": said,
        "gel_min": None, "cure_min": None, "cure_wet_min": None,
        "source": "" if sheet is None else sheet.source, "note": "",
    }  # fmt: skip
    if sheet is None:
        return found | {"note": "No data sheet was handed in: read the times on the cartridge."}
    if np.isnan(degrees):
        return found | {"note": "The temperature is not known: measure it, read the data sheet."}
    try:
        times = [
            cure_time_min(degrees, sheet), cure_time_min(degrees, sheet, wet=True),
            gel_time_min(degrees, sheet),
        ]  # fmt: skip
    except OptionError as error:
        return found | {"note": str(error)}
    cure, wet, gel = (round(float(t), 1) for t in times)
    return found | {"gel_min": gel, "cure_min": cure, "cure_wet_min": wet}


def _months_c(stops: Sequence[pd.DataFrame]) -> np.ndarray:
    """Mean air temperature of the months at the first anchor of each stop, (n, 12)."""
    place = np.full((len(stops), 3), NAN)
    for i, anchors in enumerate(stops):
        if len(anchors):
            height = pd.to_numeric(anchors["elevation_m"]).median()
            place[i] = anchors["lon"].iloc[0], anchors["lat"].iloc[0], height
    return monthly_temperature_c(*place.T)


def _of_month(months_c: np.ndarray, date: str) -> tuple[float, str]:
    """Temperature of the month of a day, or of the coldest, and how it was found."""
    if not np.isfinite(months_c).all():
        return NAN, "the climate of the place is not known"
    at = int(date[5:7]) - 1 if date else int(months_c.argmin())
    why = "" if date else ", the coldest month, for no day is planned"
    return float(months_c[at]), f"mean air of {MONTHS[at]} at the place{why}; measure the rock"


def position_of(anchors: pd.DataFrame) -> dict[str, float]:
    """Where rescuers are sent: the middle of the anchors of a stop.

    Parameters
    ----------
    anchors : DataFrame
        `lon`, `lat`.

    Returns
    -------
    dict
        `lat`, `lon`, degrees, WGS 84, to 4 decimals (about 10 m); empty without an anchor.
    """
    if not len(anchors):
        return {}
    lon, lat = middle(*(anchors[name].to_numpy(float) for name in ("lon", "lat")))
    return {"lat": round(lat, 4), "lon": round(lon, 4)}


def drawn(anchors: pd.DataFrame) -> dict[str, Any]:
    """What a small drawing of a stop shows: where the anchors are, or only their order.

    Parameters
    ----------
    anchors : DataFrame
        `anchor_id`, `east_m`, `north_m`, in order.
    """
    shown = anchors[["anchor_id", "east_m", "north_m"]]
    points = [{**row, "order": i} for i, row in enumerate(shown.to_dict("records"), 1)]
    spans = [float(np.ptp(anchors[n])) if len(anchors) else 0.0 for n in ("east_m", "north_m")]
    apart = max(spans) >= SPREAD_LEAST_M
    return {
        "kind": "map" if apart else "line",
        "points": points,
        "width_m": round(spans[0], 1),
        "height_m": round(spans[1], 1),
        "scale_m": _round_length_m(max(spans) / 3) if apart else None,
        "note": "" if apart else "One position for all: only the order is drawn.",
    }


def _round_length_m(length_m: float) -> float:
    """The largest 1, 2 or 5 times a power of ten that is no longer."""
    power = 10.0 ** np.floor(np.log10(length_m))
    return float(power * max(step for step in (1, 2, 5) if step * power <= length_m * (1 + 1e-9)))
