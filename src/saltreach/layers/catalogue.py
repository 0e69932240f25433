"""Every layer there is, in the order in which a reader is told of them.

A layer is declared in its own file and listed here. What must be sampled first follows from
what each one `needs` (`saltreach.layers.join.in_order`).
"""

from saltreach.layers import (
    climate,
    coast_layer,
    geology,
    marked_lakes,
    openness,
    roads,
    salinity,
    salt_lakes,
    seas,
    shielding,
    so2,
    terrain,
)
from saltreach.layers.layer import Layer

LAYERS: tuple[Layer, ...] = (
    coast_layer.LAYER,
    openness.LAYER,
    climate.LAYER,
    salinity.LAYER,
    salt_lakes.LAYER,
    seas.LAYER,
    terrain.LAYER,
    shielding.LAYER,
    geology.LAYER,
    so2.LAYER,
    roads.LAYER,
    marked_lakes.LAYER,
)
