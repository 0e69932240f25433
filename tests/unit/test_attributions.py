"""Who made the data of a drawing is said on it, once each, in order."""

import pytest

from saltreach.assessment.attributions import attributions_of
from saltreach.assessment.backdrop import Backdrop
from saltreach.layers.climate import climate_origins
from saltreach.layers.coast import embedded_origin
from saltreach.layers.layer import Origin


def test_each_once_in_the_order_of_the_layers_and_the_backdrop_last():
    layers = [{"attribution": "B"}, {"attribution": ""}, {}, {"attribution": "A"},
              {"attribution": "B"}, {"attribution": None}]  # fmt: skip
    behind = Backdrop(None, (), ("C", "A", ""))
    assert attributions_of({"layers": layers}, behind) == ["B", "A", "C"]
    assert attributions_of({"layers": layers}) == ["B", "A"]
    assert attributions_of({}) == []


@pytest.mark.parametrize(
    ("layer", "said"),
    [
        ({"source": "GSHHG 2.3.7, NOAA", "licence": "LGPL"}, "Shoreline: GSHHG 2.3.7 (LGPL)"),
        ({"source": "/home/me/own.gpkg"}, "Shoreline: own.gpkg (licence not stated)"),
        ({"name": "own", "licence": None}, "Shoreline: own (licence not stated)"),
        ({}, "Shoreline: unknown (licence not stated)"),
        ({"source": "x", "attribution": "By me"}, "By me"),
    ],
)
def test_a_shoreline_is_always_named(layer, said):
    record = {"layers": [{"quantity": "rain", "source": "x"}, {"quantity": "shoreline", **layer}]}
    assert attributions_of(record) == [said]


@pytest.mark.pinned("published")
def test_the_embedded_layers_say_what_their_terms_ask_for():
    """The second sentence: licence to use Copernicus products, 5.1.2, "Generated using Copernicus
    Climate Change Service information [Year]"."""
    origins = [embedded_origin(), *climate_origins()]
    assert attributions_of({"layers": [origin.record() for origin in origins]}) == [
        "Shoreline: GSHHG (Wessel & Smith 1996), LGPL-3.0",
        "Generated using Copernicus Climate Change Service information 2025",
    ]
    assert Origin("x", "y").record()["attribution"] == ""
