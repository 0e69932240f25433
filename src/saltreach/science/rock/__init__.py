"""What the rock holds, and what to place in it.

============  =========================================================
`adhesive`    cure time at the temperature of the rock
`bond`        bond of resin along a rod
`capacity`    resistance of an anchor as a distribution
`knock_down`  what cracks, joints, edges and neighbours leave of a cone
`lithology`   strength and unit weight to expect of a lithology
`placement`   what to place, and how deep
`rebound`     strength from a rebound number
`resistance`  resistance mode by mode
`rmr`         rock mass rating RMR89, GSI
`strength`    strength of rock from all evidence
============  =========================================================
"""

from saltreach.science.lazy import modules_of

__all__ = [
    "adhesive",
    "bond",
    "capacity",
    "knock_down",
    "lithology",
    "placement",
    "rebound",
    "resistance",
    "rmr",
    "strength",
]

__getattr__ = modules_of(__name__, __all__)
