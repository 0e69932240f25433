"""What the formulas take: the names their signatures use, and the step to arrays of numbers."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values: TypeAlias = ArrayLike
"""Numbers: a scalar, list or array, a pandas Series or an xarray DataArray. NaN: unknown."""
Words: TypeAlias = ArrayLike
"""Words of the vocabulary, in the same forms. Empty, None or `unknown`: unknown."""
Flags: TypeAlias = ArrayLike
"""True or false, in the same forms."""
Floats: TypeAlias = NDArray[np.float64]
Places: TypeAlias = NDArray[np.intp]
Bools: TypeAlias = NDArray[np.bool_]
Texts: TypeAlias = NDArray[np.object_]
"""Arrays of words."""
Column: TypeAlias = Any
"""A field of a record of anchors: a scalar or an array as given, an array of rows once inside."""


def number(value: Values) -> Floats:
    """The value as an array of floats.

    Examples
    --------
    >>> number([1, None]).tolist()
    [1.0, nan]
    """
    return np.asarray(value, dtype=np.float64)


def numbers(*values: Values) -> list[Floats]:
    """Each value as an array of floats, in its own shape."""
    return [np.asarray(value, dtype=np.float64) for value in values]
