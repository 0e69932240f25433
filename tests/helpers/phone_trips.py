"""Trips for the tests of the phone's page, in the shape of `planning.trips`; all invented."""

from __future__ import annotations

import numpy as np

from saltreach.science.rock.adhesive import CureTable

SHEET = CureTable(
    np.array([-5.0, 5.0, 20.0]), np.array([60.0, 25.0, 6.0]), np.array([600.0, 240.0, 60.0]),
    "datasheet.csv",
)  # fmt: skip
PIECE = {
    "kind": "bonded", "metal": "titanium", "diameter_mm": 12.0, "length_mm": 100.0, "legs": 1,
    "hole_diameter_mm": 14.0, "hole_depth_mm": 110.0,
}  # fmt: skip


def spot(anchor_id, order=1, *, form="look", lon=-8.5, lat=43.0, **how):
    piece = PIECE if form == "place" else None
    return {
        "anchor_id": anchor_id, "route": "Salt Line", "position": "runner", "order": order,
        "lon": lon, "lat": lat, "form": form,
        "to_do": "Replace: bonded titanium, 12 x 100 mm." if piece else "Look at it, tap beside it.",
        "known": [{"label": "Metal", "value": "316"}, {"label": "Placed", "value": "1998"},
                  {"label": "Condition", "value": None}],
        "reasons": ["Never looked at since 1998.", "Stainless near the sea can crack unseen."],
        "piece": piece, "warnings": [], "spacing": {"crack": 150, "edge": 200, "hole": 300},
        **how,
    }  # fmt: skip


def stop(anchors, *, sector="Main wall", kind="inspect", **how):
    return {
        "crag": "Cabo Alzoro", "sector": sector, "kind": kind, "begins": "09:30", "ends": "13:00",
        "access": ["Forty minutes from the chapel, along the cliff."],
        "tell": ["The warden, +44 1632 960123"], "risk_band": "raised", "anchors": anchors, **how,
    }  # fmt: skip


def trip(stops=None, **how):
    looks = [spot(f"A{n}", n) for n in range(1, 4)]
    places = [spot("B1", 1, form="place", warnings=["The tap beside it was dull in 2024."])]
    return {
        "trip": "2027-03-06 north", "title": "Cabo Alzoro, 6 March", "date": "2027-03-06",
        "team": "north", "leaves": "07:30", "back": "17:00", "hours": 9.5,
        "stops": stops or [stop(looks), stop(places, sector="Cave", kind="rebolt")],
        "bring": [{"thing": "bonded titanium, 12 x 100 mm", "count": 2, "unit": "pieces",
                   "detail": "1 spare"}],
        "left_out": [], "caution": "", "made_from": "2026-11-27T10:00:00Z", **how,
    }  # fmt: skip
