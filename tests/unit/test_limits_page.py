"""The page of limits and judgement is what its script makes of the code."""

import importlib.util
from pathlib import Path

SCRIPT = Path(__file__).parents[2] / "data" / "build" / "build_limits.py"


def test_the_page_is_up_to_date():
    spec = importlib.util.spec_from_file_location("build_limits", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.TARGET.read_text(encoding="utf-8") == module.page()
