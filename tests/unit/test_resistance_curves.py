"""Resistance against embedment, beside the formula called for one anchor at a time."""

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.resistance_curves import resistance_curves
from saltreach.assessment.result import Assessment, Flat
from saltreach.science.rock.capacity import anchor_resistance
from saltreach.science.rock.placement import required_embedment_mm

ROCK = {"strength_median_mpa": 60.0, "joint_spacing_mm": 600.0, "gsi": 65.0}
NEW = {"adhesive": "vinylester", "rod_shape": "ribbed", "hole_condition": "clean and dry"}
"""The least that is advised for a new anchor, done properly."""


@pytest.fixture(scope="module")
def found():
    # p10 and p90 lie 1.2816 standard deviations to either side (normal distribution): a sigma of
    # ln of 0.5 is a factor of 1.8981
    sectors = pd.DataFrame({
        "crag": ["Alder", "Alder", "Birch"], "sector": ["Top", "Base", "Wall"],
        "diameter_required_mm": [10.0, 12.0, 16.0], "rock_strength_mpa": 60.0,
        "rock_strength_mpa_p10": 60.0 / 1.89807, "rock_strength_mpa_p90": 60.0 * 1.89807,
        "joint_spacing_mm": 600.0, "gsi": 65.0,
    })  # fmt: skip
    anchors = pd.DataFrame({
        "crag": ["Alder"] * 5 + ["Birch"], "sector": ["Base", "Top", "Top", "Top", "Top", "Wall"],
        "diameter_mm": [8.0, 8.0, 14.0, np.nan, 16.4, np.nan],
    })  # fmt: skip
    flat = Flat(anchors, sectors, sectors, pd.DataFrame())
    return resistance_curves(Assessment(flat, {"options": {"axial_kn": 30.0}}))


@pytest.mark.pinned("worked", answers=10)
def test_rows_diameters_and_lengths(found):
    assert list(found["embedment_mm"][:33]) == list(range(40, 201, 5))
    assert len(found) == 3 * 33
    first = found.groupby(["crag", "sector"], sort=False).first()
    assert list(first.index) == [("Alder", "Top"), ("Alder", "Base"), ("Birch", "Wall")]
    # the median of 8, 14 and 16.4; 8 is thinner than the 12 required; none is known
    assert first["diameter_mm"].tolist() == [14.0, 12.0, 16.0]
    assert first["minimum_mm"].tolist() == [70.0] * 3  # EN 959:2018, 4.2.6, glued


@pytest.mark.parametrize("at", [0, 20, 40, 98])
def test_each_point_is_what_one_anchor_of_that_length_holds(found, at):
    row = found.iloc[at]
    one = anchor_resistance("bonded", row["diameter_mm"], row["embedment_mm"],
                            strength_sigma_ln=0.5, **ROCK, **NEW)  # fmt: skip
    for name in ("axial_kn_p05", "axial_kn_p50", "radial_kn_p05", "radial_kn_p50"):
        assert row[name] == pytest.approx(float(getattr(one, name)), rel=1e-4)
        other = name.replace("p05", "p50") if "p05" in name else name.replace("p50", "p05")
        assert row[name] != pytest.approx(row[other], rel=1e-3)


def test_the_length_required_is_that_of_the_load_of_the_options(found):
    for (crag, sector), part in found.groupby(["crag", "sector"]):
        diameter = part["diameter_mm"].iloc[0]
        need = [required_embedment_mm("bonded", np.array([diameter]), axial_kn=load,
                                      strength_sigma_ln=np.array([0.5]),
                                      **{n: np.array([v]) for n, v in ROCK.items()})[0][0]
                for load in (30.0, 15.0)]  # fmt: skip
        assert part["required_mm"].unique().tolist() == [need[0]], (crag, sector)
        assert need[0] > need[1] > 0
