"""A PostgreSQL server with PostGIS for the tests: its own cluster in a folder, gone at the end.

`python tests/helpers/database.py` makes sure that it is installed (on Debian, as root).
"""

import os
import secrets
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

HOMES = Path("/usr/lib/postgresql")
"""Where Debian keeps the programs, one folder a version."""
MISSING = (
    "PostgreSQL with PostGIS is not installed: tests of books in a database are skipped (they "
    "fail where CI is set). On Debian: apt-get install postgresql postgresql-15-postgis-3"
)


@dataclass(frozen=True)
class Server:
    """A server that runs, and who may enter it."""

    port: int
    user: str
    password: str

    def address(self, database: str, schema: str, *, password: bool = False) -> str:
        user = f"{self.user}:{self.password}" if password else self.user
        return f"postgresql://{user}@127.0.0.1:{self.port}/{database}?schema={schema}"


def programs() -> Path | None:
    """Folder of the newest server that has PostGIS."""
    found = [
        one
        for one in HOMES.glob("*/bin/initdb")
        if list(Path("/usr/share/postgresql").glob(f"{one.parts[-3]}/extension/postgis.control"))
    ]
    return max(found, key=lambda one: float(one.parts[-3])).parent if found else None


def as_server(*command: str | Path) -> list[str]:
    """A command as PostgreSQL wants it: never as root."""
    words = [str(word) for word in command]
    return ["runuser", "-u", "postgres", "--", *words] if os.geteuid() == 0 else words


def _run(*command: str | Path) -> None:
    done = subprocess.run(
        as_server(*command), capture_output=True, text=True, check=False, cwd=tempfile.gettempdir()
    )
    assert done.returncode == 0, done.stderr


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


@contextmanager
def running() -> Iterator[Server]:
    """A cluster that is started, asked for a password, and thrown away."""
    home = programs()
    if home is None:
        if os.environ.get("CI"):
            pytest.fail(MISSING)
        pytest.skip(MISSING)
    folder = Path(tempfile.mkdtemp(prefix="postgres-"))
    password = secrets.token_urlsafe(12)
    try:
        (folder / "password").write_text(password)
        if os.geteuid() == 0:
            for one in (folder, folder / "password"):
                shutil.chown(one, "postgres")
        data, port = folder / "data", _free_port()
        _run(
            home / "initdb", "--pgdata", data, "--username", "keeper", "--no-sync",
            "--auth-host=scram-sha-256", "--auth-local=trust", f"--pwfile={folder / 'password'}",
            "--encoding=UTF8", "--locale=C.UTF-8",
        )  # fmt: skip
        settings = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        _run(home / "pg_ctl", "--pgdata", data, "-o", settings, "-l", folder / "log", "-w", "start")
        try:
            yield Server(port, "keeper", password)
        finally:
            _run(home / "pg_ctl", "--pgdata", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def main() -> int:
    if programs() is None and os.geteuid() == 0 and shutil.which("apt-get"):
        quiet = {"stdout": subprocess.DEVNULL, "check": False}
        subprocess.run(["apt-get", "update"], **quiet)
        subprocess.run(["apt-get", "install", "-y", "postgresql"], **quiet)
        for version in HOMES.glob("*"):
            package = f"postgresql-{version.name}-postgis-3"
            subprocess.run(["apt-get", "install", "-y", package], **quiet)
    if programs() is not None:
        return 0
    print(MISSING, file=sys.stderr)
    return 1 if os.environ.get("CI") else 0


if __name__ == "__main__":
    sys.exit(main())
