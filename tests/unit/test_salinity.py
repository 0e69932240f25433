"""Salinity of the seas: pinned by place, the saltier where outlines meet."""

import numpy as np
import pytest
import shapely

from saltreach.errors import LayerError
from saltreach.layers import salinity
from saltreach.layers.salinity import sea_salinity_g_kg

# Positions of towns and cliffs from memory, 0.05 degrees or better. Salinities: Gdansk published
# (Zakowski and others 2014, at most 0.7 %), the rest from memory as the table says.
PLACES = [
    ("Kemi", 24.56, 65.73, 3, "Bothnian Bay"),
    ("Skuleberget, High Coast", 18.37, 63.08, 6, "Bothnian Sea"),
    ("Helsinki", 24.94, 60.16, 6, "Gulf of Finland"),
    ("Jurmala", 23.77, 56.97, 6, "Gulf of Riga"),
    ("Gdansk", 18.66, 54.40, 7, "central Baltic"),
    ("Visby, Gotland", 18.29, 57.64, 7, "central Baltic"),
    ("Stockholm archipelago", 18.70, 59.30, 7, "central Baltic"),
    ("Helligdomsklipperne, Bornholm", 14.90, 55.22, 9, "Arkona and Bornholm basins"),
    ("Kap Arkona, Ruegen", 13.43, 54.68, 9, "Arkona and Bornholm basins"),
    ("Kiel", 10.16, 54.36, 18, "Belt Sea and the Sound"),
    ("Kullaberg", 12.45, 56.30, 25, "Kattegat"),
    ("Varna", 27.95, 43.20, 18, "Black Sea"),
    ("Simeiz, Crimea", 34.00, 44.40, 18, "Black Sea"),
    ("Mariupol", 37.55, 47.08, 14, "Sea of Azov"),
    ("Erdek, Marmara", 27.79, 40.40, 25, "Sea of Marmara"),
    ("Baku", 49.88, 40.36, 13, "Caspian Sea"),
    ("Jeddah", 39.15, 21.50, 40, "Red Sea"),
    ("Dahab", 34.51, 28.50, 42, "Gulfs of Suez and Aqaba"),
    ("Khasab, Musandam", 56.24, 26.19, 40, "Persian Gulf"),
    ("Manama", 50.58, 26.22, 40, "Persian Gulf"),
    ("Thyboron, west Jutland", 8.20, 56.70, 35, "open sea"),
    ("Skagen", 10.60, 57.73, 35, "open sea"),
    ("Husum, North Sea", 9.05, 54.47, 35, "open sea"),
    ("Lisbon", -9.20, 38.70, 35, "open sea"),
    ("Kalymnos", 26.95, 36.98, 35, "open sea"),
    ("Gulf of Saros, Aegean", 26.75, 40.63, 35, "open sea"),
    ("Haifa, Mediterranean", 34.98, 32.83, 35, "open sea"),
    ("Port Said, Mediterranean", 32.30, 31.26, 35, "open sea"),
    ("Aden", 45.03, 12.78, 35, "open sea"),
    ("Fujairah, Gulf of Oman", 56.35, 25.13, 35, "open sea"),
]


@pytest.mark.parametrize(
    ("place", "lon", "lat", "expected", "sea"),
    [
        pytest.param(
            *row, marks=pytest.mark.pinned("published" if row[0] == "Gdansk" else "memory")
        )
        for row in PLACES
    ],
)
def test_a_place_has_the_salinity_of_its_sea(place, lon, lat, expected, sea):
    value, name = sea_salinity_g_kg(lon, lat)
    assert (value.tolist(), name.tolist()) == ([expected], [sea])


def test_every_sea_of_the_table_is_pinned_by_a_place():
    pinned = {sea for *_, sea in PLACES} | {"Garabogazkol"}
    assert {sea.name for sea in salinity.seas()} | {"open sea"} == pinned
    # The brine bay beside the Caspian, and its mouth, which counts as the bay.
    value, name = sea_salinity_g_kg([53.6, 52.92], [41.4, 41.1])
    assert value.tolist() == [300, 300]
    assert set(name) == {"Garabogazkol"}


@pytest.mark.pinned("peer")
def test_where_outlines_overlap_the_saltier_counts():
    lon, lat = (v.ravel() for v in np.meshgrid(np.arange(8.0, 31, 0.1), np.arange(53, 67, 0.1)))
    value, _ = sea_salinity_g_kg(lon, lat)
    holding = np.array(
        [
            np.where(shapely.contains_xy(shapely.Polygon(sea.outline_deg), lon, lat), 1, np.nan)
            * sea.salinity_g_kg
            for sea in salinity.seas()
        ]
    )
    some = np.isfinite(holding).any(axis=0)
    assert (np.isfinite(holding).sum(axis=0) > 1).any()
    np.testing.assert_array_equal(value[some], np.nanmax(holding[:, some], axis=0))
    assert (value[~some] == 35).all()


def test_the_table_is_whole():
    for sea in salinity.seas():
        outline = shapely.Polygon(sea.outline_deg)
        assert outline.is_valid, sea.name
        assert 0 < sea.salinity_g_kg <= 350, sea.name
        assert sea.source, sea.name
        assert "from memory" in sea.status, sea.name
    assert "published" in next(s for s in salinity.seas() if s.name == "central Baltic").status


def test_unknown_stays_unknown_and_a_turn_of_the_globe_changes_nothing():
    value, name = sea_salinity_g_kg([np.nan, 18.66, np.inf], [54.4, np.nan, 54.4])
    assert np.isnan(value).all()
    assert name.tolist() == ["", "", ""]
    here, there = sea_salinity_g_kg([18.66], [54.4]), sea_salinity_g_kg([378.66], [54.4])
    assert here[0] == there[0] == 7
    assert [len(v) for v in sea_salinity_g_kg([], [])] == [0, 0]


def test_columns_of_two_lengths_are_refused():
    with pytest.raises(LayerError, match="one length"):
        sea_salinity_g_kg([1.0, 2.0], [1.0])


def test_the_record_says_what_is_from_memory():
    record = salinity.salinity_origin().record()
    assert "from memory" in record["source"]
    assert len(record["sha256"]) == 64
