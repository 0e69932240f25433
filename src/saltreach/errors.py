"""The few exceptions of the package: each says what, where, which value, and what to do."""


class SaltreachError(ValueError):
    """Anything saltreach refuses; the message names the input and the fix."""


class RegisterError(SaltreachError):
    """A register that cannot be read at all (single bad rows are listed, not raised)."""


class LayerError(SaltreachError):
    """A layer that is missing, damaged or unusable as given."""


class OptionError(SaltreachError):
    """An option with an impossible value or an unknown name."""
