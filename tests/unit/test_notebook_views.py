"""What a notebook shows: a map or a page in a frame of its own, every name as text."""

import subprocess
import sys
import webbrowser

import pytest

import saltreach as sr
from helpers.holding_region import HOSTILE, anchors, assessment, holding
from helpers.pages import Page
from saltreach.outputs import notebook
from saltreach.outputs.map.page import map_of


@pytest.fixture
def result():
    made = assessment(anchors())
    made.flat.crags["priority_rank"] = range(len(made.flat.crags), 0, -1)
    return made


def test_an_assessment_shows_its_map_in_a_frame_without_rights(result):
    assert "240 anchors" in repr(result)
    found = Page(sr.Assessment._repr_html_(result)).elements
    assert [tag for tag, _ in found] == ["p", "iframe"]
    frame = found[1][1]
    assert frame["srcdoc"] == map_of(result)
    assert frame["sandbox"] == "allow-scripts"
    assert frame["title"] == "Map of the assessment"


def test_a_large_assessment_shows_its_first_crags_instead(result, monkeypatch):
    monkeypatch.setattr(notebook, "MOST_ANCHORS", 239)
    monkeypatch.setattr(notebook, "MOST_CRAGS", 5)
    text = sr.Assessment._repr_html_(result)
    found = Page(text).elements
    assert not {"iframe", "script", "img"} & {tag for tag, _ in found}
    assert [tag for tag, _ in found].count("tr") == 1 + 5
    assert text.index("Peña Dos") < text.index("Cabo Uno")  # the last rank comes first here
    assert "And 1 more crags." in text
    assert "239 anchors" in text
    assert "&lt;img src=x onerror=alert(1)&gt;" in text


def test_an_assessment_knows_its_html_and_loads_no_output_for_it():
    code = (
        "import sys; from saltreach.assessment.result import Assessment as A; "
        "print(hasattr(A, '_repr_html_'), any('outputs' in m for m in sys.modules)); "
        "import saltreach as sr; sr.Options; print(hasattr(A, '_repr_html_'))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False", "True"]


def test_the_map_opens_in_the_browser(result, tmp_path, monkeypatch):
    opened = []
    monkeypatch.setattr(webbrowser, "open", opened.append)
    there = sr.show_map(result, tmp_path / "a map.html")
    somewhere = sr.show_map(result)
    assert opened == [there.as_uri(), somewhere.as_uri()]
    assert there.read_text(encoding="utf-8") == somewhere.read_text(encoding="utf-8")
    assert there.read_text(encoding="utf-8") == map_of(result)
    somewhere.unlink()
    somewhere.parent.rmdir()


def test_for_a_landowner_nothing_is_written_unless_asked(result, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    given = sr.landowner(result, holding(anchors()))
    assert given.files == ()
    assert not list(tmp_path.iterdir())
    assert repr(given) == "<ForLandowner: 6 places>"
    ((tag, frame),) = Page(given._repr_html_()).elements
    assert (tag, frame["srcdoc"]) == ("iframe", given.page)
    written = sr.landowner(result, holding(anchors()), "out")
    assert [path.read_bytes() for path in written.files] == [
        given.page.encode(), given.statement,
    ]  # fmt: skip


def test_places_for_a_landowner_are_a_table_worst_first(result):
    places = sr.landowner(result, holding(anchors())).places
    assert places["risk_band"].tolist() == [
        "severe", "high", "raised", "moderate", "low", "unknown",
    ]  # fmt: skip
    assert places.crs == "EPSG:4326"
    assert {name for names in places["crags"] for name in names} == {
        "Cabo Uno", "Peña Dos", "Cueva Tres", *HOSTILE,
    }  # fmt: skip
    assert places["anchors_most"].dropna().isin([5, 20, 50, 100, 200, 500]).all()


def test_a_holding_may_be_a_file(result, tmp_path):
    land = tmp_path / "land.toml"
    land.write_text('name = "Here"\ncrags = ["Cabo Uno"]\n', encoding="utf-8")
    who = tmp_path / "who.toml"
    who.write_text('[contact]\nperson = "P"\nemail = "p@example.org"\n', encoding="utf-8")
    given = sr.landowner(result, str(land), contact=str(who), coarseness_m=500)
    assert given.places["crags"].tolist() == [("Cabo Uno",)]
    assert "p@example.org" in given.page
    assert "500 m" in given.page


def test_results_are_read_back_from_where_they_were_written(tmp_path):
    register = tmp_path / "mine.csv"
    register.write_text("anchor_id,crag,sector,lon,lat\na,C,S,-4.95,43.44\n", encoding="utf-8")
    made = sr.assess(sr.read_register(register))
    sr.write_results(made, str(tmp_path / "out"))
    back = sr.read_results(str(tmp_path / "out"))
    assert back.flat.sectors["risk_band"].tolist() == made.flat.sectors["risk_band"].tolist()
    assert "<h1>mine</h1>" in (tmp_path / "out" / "map.html").read_text(encoding="utf-8")
