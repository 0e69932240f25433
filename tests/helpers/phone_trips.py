"""Trips for the tests of the phone's page; all invented."""

from __future__ import annotations

import numpy as np

from saltreach.planning.places import sheet_rows
from saltreach.planning.trip import LOOK, PLACE, Spot, Stop, Trip
from saltreach.science.rock.adhesive import CureTable

SHEET = CureTable(
    np.array([-5.0, 5.0, 20.0]), np.array([60.0, 25.0, 6.0]), np.array([600.0, 240.0, 60.0]),
    "datasheet.csv",
)  # fmt: skip
PIECE = {
    "kind": "bonded", "metal": "titanium", "grade": "titanium grade 2", "diameter_mm": 12.0,
    "length_mm": 100.0, "legs": 1, "hole_diameter_mm": 14.0, "hole_depth_mm": 110.0,
    "adhesive_ml": 5.6, "label": "bonded, titanium, 12 x 100 mm", "length_assumed": False,
}  # fmt: skip
SPACING = {"edge_mm": 150.0, "crack_mm": 100.0, "hole_mm": 300.0}
KNOWN = (
    {"label": "metal", "value": "316"}, {"label": "placed", "value": "1998"},
    {"label": "condition", "value": "unknown"},
)  # fmt: skip
REASONS = ("Never looked at since 1998.", "Stainless near the sea can crack unseen.")


def look(anchor_id, order=1, **how):
    given = {
        "route": "Salt Line", "position": "runner", "lon": -8.5, "lat": 43.0, "known": KNOWN,
        "to_do": "Look at it, tap beside it.", "action": "keep", "reasons": REASONS,
    }  # fmt: skip
    return Spot(anchor_id=anchor_id, order=order, form=LOOK, **given | how)


def place(anchor_id, order=1, **how):
    given = {
        "route": "Cave Crack", "position": "belay", "lon": -8.5, "lat": 43.0, "known": KNOWN,
        "to_do": "Place bonded, titanium, 12 x 100 mm: one hole 14 mm wide, 110 mm deep.",
        "action": "replace", "reasons": REASONS, "piece": PIECE, "spacing": SPACING,
    }  # fmt: skip
    return Spot(anchor_id=anchor_id, order=order, form=PLACE, **given | how)


def stop(anchors, sector="Main wall", kind="inspect", **how):
    given = {
        "begins": "09:30", "ends": "13:00", "risk_band": "raised",
        "access": ("Closed each year from 1 February to 31 July (nesting).",),
        "tell": ("Land: the commons. Tell its owner before you go.",),
    }  # fmt: skip
    return Stop("Cabo Alzoro", sector, kind, anchors=tuple(anchors), **given | how)


def trip(stops=None, **how):
    bring = {
        "group": "pieces", "thing": "bonded, titanium, 12 x 100 mm", "count": 2, "unit": "pieces",
        "detail": "1 spare",
    }  # fmt: skip
    dull = "The tap beside it was dull in 2024."
    given = {
        "trip": "2027-03-06 north", "title": "Cabo Alzoro / Main wall; Cabo Alzoro / Cave",
        "date": "2027-03-06", "team": "north", "leaves": "07:30", "back": "17:00", "hours": 9.5,
        "bring": (bring,), "proof_load_kn": 5.0, "made_from": "2026-11-27T10:00:00Z",
        "stops": stops or (
            stop([look("A1", 1), look("A2", 2), look("A3", 3, position="lower-off")]),
            stop([place("B1", 1, warnings=(dull,)), place("B2", 2)], "Cave", "rebolt"),
        ),
    }  # fmt: skip
    return Trip(**given | sheet_rows(SHEET) | how)
