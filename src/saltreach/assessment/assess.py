"""The main job: register, layers, science, decisions, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import OptionError
from saltreach.intake.options import Options

if TYPE_CHECKING:
    import pandas as pd

    from saltreach.intake import Register


def assess(
    register: Register | Path | str | pd.DataFrame,
    options: Options | None = None,
    *,
    on_step: Callable[[str], None] = lambda _: None,
) -> Assessment:
    """Assess every anchor of a register.

    Parameters
    ----------
    register : Register, path or DataFrame
        From `read_register`, or what it reads. A register is taken as it was checked: mend what
        it was read from, not its table.
    options : Options, optional
        Settings; the defaults are stated in the provenance.
    on_step : callable, optional
        Told the name of each step as it begins.

    Returns
    -------
    Assessment

    Raises
    ------
    LayerError
        When a layer file cannot be used.
    NoGoodRowsError
        When no row is left to assess.
    OptionError
        When `options` are no `Options`.
    """
    import pandas as pd

    from saltreach.assessment import inputs
    from saltreach.assessment.backdrop import backdrop_of
    from saltreach.assessment.contradictions import contradicted, sentences
    from saltreach.assessment.corrosivity import (
        CLASS_PROBABILITY_COLUMNS,
        PROBABILITY_COLUMNS,
        corrosivity,
        probabilities_json,
        wet_and_liquid,
    )
    from saltreach.assessment.find_out import worth_finding_out
    from saltreach.assessment.findings import findings_apart, found_at
    from saltreach.assessment.groups import grouped
    from saltreach.assessment.interval import inspection_interval
    from saltreach.assessment.learned import with_learned_metal, with_learned_place
    from saltreach.assessment.material import choose_material, stress_corrosion_hazard
    from saltreach.assessment.priority import anchor_priority
    from saltreach.assessment.proof_tests import tests_of
    from saltreach.assessment.provenance import provenance
    from saltreach.assessment.resistance import rock_resistance
    from saltreach.assessment.risk import action_of, bands_of
    from saltreach.assessment.rock import rock_mass, rock_strength
    from saltreach.assessment.state import age_of_anchors, state_of_anchors
    from saltreach.assessment.warnings import warnings_of
    from saltreach.intake import Register, read_register
    from saltreach.intake.names import shortened
    from saltreach.intake.survey import survey_at
    from saltreach.layers.coast import embedded_origin
    from saltreach.layers.join import open_layers, sample_layers, with_layers

    options = Options() if options is None else options
    if not isinstance(options, Options):
        raise OptionError(f"options: {type(options).__name__} given; give saltreach.Options(...)")
    if not isinstance(register, Register):
        register = read_register(register, today=options.today)
    if options.survey_file is None:  # a sheet of the register's own workbook
        options = replace(options, survey_file=register.survey_file)
    on_step("tables beside the register")
    given = inputs.beside(options, register)
    policy, stock = given.policy, given.stock
    today = options.today or date.today()
    on_step("coast")
    sources = open_layers(options)
    shore = sample_layers(register.anchors, sources, ["coast"])
    register, shore = inputs.usable(register, shore, options.offshore_limit_m)
    shore = sample_layers(register.anchors, sources, ["terrain"], known=shore)
    register, doubts = contradicted(register, shore)
    apart = findings_apart(register.anchors, register.file)
    said = shortened(sentences(doubts), "values that the layers contradict")
    register = replace(
        register,
        notes=(*register.notes, *said),
        doubts=pd.concat([register.doubts, doubts, apart], ignore_index=True),
    )
    on_step("climate, openness, terrain and rock type")
    found = sample_layers(register.anchors, sources, known=shore)
    table = with_learned_place(with_layers(register.anchors, found), given.lessons)
    seen = found_at(table, today, policy)
    as_given = table[[name for name in seen if name in table]]
    table = table.assign(**dict(seen.items()))
    on_step("survey")
    surveyed, survey = survey_at(given.survey, register.anchors)
    on_step("corrosivity")
    months = found["temperature_c_by_month"], found["relative_humidity_pct_by_month"]
    counted = found["wet_counted_h_y"], found["liquid_salt_counted_share"]
    air = corrosivity(table)
    table = table.drop(columns=[c for c in air if c in table]).join(air)
    table = table.join(wet_and_liquid(*months, *counted)).join(rock_strength(table))
    on_step("metal")
    table["warm_month_c"] = months[0].max(axis=1)
    table = table.join(stress_corrosion_hazard(table))
    table = table.join(choose_material(table, policy, stock))
    on_step("rock")
    learned_name = Path(options.learned_file or "").name
    table = with_learned_metal(table, given.lessons, learned_name)
    table["age_y"] = age_of_anchors(table, today)
    table = table.join(rock_mass(table, surveyed))
    table = table.join(rock_resistance(table, options.axial_kn))
    on_step("decisions")
    gone = register.failed_before
    metal_gone = None if gone is None else gone[gone["metal_failed"]]
    state = state_of_anchors(table, today, gone=metal_gone)
    table = table.join(state.columns)
    table = table.join(bands_of(table))
    table = table.join(action_of(table, today))
    table = table.join(inspection_interval(table, state.curve, today, policy))
    table = table.join(anchor_priority(table, policy))
    table["warnings"] = warnings_of(table, policy, given.left_out)
    table["category_probabilities"] = probabilities_json(table, PROBABILITY_COLUMNS)
    table["crc_probabilities"] = probabilities_json(table, CLASS_PROBABILITY_COLUMNS)
    on_step("sectors and crags")
    asked = worth_finding_out(table, today, options.axial_kn, policy, stock)
    table = table.assign(**dict(as_given.items()))  # as it was handed in
    anchors, sectors, crags = grouped(table, register.anchors, state.curve, policy)
    flat = Flat(
        anchors=anchors,
        sectors=sectors,
        crags=crags,
        rejected=inputs.refused(register, survey),
        doubts=register.doubts,
        find_out=asked,
        tests=tests_of(table, policy, gone),
    )
    record = provenance(
        register, options, today, policy, sources=sources, found=found, table=table, survey=survey,
        left_out=given.left_out, notes=given.notes(), learned_from=given.learned_from,
    )  # fmt: skip
    coast = sources["coast"]
    embedded = coast.origins == (embedded_origin(),)
    behind = backdrop_of(sources["roads"], sources["terrain"], table["lon"], table["lat"])
    own_shore = None if embedded else coast
    return Assessment(flat, record, table, own_shore, behind, register.last_events)
