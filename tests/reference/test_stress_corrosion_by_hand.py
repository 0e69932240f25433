"""The hazard against the script that works places out by hand (`worked/hand_metal.py`).

That script is written from the equation, apart from the code, with numbers of its own.
"""

import numpy as np
import pytest
from hand_metal import Hazard, band_of
from scipy.stats import norm

from saltreach.errors import OptionError
from saltreach.science.metal import stress_corrosion as scc

PLACES = [
    {"temperature_c": 18.0, "warm_month_c": 25.0, "washed": False, "sun": 0.4, "brine": 0.35,
         "carbonate": False, "sulphate": 0.0},
    {"temperature_c": 18.0, "warm_month_c": 25.0, "washed": True, "sun": 0.4, "brine": 0.35,
         "carbonate": True, "sulphate": 0.0},
    {"temperature_c": 9.0, "warm_month_c": 15.0, "washed": True, "sun": 0.9, "brine": 0.05,
         "carbonate": True, "sulphate": 1.0},
    {"temperature_c": 26.0, "warm_month_c": 22.0, "washed": False, "sun": 0.0, "brine": 0.7,
         "carbonate": False, "sulphate": 1.0},
    {"temperature_c": -4.0, "warm_month_c": 11.0, "washed": False, "sun": 1.0, "brine": 0.0,
         "carbonate": True, "sulphate": 0.3},
]  # fmt: skip
SALTS = ((3.0, 0.4), (60.0, 0.97), (900.0, 0.2))


def arguments(place):
    """As `scc_hazard` takes them."""
    renamed = {k: place[k] for k in ("temperature_c", "warm_month_c", "sun", "sulphate")}
    return renamed | {
        "rain_washed": "yes" if place["washed"] else "no",
        "humidity_share": place["brine"],
        "carbonate_rock": float(place["carbonate"]),
    }


@pytest.mark.pinned("worked", answers=9)
@pytest.mark.parametrize("place", PLACES)
def test_hazard_of_a_place(place):
    hand, ours = Hazard(**place), arguments(place)
    salts, sigmas = np.array(SALTS).T
    exact = scc.scc_hazard(salts, **ours)
    assert exact.harsh == pytest.approx([hand.at(s) for s in salts], rel=1e-9)
    assert exact.mild.tolist() == exact.harsh.tolist()
    mean = scc.scc_hazard(salts, chloride_sigma_ln=sigmas, **ours)
    assert mean.harsh == pytest.approx([hand.mean(*s) for s in SALTS], rel=2e-3)


UNKNOWN = {
    "rain_washed": ("unknown", {"washed": True}, {"washed": False}),
    "sun": (np.nan, {"sun": 0.0}, {"sun": 1.0}),
    "humidity_share": (np.nan, {"brine": 0.0}, {"brine": 0.5}),
    "carbonate_rock": (np.nan, {"carbonate": False}, {"carbonate": True}),
    "warm_month_c": (np.nan, {"warm_month_c": 18.0}, {"warm_month_c": 26.0}),
    "sulphate": (np.nan, {"sulphate": 0.02}, {"sulphate": 0.02}),
}
"""Mild and harsh end of what is not known: the rules of the docstring and of `WEIGHTS`."""


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize("name", UNKNOWN)
def test_ends_of_what_is_unknown(name):
    value, mild, harsh = UNKNOWN[name]
    found = scc.scc_hazard(60.0, **(arguments(PLACES[1]) | {name: value}))
    expected = [Hazard(**(PLACES[1] | end)).at(60.0) for end in (mild, harsh)]
    assert found == pytest.approx(expected, rel=1e-9)


def test_a_hazard_never_passes_1():
    worst = {"temperature_c": 60.0, "warm_month_c": 60.0, "sun": 1.0, "humidity_share": 1.0,
                 "rain_washed": "no", "carbonate_rock": 1.0, "sulphate": 1.0}  # fmt: skip
    assert scc.scc_hazard(1e6, **worst) == (1.0, 1.0)


@pytest.mark.pinned("worked", answers=15)
@pytest.mark.parametrize("place", PLACES)
def test_chances_of_the_bands_are_where_the_hazard_crosses_their_limits(place):
    """The hazard rises with the salt: the chance is that of the salt at which it reaches a limit,
    found by halving."""
    hand = Hazard(**place)
    for median, sigma in SALTS:
        found = scc.scc_band_probabilities(median, chloride_sigma_ln=sigma, **arguments(place))
        below = []
        for limit in (0.03, 0.10, 0.25, 0.45):
            low, high = -20.0, 40.0  # ln of the salt; never reached: 40 deviations and more
            for _ in range(80):
                middle = (low + high) / 2
                low, high = (middle, high) if hand.at(np.exp(middle)) < limit else (low, middle)
            below.append(norm.cdf((low - np.log(median)) / sigma))
        assert found == pytest.approx(np.diff([0.0, *below, 1.0]), abs=1e-7)


def test_chances_where_something_is_unknown():
    known = arguments(PLACES[0])
    for lost in ({"temperature_c": np.nan}, {"chloride_mg_m2_d": np.nan}):
        asked = {"chloride_mg_m2_d": 60.0, "chloride_sigma_ln": 0.9} | known | lost
        assert np.isnan(scc.scc_band_probabilities(**asked)).tolist() == [True] * 5
    # washing unknown counts as none, and the lot at its harsh end
    free = scc.scc_band_probabilities(60.0, 18.0, 0.9, carbonate_rock=0.0, sulphate=0.0)
    harsh = scc.scc_band_probabilities(
        60.0, 18.0, 0.9, rain_washed="no", warm_month_c=26.0, sun=1.0, humidity_share=0.5,
        carbonate_rock=0.0, sulphate=0.0,
    )  # fmt: skip
    assert free == pytest.approx(harsh, abs=1e-12)


@pytest.mark.pinned("judgement", answers=9)
def test_bands_and_their_limits():
    hazards = [0.0, 0.0299, 0.03, 0.0999, 0.10, 0.2499, 0.25, 0.4499, 0.45]
    bands = ["low"] * 2 + ["moderate"] * 2 + ["raised"] * 2 + ["high"] * 2 + ["severe"]
    assert scc.scc_band(hazards).tolist() == bands == [band_of(h) for h in hazards]
    assert scc.scc_band(np.nan) == "unknown"


@pytest.mark.pinned("judgement", answers=10)
def test_least_metal_of_each_band():
    bands = ["low", "moderate", "raised", "high", "severe", "unknown"]
    plain = ["304", "316", "superaustenitic", "superaustenitic", "superaustenitic", "unknown"]
    assert scc.scc_minimum_material(bands).tolist() == plain
    found = scc.scc_minimum_material(bands, duplex_allowed=True).tolist()
    assert found == [*plain[:2], "duplex", *plain[3:]]
    table = dict(zip(bands, ("316", "316", "duplex", "titanium", "titanium"), strict=False))
    found = scc.scc_minimum_material(bands, table=table).tolist()
    assert found == ["316", "316", "superaustenitic", "titanium", "titanium", "unknown"]


TABLE = {"low": "304", "moderate": "304", "raised": "316", "high": "duplex", "severe": "titanium"}


@pytest.mark.parametrize(
    ("table", "refused"),
    [
        ({b: m for b, m in TABLE.items() if b != "low"}, "for each of"),
        (TABLE | {"extreme": "titanium"}, "for each of"),
        (TABLE | {"high": "adamant"}, "for each of"),
        (TABLE | {"moderate": "duplex"}, "lesser metal"),
        (TABLE | {"high": "316"}, "never end"),
        (TABLE | {"raised": "304", "high": "304"}, "never end"),
    ],
)
def test_tables_that_are_refused(table, refused):
    with pytest.raises(OptionError, match=refused):
        scc.scc_minimum_material("low", table=table)


def test_a_table_that_ends_at_duplex_is_taken():
    assert scc.scc_minimum_material("high", table=TABLE, duplex_allowed=True) == "duplex"


@pytest.mark.pinned("worked", answers=2)
def test_other_weights():
    """Half of the hazard at twice the deposit is the hazard at half of the salt."""
    known = arguments(PLACES[0])
    other = scc.scc_hazard(60.0, weights={"deposit_half_mg_m2": 2900.0}, **known)
    assert other == pytest.approx([Hazard(**PLACES[0]).at(30.0)] * 2)
    with pytest.raises(OptionError, match="weight 'colour' is not known"):
        scc.scc_hazard(60.0, weights={"carbonate": 1.0, "colour": 1.0}, **known)
