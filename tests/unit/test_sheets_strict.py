"""Tables beside the register: an unknown word is no default, like names are one, names win."""

import pytest

from saltreach.errors import OptionError, RegisterError
from saltreach.intake import tables, teams
from saltreach.intake.options import read_options
from saltreach.intake.plan_file import read_rebolting
from saltreach.intake.prices import read_prices
from saltreach.intake.sheets import read_table, refuse_unknown
from saltreach.intake.survey import read_survey


def file(tmp_path, text, name="t.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("word", ["none", "?", "-", "n/a", "unknown"])
def test_an_unknown_word_is_refused_where_empty_means_a_default(tmp_path, word):
    head = "item,metal,price,currency,diameter_mm,length_mm,how_many\n"
    for row in (f"bonded,titanium,30,EUR,12,100,{word}", f"bonded,316,12,EUR,{word},{word},4"):
        with pytest.raises(OptionError, match="row 2.*not a number"):
            read_prices(file(tmp_path, head + row + "\n"))
    found = teams.read_teams(
        file(tmp_path, f"team,lon,lat,people,days_free\nWest,-6.6,43.4,{word},SA\n")
    )
    assert found.rejected["column"].tolist() == ["people"]
    needs = teams.read_needs(file(tmp_path, f"crag,people\nAlder,{word}\n"))
    assert not needs.rows
    survey = read_table(file(tmp_path, f"crag,sector,water\nA,N,{word}\n"), tables.SURVEY)
    assert survey.rows[0]["water"] != survey.rows[0]["water"] or not survey.rows[0]["water"]


def test_names_that_are_alike_are_one(tmp_path):
    text = "crag,sector,skills\nPeña Oscalda,,helicopter\nPena Oscalda,,\n"
    needs = refuse_unknown(teams.read_needs(file(tmp_path, text)), {"Peña Oscalda": {"North"}})
    assert [row["skills"] for row in needs.rows] == [("helicopter",)]
    assert needs.rejected["reason"].tolist() == ["already given in row 2"]
    ways = teams.read_travel(
        file(tmp_path, "from,to,hours\nWestern team,Peña,1\nwestern-team,Pena,9\n")
    )
    assert len(ways.rows) == 1


def test_a_crag_spelt_in_two_ways_holds_the_sectors_of_both(tmp_path):
    survey = read_table(
        file(tmp_path, "crag,sector,water\nPunta Roja,South,dry\nPunta Roja,North,wet\n"),
        tables.SURVEY,
    )
    found = refuse_unknown(survey, {"Punta Roja": {"North"}, "punta roja": {"South"}})
    assert not len(found.rejected)
    assert [(r["crag"], r["sector"]) for r in found.rows] == [
        ("punta roja", "South"), ("Punta Roja", "North"),
    ]  # fmt: skip


def test_a_unit_behind_a_header_is_read_whatever_it_is(tmp_path):
    """Worked: 30 and 45 minutes are 0.5 and 0.75 hours, 1.2 m of joints 1200 mm."""
    needs = teams.read_needs(
        file(tmp_path, "Gebiet;Sektor;Personen;Zustiegsstunden (min)\nVega;;2;30\nLuna;;3;45\n")
    )
    assert [row["access_hours"] for row in needs.rows] == pytest.approx([0.5, 0.75])
    assert needs.near == ()
    assert "access_hours: 2 cells written in min, as the header says, read in h" in needs.notes
    survey = read_survey(file(tmp_path, "crag,sector,Kluftabstand [m]\nVega,Main,1.2\n"))
    assert survey.rows[0]["joint_spacing_mm"] == pytest.approx(1200)
    wrong = teams.read_needs(file(tmp_path, "crag,Zustiegsstunden (kN)\nVega,3\n"))
    assert wrong.rows[0]["access_hours"] == 0
    assert [near.what for near in wrong.near] == ["column 'Zustiegsstunden (kN)'"]


def test_volunteers_words_in_the_tables_beside_the_register(tmp_path):
    made = teams.read_teams(
        file(tmp_path, "Gruppe;lon;lat;Personen;Tage frei\nWest;8,5;54,1;3;Sa So\n")
    )
    assert (made.rows[0]["people"], made.rows[0]["days_free"]) == (3, ("SA", "SU"))
    shut = "Gebiet;Zugang;von;bis\nVega;zu;01.02.;31.07.\nLuna;Sperrung;01.02.;31.07.\n"
    assert [r["access"] for r in teams.read_windows(file(tmp_path, shut)).rows] == ["closed"] * 2
    with pytest.raises(RegisterError, match="no column crag; .*; 'Ort': it may mean crag"):
        teams.read_windows(file(tmp_path, shut.replace("Gebiet", "Ort")))


def test_another_table_s_words_for_a_header_do_not_count(tmp_path):
    done = teams.read_done(
        file(tmp_path, "crag,sector,done_on,anchor type\nVega,Main,2026-11-21,bonded\n")
    )
    assert len(done.rows) == 1
    assert done.notes == ("columns not used: 'anchor type'",)


def test_a_header_named_as_it_should_be_wins_over_a_synonym(tmp_path):
    text = "zona,crag,sector,access,from,until\nA,Vega,,closed,02-01,06-30\n"
    windows = teams.read_windows(file(tmp_path, text))
    assert windows.rows[0]["crag"] == "Vega"
    assert windows.notes == ("columns not used: 'zona'",)
    with pytest.raises(RegisterError, match="both mean crag"):
        teams.read_windows(file(tmp_path, text.replace("crag", "crag,crag", 1)))


def test_a_comma_that_can_only_mark_decimals_is_read_so(tmp_path):
    found = teams.read_teams(file(tmp_path, "team;lon;lat;days_free\nOeste;-6,604;43,412;SA SU\n"))
    assert (found.rows[0]["lon"], found.rows[0]["lat"]) == (-6.604, 43.412)
    prices = file(tmp_path, "item;metal;price;currency\nbonded;316;1,250;EUR\n")
    with pytest.raises(OptionError, match="decimals or thousands"):
        read_prices(prices)


def test_options_that_are_gone_are_said_to_be(tmp_path):
    for name in ("seed = 0", "wind = false", 'spread = "quadrature"'):
        with pytest.raises(OptionError, match="is no option any more; delete its line"):
            read_options(file(tmp_path, name + "\n", "o.toml"))


def test_an_empty_first_line_does_not_matter(tmp_path):
    found = read_table(file(tmp_path, "\nrock_temperature_c,gel_min,cure_min\n5,10,100\n"),
                       tables.DATA_SHEET)  # fmt: skip
    assert [(row["row"], row["cure_min"]) for row in found.rows] == [(3, 100.0)]


@pytest.mark.parametrize("count", ["1e9", "inf", "-3", "0", "2.5", "many"])
def test_a_count_of_anchors_that_cannot_be_is_refused(tmp_path, count):
    text = f"crag,sector,chosen,anchors_to_replace\nA,N,yes,{count}\n"
    with pytest.raises(RegisterError, match="no whole number from 1 to 10000"):
        read_rebolting(file(tmp_path, text))
