"""What a layer is: what it gives, how it is opened and asked, and where its values come from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.errors import LayerError
from saltreach.vocabulary.words import SEPARATOR

if TYPE_CHECKING:
    import pandas as pd

    from saltreach.intake.options import Options


@dataclass(frozen=True)
class Origin:
    """Where values come from.

    Attributes
    ----------
    name : str
        Short unique name, as written in `provenance.json`.
    quantity, unit : str
        What it gives and in which unit.
    source, url, version, licence : str
        Where the data come from and under which terms.
    accuracy : str
        How far it is known to be off, and how that was measured.
    sha256 : str
        Checksum of the file that was read, where it is one file.
    extent : str
        Area covered.
    note : str
        Decisions and limits a reader must know.
    attribution : str
        What must stand beside every drawing and table made of it, where its terms ask for that.
    """

    name: str
    quantity: str
    unit: str = ""
    source: str = ""
    url: str = ""
    version: str = ""
    licence: str = ""
    accuracy: str = ""
    sha256: str = ""
    extent: str = ""
    note: str = ""
    attribution: str = ""

    def record(self) -> dict[str, str]:
        """The origin as a plain dict, for `provenance.json`."""
        return asdict(self)


class Value(NamedTuple):
    """One column that a layer gives.

    `unknown`: what stands in it where the layer is absent. `sd`: the layer's column with its
    standard deviation. `source`: name of the column that says where each value is from; the
    layer gives it itself where that differs by place, else it is made of the names of its
    origins.
    """

    name: str
    unknown: Any = np.nan
    sd: str = ""
    source: str = ""


@dataclass(frozen=True)
class Layer:
    """What the Earth, or a user's file, says at a point. One file declares one layer.

    Attributes
    ----------
    name : str
        Unique among the layers.
    gives : tuple of Value
        Columns of the result; no two layers give the same.
    sample : callable
        From what `open` returned, and a table with `lon`, `lat`, `takes` and `needs`, to arrays
        by name of column: those of `gives` and `passes`, one value for each row.
    open : callable
        From the options to what `sample` reads; None where the user gave no file.
    origins : callable
        From what `open` returned to the records for `provenance.json`.
    passes : tuple of Value
        What it hands on beside its columns: to other layers, or to the science. Sentences for
        the reader stand in `<name>_notes`.
    takes : tuple of str
        Columns of the register it reads, where the register has them.
    needs : tuple of str
        What other layers give or pass; they are sampled before this one.
    of : str
        Name of the layer whose opened source it reads, in place of one of its own.
    embedded : bool
        Whether its data ship with saltreach; else it is the user's file.
    """

    name: str
    gives: tuple[Value, ...]
    sample: Callable[[Any, pd.DataFrame], Mapping[str, Any]]
    open: Callable[[Options], Any] = lambda _: ()
    origins: Callable[[Any], tuple[Origin, ...]] = lambda _: ()
    passes: tuple[Value, ...] = ()
    takes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    of: str = ""
    embedded: bool = True

    @property
    def values(self) -> tuple[Value, ...]:
        """All it gives and passes."""
        return self.gives + self.passes


def positions(
    lon: ArrayLike, lat: ArrayLike, what: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitudes and latitudes as float columns of one length.

    Raises
    ------
    LayerError
        When they differ in length or index, are no columns, or a latitude cannot be; `what`
        they are for is said.
    """
    import pandas as pd

    if (
        isinstance(lon, pd.Series)
        and isinstance(lat, pd.Series)
        and not lat.index.equals(lon.index)
    ):
        raise LayerError(f"{what}: the index of lat differs from that of lon; align them")
    lon, lat = (np.atleast_1d(np.asarray(v, dtype=float)) for v in (lon, lat))
    if lon.ndim != 1 or lon.shape != lat.shape:
        raise LayerError(
            f"{what}: lon and lat have shapes {lon.shape} and {lat.shape}; "
            "give one-dimensional columns of one length"
        )
    beyond = np.abs(lat) > 90
    if beyond.any():
        row = int(beyond.argmax())
        raise LayerError(
            f"{what}: lat {lat[row]:g} at place {row + 1} is no latitude; give degrees from -90 to "
            "90 (are lon and lat swapped?)"
        )
    return lon, lat


def lonlat(places: pd.DataFrame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The two columns every layer reads, as floats."""
    return places["lon"].to_numpy(float), places["lat"].to_numpy(float)


def joined(first: ArrayLike, *more: ArrayLike) -> NDArray[np.object_]:
    """Sentences of each row, one after the other; empty ones leave no mark."""
    text = np.asarray(first, dtype=object)
    for other in more:
        after = np.asarray(other, dtype=object)
        text = np.where(text == "", after, np.where(after == "", text, text + SEPARATOR + after))
    return text
