"""Every part that a region pack can have, in the order in which they are brought."""

from saltreach.layers.online import (
    bring_air,
    bring_climate,
    bring_coast,
    bring_context,
    bring_heights,
    bring_rock,
)
from saltreach.layers.online.part import Part

PARTS: tuple[Part, ...] = (
    bring_coast.PART,
    bring_rock.PART,
    bring_heights.PART,
    bring_climate.PART,
    bring_air.PART,
    bring_context.PART,
)
