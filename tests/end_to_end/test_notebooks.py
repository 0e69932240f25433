"""The notebooks run from the first cell to the last: each in a fork that has its imports.

That a kernel of its own can be started for one is tested with the first.
"""

from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS[1:], ids=lambda p: p.stem)
def test_notebook_runs(path, saltreach):
    done = saltreach("notebook", path, within=path.parent)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_the_first_runs_in_a_kernel_of_its_own():
    import nbformat
    from nbclient import NotebookClient

    for path in NOTEBOOKS:
        nbformat.validate(nbformat.read(path, as_version=4))
    first = NOTEBOOKS[0]
    notebook = nbformat.read(first, as_version=4)
    there = {"metadata": {"path": first.parent}}
    NotebookClient(notebook, timeout=None, startup_timeout=600, resources=there).execute()
