"""The wrapper of the formulas on formulas made up for it."""

from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from saltreach.errors import OptionError
from saltreach.science.labelled import ACCEPTED, Axis, labelled


class Pair(NamedTuple):
    total: object
    name: object


@labelled("kN")
def force(load_kn: "Values", share: "Values" = 1.0, scale: float = 1.0) -> object:  # noqa: F821
    """Force on an anchor.

    More of it.
    """
    return np.asarray(load_kn, float) * np.asarray(share, float) * scale


@labelled({"total": "m", "name": None}, returns=Pair)
def pair(length_m: "Values", word: "Words" = "") -> Pair:  # noqa: F821
    """Two results"""
    length = np.asarray(length_m, float)
    return Pair(2 * length, np.where(length > 1, "long", word).astype(object))


@labelled({"one": "1", "two": ""}, returns=dict, gives={"two": Axis("side", ("l", "r"))})
def by_name(length_m: "Values") -> dict:  # noqa: F821
    length = np.asarray(length_m, float)
    return {"one": np.float64(1.0), "two": np.stack([length, -length], axis=-1)}


@labelled("1", dtype=bool, gives=Axis("side", ("l", "r")), takes={"series_c": Axis("month")})
def sides(series_c: "Values", wet: "Flags" = False, **more_m: "Values") -> object:  # noqa: F821
    """Sides."""
    most = np.asarray(series_c, float).max(axis=-1) + sum(np.asarray(v) for v in more_m.values())
    return np.stack(np.broadcast_arrays(most > 10, np.asarray(wet, bool) & (most > 0)), axis=-1)


@labelled("m")
def bare(length_m: "Values") -> object:  # noqa: F821
    return np.asarray(length_m, float)


INDEX = pd.Index(["a", "b"], name="place")


def series(*values):
    return pd.Series(values, INDEX)


def array(*values, **attrs):
    return xr.DataArray(list(values), {"place": ["a", "b"]}, "place", attrs=attrs)


def test_what_a_formula_says_of_itself():
    said = force.formula
    assert (said.units, said.returns, said.gives, said.takes) == ({"force": "kN"}, None, {}, {})
    assert (said.dtype, said.long_name) == (float, "Force on an anchor")
    assert pair.formula.returns is Pair
    assert pair.formula.gives == {}
    assert pair.formula.long_name == "Two results"
    assert bare.formula.long_name == ""
    assert sides.formula.gives == {"sides": Axis("side", ("l", "r"))}
    assert sides.formula.takes == {"series_c": Axis("month")}


def test_without_labels_the_formula_is_as_it_is():
    assert force([1.0, 2.0], 3.0).tolist() == [3.0, 6.0]
    assert isinstance(pair(2.0), Pair)
    assert by_name(2.0)["one"] == 1.0


def test_series_in_series_out_with_a_scalar_a_list_and_an_argument_of_another_kind():
    found = force(series(1.0, 2.0), [3.0, 4.0], scale=10.0)
    pd.testing.assert_series_equal(found, pd.Series([30.0, 80.0], INDEX, name="force"))
    found = force(5.0, share=series(1.0, 2.0))
    pd.testing.assert_series_equal(found, pd.Series([5.0, 10.0], INDEX, name="force"))
    with pytest.raises(OptionError, match=r"share: its index differs"):
        force(series(1.0, 2.0), pd.Series([1.0, 2.0], ["b", "a"]))


def test_series_of_words_and_missing_entries():
    length = pd.Series([None, 3.0], INDEX, dtype="Float64")
    found = pair(length, pd.Series([None, "x"], INDEX, dtype="string"))
    assert isinstance(found, Pair)
    assert np.isnan(found.total["a"])
    assert found.total["b"] == 6.0
    assert found.name.tolist() == ["", "long"]


def test_a_last_axis_of_a_series_is_columns():
    found = by_name(series(1.0, 2.0))
    assert list(found) == ["one", "two"]
    pd.testing.assert_series_equal(found["one"], pd.Series([1.0, 1.0], INDEX, name="one"))
    expected = pd.DataFrame([[1.0, -1.0], [2.0, -2.0]], INDEX, ["l", "r"])
    pd.testing.assert_frame_equal(found["two"], expected)
    months = pd.DataFrame([[5.0, 11.0, 7.0], [1.0, 2.0, 3.0]], INDEX)
    expected = pd.DataFrame([[True, True], [False, False]], INDEX, ["l", "r"])
    pd.testing.assert_frame_equal(sides(months, pd.Series([True, None], INDEX, dtype="boolean")),
                                  expected)  # fmt: skip
    more = sides(months, near_m=series(0.0, 9.0))
    assert more["l"].tolist() == [True, True]
    # months that belong to every place alike have no index of their own
    alike = sides(pd.Series([5.0, 6.0, 7.0]), series(True, False))
    assert alike.index.equals(INDEX)
    assert alike["r"].tolist() == [True, False]
    assert sides(pd.Series([5.0, 11.0, 7.0])).tolist() == [True, False]


@pytest.mark.parametrize("chunked", [False, True], ids=["numpy", "dask"])
def test_dataarrays_keep_what_is_theirs_and_get_the_units_of_the_result(chunked):
    load = array(1.0, 2.0, units="kN", history="of another")
    found = force(load.chunk() if chunked else load, xr.DataArray([1.0, 2.0], dims="case"))
    assert (found.chunks is not None) == chunked
    assert found.dims == ("place", "case")
    assert found.values.tolist() == [[1.0, 2.0], [2.0, 4.0]]
    assert found["place"].values.tolist() == ["a", "b"]
    assert (found.name, found.attrs) == (
        "force", {"long_name": "Force on an anchor", "units": "kN"},
    )  # fmt: skip
    total, name = pair(load.assign_attrs(units="m").chunk() if chunked else array(1.0, 2.0))
    assert total.attrs == {"long_name": "Two results: total", "units": "m"}
    assert name.attrs == {"long_name": "Two results: name"}
    assert (total.dtype, name.dtype) == (float, object)
    assert name.values.tolist() == ["", "long"]
    both = by_name(array(1.0, 2.0).chunk() if chunked else array(1.0, 2.0))
    assert both["two"].dims == ("place", "side")
    assert both["two"]["side"].values.tolist() == ["l", "r"]
    assert both["one"].values.tolist() == [1.0, 1.0]
    assert "units" not in both["two"].attrs
    year = xr.DataArray([[5.0, 11.0], [1.0, 2.0]], dims=("month", "place"))
    flags = sides(year.chunk(place=1) if chunked else year, array(True, True))
    assert flags.dtype == bool
    assert flags.transpose("place", "side").values.tolist() == [[False, True], [True, True]]


def test_another_unit_is_refused_and_one_of_the_name_or_of_none_is_taken():
    with pytest.raises(OptionError, match="load_kn: its units are 'N'; convert it to kN"):
        force(array(1.0, 2.0, units="N"))
    with pytest.raises(OptionError, match="length_m: .* convert it to m"):
        pair(array(1.0, 2.0, units="km"))
    assert force(array(1.0, 2.0, units="kN"), array(1.0, 1.0, units="furlong")).sum() == 3.0
    assert bare(array(1.0, 2.0, units="metres")).sum() == 3.0

    @labelled("1")
    def both(rate_um_y: "Values", salt_mg_m2_d: "Values" = 0.0) -> object:  # noqa: F821
        return np.asarray(rate_um_y) + np.asarray(salt_mg_m2_d)

    assert both(array(1.0, 2.0, units="um/y"), array(1.0, 1.0, units="mg m-2 d-1")).sum() == 5.0
    with pytest.raises(OptionError, match="convert it to um year-1"):
        both(array(1.0, 2.0, units="m"))


@pytest.mark.parametrize("chunked", [False, True], ids=["numpy", "dask"])
def test_what_is_nothing_or_one_number_is_handed_on_as_it_is(chunked):
    given = []

    @labelled("m")
    def noted(length_m: "Values", width_m: "Values" = None, **more: "Words") -> object:  # noqa: F821
        given.append((width_m, more))
        return np.asarray(length_m, float)

    length = array(1.0, 2.0).chunk() if chunked else array(1.0, 2.0)
    assert noted(length, None, colour="grey").compute().values.tolist() == [1.0, 2.0]
    assert given[-1] == (None, {"colour": "grey"})


def test_what_has_dimensions_but_no_coordinates_is_an_array():
    found = force(xr.Variable("place", [1.0, 2.0]))
    assert isinstance(found, np.ndarray) and found.tolist() == [1.0, 2.0]


def test_no_end_of_a_name_is_the_end_of_another():
    """So the first unit found for a name is its only one."""
    assert not [(a, b) for a in ACCEPTED for b in ACCEPTED if a != b and a.endswith(b)]


def test_words_by_names_of_their_own_are_words():
    @labelled(None)
    def joined(length_m: "Values", **more: "Words") -> object:  # noqa: F821
        return np.char.add(*(np.asarray(v, str) for v in more.values())).astype(object)

    words = pd.Series(["a", None], INDEX, dtype="string")
    assert joined(series(1.0, 2.0), one=words, two=words).tolist() == ["aa", ""]


def test_a_result_may_be_written_to():
    for made in (series, array):
        found = by_name(made(1.0, 2.0))["one"]
        found.loc["a"] = 7.0
        assert found.values.tolist() == [7.0, 1.0]
