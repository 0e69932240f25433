"""A small invented region to learn from: its register, and lessons written by hand."""

import datetime as dt

import pandas as pd

from saltreach.intake.lessons import FORMAT, VERSION, Believed, Lessons
from saltreach.vocabulary.words import UNKNOWN

TODAY = dt.date(2026, 11, 25)
PRIOR = Believed(mean=2.2, p05=0.13, p10=0.2, p50=1.0, p90=5.0, p95=7.9)


def register(**changes) -> pd.DataFrame:
    """Six anchors near a shore in northern Spain; nobody knows the metal of the last."""
    return pd.DataFrame(
        {
            "anchor_id": [f"a{i}" for i in range(1, 7)],
            "crag": ["Alder Point"] * 4 + ["Beech Hill"] * 2,
            "sector": "North",
            "lon": [-4.9500, -4.9501, -4.9502, -4.9503, -4.9510, -4.9511],
            "lat": [43.4400, 43.4401, 43.4402, 43.4403, 43.3000, 43.3001],
            "material": ["316", "304", "zinc-plated steel", "titanium", "316", UNKNOWN],
            "kind": ["bonded", "expansion", "expansion", "bonded", "bonded", "expansion"],
            "diameter_mm": 12.0,
            "embedment_mm": 80.0,
            "installed_on": ["2010-06-15", "2004", "1998-05", "2015", "2012", "2001"],
            "condition": 1,
            "last_inspected_on": "2026-11-25",
            "rock_type": "limestone",
            "rain_washed": "no",
            "tap_response": "ringing",
        }
    ).assign(**changes)


def lessons(**parts) -> Lessons:
    """Lessons with the parts that are given, nothing else learned."""
    whole = {
        "format": FORMAT, "version": VERSION, "software": "by hand", "learned_for": "2026-11-25",
        "made_from": (), "events": 0, "left_out": (), "prior": {}, "region": PRIOR, "failure": (),
        "rock": (), "salt": (), "cautions": ("Invented.",),
    }  # fmt: skip
    return Lessons(**whole | parts)


def believed(p50: float, low: float, high: float) -> Believed:
    """What is believed, by its median and its 10th and 90th percentile."""
    return Believed(mean=p50, p05=low, p10=low, p50=p50, p90=high, p95=high)
