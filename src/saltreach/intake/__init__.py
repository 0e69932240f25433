"""Reading and checking what the user has: one row per anchor, good rows kept, bad ones listed."""

from saltreach.intake.read import Register, read_register, refuse_far_at_sea

__all__ = ["Register", "read_register", "refuse_far_at_sea"]
