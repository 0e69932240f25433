"""Crags whose anchors lie far apart: worked by hand.

The rule is our own judgement (`saltreach.intake.far_apart`); distances are of WGS 84, where a
degree of longitude at the equator is 111.319 km; long ones were checked with the sphere's.
"""

import numpy as np
import pandas as pd
import pytest

from saltreach.intake import read_register
from saltreach.intake.together import earth_m, groups_within

HOME = [(5.900, 43.100), (5.901, 43.100), (5.902, 43.101), (5.903, 43.101)]


def rows(places, crag="Rote Bucht", sector="N", start=0, letter="a"):
    return [(f"{letter}{start + i}", crag, sector, x, y) for i, (x, y) in enumerate(places)]


def read(table, **more):
    frame = pd.DataFrame(table, columns=["anchor_id", "crag", "sector", "lon", "lat"])
    return read_register(frame, **more)


def refused(register):
    found = register.rejected[["row", "reason", "fix"]].to_numpy().tolist()
    assert set(register.rejected["column"]) <= {"lon, lat"}
    return [tuple(each) for each in found]


ELSE = "; if it is another place of that name, give it a crag of its own"


@pytest.mark.parametrize(
    ("place", "away", "fix"),
    [
        ((-5.9, 43.1), "960", "the other sign of lon would put it among them: write lon 5.9, "
         "lat 43.1"),
        ((5.9, -43.1), "9,548", "the other sign of lat would put it among them: write lon 5.9, "
         "lat 43.1"),
        ((-5.9, -43.1), "9,620", "the other signs of lon and lat would put it among them: write "
         "lon 5.9, lat 43.1"),
        ((5.9, 34.1), "999", "correct lon and lat"),
    ],
)  # fmt: skip
def test_one_anchor_far_from_the_others_is_refused_with_the_fix(place, away, fix):
    register = read([*rows(HOME), ("x", "Rote Bucht", "N", *place)])
    assert refused(register) == [
        (5, f"{away} km from 'a0' and the 3 others of its crag", fix + ELSE)
    ]
    assert register.rejected["value"].tolist() == [f"{place[0]}, {place[1]}"]
    assert len(register.anchors) == 4
    assert register.notes == ()


def test_lon_and_lat_exchanged_name_the_fix():
    # alone in the register it is found by the bulk of it; here two far regions hide it
    other = rows([(60 + i, -20) for i in range(9)], "Other", letter="o")
    register = read([*rows(HOME), ("x", "Rote Bucht", "N", 43.1, 5.9), *other])
    ((row, _, fix),) = refused(register)
    assert row == 5
    assert fix.startswith("lon and lat exchanged would put it among them: write lon 5.9, lat 43.1")


def test_a_whole_sector_with_the_wrong_sign_is_refused():
    wrong = rows([(-5.9, 43.1), (-5.9001, 43.1)], sector="S", letter="s")
    register = read([*rows(HOME), *wrong])
    assert [row for row, *_ in refused(register)] == [5, 6]
    assert all("the other sign of lon" in fix for *_, fix in refused(register))


def test_across_the_antimeridian_nothing_is_far():
    register = read(rows([(179.99, -17), (-179.99, -17), (179.95, -17), (-179.95, -17)]))
    assert len(register.anchors) == 4 and register.notes == ()


def test_at_a_pole_nothing_is_far():
    assert len(read(rows([(0, 89.99), (90, 89.99), (180, 89.99), (-90, 89.99)])).anchors) == 4


# 0.17 degrees at the equator are 18.9 km, 0.19 are 21.2 km
@pytest.mark.parametrize(("step", "crags"), [(0.17, 1), (0.19, 6)])
def test_steps_of_less_than_20_km_join_a_long_crag(step, crags):
    register = read(rows([(10 + step * i, 0) for i in range(6)]))
    assert register.anchors["crag"].nunique() == crags
    assert register.rejected.empty


def test_two_places_of_one_name_are_told_apart_and_said():
    there = [(9.9, 43.1), (9.901, 43.1)]
    register = read([*rows(HOME), *rows(there, sector="S", letter="b")])
    assert register.anchors["crag"].tolist() == ["Rote Bucht"] * 4 + ["Rote Bucht (2)"] * 2
    assert register.notes == (
        "crag 'Rote Bucht' lies in 2 places more than 20 km apart: the name stays for the 4 "
        "anchors with 'a0'; read as 'Rote Bucht (2)' for the 2 anchors with 'b0', 326 km away. "
        "Correct their positions, or give each place a name of its own",
    )


def test_the_least_id_keeps_the_name_whatever_the_order_of_rows():
    there = rows([(9.9, 43.1)] * 9, sector="S", letter="b")
    register = read([*there, *rows(HOME)])
    names = register.anchors.groupby("crag")["anchor_id"].min().to_dict()
    assert names == {"Rote Bucht": "a0", "Rote Bucht (2)": "b0"}


def test_a_number_that_is_taken_is_passed_over():
    there = rows([(9.9, 43.1)], sector="S", letter="b")
    register = read([*rows(HOME), *there, ("c", "rote bucht (2)", "N", 1, 41)])
    assert register.anchors["crag"].tolist()[-2:] == ["Rote Bucht (3)", "rote bucht (2)"]


@pytest.mark.parametrize(
    ("home", "away", "is_refused"),
    [(2, 1, True), (1, 1, False), (5, 1, True), (10, 2, True), (9, 2, False), (15, 3, True)],
)
def test_a_small_part_of_a_sector_is_refused_and_a_large_one_is_a_place(home, away, is_refused):
    here, there = [(5.9, 43.1)] * home, [(30.5, 12.5)] * away
    register = read([*rows(here), *rows(there, letter="b")])
    assert len(register.rejected) == (away if is_refused else 0)
    assert register.anchors["crag"].nunique() == (1 if is_refused else 2)


def test_a_sector_without_a_home_is_split():
    """Two together and three alone: no place has more than half of the anchors."""
    places = [(-3.1, 43.4), (2.8, 41.9), (98.8, 8.0), (98.9, 8.1), (9.4, 40.2)]
    register = read(rows(places))
    assert register.rejected.empty and register.anchors["crag"].nunique() == 4


def test_a_sector_of_its_own_far_away_is_a_place():
    register = read([*rows(HOME), ("x", "Rote Bucht", "S", 30.5, 12.5)])
    assert register.anchors["crag"].tolist()[-1] == "Rote Bucht (2)"


def test_refused_rows_do_not_count():
    """A position that is refused for another reason is nobody's place."""
    register = read([*rows(HOME), ("x", "Rote Bucht", "N", 0, 0)])
    assert register.rejected["reason"].tolist() == ["0, 0 is a placeholder, not a position"]
    assert register.notes == ()


def test_near_spellings_are_asked_with_the_names_of_the_file():
    there = rows([(9.9, 43.1), (9.901, 43.1)], sector="S", letter="b")
    near = [("c", "Rote Buchd", "S", 9.9, 43.1)]
    register = read([*rows(HOME), *there, *near])
    assert register.notes[-1] == (
        "are 'Rote Bucht (2)' and 'Rote Buchd' (0.0 km apart) one crag? If so give --same-crag "
        "'Rote Buchd=Rote Bucht'"
    )
    again = read([*rows(HOME), *there, *near], same_crag={"Rote Buchd": "Rote Bucht"})
    assert again.anchors["crag"].tolist()[-1] == "Rote Bucht (2)"


def test_many_places_give_a_short_note():
    register = read([(f"a{i:02}", "P", f"s{i}", 3.0 * i, 1) for i in range(10)])
    assert register.anchors["crag"].nunique() == 10
    (note,) = register.notes
    assert "'P (6)' for the 1 anchor with 'a05', 1,670 km away; and 4 more places" in note


def test_groups_are_the_same_where_positions_are_thinned(monkeypatch):
    rng = np.random.default_rng(5)
    lon = np.repeat([5.0, 5.5, 12.0], 300) + rng.normal(0, 0.02, 900)
    lat = np.repeat([43.0, 43.0, 44.0], 300) + rng.normal(0, 0.02, 900)
    xyz, part = earth_m(lon, lat), np.zeros(900, dtype=int)
    whole = groups_within(xyz, part, 20_000.0)
    monkeypatch.setattr("saltreach.intake.together.MOST_PAIRS", 5_000)
    assert groups_within(xyz, part, 20_000.0).tolist() == whole.tolist()
    assert whole.tolist() == [0] * 300 + [1] * 300 + [2] * 300


def test_parts_never_meet():
    xyz = earth_m(np.array([5.0, 5.0]), np.array([43.0, 43.0]))
    assert groups_within(xyz, np.array([0, 1]), 20_000.0).tolist() == [0, 1]
