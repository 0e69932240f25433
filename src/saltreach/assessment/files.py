"""An assessment back from the files it was written to."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from saltreach.assessment.backdrop import read_backdrop
from saltreach.assessment.result import Assessment, Flat, Land
from saltreach.errors import LayerError, OptionError
from saltreach.folders.claim import read_whole
from saltreach.intake.plan_file import unguarded
from saltreach.vocabulary.columns import REJECTED_COLUMNS, columns_of

if TYPE_CHECKING:
    import pandas as pd


def assessment_in(given: Assessment | Path | str) -> Assessment:
    """An assessment as given, or read from the folder that holds it.

    Raises
    ------
    OptionError
        What is given is neither.
    """
    if isinstance(given, Assessment):
        return given
    if isinstance(given, str | Path):
        return read_results(given)
    raise OptionError(
        f"result: {type(given).__name__} given; give an Assessment (saltreach.assess), or the "
        "folder that holds one"
    )


def read_results(folder: Path | str) -> Assessment:
    """An assessment back from the folder that `saltreach assess` wrote.

    Raises
    ------
    LayerError
        When the folder does not hold results.
    OutputError
        When a run that was cut off left it unfinished and that cannot be mended.
    """
    folder = Path(folder)
    return read_whole(folder, lambda: _read(folder))


def _read(folder: Path) -> Assessment:
    import geopandas as gpd
    import pandas as pd

    folder = Path(folder)
    if folder.is_file():
        raise LayerError(
            f"{folder} is a file, and a folder of results is expected: give the folder that "
            "saltreach assess wrote, or assess the register first"
        )
    missing = [
        name
        for name in ("anchors.parquet", "saltreach.gpkg", "provenance.json")
        if not (folder / name).is_file()
    ]
    if missing:
        raise LayerError(
            f"{folder} lacks {', '.join(missing)}; give the folder that saltreach assess wrote"
        )
    shapes = {
        name: gpd.read_file(folder / "saltreach.gpkg", layer=name) for name in ("sectors", "crags")
    }
    asked, tests = folder / "find_out.csv", folder / "tests.csv"
    flat = Flat(
        anchors=gpd.read_parquet(folder / "anchors.parquet"),
        sectors=shapes["sectors"],
        crags=shapes["crags"],
        rejected=_listed(folder / "rejected.csv"),
        doubts=_listed(folder / "notes.csv"),
        find_out=unguarded(pd.read_csv(asked)).drop(columns="caution") if asked.is_file() else None,
        tests=_tests(tests) if tests.is_file() else None,
    )
    provenance = json.loads((folder / "provenance.json").read_text(encoding="utf-8"))
    shore = folder / "shoreline.parquet"
    return Assessment(
        flat,
        provenance,
        own_shore=_land(shore) if shore.is_file() else None,
        backdrop=read_backdrop(folder),
        events=_events(folder / "events.csv"),
    )


def _listed(file: Path) -> pd.DataFrame:
    """A list of refused rows or of cells in doubt; it is absent where there are none."""
    import pandas as pd

    if not file.is_file():
        return pd.DataFrame(columns=list(REJECTED_COLUMNS))
    return pd.read_csv(file, dtype=str)


def _tests(file: Path) -> pd.DataFrame:
    """Batches to proof test, with empty text where no anchor is named."""
    import pandas as pd

    text = {n: str for n, c in columns_of("tests").items() if c.kind == "text"}
    found = unguarded(pd.read_csv(file, dtype=text))
    found = found.assign(**{name: found[name].fillna("").astype("str") for name in text})
    return found.drop(columns="caution")


def _events(file: Path) -> pd.DataFrame | None:
    """The last events of each anchor; None where the register was no book."""
    import pandas as pd

    if not file.is_file():
        return None
    return unguarded(pd.read_csv(file, dtype="str", keep_default_na=False))


def _land(path: Path) -> Land:
    import geopandas as gpd

    shapes = gpd.read_parquet(path)
    return Land(shapes[["geometry"]], bool(shapes["sided"].all()))
