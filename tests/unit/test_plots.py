"""Plots: safe names, all or none, same bytes, and curves that are the science's own."""

import numpy as np
import pandas as pd
import pytest

import saltreach as sr
from saltreach.assessment.resistance_curves import LENGTHS_MM, resistance_curves
from saltreach.errors import OutputError
from saltreach.outputs.pictures.plots import plot_names, safe_name, write_plots
from saltreach.outputs.tables import results as tables
from saltreach.science.rock.bond import NEW_BOND
from saltreach.science.rock.capacity import anchor_resistance


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    path = tmp_path_factory.mktemp("register") / "a.csv"
    pd.DataFrame(
        {
            "anchor_id": ["a", "b", "c"],
            "crag": ["$x_1$ ../Peña", "Öst", "Öst"],
            "sector": ["北壁", "hollow", "no rock"],
            "lon": -4.95, "lat": 43.44,
            "rock_type": ["granite", "granite", ""],
            "tap_response": ["ringing", "hollow", ""],
            "diameter_mm": ["12", "", ""],
        }
    ).to_csv(path, index=False)  # fmt: skip
    return sr.assess(sr.read_register(path))


def test_names_are_safe_and_distinct():
    sectors = pd.DataFrame({"crag": ["a/b", "a b", "A:B", ".."], "sector": ["x", "x", "x", "CON"]})
    names = plot_names(sectors)
    assert names == ["a_b-x.png", "a_b-x-2.png", "A_B-x-3.png", "unnamed-CON.png"]
    assert len(safe_name("x" * 500)) <= 40


def test_one_picture_per_sector_whatever_its_name_and_the_same_bytes_twice(result, tmp_path):
    first = write_plots(result, tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(plot_names(result.flat.sectors))
    content = [p.read_bytes() for p in first]
    assert all(c.startswith(b"\x89PNG") for c in content)
    assert len(set(content)) == 3
    assert [p.read_bytes() for p in write_plots(result, tmp_path)] == content


def test_curves_are_the_resistance_of_the_science(result):
    curves = resistance_curves(result)
    assert len(curves) == len(result.flat.sectors) * len(LENGTHS_MM)
    row = result.flat.sectors.set_index("crag").loc["$x_1$ ../Peña"]
    own = curves[curves["crag"] == row.name]
    sigma = np.log(row["rock_strength_mpa_p90"] / row["rock_strength_mpa_p10"]) / 2.5631
    rock = (row["rock_strength_mpa"], sigma)
    exact = anchor_resistance("bonded", 12.0, LENGTHS_MM, *rock, **NEW_BOND)
    assert own["axial_kn_p05"].to_numpy() == pytest.approx(exact.axial_kn_p05, rel=1e-3)
    # the required length is where the lower curve has reached the load
    at = own["embedment_mm"].tolist().index(own["required_mm"].iloc[0])
    assert own["axial_kn_p05"].iloc[at] >= 15
    assert min(own["axial_kn_p05"].iloc[at - 1] / 15, own["radial_kn_p05"].iloc[at - 1] / 25) < 1
    # EN 959:2018, 4.2.6
    assert (own["minimum_mm"] == 70).all()
    assert curves.loc[curves["sector"] == "no rock", "axial_kn_p05"].isna().all()


def test_plots_and_tables_appear_together_or_not_at_all(result, tmp_path, monkeypatch):
    tables.write_results(result, tmp_path, title="x", plots=True)
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    assert sum(p.suffix == ".png" for p in before) == 3

    def fail(*_args, **_kwargs):
        raise OSError("disk full")

    monkeypatch.setattr(tables, "write_map", fail)
    with pytest.raises(OutputError, match="the disk is full; make room there"):
        tables.write_results(result, tmp_path, title="y", plots=True)
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before
