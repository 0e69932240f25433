"""ISO 9223's functions against flat samples that stood a year in the open.

`site_exposures.csv` has 29 sites of ISO CORRAG. *Losses*, um in the first year: read, page
"Atmospheric Corrosion Data" of the American Galvanizers Association (galvanizeit.org), names spelt
as there; the stored page breaks off after Madrid. *Air* of seven sites that were also sites of the
UN ECE programme (ICP Materials): its first year, 1987/88, from memory of the table in Panchenko
and Marshakov, Materials 2017, 10:422, whose stored page breaks off before it. *Chloride* was not
measured there: both ends are given, from the least of the functions' range to 3 mg/(m² d) inland
and 15 within some 20 km of a sheltered sea (judgement). No other site's air could be read, so the
other 22 hold the categories only.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science.air import atmosphere

SITES = pd.read_csv(Path(__file__).with_name("site_exposures.csv")).set_index("site")
KNOWN = SITES[SITES["air"] == "from memory"]
ERROR = {"steel": 1.5, "zinc": 1.5, "copper": 1.5, "aluminium": 2.0}
"""The functions' own error as a factor: ISO 9223 Annex A, from memory."""
FAR_OFF = {("Birkenes", "zinc"), ("Kopisty", "copper")}
"""Beyond twice that error: clean air with acid rain, and the most SO2 of all. Known failures."""


def computed(metal, chloride_mg_m2_d):
    so2 = atmosphere.so2_deposition_mg_m2_d(KNOWN["so2_ug_m3"])
    air = KNOWN["temperature_c"], KNOWN["relative_humidity_pct"], so2, chloride_mg_m2_d
    return pd.Series(np.asarray(atmosphere.first_year_loss_um_y(metal, *air)), KNOWN.index)


@pytest.fixture(scope="module")
def off_ln():
    """ln(computed / measured) of each site and metal, at the end of the chloride that is nearer."""
    ends = ("chloride_low_mg_m2_d", "chloride_high_mg_m2_d")
    out = {}
    for metal in ERROR:
        off = pd.DataFrame(
            {end: np.log(computed(metal, KNOWN[end]) / KNOWN[metal]) for end in ends}
        )
        between = (off.min(axis=1) < 0) & (off.max(axis=1) > 0)
        out[metal] = off.abs().min(axis=1).where(~between, 0.0)
    return pd.DataFrame(out)


@pytest.mark.pinned("memory", answers=7)
@pytest.mark.parametrize("metal", ERROR)
def test_each_site_lies_within_twice_the_functions_own_error(metal, off_ln):
    """Annex A's error is one standard deviation: 19 in 20 lie within two."""
    sigmas = off_ln[metal] / np.log(ERROR[metal])
    assert {(site, metal) for site in sigmas.index[sigmas > 2]} == {
        pair for pair in FAR_OFF if pair[1] == metal
    }


def test_two_in_three_lie_within_the_functions_own_error(off_ln):
    sigmas = off_ln / np.log(pd.Series(ERROR))
    assert (sigmas <= 1).to_numpy().mean() == pytest.approx(0.68, abs=0.1)


@pytest.mark.pinned("memory", answers=2)
@pytest.mark.parametrize(
    ("metal", "bias", "scatter_ln"),
    [("steel", 0.674, 0.329), ("zinc", 0.699, 0.607), ("copper", 0.708, 0.467),
     ("aluminium", 0.804, 0.538)],
)  # fmt: skip
def test_bias_and_scatter(metal, bias, scatter_ln):
    """Computed over measured, with the middle of the chloride (the mean of its logarithm): the
    functions are low by a third here, inside their error. Worked apart, with the four equations
    typed again."""
    middle = np.sqrt(KNOWN["chloride_low_mg_m2_d"] * KNOWN["chloride_high_mg_m2_d"])
    off = np.log(computed(metal, middle) / KNOWN[metal])
    assert np.exp(off.mean()) == pytest.approx(bias, abs=0.002)
    assert off.std() == pytest.approx(scatter_ln, abs=0.002)


@pytest.mark.pinned("published", answers=27)
def test_steel_and_zinc_give_one_category_iso_9223_table_2():
    """Table 2's limits of the two metals belong together: of the 27 sites with both, 20 are of one
    category by either, 6 one apart, and Birkenes two (counted from the page by hand)."""
    both = SITES[["steel", "zinc"]].dropna()
    apart = atmosphere.category_index("steel", both["steel"]) - atmosphere.category_index(
        "zinc", both["zinc"]
    )
    apart = pd.Series(np.abs(np.asarray(apart)), both.index)
    assert apart.value_counts().to_dict() == {0: 20, 1: 6, 2: 1}
    assert apart.idxmax() == "Birkenes"
