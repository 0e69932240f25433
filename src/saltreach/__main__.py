"""`python -m saltreach` is the `saltreach` command."""

from saltreach.cli import app

app()
