"""What the Earth says at a point: coast, climate, salinity, salt lakes, terrain, rock.

>>> from saltreach.layers import sample
>>> print(sample([-5.85, 19.1], [43.655, 57.9], "sea_salinity_g_kg").to_string(index=False))
 sea_salinity_g_kg sea_salinity_source
              35.0        sea-salinity
               7.0        sea-salinity
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from saltreach.layers.join import LAYERS, sample

__all__ = ["LAYERS", "sample"]


def __getattr__(name: str) -> Any:
    """Load the layers when they are first asked for."""
    if name in __all__:
        from saltreach.layers import join

        return getattr(join, name)
    raise AttributeError(f"module 'saltreach.layers' has no attribute {name!r}")
