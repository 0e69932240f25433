"""What an assessment found: the tables as files hold them, and as Python users expect them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


@dataclass(frozen=True)
class Flat:
    """Tables as the files hold them: days as ISO text, empty text where a word is not known.

    `anchors`: GeoDataFrame, one row per good anchor. `sectors`, `crags`: one row each, with
    shapes. `rejected`: refused rows. `find_out`: what is worth finding out next, None when read
    back from files.
    """

    anchors: gpd.GeoDataFrame
    sectors: gpd.GeoDataFrame
    crags: gpd.GeoDataFrame
    rejected: pd.DataFrame
    find_out: pd.DataFrame | None = None


@dataclass(frozen=True, repr=False)
class Assessment:
    """What an assessment found.

    `flat`: the tables as the files hold them. `provenance`: where every value came from.
    `working`: the anchors with every value met on the way, for explanations; None when read
    back from files.
    """

    flat: Flat
    provenance: dict[str, Any]
    working: pd.DataFrame | None = None
