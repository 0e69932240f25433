"""Every public formula: scalar, list, array, Series, DataArray and dask agree, labels are kept,
units are the result's own, and the docstring says all that its page needs."""

import importlib
import inspect
import pkgutil
import re

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from saltreach.errors import OptionError
from saltreach.science import __path__, formulas
from saltreach.science.air import salt
from saltreach.science.labelled import ACCEPTED
from saltreach.science.rock.adhesive import CureTable
from saltreach.vocabulary import words
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.rocks import lithologies

FORMULAS = formulas()
NO_FORMULAS = {
    "air.atmosphere.category_rates_um_y": "a row of a table",
    "air.atmosphere.error_variance": "part of `error_sigma_ln`",
    "air.atmosphere.loss_parts_um_y": "part of `first_year_loss_um_y`",
    "air.uncertainty": "takes a record of anchors and a function of their rows",
    "distributions": "parts of other formulas, along their own axes",
    "labelled": "the wrapper",
    "lazy": "loads modules",
    "lookup": "words to numbers, part of other formulas",
    "normal": "for mixtures, along their own axes",
    "rock.capacity.log_draws": "part of `anchor_resistance`",
    "rock.capacity.log_quantiles_kn": "part of `anchor_resistance`",
    "rock.capacity.standard_draws": "part of `anchor_resistance`",
    "rock.rebound.sector_mean_rebound": "over all anchors of a sector",
    "rows": "for long tables",
    "time.consequence.priority_rank": "over all sectors",
    "time.curves": "takes a record of anchors",
    "time.failure": "takes a record of anchors",
    "time.inspection.governing": "takes a table of rules",
    "time.learning": "weights on a grid",
    "time.learning_rock": "weights on a grid",
    "time.learning_salt.learned_salt": "over all places of a region",
    "time.reliability.rock_quantiles_kn": "part of `rock_failure_probability`",
    "time.rust": "parts of `failure_parts`, along their own axes",
    "time.strength_left": "takes a record of anchors",
    "types": "to arrays",
}
"""Functions (or whole modules, but for the formulas in them) that keep no labels, and why."""

SHARE, DISTANCE_MM, LOSS = (0.01, 0.99), (40.0, 300.0), (0.5, 90.0)
RANGES = {
    "age_y": (0, 40), "anchor_spacing_mm": DISTANCE_MM, "aperture_mm": (0, 8),
    "bond_strength_mpa": (2, 20), "carbonate_rock": (0, 1), "chloride_mg_m2_d": (1, 900),
    "chloride_sigma_ln": (0.3, 1.2), "chromium_pct": (11, 26), "coast_distance_m": (0, 40_000),
    "coast_distance_sd_m": (1, 400), "coating_um": (5, 80), "condition": (0, 4),
    "confidence": (0.5, 0.99), "cost": (10, 500), "crack_distance_mm": DISTANCE_MM,
    "crf": (-25, 3),
    "exposed_days": (10, 900), "loss_um": (5, 200), "p10": (0.2, 2),
    "p50": (0.2, 3), "p90": (0.2, 9), "told": (0, 1), "shift_ln": (-2, 2),
    "model_chloride_mg_m2_d": (2, 300), "salt_mg_m2": (10, 9000),
    "curve": (1e-5, 0.1), "diameter_mm": (8, 16), "edge_distance_mm": DISTANCE_MM,
    "elevation_m": (0, 3000), "embedment_mm": (50, 160), "expected_failures": (0.01, 3),
    "exponent": (0.4, 0.9), "exposure": (1, 90), "external_months": (1, 60), "f1": (-15, 0),
    "f1_road": (-7, 0), "f2": (-10, 0), "f3": (-7, 0), "face_azimuth_deg": (0, 360),
    "face_slope_deg": (60, 130), "failure_probability": SHARE, "failed": (0, 3), "failures": (0, 3),
    "load_ratio": (1.25, 2), "placed": (0, 500),
    "first_year_um": LOSS, "gsi": (10, 95), "hazard": (0, 1), "height_above_sea_m": (0, 200),
    "high_pct": (70, 80), "hole_diameter_mm": (10, 18), "humidity_amplitude_pct": (1, 20),
    "humidity_share": SHARE, "humidity_spread_pct": (1, 10), "joint_spacing_mm": (30, 3000),
    "k": (7, 14), "lat": (-60, 60), "legs": (1, 2), "load_cycles": (0, 40_000),
    "local_factor": (1, 4), "loss": (1, 90), "loss_after": SHARE, "loss_mm": (0, 2),
    "loss_now": SHARE, "low_pct": (30, 35), "median": (1, 200), "metal": SHARE,
    "metal_excess_c": (0, 15), "molybdenum_pct": (0, 6), "more_y": (0, 9),
    "nitrogen_pct": (0, 0.5), "persistence_m": (0, 25), "prior_median_mpa": (5, 200),
    "prior_sigma_ln": (0.2, 0.8), "probability": SHARE, "rate_um_y": (0.1, 300),
    "ratio": (0.1, 9), "rebound_number": (15, 60), "rebound_tests": (1, 9),
    "relative_humidity_pct": (40, 95), "reliability": (0.6, 0.99), "remaining_y": (1, 20),
    "required_kn": (2, 20), "required_mm": (70, 200), "rmr89": (5, 95), "rmr89_dry": (5, 95),
    "rock": SHARE, "rock_kn_p05": (5, 20), "rock_kn_p50": (20, 60), "rqd_pct": (5, 100),
    "salt_share": SHARE, "salted_road_m": (1, 200), "scale_y": (1, 60), "scc_hazard": SHARE,
    "sea_openness": (0, 1), "shape": (1, 3), "shear_ratio": (0.5, 0.6), "shielding": (0, 1),
    "sigma_ln": (0.2, 1), "so2_mg_m2_d": (0.5, 40), "so2_share": SHARE, "so2_sigma_ln": (0.2, 1),
    "so2_ug_m3": (0.5, 200), "spacing_mm": (20, 900), "steel_rate_um_y": LOSS,
    "steel_strength_mpa": (300, 800), "strength_kn": (2, 40), "strength_median_mpa": (4, 200),
    "strength_mpa": (4, 200), "strength_sigma_ln": (0.2, 0.8), "sulphate": (0, 1), "sun": (0, 1),
    "surface_temperature_c": (0, 50), "target_per_y": (1e-3, 0.05),
    "temperature_amplitude_c": (1, 8), "temperature_c": (0, 28), "temperature_spread_c": (1, 6),
    "tests": (1, 60), "time_of_wetness_h_y": (1, 8000), "time_y": (0, 40),
    "unit_weight_kn_m3": (18, 30), "unknown_bonded": SHARE, "unknown_driven": SHARE,
    "visits_per_year": (1, 500), "warm_month_c": (15, 32), "wind_speed_m_s": (0, 20),
    "years": (0, 40), "years_since": (0, 9), "zinc_rate_um_y": (0.2, 9),
}  # fmt: skip
WORDS = {
    "adhesive": words.ADHESIVES, "corrosivity_category": words.CATEGORIES,
    "favourability": words.FAVOURABILITY, "hazard_band": words.BANDS,
    "hole_condition": words.HOLE_CONDITIONS, "infilling": words.INFILLING,
    "isrm_grade": words.STRENGTH_GRADES, "kind": words.KINDS, "material": MATERIAL_NAMES,
    "names": tuple(lithologies()), "position": words.POSITIONS,
    "rain_washed": words.YES_NO_UNKNOWN, "rod_shape": words.ROD_SHAPES,
    "roughness": words.ROUGHNESS, "scc_band": words.BANDS, "tap_response": words.TAP_RESPONSES,
    "texts": ("welded tuff", "granite"), "veto": ("", "hollow"), "water": words.WATER,
    "weathering": words.JOINT_WEATHERING, "weathering_grade": words.WEATHERING,
}  # fmt: skip
FIXED = {
    "metal": "steel", "material": "304", "way": "visible", "probability": 0.1, "prior": (2.0, 40.0),
    "table": CureTable(np.array([-5.0, 30.0]), np.array([60.0, 3.0]), np.array([600.0, 40.0]), ""),
    "shares": np.arange(1.0, len(MATERIAL_NAMES) + 1.0),
}  # fmt: skip
"""What is not an array where the formula takes one word or record."""
SHAPE, EDGE = (2, 3), (3,)
UNITS = {
    "um_y": "um year-1", "mg_m2_d": "mg m-2 d-1", "kn": "kN", "mm": "mm", "mpa": "MPa",
    "months": "month", "pct": "%", "hpa": "hPa", "h_y": "h year-1", "min": "min", "um": "um",
    "y": "year", "kn_m3": "kN m-3",
}  # fmt: skip


def inputs(formula, rng):
    """Arrays of shape `SHAPE` for every parameter that may have labels, and the rest."""
    arrays, rest = {}, {}
    for name, parameter in inspect.signature(formula).parameters.items():
        kind = parameter.annotation
        if parameter.kind is parameter.VAR_KEYWORD:
            if formula.__name__ == "beyond_calibration":
                climate = ("temperature_c", "chloride_mg_m2_d")
                arrays |= {n: rng.uniform(*RANGES[n], SHAPE) for n in climate}
        elif kind == "Values":
            last = (12,) if name in formula.formula.takes else ()
            arrays[name] = np.sort(rng.uniform(*RANGES[name], SHAPE + last))
        elif kind == "Words":
            arrays[name] = rng.choice(np.array(WORDS[name], dtype=object), SHAPE)
        elif kind == "Flags":
            arrays[name] = rng.random(SHAPE) < 0.5
        elif name in FIXED and (parameter.default is parameter.empty or name == "shares"):
            rest[name] = FIXED[name]
    if formula.__name__ == "unknown_condition":
        rest["shares"] = (0.5, 0.2, 0.2, 0.09, 0.01)
    return arrays, rest


def unit_of(name):
    """A unit that a DataArray of this argument may say: its own, any where the name has none."""
    ends = [end for end in ACCEPTED if name.endswith(end)]
    return ACCEPTED[max(ends, key=len)][0] if ends else "furlong"


def results(formula, found):
    """What a formula gave, by name."""
    several = len(formula.formula.units) > 1
    each = found.values() if isinstance(found, dict) else found if several else (found,)
    return dict(zip(formula.formula.units, each, strict=True))


def same(one, other):
    one, other = np.asarray(one), np.asarray(other)
    assert one.shape == other.shape
    if one.dtype == object or one.dtype.kind in "UT":
        assert one.tolist() == other.tolist()
    else:
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-12)


def wide(formula, name, result):
    """A result of arrays in the shape of all inputs, which it may not depend on."""
    axis = formula.formula.gives.get(name)
    return np.broadcast_to(result, SHAPE + ((len(axis.words),) if axis else ()))


each_formula = pytest.mark.parametrize("name", FORMULAS)
seeds = st.integers(0, 2**32 - 1)
few = settings(max_examples=3)


def test_every_function_is_a_formula_or_says_why_not():
    used = set()
    for info in pkgutil.walk_packages(__path__, "saltreach.science."):
        module = importlib.import_module(info.name)
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ != info.name or name.startswith("_"):
                continue
            short = f"{info.name.removeprefix('saltreach.science.')}.{name}"
            why = {short, short.rpartition(".")[0]} & set(NO_FORMULAS)
            assert (short in FORMULAS) or why, f"{short}: make it a formula, or say why it is none"
            used |= why if short not in FORMULAS else set()
    assert used == set(NO_FORMULAS)


@each_formula
def test_the_docstring_says_all(name):
    text = inspect.getdoc(FORMULAS[name])
    headings = re.findall(r"^(\w+)\n-+$", text, flags=re.MULTILINE)
    order = ["Parameters", "Returns", "Raises", "Notes", "References", "Examples"]
    assert [h for h in order if h in headings] == headings
    assert {"Parameters", "Returns", "References", "Examples"} <= set(headings)
    listed = text.partition("Parameters\n")[2].partition("\nReturns\n")[0]
    for parameter in inspect.signature(FORMULAS[name]).parameters:
        assert re.search(rf"^(\*\*|.*, )?{parameter}\b.* ?[:,]", listed, re.MULTILINE), parameter


@each_formula
def test_the_unit_is_that_of_the_name(name):
    for result, unit in FORMULAS[name].formula.units.items():
        ends = [u for u in UNITS if result.endswith(f"_{u}")]
        if ends and FORMULAS[name].formula.returns is not dict:
            assert unit == UNITS[max(ends, key=len)], result
        else:
            assert unit is None or unit in {"", "1", "year", "year-1", "month", "MPa", "mg m-2 d-1",
                                            "kN"}  # fmt: skip


@each_formula
@few
@given(seed=seeds)
def test_scalar_list_and_array_agree(name, seed):
    formula = FORMULAS[name]
    arrays, rest = inputs(formula, np.random.default_rng(seed))
    whole = results(formula, formula(**arrays, **rest))
    lists = results(formula, formula(**{n: v.tolist() for n, v in arrays.items()}, **rest))
    for at in np.ndindex(SHAPE):
        one = {n: v[at] if n in formula.formula.takes else v[at].item() if v.dtype != object
               else v[at] for n, v in arrays.items()}  # fmt: skip
        alone = results(formula, formula(**one, **rest))
        for key, result in whole.items():
            same(alone[key], wide(formula, key, result)[at])
    for key, result in whole.items():
        same(lists[key], result)


@each_formula
@few
@given(seed=seeds)
def test_a_series_stays_a_series(name, seed):
    formula = FORMULAS[name]
    arrays, rest = inputs(formula, np.random.default_rng(seed))
    index = pd.Index(list("uvwxyz"), name="place")
    flat = {n: v.reshape(6, *v.shape[2:]) for n, v in arrays.items()}
    labelled = {
        n: pd.DataFrame(v, index) if v.ndim == 2 else pd.Series(v, index) for n, v in flat.items()
    }
    expected = results(formula, formula(**arrays, **rest))
    for key, found in results(formula, formula(**labelled, **rest)).items():
        assert found.index.equals(index)
        array = wide(formula, key, expected[key])
        same(found.to_numpy(), array.reshape(6, *array.shape[2:]))
        axis = formula.formula.gives.get(key)
        assert isinstance(found, pd.DataFrame if axis else pd.Series)
        if axis:
            assert found.columns.tolist() == list(axis.words)


@each_formula
@few
@given(seed=seeds)
@pytest.mark.parametrize("chunked", [False, True], ids=["numpy", "dask"])
def test_a_dataarray_keeps_its_dims_and_coords_and_gets_its_own_unit(name, chunked, seed):
    formula = FORMULAS[name]
    arrays, rest = inputs(formula, np.random.default_rng(seed))
    coords = {"lat": [40.0, 41.0], "lon": [1.0, 2.0, 3.0]}
    labelled = {}
    for n, values in arrays.items():
        dims = ("lat", "lon") + ((formula.formula.takes[n].name,) if values.ndim == 3 else ())
        given_ = xr.DataArray(values, coords, dims, name=n, attrs={"units": unit_of(n), "x": 1})
        # an axis out of order and one that is missing are found by their names
        labelled[n] = given_.transpose(*dims[1::-1], ...)
        if chunked:
            labelled[n] = labelled[n].chunk({"lat": 1, "lon": 2})
    expected = results(formula, formula(**arrays, **rest))
    for key, found in results(formula, formula(**labelled, **rest)).items():
        axis = formula.formula.gives.get(key)
        assert isinstance(found, xr.DataArray)
        assert (found.chunks is not None) == chunked
        ordered = found.transpose("lat", "lon", *((axis.name,) if axis else ()))
        same(ordered.values, wide(formula, key, expected[key]))
        for dim, values in coords.items():
            assert found[dim].values.tolist() == values
        if axis:
            assert found[axis.name].values.tolist() == list(axis.words)
        unit = formula.formula.units[key]
        assert found.attrs.get("units", "") == (unit or "")
        assert set(found.attrs) <= {"units", "long_name"}
        assert found.attrs["long_name"].startswith(formula.formula.long_name)
        assert found.name == key


def test_dataarrays_of_different_dims_are_broadcast_by_name():
    distance = xr.DataArray([10.0, 1000.0], dims="distance", attrs={"units": "m"})
    openness = xr.DataArray([0.1, 0.5, 0.9], dims="openness", coords={"openness": [0.1, 0.5, 0.9]})
    found = salt.chloride(distance, sea_openness=openness)
    assert found.median.sizes == {"distance": 2, "openness": 3}
    assert found.median.attrs["units"] == "mg m-2 d-1"
    expected = salt.chloride(distance.values[:, None], sea_openness=openness.values)
    np.testing.assert_allclose(found.median, expected.median)
    assert salt.chloride(distance).median.attrs["units"] == "mg m-2 d-1"


def test_missing_entries_of_pandas_are_unknown():
    distance = pd.Series([100.0, None], dtype="Float64")
    assert salt.chloride(distance).median.isna().tolist() == [False, True]
    washing = FORMULAS["air.wetness.rain_washed_from_face"](
        pd.Series([None, 120.0]), pd.Series([None, None], dtype="string")
    )
    assert washing.tolist() == ["unknown", "no"]


def test_a_result_may_be_written_to():
    distance = xr.DataArray([10.0, 1000.0], dims="distance")
    for found in (salt.chloride(distance).median, salt.chloride(distance.to_series()).median):
        found[0] = 1.0
        assert found.to_numpy()[0] == 1.0


def test_two_series_that_differ_in_index_are_refused():
    one, other = pd.Series([1.0, 2.0], ["a", "b"]), pd.Series([1.0, 2.0], ["b", "a"])
    with pytest.raises(OptionError, match="sea_openness: its index differs"):
        salt.chloride(one, sea_openness=other)
