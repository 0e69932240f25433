"""Work for `test_workers`: functions at the top of a module, as processes can find them."""

import os
import signal
import time
from pathlib import Path


def square(number: int) -> int:
    return number * number


def slow_first(number: int) -> int:
    """The first takes longest, so that others end before it."""
    time.sleep(0.2 if number == 0 else 0)
    return number


def killed_once(item: tuple[int, str]) -> int:
    """Its process is killed where no process was before."""
    number, mark = item
    if number == 2 and not Path(mark).exists():
        Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def always_killed(number: int) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    return number


def refused(number: int) -> int:
    if number == 1:
        raise ValueError("no such part")
    return number


def named(mark: str) -> int:
    """Write down who works, and work on."""
    Path(mark).write_text(str(os.getpid()))
    time.sleep(600)
    return 0


def got_ready(folder: str) -> None:
    """Write down who is ready; that is heard by nobody, and neither is what goes wrong."""
    (Path(folder) / str(os.getpid())).touch()
    raise ValueError("not ready")


def main(mark: str) -> None:
    from saltreach.workers import workers

    try:
        with workers(count=2) as pool:
            list(pool.map(named, [mark]))
    except KeyboardInterrupt:
        print("stopped")


if __name__ == "__main__":
    import sys

    from helpers.parts import main as begin  # the name by which processes find it

    begin(sys.argv[1])
