"""Make sure that Chromium is there for the browser tests; on Debian as root, install it."""

import os
import shutil
import subprocess
import sys


def main() -> int:
    if shutil.which("chromium"):
        return 0
    if os.geteuid() == 0 and shutil.which("apt-get"):
        quiet = {"stdout": subprocess.DEVNULL, "check": False}
        subprocess.run(["apt-get", "update"], **quiet)
        subprocess.run(["apt-get", "install", "-y", "chromium"], **quiet)
    if shutil.which("chromium"):
        return 0
    print(
        "Chromium is not installed: browser tests are skipped (they fail where CI is set). "
        "On Debian: apt-get install chromium",
        file=sys.stderr,
    )
    return 1 if os.environ.get("CI") else 0


if __name__ == "__main__":
    sys.exit(main())
