"""How many answers the tests hold by value, by what stands behind them: counted, said, compared.

A plugin of pytest. A test says what it holds by the mark `pinned(kind, answers=1)`. The run prints
the counts of the tests that passed; a whole run fails where README.md states more than there are,
or too few by more than `SLACK_PCT`.
"""

import re

import pytest

PINNED = ("published", "peer", "worked", "memory", "judgement")
"""What stands behind a pinned answer: a published value or worked example, a reference library, a
place worked out by hand or by an independent script, a published value typed from memory, and a
judged value in a table that documents it."""
SLACK_PCT = 15
"""A count above the stated one by more than this is to be stated anew."""
STATED = re.compile("at least " + ", ".join(rf"([\d,]+) {kind}" for kind in PINNED))
CHOOSING = ("-k", "-m", "--deselect", "--ignore", "--lf", "--last-failed", "--sw", "--stepwise")
"""Options with which a run is not the whole one."""
HOW = "state in README.md what this run counted"


def pins(marks) -> dict[str, int]:
    """Pinned answers by what stands behind them, of the marks `pinned(kind, answers=1)`."""
    found = dict.fromkeys(PINNED, 0)
    for mark in marks:
        (kind,) = mark.args
        found[kind] += mark.kwargs.get("answers", 1)
    return found


def said(counts: dict[str, int]) -> str:
    """The counts in words, as README.md states them after "at least"."""
    return ", ".join(f"{count:,} {kind}" for kind, count in counts.items())


def stated(text: str) -> dict[str, int] | None:
    """The counts that a text states; None where it states none."""
    found = STATED.search(" ".join(text.split()))
    numbers = [int(number.replace(",", "")) for number in found.groups()] if found else []
    return dict(zip(PINNED, numbers, strict=True)) if found else None


def complaints(counts: dict[str, int], least: dict[str, int] | None) -> list[str]:
    """What is wrong with what README.md states."""
    if least is None:
        return [f"README.md states no counts of pinned answers: {HOW}"]
    fewer = [
        f"{counts[kind]:,} answers are pinned by {kind}, README.md states at least "
        f"{least[kind]:,}: pin what was lost, or {HOW}"
        for kind in PINNED
        if counts[kind] < least[kind]
    ]
    more = [
        f"{counts[kind]:,} answers are pinned by {kind}, more than {SLACK_PCT} % above the "
        f"{least[kind]:,} of README.md: {HOW}"
        for kind in PINNED
        if 100 * counts[kind] > (100 + SLACK_PCT) * least[kind]
    ]
    return fewer + more


def reports(config, outcome: str) -> list:
    """Reports of an outcome, seen from the process that prints them."""
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    return reporter.stats.get(outcome, []) if reporter else []


def counted(config) -> dict[str, int]:
    """The pinned answers of the tests that passed."""
    held = [held_by(report) or {} for report in reports(config, "passed") if report.when == "call"]
    return {kind: sum(one.get(kind, 0) for one in held) for kind in PINNED}


def held_by(report) -> dict[str, int] | None:
    """What a test holds; None where it did not begin."""
    return dict(getattr(report, "user_properties", ())).get("pinned")


def was_whole(config) -> bool:
    """Whether every test ran: none chosen by place, name or mark, and none skipped that pins."""
    chosen = any(given.startswith(CHOOSING) for given in config.invocation_params.args)
    skipped = [held_by(report) for report in reports(config, "skipped")]
    lacking = any(held is None or any(held.values()) for held in skipped)
    return config.args_source is config.ArgsSource.TESTPATHS and not chosen and not lacking


def wrong(config) -> list[str]:
    """What is wrong with README.md after a whole run."""
    if not was_whole(config):
        return []
    text = (config.rootpath / "README.md").read_text(encoding="utf-8")
    return complaints(counted(config), stated(text))


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    item.user_properties.append(("pinned", pins(item.iter_markers("pinned"))))


def pytest_sessionfinish(session, exitstatus):
    # a worker reports nothing; a run that failed already says so
    reporting = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporting and exitstatus == pytest.ExitCode.OK and wrong(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter, config):
    counts = counted(config)
    if any(counts.values()):
        terminalreporter.line(f"answers pinned by value: {said(counts)}")
    failed = reports(config, "failed") or reports(config, "error")
    for complaint in () if failed else wrong(config):
        terminalreporter.line(f"FAILED: {complaint}", red=True, bold=True)
