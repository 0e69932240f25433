"""What the air does to metal.

==================  ============================================
`metal_loss`        long-term loss of ISO 9224
`stainless`         factor and class of EN 1993-1-4, Annex A
`stress_corrosion`  hazard of chloride stress-corrosion cracking
==================  ============================================
"""

from saltreach.science.lazy import modules_of

__all__ = ["metal_loss", "stainless", "stress_corrosion"]

__getattr__ = modules_of(__name__, __all__)
