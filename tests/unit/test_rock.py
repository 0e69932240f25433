"""Lithology words, the table's errors, vetoes and conflicts."""

from importlib.resources import files

import numpy as np
import pytest

from saltreach.errors import OptionError
from saltreach.science.distributions import lognormal_quantile
from saltreach.science.rock import lithology
from saltreach.science.rock import strength as rock
from saltreach.vocabulary.rocks import lithologies, lithology_of


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Granite", "granite"),
        ("granodiorita", "granite"),
        ("Calizas grises y margas", "limestone"),
        ("CALIZA DOLOMÍTICA", "dolomite"),
        ("dolomitic limestones", "dolomite"),
        ("Areniscas y lutitas", "sandstone"),
        ("mármol", "marble"),
        ("toba volcánica", "tuff"),
        ("toba calcárea", "calcarenite"),
        ("Schists", "schist"),
        ("basaltic andesite", "andesite"),
        ("pizarras", "slate"),
        ("ssmx__", "siliciclastic sedimentary"),
        ("SCPU", "carbonate sedimentary"),
        ("schi", "unknown"),
        ("pink", "unknown"),
        ("vaxxyy", "unknown"),
        ("wb", "unknown"),
        ("", "unknown"),
        (None, "unknown"),
        (np.nan, "unknown"),
        ("<script>", "unknown"),
    ],
)
def test_words(text, name):
    assert lithology_of([text]).tolist() == [name]


def test_shapes_and_empty():
    assert lithology_of([]).shape == (0,)
    assert lithology_of([["granite", "x"]]).shape == (1, 2)
    median, sigma = lithology.strength_prior(["unknown", "unconsolidated sediments", "not there"])
    assert np.isnan(median).all()
    assert np.isnan(sigma).all()


def test_every_row_of_the_table_says_what_it_leans_on():
    for rock_class in lithologies().values():
        assert rock_class.status == "from memory"
        assert len(rock_class.source) > 10


def test_the_table_holds_together():
    rocks = lithologies()
    for rock_class in rocks.values():
        assert not rock_class.ucs_low_mpa > rock_class.ucs_high_mpa
        assert not rock_class.density_low_t_m3 > rock_class.density_high_t_m3
        assert all(np.isnan(v) or v > 0 for v in rock_class[2:6])
    for keys in ("words", "glim", "name"):
        # a word, a code or a name stands for one lithology only
        each = [
            k for r in rocks.values() for k in ([r.name] if keys == "name" else getattr(r, keys))
        ]
        assert len(each) == len(set(each))
    with files("saltreach.vocabulary").joinpath("lithologies.csv").open(encoding="utf-8") as handle:
        assert len(rocks) == sum(1 for _ in handle) - 1


def test_hollow_always_vetoes():
    for grade in ("", *rock.WEATHERING_FACTOR):
        assert "hollow" in str(rock.evidence_veto("hollow", grade))
    assert rock.evidence_veto(["ringing", "dull", "", None], "W4").tolist() == [""] * 4
    assert "W6" in str(rock.evidence_veto("ringing", "W6"))


def test_unknown_words_are_refused_with_the_choices():
    with pytest.raises(OptionError, match=r"'loud'.*ringing"):
        rock.strength_posterior(100.0, 0.3, tap_response="loud")
    with pytest.raises(OptionError, match=r"W9.*W1"):
        rock.evidence_veto("", "W9")
    with pytest.raises(OptionError, match=r"1\.0.*between 0 and 1"):
        lognormal_quantile(100.0, 0.3, 1.0)


def test_conflicts_name_the_pair():
    z, text = rock.evidence_conflict(
        [158.0, 158.0, 158.0, np.nan],
        0.357,
        rebound_number=[50.0, 15.0, 50.0, 50.0],
        unit_weight_kn_m3=26.0,
        rebound_tests=10,
        isrm_grade=["R5", "R5", "R1", ""],
    )
    assert text.tolist() == [
        "",
        "rebound number against lithology",
        "hammer grade against lithology",
        "",
    ]
    assert np.isnan(z[3])


def test_weathered_grade_explains_a_low_reading():
    inputs = {"rebound_number": 12.0, "unit_weight_kn_m3": 26.0, "rebound_tests": 10}
    fresh, _ = rock.evidence_conflict(158.0, 0.357, **inputs)
    weathered, _ = rock.evidence_conflict(158.0, 0.357, weathering_grade="W4", **inputs)
    assert weathered < fresh
