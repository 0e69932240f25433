"""What the landowner reads: sentences from the table of places, and the contact's own words.

The page and the statement are drawn from this alone. It holds no anchor, no sector, no route and
no note. How positions are made coarse: `saltreach.assessment.generalise`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.attributions import attributions_of
from saltreach.assessment.landowner import Places
from saltreach.outputs.html import asset_text
from saltreach.outputs.landowner.drawing import NO_SHORE, drawing
from saltreach.outputs.map.colourings import STYLE_OF
from saltreach.outputs.window import length_text
from saltreach.vocabulary.words import UNKNOWN

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment
    from saltreach.intake.holding import Holding


def landowner_words(found: Places, holding: Holding, result: Assessment) -> dict[str, Any]:
    """The words of the page and the statement, and the drawing of the map.

    Parameters
    ----------
    found : Places
        From `saltreach.assessment.landowner.places_on`.
    holding : Holding
        The same as there.
    result : Assessment
        That the places are of.

    Returns
    -------
    dict
        `title`, `lead` (sentences), `places` (number, names, band, count, visit, work: words
        only), `map` (see `saltreach.outputs.landowner.drawing.drawing`), `contact`, and the words
        around them.
    """
    texts, provenance = json.loads(asset_text("landowner/landowner_en.json")), result.provenance
    places = [
        _place(number, row, holding, texts)
        for number, row in enumerate(found.table.to_dict("records"), start=1)
    ]
    organisation = holding.contact.organisation or holding.contact.person
    phone = holding.contact.phone.replace(" ", "\u00a0")  # a number stays on one line
    reach = f" {texts['or']} ".join(filter(None, (phone, holding.contact.email)))
    side = length_text(found.coarseness_m)
    drawn = drawing(found, holding.land, result)
    note = texts["map_note"].format(side=side, margin=side)
    if drawn["shore_kind"] == NO_SHORE:
        note = f"{texts['map_no_shore']} {note}"
    return {
        "texts": texts,
        "title": texts["title"].format(name=holding.name),
        "as_of": texts["as_of"].format(month=_month(provenance["assessed_for"], texts)),
        "day": provenance["assessed_for"],
        "lead": [
            *([texts["left_out"]] if provenance.get("left_out") else []),
            texts["lead_one" if len(places) == 1 else "lead_many"].format(
                count=_count(*found.anchors, texts), places=len(places)
            ),
            _counted(
                texts, "lead_planned" if found.overdue_planned else "lead_overdue", found.overdue
            ),
            texts["lead_who"].format(organisation=organisation),
        ],
        "contact": asdict(holding.contact),
        "emergency": texts["emergency"].format(phone=holding.contact.emergency_phone)
        if holding.contact.emergency_phone
        else texts["emergency_general"],
        "steps": [
            step.format(organisation=organisation, reach=reach) for step in texts["problem_steps"]
        ],
        "places": places,
        "bands": [
            {**asdict(style), "meaning": texts["bands"][band]}
            for band, style in STYLE_OF.items()
            if band != UNKNOWN or any(place["band"] == band for place in places)
        ],
        "map": drawn,
        "map_note": note,
        "source": texts["source"].format(
            credits=". ".join(attributions_of(provenance)), software=provenance["software"]
        ),
    }


def _place(
    number: int, row: Mapping[str, Any], holding: Holding, texts: Mapping[str, Any]
) -> dict[str, Any]:
    band = row["risk_band"]
    return {
        "names": _joined(row["crags"], texts),
        "band": band,
        "letter": STYLE_OF[band].letter,
        "band_text": texts["unknown"] if band == UNKNOWN else band,
        "count": _count(row["anchors_least"], row["anchors_most"], texts),
        "overdue": row["overdue"] == "yes",
        "planned": row["visit_planned"],
        "visit": _visit(row, texts),
        "interval": _interval(row["inspection_interval_months"], texts),
        "work": [*_pressing(row, texts), *_work(row, holding, texts)],
        "number": number,
    }


def _visit(row: Mapping[str, Any], texts: Mapping[str, Any]) -> str:
    late = row["overdue"] == "yes"
    if row["visit_planned"]:
        words = texts["overdue_planned" if late else "planned"]
        return str(words.format(month=_month(row["visit_planned"], texts)))
    if late:
        return str(texts["overdue"])
    due = row["next_inspection_on"]
    return str(texts["by"].format(month=_month(due, texts)) if due else texts["not_set"])


def _pressing(row: Mapping[str, Any], texts: Mapping[str, Any]) -> list[str]:
    """What cannot wait for a visit: anchors out of use, and the first day by which some go."""
    said = [str(texts["out_of_use"])] if row["out_of_use"] else []
    if row["replace_by"]:
        said.append(str(texts["replace_by"].format(month=_month(row["replace_by"], texts))))
    return said


def _work(row: Mapping[str, Any], holding: Holding, texts: Mapping[str, Any]) -> list[str]:
    """What is planned, and the metal of the next anchors.

    A metal is called the coast's only where a sector that needs it is a sea cliff.
    """
    planned = [
        texts["work_by"].format(what=work.what.rstrip(". "), by=_month(work.by, texts))
        if work.by
        else texts["work_open"].format(what=work.what.rstrip(". "))
        for work in sorted(holding.works, key=lambda work: work.by or "9")
        if work.crag in row["crags"]
    ]
    if row["material_recommended"]:
        names = texts["metals"] | (texts["metals_by_the_sea"] if row["by_the_sea"] else {})
        planned.append(texts["renewal"].format(metal=names[row["material_recommended"]]))
    return planned or [texts["renewal_open"]]


def _interval(months: float, texts: Mapping[str, Any]) -> str:
    if not 0 <= months < float("inf"):
        return ""
    whole = int(months)
    if whole % 12 == 0:
        years = whole // 12
        span = texts["year_one"] if years == 1 else texts["years_many"].format(n=years)
    else:
        span = texts["month_one"] if whole == 1 else texts["months_many"].format(n=whole)
    return str(texts["then_every"].format(span=span))


def _joined(names: Sequence[str], texts: Mapping[str, Any]) -> str:
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {texts['and']} {names[-1]}"


def _counted(texts: Mapping[str, Any], key: str, n: int) -> str:
    ending = "none" if n == 0 else "one" if n == 1 else "many"
    return str(texts[f"{key}_{ending}"].format(n=n))


def _count(least: int, most: Any, texts: Mapping[str, Any]) -> str:
    if pd.isna(most):
        return str(texts["range_more"].format(low=least - 1))
    return str(texts["range"].format(low=least, high=most))


def _month(day: str, texts: Mapping[str, Any]) -> str:
    return f"{texts['months'][int(day[5:7]) - 1]} {day[:4]}"
