"""A register of three anchors, for tests of the command."""

import pandas as pd


def write(path, **changes):
    """A register of three anchors near a shore in northern Spain, invented."""
    frame = pd.DataFrame(
        {
            "anchor_id": ["a1", "a2", "a3"],
            "crag": "Alder Point",
            "sector": ["North", "North", "South"],
            "lon": [-4.9500, -4.9501, -4.9502],
            "lat": [43.4400, 43.4401, 43.4402],
            "material": ["316", "", "Ti"],
        }
    ).assign(**changes)
    frame.to_csv(path, index=False)
    return path
