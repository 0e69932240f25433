"""What a database refuses, in one sentence each, and never with a password."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from saltreach.errors import RecordError, SaltreachError, brief
from saltreach.records.address import Address

_NO_DATABASE = re.compile('database ".*" does not exist')


def require_libraries() -> None:
    """Raise where the libraries that reach a database are not installed.

    Raises
    ------
    RecordError
        With how to install them.
    """
    try:
        import geoalchemy2  # noqa: F401
        import psycopg  # noqa: F401
        import sqlalchemy  # noqa: F401
    except ImportError as error:
        raise RecordError(
            f"a database needs libraries that are not installed ({error.name}): "
            "pip install 'saltreach[postgis]'"
        ) from error


@contextmanager
def clear(address: Address) -> Iterator[None]:
    """What the database or its libraries refuse becomes one sentence."""
    import sqlalchemy as sa

    try:
        yield
    except SaltreachError:
        raise
    except sa.exc.DBAPIError as error:
        raise _said(address, error.orig) from None
    except sa.exc.SQLAlchemyError as error:
        raise RecordError(f"{address}: {_first_line(error, address)}") from None


def _said(address: Address, error: Any) -> RecordError:
    state = getattr(error, "sqlstate", None) or ""
    said = _first_line(error, address)
    if "password authentication failed" in said or "no password supplied" in said:
        fix = (
            "give the password in PGPASSWORD or in .pgpass, and the user in the address "
            "(postgresql://user@...)"
        )
        return RecordError(f"{address}: the database lets nobody in of that name; {fix}")
    if state.startswith("3D") or _NO_DATABASE.search(said):
        return RecordError(f"{address}: there is no database of that name; create it")
    if not state or state.startswith("08") or state == "57P03":
        return RecordError(
            f"{address}: the database cannot be reached ({said}); check host, port and network"
        )
    if state == "42501":
        return RecordError(
            f"{address}: you may not do that there ({said}); ask its administrator for the right"
        )
    if state == "25006":
        return RecordError(f"{address}: the database is read-only; nothing was written")
    if state in ("40001", "40P01", "55P03"):
        return RecordError(
            f"{address}: another program holds the book; run the command again ({said})"
        )
    if state.startswith("53"):
        return RecordError(
            f"{address}: the server has no room left ({said}); the book is as it was"
        )
    return RecordError(f"{address}: the database refuses it ({said})")


def _first_line(error: object, address: Address) -> str:
    text = " ".join(str(error).partition("CONTEXT:")[0].split())
    if address.password:
        text = text.replace(address.password, "***")
    return brief(text.rstrip("."), 200)
