"""An invented region for the map's tests: a wavy north coast, crags with made-up names.

Nothing here is a measurement; the figures only look plausible.
"""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from saltreach.assessment.shapes import sector_shapes
from saltreach.vocabulary.words import BANDS, CATEGORIES

HOSTILE_CRAGS = (
    "<img src=x onerror=alert(1)>",
    "${7*7}",
    "</script><script>alert(2)</script>",
)
CRAGS = (
    "Punta Alcatraz",
    "Cabo Ventisca",
    "Las Calderas",
    "Peña Rubia",
    "Cueva del Eco",
    "Acantilado Norte",
    "Monte Serrín",
    *HOSTILE_CRAGS,
)
SECTOR_NAMES = ("Left Wall", "Main Face", "The Roof", "Arête", "Lower Tier", "Gully Side")
MATERIALS = ("zinc-plated steel", "304", "316", "duplex", "titanium", "unknown")


def coast_lat(lon: np.ndarray) -> np.ndarray:
    """Latitude of the invented shoreline."""
    lon = np.asarray(lon)
    return (
        43.42
        + 0.10 * np.sin(2.1 * lon)
        + 0.05 * np.sin(7.3 * lon + 1)
        + 0.02 * np.sin(23.0 * lon + 2)
        + 0.006 * np.sin(71.0 * lon)
    )


def land() -> gpd.GeoDataFrame:
    """One mainland and two islands, EPSG:4326."""
    lon = np.linspace(-16.0, 5.0, 6000)
    shore = np.column_stack([lon, coast_lat(lon)])
    mainland = shapely.Polygon([(-16, 36), *shore, (5, 36)])
    islands = [shapely.Point(at).buffer(0.015) for at in ((-6.2, 43.62), (-4.4, 43.58))]
    return gpd.GeoDataFrame(geometry=[mainland, *islands], crs="EPSG:4326")


def anchors(count: int = 600, sectors_per_crag: int = 4, crags: int | None = None):
    """Points in straight sectors about 200 m long; every third crag stands inland."""
    rng = np.random.default_rng(7)
    names = CRAGS if crags is None else tuple(f"Crag {k:04d}" for k in range(crags))
    crag_lon = np.linspace(-7.9, -3.1, len(names)) + rng.uniform(-0.15, 0.15, len(names))
    crag_lat = coast_lat(crag_lon) - np.where(np.arange(len(names)) % 3 == 2, 0.18, 0.004)
    crag = rng.integers(0, len(names), count)
    sector = rng.integers(0, sectors_per_crag, count)
    crag[: len(names) * sectors_per_crag] = np.arange(count)[: len(names) * sectors_per_crag] % len(
        names
    )
    sector[: len(names) * sectors_per_crag] = np.arange(count)[
        : len(names) * sectors_per_crag
    ] // len(names)
    along = rng.uniform(-0.0012, 0.0012, count)
    lon = crag_lon[crag] + (sector - 1.5) * 0.0055 + along
    lat = crag_lat[crag] + 0.0012 * np.sin(sector * 2.0) + rng.normal(0, 0.00012, count)
    steps = np.clip((crag_lat[crag] - coast_lat(crag_lon[crag]) + 0.2) / 0.2 * 3.4, 0, 4)
    band = np.clip(np.round(steps + rng.normal(0, 0.8, count)), 0, 4).astype(int)
    frame = pd.DataFrame(
        {
            "anchor_id": [f"A{k:05d}" for k in range(count)],
            "crag": np.array(names, dtype=object)[crag],
            "sector": np.array(
                [SECTOR_NAMES[k % len(SECTOR_NAMES)] for k in range(sectors_per_crag)], dtype=object
            )[sector],
            "lon": lon,
            "lat": lat,
            "risk_band": np.array(BANDS, dtype=object)[band],
            "rock_band": np.array(BANDS, dtype=object)[np.arange(count) % 5],
            "kind_advised": "bonded",
            "embedment_required_mm": 110.0,
            "inspection_interval_months": np.array([60, 36, 24, 12, 3])[band],
            "interval_rule": "corrosivity category",
            "material": rng.choice(MATERIALS, count),
            "material_recommended": np.where(
                band > 3, "titanium", np.where(band > 1, "duplex", "316")
            ),
            "next_inspection_on": [f"2027-{m:02d}-15" for m in rng.integers(1, 13, count)],
            "condition": rng.choice([0, 1, 2, np.nan], count),
            "warnings": np.where(
                rng.random(count) < 0.1, "Zinc-plated bolt with a stainless hanger.", ""
            ),
        }
    )
    return gpd.GeoDataFrame(
        frame, geometry=gpd.points_from_xy(frame["lon"], frame["lat"]), crs="EPSG:4326"
    )


def sectors(points: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The sector table of the points; the last sector of all is left unknown on purpose."""
    shapes = sector_shapes(points)
    grouped = points.assign(step=points["risk_band"].map(list(BANDS).index)).groupby(
        ["crag", "sector"]
    )
    step = grouped["step"].median().round().astype(int).to_numpy()
    # Shares of all five bands, spread over the region, whatever the medians are.
    step = np.where(np.arange(len(step)) % 7 == 0, 4, step)
    step = np.where(np.arange(len(step)) % 9 == 1, 0, step)
    chloride = 4.0 * 3.0**step
    n = len(shapes)
    made = grouped["material"].value_counts().rename("n").reset_index()
    made["text"] = made["material"] + " x " + made["n"].astype(str)
    present = made.groupby(["crag", "sector"])["text"].agg("; ".join).to_numpy()
    overdue = np.where(np.arange(n) % 8 == 3, "yes", "no")
    chances = np.clip(1 - np.abs(np.arange(6) - (step[:, None] + 0.6)) / 2, 0, None)
    chances = chances / chances.sum(axis=1, keepdims=True)
    table = shapes.assign(
        anchors=grouped.size().to_numpy(),
        sea_cliff=np.where(step > 1, "yes", "no"),
        risk_band=np.array(BANDS, dtype=object)[step],
        corrosivity_category=np.array(CATEGORIES, dtype=object)[step + 1],
        category_probabilities=[
            json.dumps({c: round(float(p), 3) for c, p in zip(CATEGORIES, row, strict=True)})
            for row in chances
        ],
        crc=np.array(["II", "III", "III", "IV", "V"], dtype=object)[step],
        crf=np.array([-2, -7, -10, -17, -22])[step],
        coast_distance_m=np.array([14000.0, 5200.0, 900.0, 210.0, 35.0])[step],
        coast_distance_sd_m=60.0,
        chloride_mg_m2_d=chloride,
        chloride_mg_m2_d_p10=chloride * 0.45,
        chloride_mg_m2_d_p90=chloride * 2.2,
        steel_rate_um_y=18.0 + 22.0 * step,
        steel_rate_um_y_p10=(18.0 + 22.0 * step) * 0.7,
        steel_rate_um_y_p90=(18.0 + 22.0 * step) * 1.5,
        zinc_rate_um_y=0.6 + 0.9 * step,
        zinc_rate_um_y_p10=(0.6 + 0.9 * step) * 0.7,
        zinc_rate_um_y_p90=(0.6 + 0.9 * step) * 1.5,
        temperature_c=14.1,
        relative_humidity_pct=78.0,
        rain_mm_y=1130.0,
        material_minimum=np.array(["304", "316", "316", "duplex", "superaustenitic"], dtype=object)[
            step
        ],
        material_recommended=np.array(
            ["316", "316", "duplex", "superaustenitic", "titanium"], dtype=object
        )[step],
        materials_present=present,
        inspection_interval_months=np.array([48, 36, 24, 12, 6])[step],
        next_inspection_on=[f"2027-{1 + k % 12:02d}-15" for k in range(n)],
        overdue=overdue,
        reasons=[
            f"The sea is close and salt settles at about {c:.0f} mg/(m² d). | "
            "Overhanging rock keeps the salt that rain would wash away."
            for c in chloride
        ],
        interval_reasons="Half the remaining life of the weakest anchor governs.",
        warnings=np.where(
            np.arange(n) % 5 == 0,
            "Rain washing is not known; the worse case is used. | 3 anchors have no material.",
            "",
        ),
        rock_band=np.array(BANDS, dtype=object)[np.arange(n) % 5],
        lithology="carbonate rock",
        rock_strength_mpa=90.0,
        rock_strength_mpa_p10=60.0,
        rock_strength_mpa_p90=140.0,
        rmr89=64.0,
        rmr_class="II",
        gsi=59.0,
        rock_axial_kn_p05=16.2,
        rock_radial_kn_p05=27.5,
        resistance_mode="bond, axial",
        kind_advised=np.where(np.arange(n) % 5 == 4, "do not place here", "bonded"),
        kind_reasons=np.where(
            np.arange(n) % 5 == 4,
            "Hollow sound under the hammer. (1 of 15 anchors)",
            "Rock may be weaker than 50 MPa. | Deepest place: 110 mm bonded at 12 mm diameter.",
        ),
        embedment_required_mm=np.where(np.arange(n) % 5 == 4, np.nan, 110.0),
        diameter_required_mm=10.0,
        scc_band=np.array(BANDS, dtype=object)[np.minimum(step, 2)],
        capacity_kn_p05=12.5,
        failure_probability_y1=0.0025,
        failure_probability_y10=0.024,
        failure_probability_y30=0.6,
        failure_curve=[json.dumps(curve(s)) for s in step],
        priority_rank=np.nan,
        priority_reasons="Place 3: risk severe, sea cliff.",
        anchors_to_replace=4,
        replacement_cost=36.0,
    )
    blank = [c for c in table.columns if c not in ("crag", "sector", "geometry", "anchors")]
    table[blank] = table[blank].astype(object)
    table.loc[n - 1, blank] = None
    table.loc[n - 2, ["chloride_mg_m2_d_p10", "zinc_rate_um_y"]] = np.nan
    return table


def curve(step: int) -> list[float]:
    """31 yearly probabilities from the middle of a band's decade, ten times as much after 30."""
    start = (3e-5, 3e-4, 3e-3, 2e-2, 8e-2)[step]
    return [float(f"{min(start * 10 ** (year / 30), 1):.3g}") for year in range(31)]


def provenance() -> dict:
    """What the page says of its sources."""
    return {
        "time": "2026-12-03T09:30:00Z",
        "layers": [
            {
                "name": "invented coast",
                "quantity": "shoreline",
                "source": "tests",
                "version": "1",
                "licence": "MIT",
                "accuracy": "none, it is invented <b>bold</b>",
            },
            {
                "name": "invented climate",
                "source": "tests",
                "version": "1",
                "licence": "MIT",
                "accuracy": None,
            },
        ],
        "assessed_for": "2026-11-20",
        "options": {"policy": "sea-cliffs-first"},
        "software": {"saltreach": "test"},
        "register": {"file": "anchors.csv", "rows": 600, "rejected": 2},
        "assumptions": [
            "SO2 is taken as clean rural air.",
            "Unknown washing is assessed both ways.",
        ],
    }
