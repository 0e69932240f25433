"""What must stand beside a drawing: who made the data in it, in the words their terms ask for."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from saltreach.assessment.backdrop import Backdrop


def attributions_of(provenance: Mapping[str, Any], backdrop: Backdrop | None = None) -> list[str]:
    """Attributions of what an assessment rests on and a map of it draws, each once, in order.

    Parameters
    ----------
    provenance : mapping
        Of an assessment: `layers`, each with its `attribution`, where it has one.
    backdrop : Backdrop, optional
        Its own follow.

    Returns
    -------
    list of str
        A shoreline that states none is named with its licence, for every map draws it.
    """
    layers = [_of_layer(layer) for layer in provenance.get("layers", ())]
    more = () if backdrop is None else backdrop.attributions
    return list(dict.fromkeys(filter(None, (*layers, *more))))


def _of_layer(layer: Mapping[str, Any]) -> str:
    said = str(layer.get("attribution") or "")
    if said or layer.get("quantity") != "shoreline":
        return said
    name = str(layer.get("source") or layer.get("name") or "unknown").split(",")[0]
    return f"Shoreline: {Path(name).name} ({layer.get('licence') or 'licence not stated'})"
