"""Lithology words, the table's errors, vetoes and conflicts."""

import numpy as np
import pytest

from saltreach.errors import LayerError, OptionError
from saltreach.science.rock import lithology, rebound
from saltreach.science.rock import strength as rock


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
    assert lithology.lithology_of([text]).tolist() == [name]


def test_shapes_and_empty():
    assert lithology.lithology_of([]).shape == (0,)
    assert lithology.lithology_of([["granite", "x"]]).shape == (1, 2)
    median, sigma = lithology.strength_prior(["unknown", "unconsolidated sediments", "not there"])
    assert np.isnan(median).all()
    assert np.isnan(sigma).all()


def test_every_row_of_the_table_says_what_it_leans_on():
    for rock_class in lithology.lithologies().values():
        assert rock_class.status == "from memory"
        assert len(rock_class.source) > 10


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("a,,x,3,,,,s,s,w,p", "row 2, column ucs_low_mpa: 'x' is not a positive number"),
        ("a,,-1,3,,,,s,s,w,p", "column ucs_low_mpa: '-1'"),
        ("a,,9,3,,,,s,s,w,p", "9 is above ucs_high_mpa 3; swap them"),
        ("a,,1,3,,,,s,s,w,p\nb,,1,3,,,,s,s,w,q", "row 3: 'w' belongs to 'a' already"),
        ("a,su,1,3,,,,s,s,w,p\nb,su,1,3,,,,s,s,v,q", "row 3: 'code su' belongs to 'a' already"),
        ("a,,1,3,,,,s,s,w,p\na,,1,3,,,,s,s,w,p", "row 3, column name: 'a' is there twice"),
    ],
)
def test_an_edited_table_is_checked(tmp_path, row, message):
    header = ",".join(lithology._COLUMNS)
    file = tmp_path / "mine.csv"
    file.write_text(f"{header}\n{row}\n", encoding="utf-8")
    with pytest.raises(LayerError, match=r"^mine\.csv") as caught:
        lithology.read_lithologies(file)
    assert message in str(caught.value)


def test_missing_columns_are_named(tmp_path):
    file = tmp_path / "mine.csv"
    file.write_text("name,glim\na,su\n", encoding="utf-8")
    with pytest.raises(LayerError, match="ucs_low_mpa"):
        lithology.read_lithologies(file)


def test_an_edited_table_is_used(tmp_path):
    file = tmp_path / "mine.csv"
    row = "serpentinite,,40,160,2.5,2.7,12,own,own tests,green stone,piedra verde"
    file.write_text(f"{','.join(lithology._COLUMNS)}\n{row}\n", encoding="utf-8")
    table = lithology.read_lithologies(file)
    names = lithology.lithology_of(["Piedra verde", "granite"], table)
    assert names.tolist() == ["serpentinite", "unknown"]
    assert lithology.strength_prior(names, table)[0][0] == pytest.approx(80.0)


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
    with pytest.raises(OptionError, match=r"aufmuth.*singh"):
        rebound.rebound_strength_by_correlation_mpa(40, "aufmuth")
    with pytest.raises(OptionError, match=r"1\.0.*between 0 and 1"):
        rock.strength_quantile_mpa(100.0, 0.3, 1.0)


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
