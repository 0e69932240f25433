"""A row's result does not depend, to the last bit, on the rows beside it or on their order."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.corrosivity import corrosivity, wet_and_liquid
from saltreach.assessment.interval import inspection_interval
from saltreach.assessment.material import choose_material, stress_corrosion_hazard
from saltreach.assessment.region import region_of
from saltreach.assessment.resistance import rock_resistance
from saltreach.layers.climate import sample_climate
from saltreach.science.normal import normal_cdf
from saltreach.science.time.failure import Anchors, capacity_quantile_kn, failure_parts
from saltreach.vocabulary.metals import MATERIAL_NAMES

TODAY = dt.date(2026, 11, 25)
COUNT = 700


@pytest.fixture(scope="module")
def table(assessed_demo) -> pd.DataFrame:
    """Anchors of the demo, each moved a little, so that no two are the same; some unknown."""
    rng = np.random.default_rng(11)
    table = assessed_demo.working
    table = table.iloc[rng.integers(0, len(table), COUNT)].reset_index(drop=True)
    for name in ("salt_distance_m", "class_distance_m", "temperature_c", "relative_humidity_pct"):
        table[name] = table[name] * rng.uniform(0.9, 1.05, COUNT)
    table["relative_humidity_pct"] = table["relative_humidity_pct"].clip(5, 99)
    table["salt_distance_sd_m"] = rng.uniform(0.0, 400.0, COUNT)
    table["embedment_mm"] = np.where(rng.random(COUNT) < 0.2, np.nan, rng.integers(40, 120, COUNT))
    table.loc[rng.random(COUNT) < 0.05, "temperature_c"] = np.nan
    table["curve_row"] = np.arange(COUNT)
    return table


def _months(table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    wave = np.cos(2 * np.pi * np.arange(12) / 12)
    return (
        table["temperature_c"].to_numpy(float)[:, None] - 8 * wave,
        table["relative_humidity_pct"].to_numpy(float)[:, None] + 6 * wave,
    )


def _wet(table: pd.DataFrame) -> pd.DataFrame:
    none = np.full(len(table), np.nan)
    return wet_and_liquid(*_months(table), none, none).set_index(table.index)


def _resistance(region):
    return lambda table: rock_resistance(table, 15.0, region=region)


def _science(work, weights, ages, shares, columns, **more):
    def of(table: pd.DataFrame) -> pd.DataFrame:
        at = table["curve_row"].to_numpy()
        anchors = Anchors(*(c[at] for c in columns))
        found = work(weights[at], ages[at], anchors, age_weights=shares[at], **more)
        parts = found if isinstance(found, tuple) else (found[:, None],)
        return pd.DataFrame(np.concatenate(parts, axis=1), index=table.index)

    return of


def _anchors() -> tuple:
    """Every metal, known and not, one age and several, all that may be unknown."""
    rng = np.random.default_rng(3)
    kinds = len(MATERIAL_NAMES)
    weights = np.eye(kinds)[rng.integers(0, kinds, COUNT)]
    unknown = rng.random(COUNT) < 0.3
    weights[unknown] = rng.dirichlet(np.ones(kinds), unknown.sum())
    ages = rng.uniform(0, 45, (COUNT, 3))
    shares = np.where(rng.random(COUNT)[:, None] < 0.5, [1.0, 0.0, 0.0], [0.2, 0.5, 0.3])

    def maybe(values, share=0.2):
        return np.where(rng.random(COUNT) < share, np.nan, values)

    p05 = rng.uniform(2, 30, COUNT)
    columns = Anchors(
        scc_hazard=maybe(rng.random(COUNT), 0.03),
        zinc_rate_um_y=rng.lognormal(1, 1, COUNT),
        steel_rate_um_y=rng.lognormal(4, 1, COUNT),
        zinc_sigma_ln=rng.uniform(0.3, 0.8, COUNT),
        steel_sigma_ln=rng.uniform(0.3, 0.8, COUNT),
        diameter_mm=maybe(rng.choice([8.0, 10.0, 12.0], COUNT)),
        metal_shear_mpa=maybe(rng.uniform(200, 500, COUNT)),
        legs=rng.choice([1.0, 2.0], COUNT),
        rock_kn_p05=maybe(p05),
        rock_kn_p50=p05 * rng.uniform(1.0, 3.0, COUNT),
        condition=maybe(rng.integers(0, 5, COUNT).astype(float), 0.4),
        years_since_inspection=maybe(rng.uniform(0, 10, COUNT)),
        batch_factor=rng.choice([1.0, 2.7], COUNT),
    )
    return weights, ages, shares, columns


def _works(table: pd.DataFrame) -> dict:
    region = region_of(table, TODAY)
    curve = np.random.default_rng(5).uniform(0, 0.02, (COUNT, 31)).cumsum(axis=1)
    science = _anchors()
    return {
        "corrosivity": corrosivity,
        "wet_and_liquid": _wet,
        "stress_corrosion_hazard": stress_corrosion_hazard,
        "choose_material": choose_material,
        "rock_resistance": _resistance(region),
        "inspection_interval": lambda t: inspection_interval(
            t, curve[t["curve_row"].to_numpy()], TODAY
        ),
        "failure_parts": _science(failure_parts, *science),
        "capacity_quantile_kn": _science(capacity_quantile_kn, *science),
        "climate": lambda t: sample_climate(t["lon"], t["lat"], t["elevation_m"]).set_index(
            t.index
        ),
    }


NAMES = (
    "corrosivity", "wet_and_liquid", "stress_corrosion_hazard", "choose_material",
    "rock_resistance", "inspection_interval", "failure_parts", "capacity_quantile_kn", "climate",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_any_split_and_any_order_give_the_same_bits(table, name):
    work = _works(table)[name]
    whole = work(table)
    rng = np.random.default_rng(2)
    order = rng.permutation(COUNT)
    shuffled = work(table.iloc[order])
    pd.testing.assert_frame_equal(shuffled, whole.iloc[order], check_exact=True)
    edges = [0, 1, 2, 3, 10, 18, 300, COUNT]  # parts of one row, of two, of eight
    for begin, end in zip(edges, edges[1:], strict=False):
        part = work(table.iloc[begin:end])
        pd.testing.assert_frame_equal(
            part, whole.iloc[begin:end], check_exact=True, check_dtype=False
        )
    twice = work(pd.concat([table, table], ignore_index=True))
    again = pd.concat([whole, whole], ignore_index=True)
    pd.testing.assert_frame_equal(twice, again, check_exact=True)


@pytest.mark.pinned("peer", answers=3)
def test_the_normal_distribution_function_against_scipys():
    from scipy.special import ndtr

    z = np.linspace(-9, 9, 4001)
    assert normal_cdf(z) == pytest.approx(ndtr(z), abs=3e-16)
    assert normal_cdf([-np.inf, np.inf]).tolist() == [0.0, 1.0]
    assert np.isnan(normal_cdf(np.nan))
