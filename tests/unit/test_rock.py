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
        ("Kalkstein", "limestone"),
        ("dolomitischer Kalk", "dolomite"),
        ("Glimmerschiefer", "schist"),
        ("Schiefer", "unknown"),  # slate or schist
        ("schiste", "unknown"),  # shale or schist
        ("schiste argileux", "mudstone"),
        ("tuf volcanique", "tuff"),
        ("calcaires gris", "limestone"),
        ("tufo calcareo", "calcarenite"),
        ("arenaria rossa", "sandstone"),
        ("gnaisse", "gneiss"),
        ("folhelho", "mudstone"),
        ("riólito", "rhyolite"),
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


@pytest.mark.pinned("judgement", answers=52)
def test_words_beside_a_name_count_in_every_spelling_and_the_weathered_one_not_twice():
    """Judgement; the words that follow are the whole list."""
    spellings = {
        "welded soldada soldado verschweisst verschweißt soudé": 4.0,
        "silicified silicificada silicificado verkieselt silicifié": 1.6,
        "weathered meteorizada meteorizado verwittert altéré altérée alterada alterado": 0.5,
        "rotten decomposed friable crumbly descompuesta descompuesto pourri pourrie morsch "
        "zersetzt decomposta decomposto": 0.1,
        "soft weak blanda blando weich tendre tenera tenero branda brando": 0.5,
        "porous vuggy porosa poroso porös poreux poreuse": 0.6,
    }
    known = dict.fromkeys(("well cemented", "bien cementada", "bien cementado"), 1.3)
    known |= {"poorly cemented": 0.5}
    known |= {word: factor for words, factor in spellings.items() for word in words.split()}
    assert sum(len(words) for *_, words in lithology.QUALIFIERS) == len(known)
    texts = [f"{word} rock" for word in known]
    assert lithology.strength_qualifier(texts, "tuff").tolist() == list(known.values())
    noted = lithology.strength_qualifier(texts, "tuff", weathering_known=True)
    assert {w for w, f in zip(known, noted, strict=True) if f == 1.0} == {
        "weathered", "meteorizada", "meteorizado", "verwittert", "altéré", "altérée", "alterada",
        "alterado",
    }  # fmt: skip
    # welded counts for pyroclastic rock alone; two words count both
    names = ["tuff", "pyroclastic", "granite"]
    assert lithology.strength_qualifier("welded soft", names).tolist() == [2.0, 2.0, 0.5]


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
    with pytest.raises(OptionError, match=r"'loud'.*ringing"):
        rock.evidence_veto("loud", "W5")
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


@pytest.mark.pinned("worked", answers=6)
def test_differences_of_the_sources_by_hand():
    """ln 158 = 5.0626; a rebound of 40 at 26 kN/m3 4.4329, its spread sqrt(0.53^2 + 0.5409^2 / 3) =
    0.6154; R2 is sqrt(5 x 25), 2.4141, spread 0.4646. 0.6297 / sqrt(0.357^2 + 0.6154^2) = 0.885;
    2.6485 / sqrt(0.357^2 + 0.4646^2) = 4.520; 2.0188 / sqrt(0.6154^2 + 0.4646^2) = 2.618. W3
    takes the logarithm of its factor from the first."""
    read = {"rebound_number": 40.0, "unit_weight_kn_m3": 26.0, "rebound_tests": 3}
    z, _ = rock.evidence_conflict(
        [158.0, 158.0, np.nan], 0.357, isrm_grade=["", "R2", "R2"], **read
    )
    assert z == pytest.approx([0.885, 4.520, 2.618], abs=1e-3)
    z, text = rock.evidence_conflict(np.nan, np.nan, isrm_grade="R2", **read)
    assert str(text) == "hammer grade against rebound number"
    # a difference of the limit itself is none yet
    same, text = rock.evidence_conflict(np.nan, np.nan, isrm_grade="R2", z_limit=z.item(), **read)
    assert (same, str(text)) == (z, "")
    z, _ = rock.evidence_conflict(158.0, 0.357, weathering_grade="W3", **read)
    factor = rock.WEATHERING_FACTOR["W3"]
    assert z == pytest.approx(abs(0.6297 + np.log(factor)) / np.hypot(0.357, 0.6154), abs=1e-3)


@pytest.mark.pinned("worked", answers=2)
def test_a_rebound_of_rock_nobody_weighed_counts_with_26_and_a_wider_spread():
    """sqrt(0.53^2 + 0.5409^2 / 3 + 0.16^2) = 0.6359; ten to the 0.00088 x 26 x 40 + 1.01, 84.2."""
    median, sigma = rock.strength_posterior(np.nan, np.nan, rebound_number=40.0, rebound_tests=3)
    assert (median, sigma) == pytest.approx((84.18, 0.6359), rel=1e-3)


def test_weathered_grade_explains_a_low_reading():
    inputs = {"rebound_number": 12.0, "unit_weight_kn_m3": 26.0, "rebound_tests": 10}
    fresh, _ = rock.evidence_conflict(158.0, 0.357, **inputs)
    weathered, _ = rock.evidence_conflict(158.0, 0.357, weathering_grade="W4", **inputs)
    assert weathered < fresh
