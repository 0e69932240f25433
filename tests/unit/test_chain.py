"""The chain of one anchor: its values, and which input is to blame for what is not known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.chain import anchor_chain
from saltreach.errors import OptionError
from saltreach.outputs.explain import explain
from saltreach.vocabulary.columns import CHAIN

SURE = {"temperature_sd_c": 0.0, "relative_humidity_sd_pct": 0.0, "so2_sigma_ln": 0.0,
        "salt_distance_sd_m": 0.0}  # fmt: skip


@pytest.fixture
def result(assessed_demo):
    """The demo with an anchor far inland, of which all but the functions' error is known."""
    working = assessed_demo.working
    at = working.index[working["coast_distance_m"].notna()][7]
    own = working.copy()
    for name, value in SURE.items():
        own.loc[at, name] = value
    own.loc[at, "anchor_id"] = "ONE"
    return replace(assessed_demo, working=own)


def test_the_values_are_those_of_the_anchor_asked_for(assessed_demo):
    some = assessed_demo.working["anchor_id"].iloc[[0, 5, -1]]
    for key in some:
        values, _ = anchor_chain(assessed_demo, key)
        flat = assessed_demo.flat.anchors.set_index("anchor_id").loc[key]
        assert values["anchor_id"] == key
        for name in ("crag", "sector", "crc", "scc_band", "risk_band", "steel_rate_um_y",
                     "chloride_mg_m2_d", "action", "inspection_interval_months"):  # fmt: skip
            assert values[name] == flat[name], name


def test_what_is_known_exactly_takes_no_share(result):
    _, shares = anchor_chain(result, "ONE")
    assert list(shares) == ["steel", "zinc"]
    assert shares.sum().tolist() == pytest.approx([1.0, 1.0])
    for name in ("coast_distance", "temperature", "relative_humidity", "so2"):
        assert shares.loc[name].tolist() == pytest.approx([0.0, 0.0], abs=1e-12)
    assert (shares.loc[["chloride", "function"]] > 0).all(axis=None)
    # of another anchor the climate and the shore have theirs
    _, usual = anchor_chain(result, result.working["anchor_id"].iloc[0])
    assert (usual.loc[["temperature", "relative_humidity"]] > 0).all(axis=None)


def test_an_unknown_climate_leaves_the_shares_unknown(result):
    own = result.working.copy()
    own.loc[own["anchor_id"] == "ONE", "relative_humidity_pct"] = np.nan
    _, shares = anchor_chain(replace(result, working=own), "ONE")
    assert shares.isna().all(axis=None)
    assert "unknown" in explain(replace(result, working=own), "ONE").split("Share of each")[1]


def test_an_anchor_that_is_not_there_and_a_result_that_was_read_back(result):
    ids = result.working["anchor_id"].tolist()
    with pytest.raises(OptionError) as caught:
        anchor_chain(result, "nobody")
    assert str(caught.value) == (
        f"no assessed anchor has anchor_id 'nobody' (the first are {ids[0]}, {ids[1]}, {ids[2]}); "
        "if it is in the register, see the refused rows"
    )
    with pytest.raises(
        OptionError, match="^only a fresh assessment can explain an anchor; run saltreach assess$"
    ):
        anchor_chain(replace(result, working=None), ids[0])


def test_the_text_gives_each_value_of_the_chain_in_the_order_the_data_flows(result):
    values, shares = anchor_chain(result, "ONE")
    text = explain(result, "ONE")
    lines = text.splitlines()
    assert lines[0] == "Anchor ONE"
    heads = [lines.index(head) for head in ("Register", "Layers", "Science", "Decisions")]
    assert heads == sorted(heads)
    told = [line.split()[0] for line in lines if line.startswith("  ") and line[2:3].strip()]
    chain = [c.name for stage in ("register", "layers", "science", "decisions")
             for c in CHAIN if c.stage == stage]  # fmt: skip
    assert [name for name in told if name in set(chain)] == chain

    def shown(name):
        return next(line for line in lines if line.startswith(f"  {name} "))[30:]

    assert shown("crag") == values["crag"]
    assert shown("crc") == values["crc"]
    low, high = (values[f"steel_rate_um_y_{q}"] for q in ("p10", "p90"))
    assert shown("steel_rate_um_y") == (
        f"{values['steel_rate_um_y']:.5g} µm/y  (p10 {low:.4g}, p90 {high:.4g})"
    )
    unknown = [c.name for c in CHAIN if c.kind == "number" and pd.isna(values.get(c.name))]
    assert unknown
    assert all(shown(name) == "not known" for name in unknown)
    assert f"  {'SO2':28s}{'0%':>8s}{'0%':>8s}" in lines
    part = f"{shares.loc['chloride', 'steel']:.0%}"
    assert next(x for x in lines if x.startswith("  salt at that distance")).split()[-2] == part
