"""Invented stops and trips, for tests of sheets and of what they show."""

from __future__ import annotations

import pandas as pd

from saltreach.intake.prices import Piece
from saltreach.planning.bring import TripOptions, bring_list
from saltreach.planning.pieces import piece_record, spacing_of
from saltreach.planning.places import drawn
from saltreach.planning.trip import LOOK, PLACE, Spot, Stop, Trip
from saltreach.vocabulary.words import INSPECT, REBOLT

HOSTILE = (
    "<img src=x onerror=alert(1)>", '#import "x.typ" $x^2$ `#panic()` *b* _i_ [l] @r <a>',
    "</script><script>alert(2)</script>", "=HYPERLINK(1)", "שלום עולם", "مرحبا", "{proof} {0}",
    "a name that does not come to an end " * 12, "x" * 400,
)  # fmt: skip
ROD = Piece("bonded", "titanium", 12.0, 80.0, 0.0)


def spot(order: int, *, piece: Piece | None = None, **values) -> Spot:
    """A spot that is looked at, or where a piece is placed."""
    known = values.pop("known", ({"column": "kind", "label": "kind", "value": "bonded"},))
    given = {
        "anchor_id": f"A-{order}", "route": "R 1", "position": "runner", "order": order,
        "lon": -5.0, "lat": 43.0, "to_do": "Look.", "action": "keep",
        "form": LOOK if piece is None else PLACE,
    }  # fmt: skip
    record = None if piece is None else piece_record(piece)
    space = {} if piece is None else spacing_of(piece.length_mm)
    return Spot(**given | values, known=known, piece=record, spacing=space)


def stop(spots, kind=INSPECT, **values) -> Stop:
    """A stop with its anchors five metres apart."""
    table = pd.DataFrame(
        {
            "anchor_id": [s.anchor_id for s in spots],
            "east_m": [5.0 * i for i in range(len(spots))],
            "north_m": [float(i % 3) for i in range(len(spots))],
        }
    )
    given = {"crag": "Crag", "sector": "Sector", "access": ("Open.",), "drawn": drawn(table)}
    return Stop(**given | values, kind=kind, anchors=tuple(spots))


def trip(stops, **values) -> Trip:
    """A trip of these stops."""
    options = TripOptions(proof_load_kn=values.get("proof_load_kn"))
    bring, notes = bring_list(stops, options)
    given = {
        "trip": "2027-01-10 Team", "title": "Crag / Sector", "date": "2027-01-10",
        "made_from": "2026-11-25T10:00:00+00:00", "bring": bring, "notes": notes,
    }  # fmt: skip
    return Trip(**given | values, stops=tuple(stops))


def both_kinds(count: int = 3) -> Trip:
    """A trip with anchors to look at and anchors to place."""
    cure = {
        "temperature_c": 5.0, "temperature_from": "as given", "gel_min": 30.0, "cure_min": 230.6,
        "cure_wet_min": 461.2, "source": "sheet.csv", "note": "",
    }  # fmt: skip
    look = stop([spot(i) for i in range(1, count + 1)])
    place = stop([spot(i, piece=ROD) for i in range(1, count + 1)], REBOLT, cure=cure)
    return trip([look, place])
