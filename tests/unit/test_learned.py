"""Lessons put to use: one anchor by hand with and without, and what stays as it was."""

import math

import numpy as np
import pandas as pd
import pytest

from helpers.learned_region import PRIOR, TODAY, believed, lessons, register
from saltreach.assessment.assess import assess
from saltreach.assessment.learned import (
    metal_factors,
    metal_group,
    with_learned_metal,
    with_learned_place,
)
from saltreach.errors import OptionError
from saltreach.intake import read_register
from saltreach.intake.lessons import FailureLesson, RockLesson, SaltLesson, lessons_text
from saltreach.intake.options import Options
from saltreach.outputs.summary import summary_text
from saltreach.planning.tables import looser
from saltreach.science.time.failure import Anchors, failure_parts
from saltreach.science.time.reliability import material_weights, overload_probability
from saltreach.vocabulary.metals import MATERIAL_BY_NAME, MATERIAL_NAMES
from saltreach.vocabulary.words import LEARNED_AIR, LEARNED_KINDS, LEARNED_METALS


def failure(metal, after, kind="bonded", air=None, anchors=9):
    return tuple(
        FailureLesson(metal=metal, kind=kind, air=one, anchors=anchors, looks=9, proof_tests=0,
                      failed=0, expected=1.0, before=PRIOR, after=after)
        for one in (LEARNED_AIR if air is None else (air,))
    )  # fmt: skip


def rock(p10, p50):
    return (RockLesson(lithology="limestone", tap="ringing", to_failure=3, held=0, moved=0,
                       before=PRIOR, after=believed(p50, p10, 9.0)),)  # fmt: skip


def salt(shift, measurements, spread=0.5):
    return (SaltLesson(crag="Alder Point", measurements=measurements, shift_ln=shift,
                       spread=spread, model_sigma_ln=1.0),)  # fmt: skip


@pytest.fixture(scope="module")
def given():
    return read_register(register(), today=TODAY)


@pytest.fixture(scope="module")
def plain(given):
    return assess(given, Options(today=TODAY))


@pytest.fixture(scope="module")
def with_lessons(given, tmp_path_factory):
    """Assess with lessons, each once."""
    made = {}

    def run(name, **parts):
        if name not in made:
            path = tmp_path_factory.mktemp("lessons") / "learned.json"
            path.write_text(lessons_text(lessons(**parts)), encoding="utf-8")
            made[name] = assess(given, Options(today=TODAY, learned_file=str(path)))
        return made[name]

    return run


def all_three(run):
    return run(
        "all", failure=failure("316", believed(2.5, 1.2, 6.0)), rock=rock(0.4, 0.8),
        salt=salt(math.log(2), 0),
    )  # fmt: skip


def test_lessons_without_data_change_no_value(plain, with_lessons):
    found = with_lessons("none")
    pd.testing.assert_frame_equal(found.flat.anchors, plain.flat.anchors)
    pd.testing.assert_frame_equal(found.flat.sectors, plain.flat.sectors)
    assert found.provenance["options"]["learned_file"] == "learned.json"
    assert plain.provenance["options"]["learned_file"] is None
    assert len(found.provenance["options"]["learned_file_sha256"]) == 64


def by_hand(result, factor):
    """Chance that the metal of anchor a1 (316, bonded, condition 1 seen today) fails in a year.

    Cracking by Weibull's shape 2 with 6 y / (hazard x 0.4); condition 1 leaves its odds (0.10 over
    0.10) and halves those of the rest (0.10 over 0.20), which is 1e-5 a year; torn by the greatest
    load of a year, median 4 kN. The factor multiplies both rates and not the tearing.
    """
    row = result.working.iloc[0]
    age, hazard = float(row["age_y"]), float(row["scc_hazard"])
    rate = ((age + 1) ** 2 - age**2) * (hazard * 0.4 / 6.0) ** 2
    cracked = 1 - math.exp(-factor * rate)
    rest = 1 - (1 - 1e-5) ** factor
    odds = 0.5 * rest / (1 - rest)
    metal = MATERIAL_BY_NAME["316"]
    area = math.pi * 12.0**2 / 4
    bar = metal.shear_ratio * metal.strength_mpa * area / 1000
    torn = float(overload_probability(bar * math.exp(1.6448536269514722 * 0.05), 0.05))
    return 1 - (1 - cracked) * (1 - odds / (1 + odds)) * (1 - torn)


@pytest.mark.pinned("worked", answers=2)
def test_one_anchor_by_hand_with_and_without(plain, with_lessons):
    without = float(plain.working["metal_probability_y1"].iloc[0])
    assert without == pytest.approx(by_hand(plain, 1.0), rel=1e-6)
    found = with_lessons("metal", failure=failure("316", believed(2.5, 1.2, 6.0)))
    learned = float(found.working["metal_probability_y1"].iloc[0])
    assert learned == pytest.approx(by_hand(found, 2.5), rel=1e-6)
    assert learned > 1.5 * without


@pytest.mark.pinned("worked", answers=2)
def test_the_curve_by_hand():
    """304 where the hazard is 0.5, ten years old: 21 / 144 = 0.145833 a year; twice that learned.
    What the bar's tearing and the rest add is the same but for the rest's own factor."""
    place = Anchors(0.5, 4.0, 80.0, diameter_mm=40.0)
    sound = (1.0, 0.0, 0.0, 0.0, 0.0)
    weights = material_weights(["304"])

    def yearly(**learned):
        return float(
            failure_parts(weights, [10.0], place, condition_shares=sound, **learned)[0][0, 0]
        )

    assert -math.log1p(-yearly()) == pytest.approx(0.145833 + 1e-5, abs=1e-6)
    factors = np.ones((1, len(MATERIAL_NAMES)))
    assert yearly(learned=factors) == yearly()
    factors[0, MATERIAL_NAMES.index("304")] = 2.0
    assert -math.log1p(-yearly(learned=factors)) == pytest.approx(0.291667 + 2e-5, abs=2e-6)


@pytest.mark.pinned("worked", answers=3)
def test_rock_and_salt_are_shifted(plain, with_lessons):
    """Salt doubled where nothing was measured: the spread stays. Rock lowered to its median."""
    found = all_three(with_lessons)
    own = (plain.working["crag"] == "Alder Point").to_numpy()
    for name in ("chloride_mg_m2_d", "chloride_mg_m2_d_p90"):
        ratio = (found.working[name] / plain.working[name]).to_numpy()
        assert ratio[own] == pytest.approx(2.0, rel=1e-6)
        assert ratio[~own] == pytest.approx(1.0)
    for name in ("rock_kn_p50", "rock_kn_p05", "rock_axial_kn_p05", "rock_after_kn_p50"):
        ratio = found.working[name] / plain.working[name]
        assert ratio.dropna().to_numpy() == pytest.approx(0.8), name


def test_a_raised_rock_does_not_raise_the_new_anchor_nor_the_metal(plain, with_lessons):
    found = with_lessons("rock up", rock=rock(1.2, 1.6))
    names = ("rock_kn_p50", "rock_after_kn_p50", "rock_axial_kn_p05", "embedment_required_mm")
    ratio = {n: (found.working[n] / plain.working[n]).dropna().to_numpy() for n in names}
    assert ratio.pop("rock_kn_p50") == pytest.approx(1.2)
    for name, values in ratio.items():
        assert values == pytest.approx(1.0), name


def test_salt_measured_low_is_lowered_to_its_upper_end_and_narrowed(plain, with_lessons):
    """-1.5 + 1.2816 x 0.5 = -0.859; the neighbour's low candle changes nothing."""
    found = with_lessons("salt down", salt=salt(-1.5, 2))
    own = (plain.working["crag"] == "Alder Point").to_numpy()
    ratio = (found.working["chloride_mg_m2_d"] / plain.working["chloride_mg_m2_d"]).to_numpy()
    assert ratio[own] == pytest.approx(math.exp(-0.8592), rel=0.02)
    spread = [r.working["chloride_mg_m2_d_p90"] / r.working["chloride_mg_m2_d"]
              for r in (found, plain)]  # fmt: skip
    assert (spread[0] < spread[1])[own].all()
    near = with_lessons("near", salt=salt(-1.5, 0))
    pd.testing.assert_frame_equal(near.flat.anchors, plain.flat.anchors)


def test_every_output_says_that_it_was_learned(with_lessons, tmp_path):
    found = all_three(with_lessons)
    warned = found.flat.anchors["warnings"]
    assert "its metal counts as failing 2.5 times as often as the model says" in warned[0]
    assert "its rock side as bearing 0.8 times as much" in warned[0]
    assert "its salt as 2 times the model's" in warned[0]
    assert "learned.json" in warned[0]
    said = [text for text in found.provenance["assumptions"] if text.startswith("LEARNED")]
    assert len(said) == 1
    assert "2026-11-25" in said[0]
    assert "the register in hand is another one" in said[0]
    assert said[0] in summary_text(found, tmp_path)
    assert said[0] in looser(found.provenance)


def test_the_metal_that_nobody_noted_is_never_made_safer(plain, with_lessons):
    low = believed(0.1, 0.05, 0.3)
    lower = tuple(one for metal in LEARNED_METALS for kind in LEARNED_KINDS
                  for one in failure(metal, low, kind))  # fmt: skip
    found = with_lessons("lower", failure=lower)
    ratio = (
        found.working["metal_probability_y1"] / plain.working["metal_probability_y1"]
    ).to_numpy()
    assert (ratio[:5] <= 1.0 + 1e-12).all()
    assert ratio[0] < 0.9
    assert ratio[5] == pytest.approx(1.0)
    capacity = found.working["capacity_kn_p05"] >= plain.working["capacity_kn_p05"] - 1e-9
    assert capacity[:5].all()


def table_of(**changes):
    return pd.DataFrame(
        {
            "material": ["316", "304"], "hanger_material": "unknown", "kind": "bonded",
            "corrosivity_category": ["C2", "CX"], "scc_band": ["low", "severe"], "crag": "Alder",
            "lithology": "slate", "tap_response": "dull",
        }
    ).assign(**changes)  # fmt: skip


def at(factors, metal):
    return factors[:, MATERIAL_NAMES.index(metal)].tolist()


def test_a_lesser_metal_is_never_made_safer_than_a_better_one():
    """316 raised thirty times cracks 30 x 0.16 = 4.8 times as fast as 304 did: 304 follows."""
    found = metal_factors(table_of(), lessons(failure=failure("316", believed(30.0, 9.0, 90.0))))
    assert at(found, "316") == [30.0, 30.0]
    assert at(found, "304") == pytest.approx([4.8, 4.8])
    assert at(found, "303") == pytest.approx([4.8 / 1.44] * 2)
    assert at(found, "titanium") == [1.0, 1.0]
    few = metal_factors(table_of(), lessons(failure=failure("316", believed(3.0, 1.0, 9.0))))
    assert at(few, "304") == [1.0, 1.0]


def test_groups_are_by_metal_kind_and_air():
    low, high = believed(0.1, 0.05, 0.3), believed(4.0, 1.0, 9.0)
    found = metal_factors(
        table_of(), lessons(failure=(*failure("304 or less", low, air="mild air"),
                                     *failure("304 or less", high, air="harsh air"))),
    )  # fmt: skip
    assert at(found, "304") == [0.3, 4.0]
    other = metal_factors(table_of(kind="expansion"), lessons(failure=failure("316", high)))
    assert at(other, "316") == [1.0, 1.0]
    unseen = metal_factors(table_of(), lessons(failure=failure("316", low, anchors=0)))
    assert at(unseen, "316") == [1.0, 1.0]


def test_what_was_not_seen_is_raised_by_its_region_and_never_lowered():
    up = metal_factors(table_of(), lessons(region=believed(1.7, 0.5, 6.0)))
    assert (up == 1.7).all()
    down = metal_factors(table_of(), lessons(region=believed(0.2, 0.1, 0.5)))
    assert (down == 1.0).all()


@pytest.mark.parametrize("column", ["kind", "material"])
def test_an_unknown_word_is_never_lowered(column):
    low = believed(0.1, 0.05, 0.3)
    every = tuple(one for metal in LEARNED_METALS for kind in LEARNED_KINDS
                  for one in failure(metal, low, kind))  # fmt: skip
    value = "unknown" if column == "material" else None
    found = metal_factors(table_of(**{column: value}), lessons(failure=every))
    assert (found >= 1.0).all()


def test_columns_of_ours_in_a_users_register_count_for_nothing():
    own = table_of(**{"_learned 304": 0.01, "_learned salt shift": -9.0})
    assert not [name for name in with_learned_place(own, None) if name.startswith("_learned")]
    again = with_learned_metal(with_learned_place(own, lessons()), lessons(), "learned.json")
    assert (again["_learned 304"] == 1.0).all()
    assert (again["_learned salt shift"] == 0.0).all()


def test_every_metal_has_a_group():
    groups = [metal_group(name) for name in MATERIAL_NAMES]
    assert set(groups) == set(LEARNED_METALS)
    assert metal_group("unknown") == ""


def test_a_file_that_cannot_be_used_stops_the_assessment(given, tmp_path):
    path = tmp_path / "learned.json"
    path.write_text("{}")
    with pytest.raises(OptionError, match="is no file of lessons"):
        assess(given, Options(today=TODAY, learned_file=str(path)))
