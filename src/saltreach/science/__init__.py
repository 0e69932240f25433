"""Pure formulas in four groups: numbers in, numbers out; no files, no tables, no clock.

========  ==========================================================================
`air`     salt, corrosivity and wetness of the air, sun on a face
`metal`   loss of coated steel, class of stainless steel, stress-corrosion hazard
`rock`    strength of rock, rock mass, resistance of an anchor, what to place
`time`    failure year by year, what inspections teach, when to look again, priority
========  ==========================================================================

Each takes and returns scalars, arrays, pandas Series or xarray DataArrays (see `labelled`)::

    from saltreach.science import air
    median, sigma_ln = air.salt.chloride(distance_m)

`formulas` lists them all.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from importlib import import_module
from typing import Any

from saltreach.science.lazy import modules_of

GROUPS = ("air", "metal", "rock", "time")
__all__ = [*GROUPS, "distributions", "formulas"]

__getattr__ = modules_of(__name__, ["distributions", *GROUPS])


def formulas() -> dict[str, Callable[..., Any]]:
    """Every public formula by its name with group and module.

    Returns
    -------
    dict
        Functions; `formula` of each says the CF units and axes of its results.

    Examples
    --------
    >>> formulas()["metal.metal_loss.loss_um"].formula.units
    {'loss_um': 'um'}
    """
    modules = ["distributions"]
    for group in GROUPS:
        modules += [f"{group}.{name}" for name in import_module(f"{__name__}.{group}").__all__]
    return {
        f"{module}.{name}": function
        for module in modules
        for name, function in inspect.getmembers(import_module(f"{__name__}.{module}"))
        if hasattr(function, "formula") and function.__module__ == f"{__name__}.{module}"
    }
