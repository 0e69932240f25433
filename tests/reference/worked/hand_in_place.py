"""The anchor in place at a worked place: what is left of it, and what to do (`by_hand_anchor`)."""

from __future__ import annotations

import by_hand_anchor
from hand import Place

TODAY = "2026-11-25"
WORDS = ("crag", "sector", "kind", "material", "hanger_material", "grade", "adhesive", "rod_shape",
         "hole_condition", "installed_on", "last_inspected_on", "tap_response", "strength_grade",
         "weathering_grade", "position", "rock_type")  # fmt: skip
NUMBERS = ("diameter_mm", "embedment_mm", "face_slope_deg", "edge_distance_mm", "crack_distance_mm",
           "rebound_number", "visits_per_year", "interval_set_months")  # fmt: skip
EXPOSURE = ("corrosivity_category", "crc", "scc_band", "scc_hazard", "outside_standard",
            "steel_rate_um_y", "steel_rate_um_y_p10", "steel_rate_um_y_p90", "zinc_rate_um_y",
            "zinc_rate_um_y_p10", "zinc_rate_um_y_p90", "material_recommended")  # fmt: skip
COLUMNS = (
    "rock_strength_mpa", "rock_axial_kn_p05", "rock_radial_kn_p05", "resistance_mode",
    "kind_advised", "embedment_required_mm", "diameter_required_mm", "coating_life_y",
    "metal_probability_y1", "metal_band", "rock_band", "risk_band", "risk_governed_by", "action",
    "replace_by", "inspection_interval_months", "interval_rule", "next_inspection_on", "overdue",
    "risk_band_after", "replacement_cost",
)  # fmt: skip


def in_place(place: Place) -> None:
    """Rock, probability of failure, bands, action, interval and cost."""
    given = {name: place.said(name, "") for name in WORDS}
    given |= {name: place.number(name) for name in NUMBERS}
    condition = place.number("condition")
    given |= {"condition": None if condition is None else int(condition)}
    given |= {"lithology": place.layers.get("lithology")}
    given |= {name: place.expected.get(name) for name in EXPOSURE}
    anchor = {name: value for name, value in given.items() if by_hand_anchor.known(value)}
    file = {"today": TODAY, "policy": place.policy, "given": anchor}
    found, steps = by_hand_anchor.worked(file, [dict(anchor)])
    for step in steps:
        place.steps.append(step)
    left_out = set()
    if found["depth_margin"] < by_hand_anchor.CLOSE:
        left_out.update(by_hand_anchor.OF_THE_DEPTH)
    more = found["metal_probability_y1"] / found["rock_probability_y1"]
    if found["metal_band"] == found["rock_band"] and 2 < max(more, 1 / more) < 4.5:
        left_out.add("risk_governed_by")  # 3 times decides, and the sampled rock is steep
    place.expect(**{n: found[n] for n in COLUMNS if n in found and n not in left_out})
