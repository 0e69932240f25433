"""A small invented region for the landowner's files: sea cliffs on the embedded coast."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd

from saltreach.assessment.landowner import places_on
from saltreach.assessment.result import Assessment, Flat
from saltreach.assessment.shapes import sector_shapes
from saltreach.intake.holding import Contact, Holding
from saltreach.outputs.landowner.words import landowner_words
from saltreach.vocabulary.words import BANDS, CAUTION

HOSTILE = (
    "<img src=x onerror=alert(1)>",
    '#import "x.typ" $x^2$ `#panic()`',
    "</script><script>alert(2)</script>",
)
SECRETS = ("Route zeta", "SECRET-ID", "hidden under the ivy", "Sector omega")


def anchors(seed=1, count=240, names=("Cabo Uno", "Peña Dos", "Cueva Tres", *HOSTILE), centre=None):
    """Anchors in clusters some 2 to 4 km apart, one of them alone; route, id and notes secret."""
    rng = np.random.default_rng(seed)
    lon0, lat0 = centre or (-4.95, 43.45)
    crag = rng.integers(0, len(names), count)
    crag[: len(names)] = np.arange(len(names))
    lone = len(names) - 1
    crag[crag == lone] = 0
    crag[-1] = lone
    lon = lon0 + crag * 0.031 + rng.normal(0, 0.0012, count)
    lat = lat0 - crag * 0.012 + rng.normal(0, 0.0008, count)
    lon = (lon + 180.0) % 360.0 - 180.0
    frame = pd.DataFrame(
        {
            "anchor_id": [f"{SECRETS[1]}-{k}" for k in range(count)],
            "crag": np.array(names, dtype=object)[crag],
            "sector": f"{SECRETS[3]} 1",
            "route": SECRETS[0],
            "notes": SECRETS[2],
            "action": "keep",
            "replace_by": "",
            "lon": lon,
            "lat": lat,
        }
    )
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(lon, lat), crs=4326)


def assessment(points):
    """Assessment around anchors; bands, dates and metals are made up, one after the other."""
    sectors = sector_shapes(points)
    n = np.arange(len(sectors))
    sectors["anchors"] = points.groupby(["crag", "sector"]).size().to_numpy()
    sectors["risk_band"] = np.array(["", *BANDS[::-1]])[n % 6]
    sectors["material_recommended"] = np.array(["titanium", "316", ""])[n % 3]
    sectors["next_inspection_on"] = np.array(["2027-03-14", "", "2026-02-02"])[n % 3]
    sectors["overdue"] = np.where(n % 3 == 2, "yes", "no")
    sectors["sea_cliff"] = ""
    sectors["inspection_interval_months"] = np.array([3.0, np.nan, 24.0])[n % 3]
    provenance = {
        "time": "2026-07-01T08:00:00+00:00",
        "assessed_for": "2026-07-01",
        "software": "saltreach test",
        "register": {"file": "small.csv"},
        "options": {"coast_file": None},
        "layers": [{"name": "c", "quantity": "shoreline", "source": "GSHHG", "licence": "LGPL"}],
        "caution": CAUTION,
    }
    crags = sectors.drop_duplicates("crag").copy()
    return Assessment(Flat(points, sectors, crags, pd.DataFrame({"row": []})), provenance)


def with_anchors(result, points):
    """The same assessment with other anchors."""
    return replace(result, flat=replace(result.flat, anchors=points))


def holding(points, **more):
    """All crags of some anchors."""
    contact = Contact("Test & <b>Sons</b>", "A. Person", "+44 1632 960123", "a@example.org", "112")
    return Holding(**{"name": "the test land", "contact": contact,
                      "crags": tuple(sorted(set(points["crag"]))), **more})  # fmt: skip


def landowner_data(result, holding, **more):
    """What a landowner may know of the anchors on a holding, in words."""
    return landowner_words(places_on(result, holding, **more), holding, result)
