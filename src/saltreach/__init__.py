"""Science and decisions for the anchors of a whole region of sea cliffs and inland crags."""

__version__ = "0.1.0"
