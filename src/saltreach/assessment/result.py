"""What an assessment found: the tables as files hold them, and as Python users expect them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

from saltreach.vocabulary.columns import REJECTED_COLUMNS, columns_of
from saltreach.vocabulary.words import BANDS, CAUTION

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from saltreach.assessment.backdrop import Backdrop
    from saltreach.layers.coast import Coast


def _none_listed() -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(columns=list(REJECTED_COLUMNS))


@dataclass(frozen=True)
class Flat:
    """Tables as the files hold them: days as ISO text, empty text where a word is not known.

    `anchors`: GeoDataFrame, one row per good anchor. `sectors`, `crags`: one row each, with
    shapes. `rejected`: refused rows. `doubts`: cells of good rows that could not be used, were
    used in part, or contradict a layer. `find_out`: what is worth finding out next, None where
    files do not say. `tests`: which anchors to proof test, None where there is no test or doubt.
    """

    anchors: gpd.GeoDataFrame
    sectors: gpd.GeoDataFrame
    crags: gpd.GeoDataFrame
    rejected: pd.DataFrame
    find_out: pd.DataFrame | None = None
    tests: pd.DataFrame | None = None
    doubts: pd.DataFrame = field(default_factory=_none_listed)


class Land(NamedTuple):
    """`shapes`: land polygons, or lines of a shoreline without sides, EPSG:4326; `sided`: whether
    the layer knows land from sea, so that no land means open sea."""

    shapes: gpd.GeoDataFrame
    sided: bool


@dataclass(frozen=True, repr=False, eq=False)
class Assessment:
    """What an assessment found.

    Attributes
    ----------
    anchors, sectors, crags : GeoDataFrame
        One row each, EPSG:4326, with real types (`saltreach.assessment.typed`).
    reasons, sector_reasons : DataFrame
        Why, one sentence a row: `about` names the decision.
    curves : DataFrame
        Probability of failure in a year of each sector, one column a year from today.
    rejected : DataFrame
        Refused rows: file, row, column, value, reason, fix.
    doubts : DataFrame
        Cells in doubt, with the same columns: unknown unless the reason says what is used.
    find_out : DataFrame or None
        What is worth finding out next; None where files do not say.
    tests : DataFrame or None
        Which anchors to proof test next, by batch; None where there is no test or doubt.
    provenance : dict
        Inputs, layers, options, versions and assumptions.
    flat : Flat
        The tables as the files hold them.
    working : DataFrame or None
        The anchors with every value met on the way, for explanations; None when read back.
    own_shore : Coast, Land or None
        A shoreline that is not the embedded one: itself, or read back what lies around the anchors.
    backdrop : Backdrop or None
        Roads, places, cliffs and the shade of hills, for maps that show sectors.
    events : DataFrame or None
        The last events of each anchor, the last first (`records.history.last_events`), where the
        register is a book; for cards of the association's own map, never for a landowner.
    """

    flat: Flat
    provenance: dict[str, Any]
    working: pd.DataFrame | None = None
    own_shore: Coast | Land | None = None
    backdrop: Backdrop | None = None
    events: pd.DataFrame | None = None
    _repr_html_: ClassVar[Callable[[Assessment], str]]
    """For notebooks; lent by the front door, for no output is known here."""

    @cached_property
    def anchors(self) -> gpd.GeoDataFrame:
        """One row per good anchor, with real types."""
        return self._typed("anchors")

    @cached_property
    def sectors(self) -> gpd.GeoDataFrame:
        """One row per sector, with real types and a shape around its anchors."""
        return self._typed("sectors")

    @cached_property
    def crags(self) -> gpd.GeoDataFrame:
        """One row per crag, with real types and a shape around its anchors."""
        return self._typed("crags")

    @cached_property
    def reasons(self) -> pd.DataFrame:
        """Why, for each anchor, one sentence a row."""
        from saltreach.assessment.typed import sentences_of

        return sentences_of(self.flat.anchors, columns_of("anchors"))

    @cached_property
    def sector_reasons(self) -> pd.DataFrame:
        """Why, for each sector, one sentence a row."""
        from saltreach.assessment.typed import sentences_of

        return sentences_of(self.flat.sectors, columns_of("sectors"))

    @cached_property
    def curves(self) -> pd.DataFrame:
        """Yearly probability of failure of each sector, one column a year from today."""
        from saltreach.assessment.typed import curves_of

        return curves_of(self.flat.sectors)

    @property
    def rejected(self) -> pd.DataFrame:
        """Refused rows: file, row, column, value, reason, fix."""
        return self.flat.rejected

    @property
    def doubts(self) -> pd.DataFrame:
        """Cells in doubt: file, row, column, value, reason, fix."""
        return self.flat.doubts

    @property
    def find_out(self) -> pd.DataFrame | None:
        """What is worth finding out next; None where files do not say."""
        return self.flat.find_out

    @property
    def tests(self) -> pd.DataFrame | None:
        """Which anchors to proof test next, by batch; None where there is no test or doubt."""
        return self.flat.tests

    def __repr__(self) -> str:
        """How many, of which risk, and what to read next."""
        band = self.flat.sectors["risk_band"]
        counts = [f"{word} {n}" for word in BANDS[::-1] if (n := int((band == word).sum()))]
        counts += [f"unknown {n}"] if (n := int((~band.isin(BANDS)).sum())) else []
        return (
            f"<Assessment of {self.provenance['register']['file']} for "
            f"{self.provenance['assessed_for']}: {len(self.flat.anchors)} anchors, "
            f"{len(band)} sectors ({', '.join(counts)}), {len(self.flat.crags)} crags; "
            f"{self.flat.rejected['row'].nunique()} rows refused. {CAUTION}>"
        )

    def _typed(self, table: str) -> gpd.GeoDataFrame:
        from saltreach.assessment.typed import typed

        return typed(getattr(self.flat, table), columns_of(table))
