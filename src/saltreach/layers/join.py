"""What the layers say at places: opened once, each sampled after those it needs."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from graphlib import TopologicalSorter
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from saltreach.errors import LayerError
from saltreach.intake.options import Options
from saltreach.layers.catalogue import LAYERS
from saltreach.layers.layer import Layer, Origin, Value, joined, positions
from saltreach.vocabulary.words import UNKNOWN

BY_NAME = {layer.name: layer for layer in LAYERS}
Found = dict[str, Any]
"""Arrays by name of column, one value for each place."""


def in_order(names: Iterable[str] | None = None) -> list[Layer]:
    """The layers named (all of them by default) and those they need, each after what it needs."""
    giver = {value.name: layer.name for layer in LAYERS for value in layer.values}
    before = {layer.name: {giver[name] for name in layer.needs} for layer in LAYERS}
    order = list(TopologicalSorter(before).static_order())
    wanted = set(order if names is None else names)
    for name in reversed(order):
        wanted |= before[name] if name in wanted else set()
    return [BY_NAME[name] for name in order if name in wanted]


def open_layers(options: Options, layers: Iterable[Layer] = LAYERS) -> dict[str, Any]:
    """What the options name, opened, by name of layer.

    Raises
    ------
    LayerError
        When a file cannot be used.
    """
    names = dict.fromkeys(layer.of or layer.name for layer in layers)
    return {name: BY_NAME[name].open(options) for name in names}


def origins_of(sources: Mapping[str, Any]) -> list[Origin]:
    """Where the values of opened layers come from."""
    opened = [layer for layer in LAYERS if sources.get(layer.name) is not None]
    return [origin for layer in opened for origin in layer.origins(sources[layer.name])]


def sample_layers(
    places: pd.DataFrame,
    sources: Mapping[str, Any],
    names: Iterable[str] | None = None,
    *,
    known: Found | None = None,
) -> Found:
    """What layers give and pass at places.

    Parameters
    ----------
    places : DataFrame
        `lon`, `lat` (degrees, WGS 84) and what is known of the places: a register's own
        `coast_distance_m`, `elevation_m`, `so2_ug_m3`, `sea_salinity_g_kg` and `rock_type` win.
    sources : mapping
        From `open_layers`.
    names : iterable of str, optional
        Layers to sample, with those they need; all by default.
    known : dict, optional
        What layers gave at these places already; they are not asked again.

    Returns
    -------
    dict
        Arrays in the order of the places, by name of column.
    """
    found = dict(known or {})
    for layer in in_order(names):
        if layer.gives[0].name in found:
            continue
        source = sources[layer.of or layer.name]
        found |= {value.name: _unknown(value, len(places)) for value in layer.values}
        if source is not None:
            asked = pd.DataFrame(places).reindex(columns=["lon", "lat", *layer.takes])
            asked = asked.assign(**{name: _column(found[name]) for name in layer.needs})
            found |= layer.sample(source, asked)
    return found


def _column(values: Any) -> Any:
    """A column of a table; several figures of one place, such as its months, stay together."""
    return list(values) if np.ndim(values) > 1 else values


def _unknown(value: Value, count: int) -> np.ndarray:
    return np.full(count, value.unknown, dtype=object if value.unknown in ("", UNKNOWN) else None)


def with_layers(places: pd.DataFrame, found: Found) -> pd.DataFrame:
    """Places with the columns that the layers give, which win, and with `layer_notes`."""
    columns = {value.name: found[value.name] for layer in LAYERS for value in layer.gives}
    notes = [found[name] for layer in LAYERS if (name := f"{layer.name}_notes") in found]
    columns["layer_notes"] = joined(*notes)
    own = pd.DataFrame(places).drop(columns=list(columns), errors="ignore")
    return pd.concat([own, pd.DataFrame(columns, index=places.index)], axis=1)


def sample(
    lon: ArrayLike,
    lat: ArrayLike,
    columns: str | Iterable[str],
    *,
    options: Options | None = None,
    known: Mapping[str, ArrayLike] | pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Values of layers at points, each with its standard deviation and its source.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84; an unknown position has unknown values.
    columns : str or iterable of str
        What to give: any column in `gives` of `LAYERS`.
    options : Options, optional
        Your own coast, height raster or geological map in place of, or beside, what is embedded.
    known : mapping or DataFrame, optional
        What you know of the points, such as their `elevation_m`; it wins over the layers.

    Returns
    -------
    DataFrame
        One row for each point, with the index of `lon` where it is a Series. For each column
        asked for: the column, its standard deviation (where the layer has one), and where each
        value is from, `unknown` where there is none.

    Raises
    ------
    LayerError
        When no layer gives a column, a file cannot be used, or lengths differ.

    Examples
    --------
    Cabo de Penas and Leon, Spain.

    >>> table = sample([-5.85, -5.57], [43.655, 42.6], ["coast_distance_m", "elevation_m"],
    ...                known={"elevation_m": [100, 837]})
    >>> print(table.round(-3).T)
                                       0              1
    coast_distance_m                 0.0       101000.0
    coast_distance_sd_m              0.0            0.0
    coast_distance_source  coast-gshhg-h  coast-gshhg-h
    elevation_m                      0.0         1000.0
    elevation_source            register       register
    """
    names = [columns] if isinstance(columns, str) else list(columns)
    offered = {value.name: layer for layer in LAYERS for value in layer.gives}
    for name in names:
        if name not in offered:
            near = difflib.get_close_matches(name, offered, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            raise LayerError(f"no layer gives {name!r}{hint} (given: {', '.join(offered)})")
    index = lon.index if isinstance(lon, pd.Series) else None
    at = dict(zip(("lon", "lat"), positions(lon, lat, "layers"), strict=True))
    own = {k: np.asarray(v) for k, v in dict({} if known is None else known).items()}
    places = pd.DataFrame(at | own, index=index)
    layers = in_order(offered[name].name for name in names)
    sources = open_layers(options or Options(), layers)
    found = sample_layers(places, sources, [layer.name for layer in layers])
    table: Found = {}
    for name in names:
        value = next(v for v in offered[name].gives if v.name == name)
        table[name] = found[name]
        if value.sd:
            table[value.sd] = found[value.sd]
        if value.source:
            table[value.source] = _source(value, offered[name], sources, found)
    return pd.DataFrame(table, index=places.index)


def _source(value: Value, layer: Layer, sources: Mapping[str, Any], found: Found) -> np.ndarray:
    """Where each value is from: as the layer says, else the names of its origins."""
    home = layer.of or layer.name
    names = [origin.name for origin in origins_of({home: sources[home]})]
    values = pd.Series(found[value.name])
    blank = values.isna() | values.isin(["", UNKNOWN])
    return np.where(blank, UNKNOWN, found.get(value.source, " + ".join(names))).astype(object)
