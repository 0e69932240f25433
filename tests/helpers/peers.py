"""Packages that tests compare with: missing, they are a fault in CI and a word elsewhere."""

import importlib
import os

import pytest


def peer(name):
    """The module of that name; outside CI a test that lacks it is skipped."""
    return importlib.import_module(name) if os.environ.get("CI") else pytest.importorskip(name)
