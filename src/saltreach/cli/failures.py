"""The end of a command that nobody foresaw: one line on stderr, a log, an exit code of its own."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperGroup

from saltreach.cli.shared import UNUSABLE, tell

UNFORESEEN, INTERRUPTED = 3, 130
MOST_LETTERS = 200
"""Of a message that nobody wrote for users."""


class Program(TyperGroup):
    """The commands; whatever they raise ends in one line, and never in the code of good results."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for."""
        try:
            try:
                return super().invoke(ctx)
            finally:
                sys.stdout.flush()
        except BrokenPipeError as error:
            _no_more_output()  # who reads has read enough
            raise typer.Exit(getattr(error.__context__, "exit_code", 0)) from None
        except KeyboardInterrupt:
            tell("stopped: files are as they were, or the next run on their folder mends them")
            raise typer.Exit(INTERRUPTED) from None
        except MemoryError as error:
            tell(f"not enough memory{_logged(error)}; close other programs, or give less at once")
            raise typer.Exit(UNFORESEEN) from None
        except OSError as error:
            from saltreach.folders.trouble import cannot_write

            if error.filename is not None or cannot_write("stdout", error) is None:
                raise _unforeseen(error) from None
            _no_more_output()
            tell(
                f"what is printed cannot be written ({(error.strerror or '').lower()}): send it "
                "elsewhere"
            )
            raise typer.Exit(UNUSABLE) from None
        except Exception as error:
            if type(error).__module__.startswith("typer."):
                raise  # an exit code, or a mistake in the command line
            raise _unforeseen(error) from None


def _unforeseen(error: BaseException) -> typer.Exit:
    said = " ".join(str(error).split())[:MOST_LETTERS]
    tell(f"unexpected failure: {type(error).__name__}: {said}{_logged(error)}")
    return typer.Exit(UNFORESEEN)


def _no_more_output() -> None:
    """Nothing more to standard output, not even what Python still holds when it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _logged(error: BaseException) -> str:
    """Write the trace to a log file; where it is, in words."""
    import tempfile
    import traceback
    from datetime import datetime
    from importlib.metadata import version

    from platformdirs import user_log_path

    from saltreach.errors import without_passwords

    now = datetime.now()
    text = "\n".join(
        [
            f"saltreach {version('saltreach')}, Python {sys.version}, {sys.platform}",
            f"{now.isoformat(timespec='seconds')}: {sys.argv}",
            "".join(traceback.format_exception(error)),
        ]
    )
    name = f"failure-{now:%Y%m%d-%H%M%S}-{os.getpid()}.log"
    for folder in (user_log_path("saltreach", appauthor=False), Path(tempfile.gettempdir())):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(without_passwords(text), encoding="utf-8")
        except OSError:
            continue
        return f"; log: {folder / name}"
    return "; no log could be written"
