"""The installed command's entry point, called in forks of one process that has worked before.

Starting the command anew for every test would spend most of the time on the same imports and
layers. What it does at its very start is tested where the fixture `installed` is taken.

A script: reads one call a line (JSON: arguments, folder, out, err), answers with its exit code.
What is called may also be a script (`python FILE`) or a notebook (`notebook FILE`).
"""

import contextlib
import gc
import importlib
import io
import json
import os
import pkgutil
import runpy
import sys
import tempfile
import traceback
from pathlib import Path

import saltreach
from saltreach.cli import app

LATE = ("highspy", "rasterio", "rasterio.features", "segno", "typst")
"""Imported within functions, by commands that leave threads behind: those survive no fork."""
REGISTER = "anchor_id,crag,sector,lon,lat\na1,Alder Point,North,-4.95,43.44\n"


def warm_up() -> None:
    """Imports what the command imports when it works, and reads its layers and assets."""
    for module in pkgutil.walk_packages(saltreach.__path__, "saltreach."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    for name in LATE:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as folder:
        at = Path(folder)
        (at / "a.csv").write_text(REGISTER)
        example = at / "templates" / "example"
        for line in (
            "templates --out {at}/templates",
            "assess {at}/a.csv --out {at}/out --plots",
            "plan {at}/out --teams {example}/teams.csv --seconds 0 --out {at}/plan",
        ):
            words = [word.format(at=at, example=example) for word in line.split()]
            said = io.StringIO()
            with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                try:
                    code = app(words, prog_name="saltreach", standalone_mode=False)
                except SystemExit as end:
                    code = end.code
            if code:
                raise RuntimeError(f"{line} ended with {code}: {said.getvalue()}")


def run(call: dict) -> int:
    """In the fork: the command with its own folder and outputs; its exit code."""
    for descriptor, name in ((0, os.devnull), (1, call["out"]), (2, call["err"])):
        file = os.open(name, os.O_RDONLY if descriptor == 0 else os.O_WRONLY)
        os.dup2(file, descriptor)
    os.chdir(call["folder"])
    try:
        start(*call["arguments"])
    except SystemExit as end:
        return end.code or 0
    except BaseException:  # noqa: BLE001  a real start would print it and end with 1
        traceback.print_exc()
        return 1
    return 0


def start(*arguments: str) -> None:
    """The command with its arguments, a script or a notebook."""
    if arguments[:1] == ("python",):
        runpy.run_path(arguments[1], run_name="__main__")
    elif arguments[:1] == ("notebook",):
        run_notebook(Path(arguments[1]))
    else:
        app(list(arguments), prog_name="saltreach")


def run_notebook(path: Path) -> None:
    """Every cell, its outputs made as for a page; ends with 1 at the first error."""
    from IPython.core.interactiveshell import InteractiveShell
    from traitlets.config import Config

    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]

    class Shell(InteractiveShell):
        def enable_gui(self, gui=None):
            """Pictures are made as for a page, in no window."""

    shell = Shell.instance(config=Config({"HistoryManager": {"enabled": False}}))
    shell.enable_matplotlib("inline")
    for cell in cells:
        if cell["cell_type"] == "code":
            shell.run_cell("".join(cell["source"]), store_history=True).raise_error()


def main() -> None:
    """Serve until standard input ends."""
    warm_up()
    gc.collect()
    gc.freeze()
    print("ready", flush=True)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            code = run(json.loads(line))
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


if __name__ == "__main__":
    main()
