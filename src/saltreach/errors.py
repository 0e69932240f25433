"""The few exceptions of the package: each says what, where, which value, and what to do."""

from __future__ import annotations

from typing import Any


class SaltreachError(ValueError):
    """Anything saltreach refuses; the message names the input and the fix."""


class RegisterError(SaltreachError):
    """A register that cannot be read at all (single bad rows are listed, not raised)."""


class NoGoodRowsError(RegisterError):
    """A register of which no row can be used; `rejected` is the table of refused rows."""

    def __init__(self, message: str, rejected: Any) -> None:
        super().__init__(message)
        self.rejected = rejected


class LayerError(SaltreachError):
    """A layer that is missing, damaged or unusable as given."""


class OptionError(SaltreachError):
    """An option with an impossible value or an unknown name."""


class OutputError(SaltreachError):
    """A place that nothing may, or can, be written to."""
