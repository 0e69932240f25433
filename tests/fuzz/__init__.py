"""Broken files of every format a user may hand in: none may end in anything but a clear word."""
