"""The worked places of `tests/reference/worked` through the tool.

`python tests/helpers/worked.py NAME ...` prints what the layers say at places, as their files have
it under `[layers]`.
"""

import datetime as dt
import json
import sys
import tempfile
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.assessment.assess import assess
from saltreach.intake import read_register
from saltreach.intake.options import Options
from saltreach.layers.join import open_layers, sample_layers, with_layers

FOLDER = Path(__file__).parents[1] / "reference" / "worked"
TODAY = dt.date(2026, 11, 25)
SPEAKS_FOR_OTHERS = ("kind", "material", "diameter_mm", "embedment_mm", "installed_on",
                     "last_inspected_on", "condition", "rock_type")  # fmt: skip
"""Where one of these is blank, its place needs a register of its own: what an unknown may be is
taken from the shares of the register."""
DECIMALS = {
    "coast_distance_m": 1,
    "coast_distance_sd_m": 2,
    "salt_lake_m": 1,
    "salt_lake_sd_m": 1,
    "salt_lake": None,
    "salt_lake_brine": None,
    "mild_sea": None,
    "sea_salinity_g_kg": 1,
    "sea_openness": 3,
    "sea_shielding": 3,
    "elevation_m": 1,
    "lithology": None,
    "temperature_c": 2,
    "temperature_sd_c": 2,
    "relative_humidity_pct": 2,
    "relative_humidity_sd_pct": 2,
    "temperature_c_by_month": 2,
    "relative_humidity_pct_by_month": 2,
}
"""What the files give of the layers, and how exactly; None: a word."""


def places() -> dict[str, dict]:
    """The files by name."""
    files = sorted((FOLDER / "places").glob("*.toml"))
    return {f.stem: tomllib.loads(f.read_text(encoding="utf-8")) for f in files}


def groups(found: dict[str, dict], *, layers_alone: bool = False) -> list[list[str]]:
    """Names of the places that one register may hold together; for the layers, many more."""
    together: dict[str, list[str]] = {}
    for name, place in found.items():
        alone = any(not place["register"].get(column) for column in SPEAKS_FOR_OTHERS)
        own = [place.get(key) for key in ("policy", "stock", "ridge")]
        key = name if alone else json.dumps(own)
        key = json.dumps(place.get("ridge")) if layers_alone else key
        together.setdefault(key, []).append(name)
    return list(together.values())


def register_of(found: dict[str, dict], names: list[str], folder: Path) -> Path:
    """A register file with the rows of places, keyed by the places' names."""
    rows = pd.DataFrame({name: found[name]["register"] for name in names}).T
    path = folder / "register.csv"
    rows.rename_axis("anchor_id").reset_index().to_csv(path, index=False)
    return path


def options_of(place: dict, folder: Path) -> Options:
    """Settings of a place, its policy, stock list and terrain as the files a user would hand in."""
    given: dict[str, object] = {"today": TODAY}
    if "policy" in place:
        lines = (f"{key} = {json.dumps(value)}\n" for key, value in place["policy"].items())
        (folder / "policy.toml").write_text("".join(lines))
        given |= {"policy_file": folder / "policy.toml", "allow_looser_policy": True}
    if "stock" in place:
        piece = '[[stock]]\nkind = "bonded"\nmetal = "{}"\n'
        piece += "diameter_mm = 12\nlength_mm = 100\nprice = 1\n"
        (folder / "stock.toml").write_text("".join(piece.format(m) for m in place["stock"]))
        given["prices_file"] = folder / "stock.toml"
    if "ridge" in place:
        given["dem_file"] = _ridge(place, folder / "heights.tif")
    return Options(**given)


def _ridge(place: dict, path: Path) -> Path:
    """Heights: level ground with a ring around the place, from `from_m` to `to_m`."""
    import rasterio
    from affine import Affine

    ridge, lon, lat = place["ridge"], *(float(place["register"][c]) for c in ("lon", "lat"))
    cell, count = 0.0002, 301
    steps = (np.arange(count) - count // 2) * cell * 111_200
    away = np.hypot(steps[:, None], steps * np.cos(np.radians(lat)))
    inside = (away >= ridge["from_m"]) & (away <= ridge["to_m"])
    heights = np.where(inside, ridge["crest_m"], ridge["ground_m"]).astype("float32")
    west, north = lon - cell * count / 2, lat + cell * count / 2
    corner = Affine(cell, 0.0, west, 0.0, -cell, north)
    shape = {"width": count, "height": count, "count": 1, "dtype": "float32"}
    with rasterio.open(path, "w", driver="GTiff", crs=4326, transform=corner, **shape) as raster:
        raster.write(heights, 1)
    return path


def layers_at(found: dict[str, dict], names: list[str]) -> dict[str, dict]:
    """What the layers say at places of one group."""
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        register = read_register(register_of(found, names, folder), today=TODAY)
        if len(register.rejected):
            raise SystemExit(register.rejected.to_string())
        sampled = sample_layers(register.anchors, open_layers(options_of(found[names[0]], folder)))
        table = with_layers(register.anchors, sampled)
    said = {}
    for at, name in enumerate(table["anchor_id"]):
        said[name] = {c: _given(sampled[c][at], d) for c, d in DECIMALS.items()}
        said[name] = {c: v for c, v in said[name].items() if not (v == "" or v != v)}
    return said


def _given(value: object, decimals: int | None) -> object:
    if decimals is None:
        return bool(value) if isinstance(value, np.bool_) else value
    return np.round(np.asarray(value, float), decimals).tolist()


def assessed(found: dict[str, dict], names: list[str]) -> pd.DataFrame:
    """The tool's answers at places of one group, with the values met on the way."""
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        register = read_register(register_of(found, names, folder), today=TODAY)
        result = assess(register, options_of(found[names[0]], folder))
    met = result.working.set_index("anchor_id")
    answers = result.flat.anchors.set_index("anchor_id")
    return answers.join(met[[c for c in met if c not in answers]])


if __name__ == "__main__":
    given = places()
    for group in groups(given, layers_alone=True):
        if wanted := [name for name in group if name in sys.argv[1:]]:
            for name, layers in layers_at(given, group).items():
                if name in wanted:
                    print(f"# {name}\n[layers]")
                    print("".join(f"{c} = {json.dumps(v)}\n" for c, v in layers.items()))
