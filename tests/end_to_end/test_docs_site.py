"""The documentation builds without a warning and without a network, and says all it should."""

import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from numpydoc.docscrape import FunctionDoc

import saltreach as sr
from saltreach.cli import app
from saltreach.intake import templates
from saltreach.intake.tables import TABLES
from saltreach.vocabulary.columns import COLUMNS, columns_of
from saltreach.vocabulary.metals import GRADES

DOCS = Path(__file__).parents[2] / "src" / "docs"
sys.path.insert(0, str(DOCS))

import pages  # noqa: E402

FORMULAS = [
    (group, module, name)
    for group in (*pages.GROUPS, "")
    for module in pages.science_modules(group)
    for name in pages.public_functions(module)
]
LOADED = {"script": "src", "link": "href", "img": "src", "source": "src", "iframe": "src",
          "use": "href", "object": "data", "video": "src", "audio": "src"}  # fmt: skip


class Page(HTMLParser):
    """What a page loads, the ids in it, the rows of its tables, and its text."""

    def __init__(self, file: Path) -> None:
        super().__init__()
        self.loads, self.ids, self.rows, self.words = [], set(), [], []
        self.in_cell = False
        self.feed(file.read_text(encoding="utf-8"))
        self.rows = [[" ".join("".join(cell).split()) for cell in row] for row in self.rows]
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append([])
            self.in_cell = True
        self.ids.add(given.get("id"))
        if tag in LOADED and given.get(LOADED[tag]):
            self.loads.append(given[LOADED[tag]])
        self.loads += re.findall(r"url\(['\"]?([^'\")]+)", given.get("style") or "")

    def handle_endtag(self, tag):
        self.in_cell = self.in_cell and tag not in ("td", "th")

    def handle_data(self, data):
        self.words.append(data)
        if self.in_cell:
            self.rows[-1][-1].append(data)


@pytest.fixture(scope="module")
def site(closed_network, tmp_path_factory):
    """The built pages; every warning of the build is an error."""
    out = tmp_path_factory.mktemp("site")
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "--fail-on-warning", "--fresh-env", "--quiet", DOCS, out],
        env=closed_network, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return out


def test_pages_load_nothing_from_elsewhere(site):
    loads = [load for file in site.rglob("*.html") for load in Page(file).loads]
    assert loads
    for style in site.rglob("*.css"):
        text = style.read_text(encoding="utf-8")
        loads += re.findall(r"url\(['\"]?([^'\")]+)|@import ['\"]([^'\"]+)", text)
    away = [load for load in loads if re.match(r"(\w+:)?//", str(load))]
    assert away == []


def test_no_equation_is_left_to_a_script(site):
    rock = (site / "formulas" / "rock.html").read_text(encoding="utf-8")
    assert rock.count('display="block"') >= 10
    for file in site.rglob("*.html"):
        text = file.read_text(encoding="utf-8")
        assert "mathjax" not in text.lower() and "\\frac" not in text, file


def test_every_line_that_calls_for_something_is_filled(site):
    for file in site.rglob("*.html"):
        assert "{{" not in Page(file).text, file


@pytest.mark.parametrize("table", sorted({t for c in COLUMNS for t in c.tables} - pages.GIVEN))
def test_every_column_that_is_written_has_its_row(site, table):
    page = Page(site / "reference" / "results.html")
    for name, column in columns_of(table).items():
        assert pages.target(column).replace("_", "-") in page.ids, name
        rows = [r for r in page.rows if r[:3] == [name, pages.holds(column), column.meaning]]
        assert any(table in row[3].split(", ") for row in rows), name


@pytest.mark.parametrize("table", [templates.REGISTER, *TABLES], ids=lambda table: table.name)
def test_every_column_that_is_given_has_its_row(site, table):
    page = Page(site / "reference" / "inputs.html")
    assert table.columns
    for name, column in table.columns.items():
        assert [name, pages.holds(column), pages.meaning(table, column)] in page.rows


@pytest.mark.parametrize("model", templates.SETTINGS.values(), ids=lambda model: model.__name__)
def test_every_setting_has_its_row(site, model):
    names = [row[0] for row in Page(site / "reference" / "inputs.html").rows]
    wanted = [name.strip("*`") for name, *_ in pages.settings(model)]
    assert wanted and set(wanted) <= set(names)


def test_every_grade_of_metal_has_its_source(site):
    rows = {row[0]: row for row in Page(site / "reference" / "words.html").rows}
    assert all(rows[grade.name][-1] == grade.source for grade in GRADES)


@pytest.mark.parametrize("group", [*pages.GROUPS, ""])
def test_every_formula_is_in_the_gallery(site, group):
    page = Page(site / "formulas" / f"{group or 'shared'}.html")
    wanted = {f"{module.__name__}.{name}" for g, module, name in FORMULAS if g == group}
    assert wanted and wanted - page.ids == set()


def test_every_formula_says_its_source():
    without = [
        f"{module.__name__}.{name}" for _, module, name in FORMULAS
        if not FunctionDoc(getattr(module, name))["References"]
    ]  # fmt: skip
    assert without == []


def test_every_command_is_there(site):
    import typer

    def names(command, before):
        yield before
        for name, inner in getattr(command, "commands", {}).items():
            yield from names(inner, f"{before} {name}")

    text = Page(site / "reference" / "commands.html").text
    assert all(name in text for name in names(typer.main.get_command(app), "saltreach"))


def test_every_name_of_the_package_is_there(site):
    ids = Page(site / "reference" / "python.html").ids
    names = {f"saltreach.{name}" for name in sr.__all__ if callable(getattr(sr, name))}
    assert names | {"saltreach.layers.sample", "saltreach.intake.policy.Policy"} <= ids


def test_the_package_of_users_holds_no_page():
    import tomllib

    wheel = tomllib.loads((DOCS.parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    wheel = wheel["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["packages"] == ["src/saltreach"]
    assert all(source.startswith("data/") for source in wheel["force-include"])
