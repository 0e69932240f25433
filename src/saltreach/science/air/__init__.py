"""What the air brings: salt, corrosivity, wetness, sun.

=============  ============================================================
`atmosphere`   first-year loss and category of ISO 9223
`salt`         chloride deposition from the place
`sunlight`     sun on a rock face
`uncertainty`  how far the inputs' errors reach
`wetness`      washing by rain, time of wetness, hours of deliquescent salt
=============  ============================================================
"""

from saltreach.science.lazy import modules_of

__all__ = ["atmosphere", "salt", "sunlight", "uncertainty", "wetness"]

__getattr__ = modules_of(__name__, __all__)
