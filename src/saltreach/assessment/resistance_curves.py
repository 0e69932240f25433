"""What a new anchor of each sector bears against how deep it sits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from saltreach.science.rock.bond import NEW_BOND
from saltreach.science.rock.capacity import anchor_resistance
from saltreach.science.rock.placement import en959_minimum_mm, required_embedment_mm

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

LENGTHS_MM = np.arange(40.0, 201.0, 5.0)
CURVES = ("axial_kn_p05", "axial_kn_p50", "radial_kn_p05", "radial_kn_p50")


def resistance_curves(result: Assessment) -> pd.DataFrame:
    """Resistance against embedment of a new bonded anchor (`bond.NEW_BOND`) in each sector.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`; its options give the axial load required, EN 959 the
        radial one.

    Returns
    -------
    DataFrame
        `LENGTHS_MM` rows for each sector, in the order of the sectors: `crag`, `sector`,
        `embedment_mm`; `diameter_mm`: the sector's usual (median) diameter, no thinner than
        required; `required_mm`, `minimum_mm` (EN 959); `axial_kn_p05`, `axial_kn_p50`,
        `radial_kn_p05`, `radial_kn_p50`. Clear of cracks and edges, metal whole, median strength
        of the sector's rock.
    """
    sectors, anchors = result.flat.sectors, result.flat.anchors
    keys = pd.MultiIndex.from_frame(sectors[["crag", "sector"]])
    usual = anchors.groupby(["crag", "sector"])["diameter_mm"].median().reindex(keys).to_numpy()
    diameter = np.fmax(np.round(usual), sectors["diameter_required_mm"].to_numpy(float))
    p10, p90 = (sectors[f"rock_strength_mpa_{p}"].to_numpy(float) for p in ("p10", "p90"))
    rock: dict[str, Any] = {
        "strength_median_mpa": sectors["rock_strength_mpa"].to_numpy(float),
        "strength_sigma_ln": np.log(p90 / p10) / (2 * ndtri(0.9)),
        "joint_spacing_mm": sectors["joint_spacing_mm"].to_numpy(float),
        "gsi": sectors["gsi"].to_numpy(float),
    }
    columns: dict[str, Any] = {name: values[:, None] for name, values in rock.items()}
    columns |= NEW_BOND
    found = anchor_resistance("bonded", diameter[:, None], LENGTHS_MM[None, :], **columns)
    axial_kn = float(result.provenance["options"]["axial_kn"])
    required, _ = required_embedment_mm("bonded", diameter, axial_kn=axial_kn, **rock)
    of_sector = {
        "crag": sectors["crag"].to_numpy(object),
        "sector": sectors["sector"].to_numpy(object),
        "diameter_mm": diameter,
        "required_mm": required,
        "minimum_mm": np.broadcast_to(en959_minimum_mm("bonded", diameter), diameter.shape),
    }
    return pd.DataFrame(
        {
            **{name: np.repeat(values, len(LENGTHS_MM)) for name, values in of_sector.items()},
            "embedment_mm": np.tile(LENGTHS_MM, len(sectors)),
            **{name: np.ravel(getattr(found, name)) for name in CURVES},
        }
    )
