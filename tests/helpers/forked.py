"""The installed command's entry point, called in forks of one process that has worked before.

Starting the command anew for every test would spend most of the time on the same imports and
layers. What it does at its very start is tested where the fixture `installed` is taken.

A script: reads one call a line (JSON: arguments, folder, out, err), answers with its exit code.
"""

import contextlib
import gc
import io
import json
import os
import sys
import tempfile
import traceback
from pathlib import Path

from saltreach.cli import app

REGISTER = "anchor_id,crag,sector,lon,lat\na1,Alder Point,North,-4.95,43.44\n"


def warm_up() -> None:
    """Imports what the command imports when it works, and reads its layers."""
    with tempfile.TemporaryDirectory() as folder:
        register = Path(folder) / "a.csv"
        register.write_text(REGISTER)
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            app(["assess", str(register), "--out", f"{folder}/out"], standalone_mode=False)


def run(call: dict) -> int:
    """In the fork: the command with its own folder and outputs; its exit code."""
    for descriptor, name in ((0, os.devnull), (1, call["out"]), (2, call["err"])):
        file = os.open(name, os.O_RDONLY if descriptor == 0 else os.O_WRONLY)
        os.dup2(file, descriptor)
    os.chdir(call["folder"])
    try:
        app(call["arguments"], prog_name="saltreach")
    except SystemExit as end:
        return end.code or 0
    except BaseException:  # noqa: BLE001  a real start would print it and end with 1
        traceback.print_exc()
        return 1
    return 0


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
