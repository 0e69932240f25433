"""What pulls and measurements teach of places: rock by lithology and tap, salt by crag."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import chloride_at
from saltreach.assessment.learned import tap_group
from saltreach.assessment.resistance import rock_resistance
from saltreach.intake.lessons import Believed, RockLesson, SaltLesson
from saltreach.layers.geodesy import MEAN_RADIUS_M
from saltreach.records.watched import OF_PIECE, SALT, Piece, Source, rows_of
from saltreach.science.rock.placement import EN959_AXIAL_KN
from saltreach.science.time import learning, learning_rock, learning_salt
from saltreach.science.time.reliability import Z_95
from saltreach.vocabulary.words import COUPON_METALS, UNKNOWN

NEEDED = ("rock_outwards_kn_p05", "rock_outwards_kn_p50")
CANDLE, SWAB, COUPON = SALT


def piece_table(pieces: list[Piece], table: pd.DataFrame) -> pd.DataFrame:
    """One row per piece: its place as assessed, and what the piece itself was."""
    index = pd.Index(table["anchor_id"].astype("str")).get_indexer([p.anchor_id for p in pieces])
    there = index >= 0
    rows = table.iloc[index[there]].reset_index(drop=True)
    own = pd.DataFrame([p.says for p, keep in zip(pieces, there, strict=True) if keep])
    former = np.array([not p.last for p, keep in zip(pieces, there, strict=True) if keep], bool)
    for name in (c for c in OF_PIECE if c in rows and former.any()):
        said = own[name] if name in own else pd.Series(np.nan, index=rows.index, dtype=object)
        rows[name] = rows[name].astype(object).where(~former, said)
        if pd.api.types.is_numeric_dtype(table[name].dtype):
            rows[name] = pd.to_numeric(rows[name], errors="coerce").astype(table[name].dtype)
        elif name.endswith("material"):
            rows[name] = rows[name].fillna("unknown").astype("str")
        else:
            rows[name] = rows[name].astype("str").where(rows[name].notna())
    rows["piece"], rows["former"] = np.flatnonzero(there), former
    return rows


def rock_lessons(sources: Sequence[Source], left_out: list[str]) -> tuple[RockLesson, ...]:
    """Shift of the rock side's median by lithology and tap, of every group that was pulled on."""
    parts = [part for source in sources if (part := _pulls(source, left_out)) is not None]
    if not parts:
        return ()
    pulls = pd.concat(parts, ignore_index=True)
    keys = pulls[["lithology", "tap"]].drop_duplicates().sort_values(["lithology", "tap"])
    group = pd.MultiIndex.from_frame(keys).get_indexer(
        pd.MultiIndex.from_frame(pulls[["lithology", "tap"]])
    )
    like = learning_rock.pulls_log_likelihood(
        learning_rock.Pulls(
            group, *(pulls[name].to_numpy(float) for name in ("load_kn", "median_kn", "sense"))
        ),
        len(keys),
    )
    sigma = float(pulls["sigma_ln"].median())
    grid = learning_rock.ROCK_GRID
    after = learning.belief(learning_rock.pooled_shift(like, sigma).groups, grid)
    before = learning.belief(learning_rock.pooled_shift(np.zeros_like(like), sigma).groups, grid)
    return tuple(
        RockLesson(
            lithology=str(lithology),
            tap=tap,
            **{
                name: int(((group == at) & (pulls["sense"] == sense)).sum())
                for name, sense in (("to_failure", 0), ("held", 1), ("moved", -1))
            },
            before=as_believed(before, at),
            after=as_believed(after, at),
        )
        for at, (lithology, tap) in enumerate(keys.itertuples(index=False))
    )


def as_believed(found: learning.Belief, at: int) -> Believed:
    """One group of a belief as the file holds it."""
    return Believed(**{name: float(values[at]) for name, values in found._asdict().items()})


def _pulls(source: Source, left_out: list[str]) -> pd.DataFrame | None:
    """Pulls on the rock side with what the model says of it."""
    tests = pd.DataFrame(
        list(rows_of(source.seen.pieces, "tests")), columns=["piece", "load_kn", "sense"]
    )
    if not len(tests):
        return None
    pieces = piece_table(source.seen.pieces, source.table)
    if NEEDED[0] not in pieces:
        left_out.append(
            f"{source.file}: {len(tests)} pulls: results hold no median of the rock side; give the "
            "book or the register."
        )
        return None
    former = pieces["former"].to_numpy(bool) & pieces["piece"].isin(tests["piece"]).to_numpy()
    if former.any():  # of what was replaced, as it stood then
        then = rock_resistance(pieces[former], EN959_AXIAL_KN)
        for name in NEEDED:
            pieces.loc[former, name] = then[name].to_numpy(float)
    index = pd.Index(pieces["piece"]).get_indexer(tests["piece"])
    rows = pieces.iloc[np.maximum(index, 0)].reset_index(drop=True)
    p05, p50 = (rows[name].to_numpy(float) for name in NEEDED)
    used = (
        (index >= 0)
        & rows["rock_strength_mpa"].notna().to_numpy()
        & rows["embedment_mm"].notna().to_numpy()
        & rows["diameter_mm"].notna().to_numpy()
        & (p05 > 0)
        & (tests["load_kn"].to_numpy(float) > 0)
    )
    if (~used).any():
        left_out.append(
            f"{source.file}: {int((~used).sum())} pulls at anchors whose rock or size is not "
            "known, or without a load."
        )
    if not used.any():
        return None
    return pd.DataFrame(
        {
            "lithology": rows["lithology"].fillna(UNKNOWN).astype("str"),
            "tap": tap_group(rows["tap_response"]),
            "load_kn": tests["load_kn"],
            "sense": tests["sense"],
            "median_kn": p50,
            "sigma_ln": np.log(p50 / np.maximum(p05, 1e-9)) / Z_95,
        }
    )[used]


def salt_lessons(sources: Sequence[Source], left_out: list[str]) -> tuple[SaltLesson, ...]:
    """Shift and spread of the salt at each crag of regions in which it was measured."""
    crags, measured = [], []
    for number, source in enumerate(sources):
        found = _measured(source, left_out)
        if not len(found):
            continue
        places = source.table.groupby("crag")[["lon", "lat"]].median()
        places["sigma_ln"] = _model_salt(source.table)[1].groupby(source.table["crag"]).median()
        crags.append(places.reset_index().assign(source=number))
        measured.append(found.assign(source=number))
    if not crags:
        return ()
    table = pd.concat(crags, ignore_index=True).drop_duplicates("crag", ignore_index=True)
    data = pd.concat(measured, ignore_index=True)
    at = pd.Index(table["crag"]).get_indexer(data["crag"])
    ratio, sigma = (data[name].to_numpy(float) for name in ("ln_ratio", "error"))
    told = np.isfinite(ratio) & np.isfinite(sigma)
    model = table["sigma_ln"].to_numpy(float)
    apart = _distances_m(table["lon"].to_numpy(float), table["lat"].to_numpy(float))
    shift, left = learning_salt.learned_salt(model, apart, at, learning_salt.Measured(ratio, sigma))
    counts = np.bincount(at[told], minlength=len(table))
    known = np.isfinite(model) & (model > 0)
    return tuple(
        SaltLesson(
            crag=str(table["crag"].iloc[i]),
            measurements=int(counts[i]),
            shift_ln=float(np.clip(shift[i], -5.0, 5.0)),
            spread=float(np.clip(left[i] / model[i], 0.01, 1.0)),
            model_sigma_ln=float(model[i]),
        )
        for i in np.flatnonzero(known)
    )


def _model_salt(table: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Median and spread of the chloride that the model gives each anchor."""
    rows = slice(0, len(table))
    distance = table["salt_distance_m"].to_numpy(float)[:, None]
    median, sigma = (np.asarray(v)[:, 0] for v in chloride_at(table)(distance, rows))
    return pd.Series(median, index=table.index), pd.Series(sigma, index=table.index)


def _measured(source: Source, left_out: list[str]) -> pd.DataFrame:
    """Measurements of salt over the model's median: crag, ln of the ratio, its error."""
    empty = pd.DataFrame({"crag": [], "ln_ratio": [], "error": []})
    if not source.seen.salt:
        return empty
    index = pd.Index(source.table["anchor_id"].astype("str")).get_indexer(
        [anchor for anchor, _ in source.seen.salt]
    )
    lost = int((index < 0).sum())
    if lost:
        left_out.append(f"{source.file}: {lost} measurements of salt at anchors not in place.")
    said = pd.DataFrame([says for _, says in source.seen.salt]).reindex(
        columns=[*SALT, "exposed_days", "coupon_metal"]
    )[index >= 0]
    rows = source.table.iloc[index[index >= 0]].reset_index(drop=True)
    if not len(rows):
        return empty
    said = said.reset_index(drop=True)
    model = _model_salt(rows)[0].to_numpy(float)

    def value(name: str) -> np.ndarray:
        return pd.to_numeric(said[name], errors="coerce").to_numpy(float)

    days = value("exposed_days")
    found = [
        learning_salt.candle(value(CANDLE), days, model),
        learning_salt.swab(value(SWAB), model),
    ]
    warm, humid, so2 = (
        rows[name].to_numpy(float)
        for name in ("temperature_c", "relative_humidity_pct", "so2_mg_m2_d")
    )
    for metal in COUPON_METALS:
        loss = np.where(said["coupon_metal"] == metal, value(COUPON), np.nan)
        found.append(learning_salt.coupon(metal, loss, days, warm, humid, so2, model))
    parts: list[dict[str, Any]] = [
        {"crag": rows["crag"], "ln_ratio": one.ln_ratio, "error": one.sigma_ln} for one in found
    ]
    table = pd.concat([pd.DataFrame(part) for part in parts], ignore_index=True)
    return table[table["ln_ratio"].notna()]


def _distances_m(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Distances between places on a sphere, near enough for a judged length."""
    lon, lat = np.radians(lon), np.radians(lat)
    half = (
        np.sin((lat[:, None] - lat) / 2) ** 2
        + np.cos(lat[:, None]) * np.cos(lat) * np.sin((lon[:, None] - lon) / 2) ** 2
    )
    return 2 * MEAN_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
