"""The count of pinned answers at the end of a run, and what README.md states of it."""

from pathlib import Path

import pytest

from helpers.pinned import PINNED, STATED, complaints, said, stated

pytest_plugins = ("pytester",)
TOP = Path(__file__).parents[2]
TESTS = """
import pytest


@pytest.mark.pinned("published")
@pytest.mark.parametrize("n", range(10))
def test_ten(n):
    pass


@pytest.mark.pinned("worked", answers=7)
def test_seven():
    pass


@pytest.mark.parametrize("n", [pytest.param(1, marks=pytest.mark.pinned("peer", answers=2)), 2])
def test_one_of_two(n):
    pass


def test_none():
    pass
"""
COUNTED = "10 published, 2 peer, 7 worked, 0 memory, 0 judgement"


@pytest.fixture
def run(pytester):
    """A run of `TESTS` under a README.md; with workers where told."""

    def run(readme: str, *arguments: str, tests: str = TESTS, workers: bool = False):
        pytester.makeini(
            f"[pytest]\ntestpaths = .\npythonpath = {TOP / 'tests'}\nmarkers =\n    pinned: counted"
        )
        pytester.makepyfile(test_some=tests)
        (pytester.path / "README.md").write_text(readme)
        more = ("--numprocesses", "2") if workers else ("-p", "no:xdist")
        return pytester.runpytest_subprocess("-p", "helpers.pinned", *more, *arguments)

    return run


@pytest.mark.parametrize("workers", [False, True])
def test_the_counts_are_said_and_agree_with_what_is_stated(run, workers):
    found = run(f"The tests hold at least {COUNTED} answers.", workers=workers)
    assert f"answers pinned by value: {COUNTED}" in found.outlines
    assert found.ret == 0


@pytest.mark.parametrize("workers", [False, True])
@pytest.mark.parametrize(
    ("readme", "complaint"),
    [
        (
            COUNTED.replace("7 worked", "8 worked"),
            "7 answers are pinned by worked, README.md states at least 8: pin what was lost",
        ),
        (
            COUNTED.replace("10 published", "8 published"),
            "10 answers are pinned by published, more than 15 % above the 8 of README.md",
        ),
    ],
)
def test_a_whole_run_fails_where_another_count_is_stated(run, readme, complaint, workers):
    found = run(f"at least {readme}", workers=workers)
    assert complaint in found.stdout.str()
    assert found.ret == pytest.ExitCode.TESTS_FAILED


def test_a_whole_run_fails_where_nothing_is_stated(run):
    found = run("No word of it.")
    assert "README.md states no counts" in found.stdout.str()
    assert found.ret == pytest.ExitCode.TESTS_FAILED


@pytest.mark.parametrize(
    "chosen",
    [("test_some.py",), ("-k", "seven"), ("-mpinned",), ("--deselect", "test_some.py::test_ten")],
)
def test_a_run_of_a_part_compares_nothing(run, chosen):
    found = run("No word of it.", *chosen)
    assert "README.md" not in found.stdout.str()
    assert found.ret == 0


def test_a_skipped_pin_leaves_nothing_to_compare(run):
    skipped = TESTS.replace("def test_seven", "@pytest.mark.skip\ndef test_seven")
    found = run(f"at least {COUNTED}", tests=skipped)
    assert "answers pinned by value: 10 published, 2 peer, 0 worked" in found.stdout.str()
    assert found.ret == 0


def test_a_skipped_test_without_pins_is_no_excuse(run):
    skipped = TESTS.replace("def test_none", "@pytest.mark.skip\ndef test_none")
    assert run("No word of it.", tests=skipped).ret == pytest.ExitCode.TESTS_FAILED


def test_a_failed_test_pins_nothing_and_is_the_only_complaint(run):
    failing = TESTS.replace("def test_seven():\n    pass", "def test_seven():\n    assert 0")
    found = run(f"at least {COUNTED}", tests=failing)
    assert "answers pinned by value: 10 published, 2 peer, 0 worked" in found.stdout.str()
    assert "README.md" not in found.stdout.str()
    assert found.ret == pytest.ExitCode.TESTS_FAILED


def test_a_count_may_be_above_the_stated_one_by_the_slack():
    least = dict.fromkeys(PINNED, 100)
    assert complaints(dict.fromkeys(PINNED, 115), least) == []
    assert len(complaints(dict.fromkeys(PINNED, 116), least)) == len(PINNED)
    assert len(complaints(dict.fromkeys(PINNED, 99), least)) == len(PINNED)


def test_what_is_said_can_be_stated():
    counts = dict(zip(PINNED, (1234, 5, 0, 7, 8), strict=True))
    assert stated(f"at least\n{said(counts)} answers") == counts


def test_readme_states_the_counts():
    text = (TOP / "README.md").read_text(encoding="utf-8")
    assert len(STATED.findall(" ".join(text.split()))) == 1
