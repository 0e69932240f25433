"""What the pages of the documentation tell to type works as it stands, on the demo's files."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
DOCS = TOP / "src" / "docs"
PAGES = (DOCS / "tutorial.md", *sorted(DOCS.glob("howto/*.md")), DOCS / "reference" / "python.md")
BLOCK = re.compile(r"^```(?:\{code-block\} )?(\w+)\n(?::caption: (\S+)\n)?(.*?)^```$", re.M | re.S)
FILE = re.compile(r"`([\w-]+/[\w.-]+\.\w+)`")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with the demo's files in it, and the lines that were run there."""
    here = tmp_path_factory.mktemp("reader")
    shutil.copytree(TOP / "data" / "demo", here / "data" / "demo")
    return here, {}


def run(line, here, saltreach):
    command, *arguments = shlex.split(line)
    if command == "python":
        return saltreach("python", *arguments, within=here)
    assert command == "saltreach", line
    return saltreach(*arguments, within=here)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_what_a_page_tells_to_type_works(page, folder, saltreach):
    here, done = folder
    lines = []
    for language, name, text in BLOCK.findall(page.read_text(encoding="utf-8")):
        if name:
            (here / name).write_text(text, encoding="utf-8")
        elif language == "python":
            (here / f"{page.stem}.py").write_text(text, encoding="utf-8")
            lines.append(f"python {page.stem}.py")
        elif language == "sh":
            lines += text.splitlines()
    assert lines
    for line in lines:
        if line not in done:
            done[line] = run(line, here, saltreach)
        refused = "data/demo/anchors.csv" in line  # eight of its rows are bad on purpose
        assert done[line].returncode == refused, (line, done[line].stderr)
    for file in FILE.findall(page.read_text(encoding="utf-8")):
        assert (here / file).is_file(), file
