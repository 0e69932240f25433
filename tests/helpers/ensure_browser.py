"""Make sure that Chromium is there for the browser tests; on Debian as root, install it."""

import os
import shutil
import subprocess
import sys

BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser")
"""Chromium without windows first: it draws the same pages with fewer processes."""


def chromium() -> str | None:
    """Path of the browser for the tests."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def main() -> int:
    if chromium():
        return 0
    if os.geteuid() == 0 and shutil.which("apt-get"):
        quiet = {"stdout": subprocess.DEVNULL, "check": False}
        subprocess.run(["apt-get", "update"], **quiet)
        for package in BROWSERS[:2]:
            if not chromium():
                subprocess.run(["apt-get", "install", "-y", package], **quiet)
    if chromium():
        return 0
    print(
        "Chromium is not installed: browser tests are skipped (they fail where CI is set). "
        f"On Debian: apt-get install {BROWSERS[0]}",
        file=sys.stderr,
    )
    return 1 if os.environ.get("CI") else 0


if __name__ == "__main__":
    sys.exit(main())
