"""Drawings beside the tables: where one fails, it is left out and said, and the tables stand."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from saltreach.errors import OptionError

NO_LAND = "Land and shore could not be drawn here and are left out."


@contextmanager
def left_out_on_failure(what: str, notes: list[str]) -> Iterator[None]:
    """Whatever fails in drawing `what` ends there, with a note.

    What the user asked for wrongly, and a folder that cannot be written, are said as ever.
    """
    try:
        yield
    except (OptionError, OSError):
        raise
    except Exception as error:  # no drawing is worth the tables; logged
        logging.getLogger(__name__).debug("drawing %s", what, exc_info=True)
        reason = f"{type(error).__name__}: {error}".splitlines()[0][:200]
        notes.append(f"{what} could not be drawn and is left out ({reason})")
