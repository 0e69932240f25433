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
    from saltreach.workers import Workers


def assess(
    register: Register | Path | str | pd.DataFrame,
    options: Options | None = None,
    *,
    on_step: Callable[[str], None] = lambda _: None,
    scheduler: str | None = None,
    processes: int | None = 1,
    part_rows: int | None = None,
    keep_working: bool | None = None,
    pool: Workers | None = None,
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
    scheduler : str, optional
        Address of the scheduler of a dask.distributed cluster that works out the parts of a large
        register; files that the options name must be there under the same paths.
    processes : int, optional
        Without a cluster: processes of this machine, None for one a core. A script that asks for
        more than one must guard its own start by ``if __name__ == "__main__":``.
    part_rows : int, optional
        Anchors worked out at once (`parts.PART_ROWS`); memory depends on it, results do not.
    keep_working : bool, optional
        Whether to keep every value met on the way (`Assessment.working`); by default only where
        the register is not worked out in parts.
    pool : Workers, optional
        Workers that are there already (`part.crew`), in place of new ones; they are dismissed
        once the parts are done.

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
        When `options` are no `Options`, or the scheduler does not answer.
    WorkerError
        When a part of a large register loses its worker again and again.
    """
    from contextlib import nullcontext

    import numpy as np
    import pandas as pd

    from saltreach.assessment import inputs
    from saltreach.assessment.backdrop import backdrop_of
    from saltreach.assessment.contradictions import sentences
    from saltreach.assessment.find_out import sampled, worth_finding_out
    from saltreach.assessment.findings import findings_apart, found_at
    from saltreach.assessment.frames import anchor_frame
    from saltreach.assessment.groups import ranked
    from saltreach.assessment.part import Given, Part, assess_part, crew, version_of, work
    from saltreach.assessment.parts import PART_ROWS, parts_of, together
    from saltreach.assessment.proof_tests import in_order
    from saltreach.assessment.provenance import provenance
    from saltreach.assessment.region import region_of, with_rock
    from saltreach.assessment.rock import rock_strength
    from saltreach.intake import Register, read_register
    from saltreach.intake.names import shortened
    from saltreach.intake.survey import survey_at
    from saltreach.layers.coast import embedded_origin
    from saltreach.layers.join import BY_NAME, open_layers, sample_layers
    from saltreach.workers import make_room

    options = Options() if options is None else options
    if not isinstance(options, Options):
        raise OptionError(f"options: {type(options).__name__} given; give saltreach.Options(...)")
    if not isinstance(register, Register):
        register = read_register(register, today=options.today)
    if options.survey_file is None:  # a sheet of the register's own workbook
        options = replace(options, survey_file=register.survey_file)
    on_step("tables beside the register")
    tables = inputs.beside(options, register)
    policy, stock = tables.policy, tables.stock
    today = options.today or date.today()
    on_step("coast")
    sources = open_layers(options)
    at_work = nullcontext(pool) if pool is not None else crew(
        len(register.anchors), options, scheduler=scheduler, processes=processes, at_most=part_rows
    )  # fmt: skip
    with at_work as by:
        shore = sample_layers(register.anchors, sources, ["coast"])
        register, shore = inputs.usable(register, shore, options.offshore_limit_m)
        anchors = register.anchors
        known = sample_layers(anchors, sources, ["geology"], known=shore)
        rock_map = known.pop("rock_map")
        rock = {value.name: known[value.name] for value in BY_NAME["geology"].gives}
        on_step("survey")
        surveyed, survey = survey_at(tables.survey, anchors)
        on_step("what the register as a whole says")
        gone = register.failed_before
        region = region_of(anchors, today, None if gone is None else gone[gone["metal_failed"]])
        seen = found_at(anchors, today, policy, region=region)
        told = anchors.assign(**rock, **dict(seen.items()))
        region = with_rock(region, told[["crag"]].join(rock_strength(told)))
        asked = sampled(len(anchors))
        rows = parts_of(anchors, part_rows or PART_ROWS)
        given = Given(
            file=register.file, options=options, today=today, policy=policy, stock=stock,
            lessons=tables.lessons, left_out=tables.left_out, region=region, gone=gone,
            keep_working=len(rows) == 1 if keep_working is None else keep_working,
        )  # fmt: skip
        parts = (
            Part(
                rows=at,
                anchors=anchors.iloc[at].reset_index(drop=True),
                known={name: values[at] for name, values in known.items()},
                seen=seen.iloc[at].reset_index(drop=True),
                surveyed=surveyed.iloc[at].reset_index(drop=True),
                asked=np.flatnonzero(np.isin(at, asked)),
            )
            for at in rows
        )
        found = []
        if len(rows) == 1 and scheduler is None:
            found.append(assess_part(next(parts), given, sources, on_step=on_step))
        else:
            sources["coast"].forget()  # the workers' turn: what is over here is not needed again
            del told, shore
            make_room()
            version = version_of(options)
            for result in by.map(work, ((part, given, version) for part in parts)):
                found.append(result)
                on_step(f"anchors: part {len(found)} of {len(rows)}")
            by.end()
    on_step("worth finding out")
    working = _rows([part.working for part in found]) if given.keep_working else None
    questions = worth_finding_out(
        _rows([part.asked for part in found]), today, options.axial_kn, policy, stock,
        count=len(anchors),
    )  # fmt: skip
    on_step("order of rebolting")
    sectors, crags, rank = ranked([part.groups for part in found], anchors, policy)
    doubts = _rows([part.doubts for part in found]).sort_values(
        "row", kind="stable", ignore_index=True
    )
    tests = [part.tests for part in found if part.tests is not None]
    columns = {
        name: pd.Series(values, index=anchors.index, copy=False)
        for name, values in together([part.columns for part in found], rows).items()
    }
    del found, parts, known  # a large register's result needs the room
    layer_notes = columns.pop("layer_notes")
    table = anchor_frame(anchors.assign(**columns, priority_rank=rank), anchors)
    del columns
    register = replace(
        register,
        notes=(*register.notes, *shortened(sentences(doubts), "values that the layers contradict")),
        doubts=pd.concat(
            [register.doubts, doubts, findings_apart(anchors, register.file)], ignore_index=True
        ),
    )
    flat = Flat(
        anchors=table,
        sectors=sectors,
        crags=crags,
        rejected=inputs.refused(register, survey),
        doubts=register.doubts,
        find_out=questions,
        tests=in_order(tests) if tests else None,
    )
    record = provenance(
        register, options, today, policy, sources=sources, rock_map=rock_map,
        table=table.assign(layer_notes=layer_notes, **rock), survey=survey,
        left_out=tables.left_out, notes=tables.notes(), learned_from=tables.learned_from,
    )  # fmt: skip
    coast = sources["coast"]
    embedded = coast.origins == (embedded_origin(),)
    behind = backdrop_of(sources["roads"], sources["terrain"], table["lon"], table["lat"])
    own_shore = None if embedded else coast
    return Assessment(flat, record, working, own_shore, behind, register.last_events)


def _rows(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Rows of parts, in the order of the register."""
    import pandas as pd

    return parts[0] if len(parts) == 1 else pd.concat(parts).sort_index(kind="stable")
