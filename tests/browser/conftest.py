"""One Chromium for the tests of a file; a slow machine is waited for, not called a fault."""

import os

import pytest

from helpers.ensure_browser import chromium
from helpers.pages import watch
from helpers.peers import peer

CHROMIUM = chromium()
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
PATIENCE_MS = 600_000
"""When an action that never ends is given up; nothing here is timed."""


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("no chromium on this machine; CI must install it")
        pytest.skip("no chromium on this machine: install it to run the browser tests")
    playwright = peer("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(
            executable_path=CHROMIUM, args=ARGUMENTS, timeout=PATIENCE_MS
        )
        yield started
        started.close()


@pytest.fixture(scope="module")
def new_context(browser):
    """Opens a browser context without a network; who opens one closes it."""

    def new(**options):
        context = browser.new_context(offline=True, **options)
        context.set_default_timeout(PATIENCE_MS)
        return context

    return new


@pytest.fixture
def watched(new_context):
    """Opens a file; at the end no request, console message or dialog may have happened."""
    contexts, troubles = [], []

    def opened(path, *, allow_tiles=False, **options):
        context = new_context(**options)
        contexts.append(context)
        page = context.new_page()
        watch(page, troubles, allow_tiles=allow_tiles)
        page.goto(path.as_uri())
        return page

    yield opened
    for context in contexts:
        context.close()
    assert troubles == []
