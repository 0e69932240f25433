"""What was learned from looks and tests, as a file: written by one command, read by another."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from saltreach.errors import OptionError
from saltreach.intake.settings import Line, OneOf, Several, checked, record, utf8_text
from saltreach.vocabulary.words import CAUTION, LEARNED_AIR, LEARNED_KINDS, LEARNED_METALS
from saltreach.vocabulary.words import LEARNED_TAPS as TAPS

FORMAT, VERSION = "saltreach lessons", 1
Count = Annotated[int, Field(ge=0, le=10**9)]
Factor = Annotated[float, Field(gt=0, le=1e4)]


@record
class Believed:
    """A factor on what the model says: mean and quantiles."""

    mean: Factor
    """Mean."""
    p05: Factor
    """5th percentile."""
    p10: Factor
    """10th percentile."""
    p50: Factor
    """Median."""
    p90: Factor
    """90th percentile."""
    p95: Factor
    """95th percentile."""

    def __post_init__(self) -> None:
        """Refuse quantiles out of order."""
        quantiles = [self.p05, self.p10, self.p50, self.p90, self.p95]
        if quantiles != sorted(quantiles):
            raise OptionError(f"quantiles {quantiles} do not rise; write the file again")


@record
class FailureLesson:
    """How often a group of anchors fails, over what the model says."""

    metal: OneOf(LEARNED_METALS)  # type: ignore[valid-type]
    """Group of metals."""
    kind: OneOf(LEARNED_KINDS)  # type: ignore[valid-type]
    """How they hold."""
    air: OneOf(LEARNED_AIR)  # type: ignore[valid-type]
    """Air of their places."""
    anchors: Count
    """Anchors that were looked at."""
    looks: Count
    """Looks at them."""
    proof_tests: Count
    """Proof tests that counted."""
    failed: Count
    """Found failed."""
    expected: Annotated[float, Field(ge=0, le=1e9)]
    """Failed by the last look, by the model."""
    before: Believed
    """Before anything was seen."""
    after: Believed
    """After."""


@record
class RockLesson:
    """What the rock side bears in a group of rock, over what the model says."""

    lithology: Line
    """Rock."""
    tap: OneOf(TAPS)  # type: ignore[valid-type]
    """Sound of a tap."""
    to_failure: Count
    """Pulls to failure."""
    held: Count
    """Tests that held."""
    moved: Count
    """Tests that moved or failed."""
    before: Believed
    """Before anything was seen."""
    after: Believed
    """After."""


@record
class SaltLesson:
    """How salty a crag is, over what the model says."""

    crag: Line
    """Crag."""
    measurements: Count
    """Candles, swabs and coupons there."""
    shift_ln: Annotated[float, Field(ge=-5, le=5)]
    """Added to the logarithm of the median."""
    spread: Annotated[float, Field(ge=0.01, le=1)]
    """What is left of the spread, as a share."""
    model_sigma_ln: Annotated[float, Field(ge=0, le=5)]
    """Spread of the model."""


@record
class LearnedFrom:
    """A file that lessons were drawn from."""

    file: Line
    """Name."""
    sha256: Line
    """Checksum of its content."""


@record
class Lessons:
    """What looks, tests and measurements of a region teach."""

    format: OneOf((FORMAT,))  # type: ignore[valid-type]
    """What the file is."""
    version: Annotated[int, Field(ge=VERSION, le=VERSION)]
    """Of the format."""
    software: Line
    """What made it."""
    learned_for: Line
    """Day up to which events count."""
    made_from: Several[LearnedFrom]
    """Books and registers."""
    events: Count
    """Events that were read."""
    left_out: Several[Line]
    """What could not be used, in sentences."""
    prior: dict[str, float]
    """Numbers that the answer rests on before anything is seen."""
    region: Believed
    """A group of which nothing was seen."""
    failure: Several[FailureLesson]
    """By metal, kind and air."""
    rock: Several[RockLesson]
    """By rock."""
    salt: Several[SaltLesson]
    """By crag."""
    cautions: Several[Line]
    """What it cannot know."""

    def __post_init__(self) -> None:
        """Refuse a group that stands twice."""
        for name, keys in (
            ("failure", [(one.metal, one.kind, one.air) for one in self.failure]),
            ("rock", [(one.lithology, one.tap) for one in self.rock]),
            ("salt", [one.crag for one in self.salt]),
        ):
            twice = [key for at, key in enumerate(keys) if key in keys[:at]]
            if twice:
                raise OptionError(f"{name}: {twice[0]} stands twice; write the file again")

    @property
    def told(self) -> bool:
        """Whether anything at all was learned."""
        return bool(
            any(one.anchors for one in self.failure)
            or any(one.to_failure + one.held + one.moved for one in self.rock)
            or any(one.measurements for one in self.salt)
        )


def lessons_text(lessons: Lessons) -> str:
    """The file's text: the same lessons give the same bytes."""
    plain = {"caution": CAUTION, **asdict(lessons)}
    return json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def read_lessons(path: str | Path) -> Lessons:
    """Lessons of a file that `saltreach learned` wrote.

    Raises
    ------
    OptionError
        The file cannot be read, is another one, or holds an impossible value.
    """
    text = utf8_text(path, "learned")
    where = f"learned file {Path(path).name}"
    how = "give the learned.json that saltreach learned wrote"
    try:
        given: Any = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise OptionError(f"{where} is not valid JSON ({error}); {how}") from None
    if not isinstance(given, dict) or given.get("format") != FORMAT:
        raise OptionError(f"{where} is no file of lessons; {how}")
    if given.get("version") != VERSION:
        raise OptionError(
            f"{where}: version = {given.get('version')!r}; this saltreach reads version {VERSION}: "
            "run saltreach learned again"
        )
    given.pop("caution", None)
    return checked(Lessons, given, where)


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number")
