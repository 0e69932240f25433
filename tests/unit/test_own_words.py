"""Words of the user's own: they come before ours, and what was read by them is said."""

import datetime as dt

import pytest

import saltreach as sr
from saltreach.errors import OptionError
from saltreach.intake.own_words import own_words, read_own_words
from saltreach.intake.sheets import read_table
from saltreach.intake.tables import NEEDS, WINDOWS
from saltreach.vocabulary import synonyms
from saltreach.vocabulary.columns import REGISTER_BY_NAME

TODAY = dt.date(2026, 6, 15)
WORDS = """list,column,value,words
header,embedment_mm,,how deep; drill
header,crag,,Zone
header,people,,heads
choice,kind,bonded,stuck in; hammered in
choice,rain_washed,no,under the roof
choice,grade,1.4462,the good one
level,condition,2,Tired; so so
"""
REGISTER = """id;Zone;Sector;lon;lat;How deep [mm];kind;hanger material;rain washed;grade;condition
1;A;B;-4.95;43.44;100;stuck in;Betamax;under the roof;the good one;so so
2;A;B;-4.951;43.441;90;hammered in;A4;yes;;gut
"""


def written(folder, text, name="words.csv"):
    file = folder / name
    file.write_text(text, encoding="utf-8")
    return file


def test_a_register_is_read_with_them_and_says_so(tmp_path):
    words = written(tmp_path, WORDS + "choice,hanger_material,brass,Betamax\n")
    file = written(tmp_path, REGISTER, "anchors.csv")
    register = sr.read_register(file, words=words, today=TODAY)
    assert not len(register.rejected), register.rejected.to_string()
    read = register.anchors[["crag", "kind", "hanger_material", "rain_washed", "grade"]]
    assert read.fillna("").values.tolist() == [
        ["A", "bonded", "brass", "no", "1.4462"], ["A", "bonded", "316", "yes", ""],
    ]  # fmt: skip
    assert register.anchors["condition"].tolist() == [2, 0]
    assert set(register.notes) >= {
        "your own words: 11 of words.csv are used",
        "header 'How deep [mm]' read as embedment_mm, as words.csv says",
        "header 'Zone' read as crag, as words.csv says",
        "kind 'hammered in' (1 row): read as bonded, as words.csv says",  # ours says drive-in
        "kind 'stuck in' (1 row): read as bonded, as words.csv says",
        "rain_washed 'under the roof' (1 row): read as no, as words.csv says",
        "condition: 'so so' (1 row) read as 2 worn, as words.csv says",
        "condition: 'gut' (1 row) read as 0 sound",
    }
    assert register.renamed["embedment_mm"] == "How deep [mm]"


def test_they_count_inside_only(tmp_path):
    file = written(tmp_path, REGISTER.replace("Zone", "crag"), "anchors.csv")
    before = sr.read_register(file, today=TODAY)
    with own_words(written(tmp_path, WORDS)):
        assert synonyms.own_files() == {"words.csv": 10}
        assert sr.read_register(file, today=TODAY).renamed["embedment_mm"] == "How deep [mm]"
    with own_words(None):
        assert synonyms.own_files() == {}
    after = sr.read_register(file, today=TODAY)
    assert "embedment_mm" not in after.renamed and after.notes == before.notes
    assert "How deep [mm]" in after.unused


def test_the_tables_beside_the_register_are_read_with_them(tmp_path):
    file = written(tmp_path, "Zone,heads,skills\nA,3,ropes\n", "needs.csv")
    with sr.own_words(written(tmp_path, WORDS)):
        sheet = read_table(file, NEEDS)
    assert (sheet.rows[0]["crag"], sheet.rows[0]["people"]) == ("A", 3)
    assert (
        "columns read under another name: 'Zone' as crag, as words.csv says, 'heads' as people, "
        "as words.csv says"
    ) in sheet.notes
    file = written(tmp_path, "crag,personas\nA,ropes\n", "needs.csv")  # ours: people
    with sr.own_words(written(tmp_path, "list,column,value,words\nheader,skills,,personas\n")):
        assert read_table(file, NEEDS).rows[0]["skills"] == ("ropes",)
    own = "list,column,value,words\nchoice,access,closed,birds\nheader,access,,state of it\n"
    file = written(tmp_path, "crag,state of it,from,until\nA,birds,02-01,07-31\n", "windows.csv")
    with sr.own_words(written(tmp_path, own)):
        sheet = read_table(file, WINDOWS)
    assert sheet.rows[0]["access"] == "closed"
    assert "access 'birds' (1 row): read as closed, as words.csv says" in sheet.notes


def test_a_workbook_and_other_columns_will_do(tmp_path):
    import pandas as pd

    table = pd.DataFrame({"list": ["header"], "column": ["notes"], "value": [None],
                          "language": ["xx"], "words": ["Klatsch"]})  # fmt: skip
    table.to_excel(tmp_path / "words.xlsx", index=False)
    (entry,) = read_own_words(tmp_path / "words.xlsx")
    assert (entry.column, entry.words, entry.file) == ("notes", ("klatsch",), "words.xlsx")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("header,embedment,,deep", r"words w\.csv, row 2, column = 'embedment': no column of that "
         r"name; write one of anchor_id, .*; nearest: embedment_mm"),
        ("choice,notes,x,deep", r"row 2, column = 'notes': no column of choices of that name; .*"),
        ("level,kind,2,deep", r"no column of levels of that name; write one of condition"),
        ("choice,kind,bondet,deep", r"row 2, value = 'bondet': no value of kind; write one of "
         r"bonded, .*; nearest: bonded"),
        ("choice,kind,,deep", r"row 2, value = '': no value of kind"),
        ("level,condition,5,deep", r"row 2, value = '5': no value of condition; write one of 0, 1"),
        ("header,kind,bonded,deep", r"row 2, value = 'bonded': a header has no value; leave it"),
        ("heading,kind,,deep", r"row 2, list = 'heading': .*header"),
        ("header,kind,,", r"row 2, words"),
        ("header,,,deep", r"row 2, column"),
        ("header,kind,,a\nheader,route,,b; A", r"row 3, words = 'b; a': 'a' stands for kind "
         r"already, in row 2; give it one meaning"),
        ("choice,kind,bonded,a\nchoice,kind,screw,a", r"row 3, .*'a' stands for kind bonded"),
        ("level,condition,1,a\nlevel,condition,2,a", r"row 3, .*'a' stands for condition 1"),
    ],
)  # fmt: skip
def test_what_is_none_of_ours_is_refused(tmp_path, line, said):
    file = written(tmp_path, f"list,column,value,words\n{line}\n", "w.csv")
    with pytest.raises(OptionError, match=said):
        read_own_words(file)


def test_one_word_may_stand_for_columns_of_different_tables(tmp_path):
    file = written(tmp_path, "list,column,value,words\nheader,team,,who\nheader,notes,,who\n")
    assert [e.column for e in read_own_words(file)] == ["team", "notes"]


def test_every_column_and_value_can_be_given(tmp_path):
    lines = [f"header,{name},,zz{i}" for i, name in enumerate(REGISTER_BY_NAME)]
    lines += [
        f"choice,{name},{value},zz"
        for name, column in REGISTER_BY_NAME.items()
        for value in column.choices[:1]
    ]
    file = written(tmp_path, "\n".join(["list,column,value,words", *lines]))
    assert len(read_own_words(file)) == len(lines)
