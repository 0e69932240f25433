"""Write a surface of small blocks, and be killed after some of them: for `test_surface_files`."""

import os
import signal
import sys
from pathlib import Path

from saltreach.assessment import surface_grid
from saltreach.outputs.surface.write import Written, write_surface

BOX, RESOLUTION_M, BLOCK_CELLS = (-5.1, 43.25, -4.75, 43.5), 1500.0, 10


def write(out: Path, kill_after: int = 0) -> Written:
    surface_grid.BLOCK_CELLS = BLOCK_CELLS

    def step(name: str) -> None:
        done = name.removeprefix("cells: ").split(" ")[0]
        if kill_after and name.startswith("cells") and int(done) == kill_after:
            os.kill(os.getpid(), signal.SIGKILL)

    return write_surface(BOX, out, resolution_m=RESOLUTION_M, processes=1, on_step=step)


if __name__ == "__main__":
    write(Path(sys.argv[1]), int(sys.argv[2]))
