"""One wrapper for every formula: labels in, labels out, with the unit of the result.

A formula is written for arrays. Wrapped, it takes a scalar, a list or an array as it is; of pandas
it gives back a Series with the index it was given; of xarray (dask too) a DataArray with
dimensions and coordinates kept, `units` (CF) and `long_name` set, and nothing carried over from
the input.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple, ParamSpec

import numpy as np

from saltreach.errors import OptionError

P = ParamSpec("P")
_PLAIN: dict[str, tuple[type, object]] = {
    "Values": (float, np.nan),
    "Words": (object, ""),
    "Flags": (bool, False),
}
"""Annotations of parameters that may have labels, and what they are without: type, and what
stands for a missing one. Every other parameter is handed on as it is."""


class Axis(NamedTuple):
    """A last axis that belongs to one place: its name, and the words along it where fixed."""

    name: str
    words: Sequence[str] = ()


class Formula(NamedTuple):
    """What a wrapped formula says of itself: CF unit of each result, and axes.

    A unit is None for words, and empty where the input decides it.
    """

    units: Mapping[str, str | None]
    dtype: type
    returns: Callable[..., Any] | None
    gives: Mapping[str, Axis]
    takes: Mapping[str, Axis]
    long_name: str


def labelled(
    units: str | None | Mapping[str, str | None],
    *,
    dtype: type = float,
    returns: Callable[..., Any] = tuple,
    gives: Axis | Mapping[str, Axis] | None = None,
    takes: Mapping[str, Axis] | None = None,
) -> Callable[[Callable[P, object]], Callable[P, Any]]:
    """Make a formula of arrays keep the labels of pandas and xarray.

    Parameters
    ----------
    units : str, None or mapping
        CF unit of the result, None for words, empty (and not set) where it is that of the input;
        a mapping by name where there are several.
    dtype : type
        Of results that are no words.
    returns : type
        What holds several results: tuple, dict or a NamedTuple.
    gives : Axis or mapping of Axis, optional
        A last axis that the inputs do not have: of every result, or by name.
    takes : mapping of Axis, optional
        Parameters whose last axis belongs to one place; a DataArray has it as the dimension of
        that name, pandas as the columns of a DataFrame.

    Returns
    -------
    callable
        A decorator. `formula` of what it makes is the `Formula`.

    Raises
    ------
    OptionError
        When called: two Series whose index differs, or a DataArray whose `units` are not those in
        the argument's name.

    Examples
    --------
    >>> import xarray as xr
    >>> @labelled("m")
    ... def twice_m(length_m: "Values") -> object:
    ...     return 2 * np.asarray(length_m)
    >>> twice_m(xr.DataArray([1.0, 2.0], dims="place", attrs={"units": "m"})).attrs["units"]
    'm'
    """

    def wrap(function: Callable[P, object]) -> Callable[P, Any]:
        several = isinstance(units, Mapping)
        names = dict(units) if isinstance(units, Mapping) else {function.__name__: units}
        formula = Formula(
            units=names,
            dtype=dtype,
            returns=returns if several else None,
            gives=dict.fromkeys(names, gives) if isinstance(gives, Axis) else gives or {},
            takes=takes or {},
            long_name=(inspect.getdoc(function) or "").partition("\n")[0].rstrip("."),
        )
        parameters = inspect.signature(function).parameters
        order = tuple(parameters)
        # of **more every name is of its kind
        more = next((p for p in parameters.values() if p.kind is p.VAR_KEYWORD), None)
        kinds = {n: str(p.annotation).strip("'\"") for n, p in parameters.items()}
        other = str(more.annotation) if more else ""

        @functools.wraps(function)
        def call(*args: P.args, **kwargs: P.kwargs) -> Any:
            if not any(map(_has_labels, (*args, *kwargs.values()))):
                return function(*args, **kwargs)
            given = {**dict(zip(order, args, strict=False)), **kwargs}
            return _with_labels(formula, function, given, {n: kinds.get(n, other) for n in given})

        call.formula = formula  # type: ignore[attr-defined]
        return call

    return wrap


ACCEPTED = {
    "_c": ("degC", "°C", "C", "celsius", "degree_Celsius", "degrees_Celsius", "degree_C"),
    "_m": ("m", "metre", "metres", "meter", "meters"),
    "_mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "_pct": ("%", "percent"),
    "_deg": ("degree", "degrees", "deg", "°"),
    "_um_y": ("um year-1", "um/year", "um/y", "µm/y"),
    "_mg_m2_d": ("mg m-2 d-1", "mg/(m2 d)", "mg/(m²·d)"),
    "_mpa": ("MPa",),
    "_kn": ("kN",),
}
"""Units of an input, as they are written, by the end of its name."""


def _refuse_other_unit(name: str, value: Any) -> None:
    """A unit that a DataArray says must be the one in the argument's name."""
    said = getattr(value, "attrs", {}).get("units")
    accepted = next((units for end, units in ACCEPTED.items() if name.endswith(end)), None)
    if said is not None and accepted and said not in accepted:
        raise OptionError(f"{name}: its units are {said!r}; convert it to {accepted[0]}")


def _is_xarray(value: object) -> bool:
    return hasattr(value, "dims") and hasattr(value, "coords")


def _has_labels(value: object) -> bool:
    return hasattr(value, "iloc") or _is_xarray(value)


def _with_labels(
    formula: Formula,
    function: Callable[..., Any],
    given: dict[str, Any],
    kinds: Mapping[str, str],
) -> Any:
    arrays = {
        name: value
        for name, value in given.items()
        if kinds[name] in _PLAIN and (_has_labels(value) or np.ndim(value) > 0)
    }
    work = functools.partial(function, **{n: v for n, v in given.items() if n not in arrays})

    def parts(**plain: Any) -> tuple[Any, ...]:
        shape = np.broadcast_shapes(
            *(np.shape(v)[:-1] if n in formula.takes else np.shape(v) for n, v in plain.items())
        )
        found = work(**plain)
        each = (found,) if formula.returns is None else tuple(
            found.values() if isinstance(found, dict) else found
        )  # fmt: skip
        # a result has not the shape of an input that it does not depend on
        return tuple(
            np.array(np.broadcast_to(r, shape + np.shape(r)[-1:] * (name in formula.gives)))
            for name, r in zip(formula.units, each, strict=True)
        )

    if any(map(_is_xarray, arrays.values())):
        results = _of_xarray(formula, parts, arrays)
    else:
        results = _of_pandas(formula, parts, arrays, kinds)
    if formula.returns is None:
        return results[0]
    if formula.returns is dict:
        return dict(zip(formula.units, results, strict=True))
    return getattr(formula.returns, "_make", formula.returns)(results)


def _of_pandas(
    formula: Formula,
    parts: Callable[..., tuple[Any, ...]],
    arrays: dict[str, Any],
    kinds: Mapping[str, str],
) -> Sequence[Any]:
    plain, first = {}, None
    for name, value in arrays.items():
        plain[name] = value
        if hasattr(value, "iloc"):
            dtype, missing = _PLAIN[kinds[name]]
            plain[name] = value.to_numpy(dtype=dtype, na_value=missing)
            if name not in formula.takes or value.ndim == 2:
                first = value if first is None else first
                if not first.index.equals(value.index):
                    raise OptionError(f"{name}: its index differs from the others'; align them")
    results = parts(**plain)
    if first is None:
        return results
    # the types of what came in: the formulas need no pandas of their own
    series = first if first.ndim == 1 else first.iloc[:, 0]
    frame = series.to_frame()
    return [
        type(frame)(r, first.index, list(formula.gives[name].words))
        if name in formula.gives
        else type(series)(r, first.index, name=name)
        for name, r in zip(formula.units, results, strict=True)
    ]


def _of_xarray(
    formula: Formula, parts: Callable[..., tuple[Any, ...]], arrays: dict[str, Any]
) -> Sequence[Any]:
    import xarray as xr

    def work(*values: Any) -> Any:
        found = parts(**dict(zip(arrays, values, strict=True)))
        return found if len(found) > 1 else found[0]

    for name, value in arrays.items():
        _refuse_other_unit(name, value)
    sizes = {axis.name: len(axis.words) for axis in formula.gives.values()}
    found = xr.apply_ufunc(
        work,
        *arrays.values(),
        input_core_dims=[[formula.takes[n].name] if n in formula.takes else [] for n in arrays],
        output_core_dims=[
            [formula.gives[n].name] if n in formula.gives else [] for n in formula.units
        ],
        keep_attrs=False,
        dask="parallelized",
        output_dtypes=[
            object if unit is None else formula.dtype for unit in formula.units.values()
        ],
        dask_gufunc_kwargs={"output_sizes": sizes} if sizes else {},
    )
    results = []
    several = len(formula.units) > 1
    for (name, unit), result in zip(
        formula.units.items(), found if several else (found,), strict=True
    ):
        if name in formula.gives:
            result = result.assign_coords({n: list(w) for n, w in formula.gives.values()})
        what = f"{formula.long_name}: {name.replace('_', ' ')}" if several else formula.long_name
        result.attrs = {"long_name": what} | ({"units": unit} if unit else {})
        results.append(result.rename(name))
    return results
