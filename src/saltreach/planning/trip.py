"""What a trip is: stops, and the anchors of each, as plain values.

Paper and phone show the same; `dataclasses.asdict` turns it into JSON.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from saltreach.vocabulary.words import CAUTION, UNKNOWN

LOOK, PLACE = "look", "place"
"""Forms of paper and phone, as `Column.shown` has them."""


@dataclass(frozen=True)
class Spot:
    """One anchor of a stop.

    Attributes
    ----------
    anchor_id, route, position : str
        As the register has them; empty where unknown.
    order : int
        Place in the order on the wall, from 1.
    lon, lat : float
        Degrees, WGS 84.
    to_do, action : str
        What is done, in a sentence; the word of the assessment.
    form : str
        `look` or `place`.
    known : tuple of dict
        `column`, `label`, `value`: what the register says, `unknown` where it says nothing.
    reasons, warnings : tuple of str
        Sentences of the assessment.
    piece : dict or None
        What is placed, from `pieces.piece_record`.
    spacing : dict
        Least distances of its hole: `edge_mm`, `crack_mm`, `hole_mm`; empty for a look.
    """

    anchor_id: str
    route: str
    position: str
    order: int
    lon: float
    lat: float
    to_do: str
    action: str
    form: str
    known: tuple[dict[str, str], ...] = ()
    reasons: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    piece: dict[str, Any] | None = None
    spacing: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Stop:
    """Work of one kind at one sector.

    Attributes
    ----------
    crag, sector, kind : str
        Where, and `words.INSPECT` or `words.REBOLT`.
    begins, ends : str
        HH:MM; empty where not planned.
    part : str
        As the plan has it, `1 of 2`; empty without a plan.
    access, tell : tuple of str
        Sentences: when it is open or closed, and who is told.
    closed : bool
        Whether an access rule shuts it on the day.
    risk_band : str
        Of the sector; `unknown` where not known.
    reasons : tuple of str
        What is most often said of its anchors, and of how many.
    order_rule : str
        How the anchors were put in order.
    anchors : tuple of Spot
        In the order on the wall.
    cure : dict or None
        Of a rebolting stop: `temperature_c`, `temperature_from`, `gel_min`, `cure_min`,
        `cure_wet_min` (None where unknown), `source`, `note`.
    drawn : dict
        `kind` (map or line), `points` (`anchor_id`, `order`, `east_m`, `north_m`), `width_m`,
        `height_m`, `scale_m`, `note`.
    position : dict
        `lat`, `lon` of its middle, for rescuers; empty without an anchor.
    """

    crag: str
    sector: str
    kind: str
    begins: str = ""
    ends: str = ""
    part: str = ""
    access: tuple[str, ...] = ()
    closed: bool = False
    tell: tuple[str, ...] = ()
    risk_band: str = UNKNOWN
    reasons: tuple[str, ...] = ()
    order_rule: str = ""
    anchors: tuple[Spot, ...] = ()
    cure: dict[str, Any] | None = None
    drawn: dict[str, Any] = field(default_factory=dict)
    position: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Trip:
    """One trip: one team, one day, one round; or the work at one sector where nothing is planned.

    Attributes
    ----------
    trip, title : str
        Its name, and what heads the sheet.
    date, team, leaves, back : str
        ISO day, who goes, HH:MM; empty where not planned.
    stops : tuple of Stop
        In order.
    bring : tuple of dict
        `group`, `thing`, `count` (whole, None for what is not counted), `unit`, `detail`.
    hours : float or None
        From leaving to coming back; hours at the rock where there is no plan; None if unknown.
    work_hours, travel_hours : float or None
        What of it is work and road.
    proof_load_kn : float or None
        Load of the proof test, where one is asked for.
    left_out : tuple of str
        What was refused and left out, to be said first.
    notes : tuple of str
        What was assumed.
    caution, made_from : str
        `words.CAUTION`, and the time stamp of the results.
    cure_times : tuple of dict
        Rows of the data sheet, rising: `rock_temperature_c`, `gel_min`, `cure_min` of a dry hole;
        empty where none was handed in.
    cure_source : str
        The data sheet's file.
    """

    trip: str
    title: str
    date: str = ""
    team: str = ""
    leaves: str = ""
    back: str = ""
    stops: tuple[Stop, ...] = ()
    bring: tuple[dict[str, Any], ...] = ()
    hours: float | None = None
    work_hours: float | None = None
    travel_hours: float | None = None
    proof_load_kn: float | None = None
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    caution: str = CAUTION
    made_from: str = ""
    cure_times: tuple[dict[str, float], ...] = ()
    cure_source: str = ""
