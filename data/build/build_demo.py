"""Make the demo register: an INVENTED region on the real coast of northern Spain.

Every crag, sector, route, anchor and date is made up. Only the coordinates are real places:
points of the embedded shoreline and of the mountains behind it. No anchor stands where this
register says one does.

About 600 anchors in 40 sectors of 14 crags, with the gaps, the mixed metals and the bad rows
that registers have, and a survey of the rock mass of some sectors. Run:
``python data/build/build_demo.py`` (seeded, same bytes each time).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.layers.coast import load_coast

TARGET = Path(__file__).resolve().parents[1] / "demo" / "anchors.csv"
SURVEY_TARGET = TARGET.with_name("sectors_survey.csv")
SEED = 20251
ROCK_SEED = 20252

GRADES = {"granite": ("R5",), "quartzite": ("R5", "R6"), "limestone": ("R4", "R4", "R5"),
          "sandstone": ("R3", "R4"), "slate": ("R4", "R5")}  # fmt: skip
"""Hammer grades that the invented testers note on each rock."""

# name, longitude near which it lies, metres inland of the shore (or a latitude, far inland),
# rock, sectors, share washed by rain, mean slope, metals and their shares
CRAGS = (
    ("Punta Vellorio", -7.05, 60.0, "granite", 4, 0.25, 95, {"316": 0.6, "304": 0.3, "": 0.1}),
    ("Ensenada Trisca", -6.22, 60.0, "quartzite", 3, 0.6, 85, {"A4": 0.7, "zinc-plated": 0.3}),
    ("Furna Morceda", -5.55, 60.0, "limestone", 3, 0.0, 120, {"304": 0.6, "316L": 0.4}),
    ("Cabo Alzoro", -4.95, 60.0, "limestone", 4, 0.35, 95, {"1.4404": 0.6, "Ti": 0.2, "": 0.2}),
    ("Castro Brenza", -4.45, 650.0, "limestone", 3, 0.5, 90, {"316": 0.5, "galvanised": 0.5}),
    ("Isla Corbaya", -3.72, 60.0, "limestone", 2, 0.3, 100, {"HCR": 0.5, "316": 0.5}),
    ("Peña Tasuri", -3.22, 3500.0, "sandstone", 3, 0.7, 80, {"316": 0.5, "304": 0.5}),
    ("Foz Garbina", -5.12, 43.36, "limestone", 3, 0.6, 92, {"316": 0.7, "zinc-plated": 0.3}),
    ("Hoces de Lumiera", -4.62, 43.27, "limestone", 3, 0.5, 100, {"A2": 0.6, "A4": 0.4}),
    ("Torre Quemil", -4.80, 43.19, "limestone", 3, 0.8, 85, {"zinc-plated": 0.7, "304": 0.3}),
    ("Risco Ambueno", -5.85, 43.18, "sandstone", 2, 0.7, 85, {"304": 0.6, "316": 0.4}),
    ("Peña Oscalda", -6.40, 43.08, "quartzite", 3, 0.8, 80, {"galvanised": 0.6, "304": 0.4}),
    ("Cantil Reboria", -3.90, 43.15, "limestone", 2, 0.4, 105, {"316": 0.6, "304": 0.4}),
    ("Vega Tormal", -5.40, 42.98, "slate", 2, 0.9, 78, {"zinc-plated": 0.6, "": 0.4}),
)
ROCK_LEFT_TO_THE_MAP = "Vega Tormal"
"""Crag whose rock the register does not name: the map of the demo's pack does."""
LOW_GROUND = "Castro Brenza"
"""Crag close behind the shore: a tenth of the height that is drawn for it."""
ON_THE_SHORE_M = 60.0
INLAND_LATITUDE_MAX = 44.0
SECTOR_STEP_DEG = 0.006
SECTOR_NAMES = ("Main wall", "Left wing", "Upper tier", "Grey slab", "Arch", "Seaward face")


def north_shore() -> np.ndarray:
    """Vertices (lon, lat) of the outer north coast: the northernmost in each 0.002 degrees."""
    vertex = load_coast().vertex_deg
    inside = (vertex[:, 0] > -8) & (vertex[:, 0] < -3) & (np.abs(vertex[:, 1] - 43.5) < 0.35)
    vertex = vertex[inside]
    step = np.round(vertex[:, 0] / 0.002).astype(int)
    order = np.lexsort((vertex[:, 1], step))
    last = np.r_[np.diff(step[order]) != 0, True]
    return vertex[order][last]


def metal(rng: np.random.Generator, shares: dict[str, float], count: int) -> np.ndarray:
    """Metals of the anchors, as a register spells them."""
    return rng.choice(list(shares), count, p=list(shares.values()))


def sector_rows(
    rng: np.random.Generator, crag: tuple, number: int, lon: float, lat: float
) -> pd.DataFrame:
    """Anchors of one sector, in a line along the face."""
    name, _, inland, rock, _, washed, slope, metals = crag
    sea = inland == ON_THE_SHORE_M
    count = int(rng.integers(11, 21))
    azimuth = float(rng.uniform(-60, 60) % 360) if sea else float(rng.uniform(90, 270))
    along = np.sort(rng.uniform(-60, 60, count))  # m
    bearing = np.radians(azimuth + 90)
    year = rng.integers(1994, 2024, count)
    year = np.where(rng.random(count) < 0.6, rng.integers(1994, 2022), year)  # most in one go
    month = rng.integers(3, 11, count)
    day = rng.integers(1, 28, count)
    form = rng.choice(3, count, p=[0.5, 0.2, 0.3])
    placed = [
        (f"{y}", f"{y}-{m:02d}", f"{y}-{m:02d}-{d:02d}")[f]
        for y, m, d, f in zip(year, month, day, form, strict=True)
    ]
    # One inspection of the whole sector, except where nobody has been since placement.
    visit = f"{rng.integers(2022, 2027)}-{rng.integers(3, 11):02d}-{rng.integers(1, 28):02d}"
    seen = np.where((year < int(visit[:4])) & (rng.random() < 0.8), visit, "")
    material = metal(rng, metals, count)
    hanger = np.where(rng.random(count) < 0.9, material, "304")
    coated = np.isin(material, ["zinc-plated", "galvanised"])
    wear = (2026 - year) / 30 * (0.4 + 0.8 * coated + 0.8 * sea * (material != "Ti"))
    condition = np.clip(np.floor(wear + rng.normal(0, 0.35, count)), 0, 3).astype(int)
    kind = np.where(
        np.isin(material, ["zinc-plated", "galvanised", "A2", "304"]), "expansion", "bonded"
    )
    rain = np.where(rng.random(count) < washed, "yes", "no")
    rows = pd.DataFrame(
        {
            "crag": name,
            "sector": SECTOR_NAMES[number],
            "lon": lon + along * np.sin(bearing) / (111_320 * np.cos(np.radians(lat))),
            "lat": lat + along * np.cos(bearing) / 110_540,
            "route": [f"Route {number + 1}.{1 + i // 6}" for i in range(count)],
            "position": rng.choice(["runner", "lower-off", "belay"], count, p=[0.75, 0.2, 0.05]),
            "kind": kind,
            "material": material,
            "hanger_material": hanger,
            "diameter_mm": np.where(kind == "bonded", 12, 10),
            "embedment_mm": np.where(kind == "bonded", 80, 70) + rng.choice([0, 10, 20], count),
            "installed_on": placed,
            "last_inspected_on": seen,
            "condition": condition,
            "height_above_sea_m": np.round(rng.uniform(3, 25, count), 1) if sea else np.nan,
            "elevation_m": np.nan if sea else float(rng.integers(300, 1300)),
            "face_azimuth_deg": round(azimuth),
            "face_slope_deg": np.round(rng.normal(slope, 6, count)),
            "rain_washed": np.where(rng.random(count) < 0.3, "unknown", rain),
            "rock_type": rock,
            "tap_response": rng.choice(
                ["ringing", "mixed", "dull", ""], count, p=[0.5, 0.15, 0.05, 0.3]
            ),
            "rebound_number": np.round(rng.normal(42, 6, count)),
            "weathering_grade": rng.choice(["W1", "W2", "W3", ""], count, p=[0.3, 0.4, 0.1, 0.2]),
            "crack_distance_mm": np.round(rng.uniform(60, 900, count), -1),
            "visits_per_year": int(rng.integers(5, 200)) * 10,
        }
    )
    gaps = {"installed_on": 0.2, "last_inspected_on": 0.1, "condition": 0.3,
            "embedment_mm": 0.35, "rebound_number": 0.7, "crack_distance_mm": 0.6}  # fmt: skip
    for column, share in gaps.items():
        rows[column] = rows[column].astype(object)
        rows.loc[rng.random(count) < share, column] = ""
    return rows


def rock_findings(rng: np.random.Generator, anchors: pd.DataFrame) -> None:
    """Hammer grades and edge distances, noted on a few anchors of each sector."""
    grade = [rng.choice(GRADES[rock]) for rock in anchors["rock_type"]]
    noted = rng.random(len(anchors)) < 0.25
    place = anchors.columns.get_loc("rebound_number") + 1
    anchors.insert(place, "strength_grade", np.where(noted, grade, ""))
    edge = np.round(rng.uniform(60, 1500, len(anchors)), -1)
    place = anchors.columns.get_loc("crack_distance_mm") + 1
    anchors.insert(
        place, "edge_distance_mm", np.where(rng.random(len(anchors)) < 0.15, edge, np.nan)
    )


def survey_rows(rng: np.random.Generator, anchors: pd.DataFrame) -> pd.DataFrame:
    """An invented survey of the rock mass: about two sectors in three, some of it not noted."""
    sectors = anchors[["crag", "sector", "rock_type"]].drop_duplicates().reset_index(drop=True)
    sectors = sectors[rng.random(len(sectors)) < 0.65].reset_index(drop=True)
    count = len(sectors)
    blocky = sectors["rock_type"].map(
        {"granite": 900, "quartzite": 350, "limestone": 700, "sandstone": 600, "slate": 180}
    )
    rows = pd.DataFrame(
        {
            "crag": sectors["crag"],
            "sector": sectors["sector"],
            "joint_spacing_mm": np.round(blocky * np.exp(rng.normal(0, 0.4, count)), -1),
            "persistence_m": np.round(rng.uniform(0.5, 12, count), 1),
            "aperture_mm": rng.choice([0, 0.05, 0.5, 2, 6], count, p=[0.25, 0.25, 0.3, 0.15, 0.05]),
            "roughness": rng.choice(["very rough", "rough", "slightly rough", "smooth"], count),
            "infilling": rng.choice(
                ["none", "hard below 5 mm", "soft below 5 mm"], count, p=[0.7, 0.15, 0.15]
            ),
            "joint_weathering": rng.choice(
                ["unweathered", "slight", "moderate", "high"], count, p=[0.3, 0.4, 0.25, 0.05]
            ),
            "water": rng.choice(
                ["dry", "damp", "wet", "dripping"], count, p=[0.5, 0.3, 0.15, 0.05]
            ),
            "rqd_pct": np.nan,
            "favourability": rng.choice(
                ["very favourable", "favourable", "fair", ""], count, p=[0.3, 0.3, 0.1, 0.3]
            ),
        }
    )
    # nobody drills cores at a crag; two old site reports gave RQD, and two visits were cut short
    rows.loc[[1, 5], "rqd_pct"] = [85, 70]
    rows["persistence_m"] = rows["persistence_m"].astype(object)
    rows.loc[[3, 8], "persistence_m"] = ""
    return rows


def spot_findings(anchors: pd.DataFrame) -> None:
    """The few findings that stand out of a register: hollow or weak rock, failed anchors."""
    for crag, sector, column, value in (
        ("Furna Morceda", "Left wing", "tap_response", "hollow"),
        ("Peña Tasuri", "Upper tier", "tap_response", "hollow"),
        ("Punta Vellorio", "Main wall", "condition", 4),
        ("Ensenada Trisca", "Left wing", "condition", 4),
        ("Punta Vellorio", "Grey slab", "strength_grade", "R2"),
    ):
        here = anchors.index[(anchors["crag"] == crag) & (anchors["sector"] == sector)]
        anchors.loc[here[4], column] = value


def bad_rows(good: pd.DataFrame) -> pd.DataFrame:
    """Copies of good rows, each with one mistake that registers hold."""
    bad = good.iloc[[30, 90, 150, 210, 270, 330, 390, 450, 510]].copy().astype(object)
    bad["anchor_id"] = [f"DEMO-9{i:03d}" for i in range(1, len(bad) + 1)]
    position = dict(zip(bad.columns, range(len(bad.columns)), strict=True))

    def spoil(row: int, **values: object) -> None:
        for column, value in values.items():
            bad.iloc[row, position[column]] = value

    spoil(0, lon=bad.iloc[0]["lat"], lat=bad.iloc[0]["lon"])
    spoil(1, lon=0, lat=0)
    spoil(2, lat=44.9)
    spoil(3, anchor_id=good.iloc[0]["anchor_id"])
    spoil(4, installed_on="2093")
    spoil(5, diameter_mm=120)
    spoil(6, material="unobtainium")
    spoil(7, installed_on="2015", last_inspected_on="2011")
    spoil(8, sector="")
    return bad


def main() -> None:
    """Make every sector, add the bad rows, write the CSV."""
    rng = np.random.default_rng(SEED)
    shore = north_shore()
    sectors = []
    for crag in CRAGS:
        for number in range(crag[4]):
            lon, lat = crag[1] - number * SECTOR_STEP_DEG, crag[2]
            if lat > INLAND_LATITUDE_MAX:  # metres inland of the nearest vertex of the shore
                lon, lat = shore[np.argmin(np.abs(shore[:, 0] - lon))] - [0, lat / 111_000]
            sectors.append(sector_rows(rng, crag, number, lon, lat))
    anchors = pd.concat(sectors, ignore_index=True)
    anchors.insert(0, "anchor_id", [f"DEMO-{i:04d}" for i in range(1, len(anchors) + 1)])
    anchors[["lon", "lat"]] = anchors[["lon", "lat"]].round(6)
    rock_rng = np.random.default_rng(ROCK_SEED)  # of its own: the rest of the demo stays as it is
    rock_findings(rock_rng, anchors)
    spot_findings(anchors)
    survey = survey_rows(rock_rng, anchors)
    anchors.loc[anchors["crag"] == ROCK_LEFT_TO_THE_MAP, "rock_type"] = ""
    low = anchors["crag"] == LOW_GROUND
    anchors.loc[low, "elevation_m"] = anchors.loc[low, "elevation_m"] // 10
    everything = pd.concat([anchors, bad_rows(anchors)], ignore_index=True)
    everything["notes"] = ""
    TARGET.parent.mkdir(exist_ok=True)
    everything.to_csv(TARGET, index=False, lineterminator="\n")
    survey.to_csv(SURVEY_TARGET, index=False, lineterminator="\n")
    print(f"{TARGET.name}: {len(anchors)} good rows, {len(everything) - len(anchors)} bad ones")
    print(f"{SURVEY_TARGET.name}: {len(survey)} sectors")


if __name__ == "__main__":
    main()
