"""The installed command, run in a folder of its own with the network closed."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from helpers.once import once

CLOSED = """
import socket


def refuse(*args, **kwargs):
    raise OSError("the network is closed in this test")


socket.socket.connect = refuse
socket.getaddrinfo = refuse
"""


@pytest.fixture(scope="session")
def closed_network(tmp_path_factory) -> dict[str, str]:
    """Environment in which Python cannot open a connection."""
    folder = tmp_path_factory.mktemp("closed")
    (folder / "sitecustomize.py").write_text(CLOSED)
    path = os.pathsep.join(filter(None, (str(folder), os.environ.get("PYTHONPATH"))))
    return {**os.environ, "PYTHONPATH": path, "COLUMNS": "100"}


@pytest.fixture(scope="session")
def installed(closed_network, tmp_path_factory):
    """Run the installed `saltreach` script in a process of its own."""
    command = Path(sys.executable).with_name("saltreach")
    folder = tmp_path_factory.mktemp("elsewhere")

    def run(*arguments: object) -> subprocess.CompletedProcess:
        return subprocess.run(
            [str(command), *map(str, arguments)],
            capture_output=True,
            text=True,
            env=closed_network,
            cwd=folder,
            check=False,
        )

    return run


@pytest.fixture(scope="session")
def saltreach(closed_network, tmp_path_factory):
    """Run the command in a fork of a process that has its imports and layers."""
    folder = tmp_path_factory.mktemp("forked")
    out, err = folder / "out.txt", folder / "err.txt"
    with subprocess.Popen(
        [sys.executable, str(Path(__file__).parents[1] / "helpers/forked.py")],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=closed_network,
    ) as server:  # fmt: skip
        assert server.stdout.readline() == "ready\n"

        def run(*arguments: object, within: Path = folder) -> subprocess.CompletedProcess:
            given = [str(a) for a in arguments]
            out.write_text("")
            err.write_text("")
            call = {"arguments": given, "folder": str(within), "out": str(out), "err": str(err)}
            server.stdin.write(json.dumps(call) + "\n")
            server.stdin.flush()
            code = int(server.stdout.readline())
            return subprocess.CompletedProcess(given, code, out.read_text(), err.read_text())

        yield run


@pytest.fixture(scope="session")
def demo(installed, tmp_path_factory):
    """The demo's results, and what the command printed."""

    def make(folder: Path) -> None:
        done = installed("demo", "--out", folder / "demo", "--today", "2026-11-25")
        assert done.returncode == 0, done.stderr
        (folder / "done.json").write_text(json.dumps([done.stdout, done.stderr]))

    folder = once(tmp_path_factory, "demo_results", make)
    out, err = json.loads((folder / "done.json").read_text())
    return folder / "demo", subprocess.CompletedProcess([], 0, out, err)
