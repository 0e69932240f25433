"""Settings: one reader of TOML files, one kind of record, one sentence for a mistake.

A record is a frozen class whose fields say type, range and, in the text below each, meaning. It
is checked when it is made, in a program as from a file; templates and the reference of settings
derive from `schema_of`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from difflib import get_close_matches
from functools import lru_cache, wraps
from pathlib import Path
from typing import Annotated, Any, TypeVar, cast, dataclass_transform

import pydantic.dataclasses
from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    TypeAdapter,
    ValidationError,
)
from pydantic_core import CoreSchema, core_schema

from saltreach.errors import OptionError, brief

T = TypeVar("T")
_SHOWN = 200
"""Letters of a user's text in a message."""
_RULES = ConfigDict(
    strict=True, extra="forbid", allow_inf_nan=False, use_attribute_docstrings=True
)  # fmt: skip


@dataclass(frozen=True)
class OneOf:
    """Type of a text that is one of these words."""

    words: tuple[str, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        """What pydantic checks."""
        return core_schema.literal_schema(list(self.words))


def _one_line(value: Any) -> Any:
    return value if isinstance(value, bool | Mapping | list) else " ".join(str(value).split())


FileName = Annotated[str, BeforeValidator(lambda v: str(v) if isinstance(v, Path) else v)]
Line = Annotated[str, BeforeValidator(_one_line)]
"""Text of one line; a number or a date is taken as it is written."""
Several = Annotated[tuple[T, ...], Strict(False)]
"""A list in TOML."""


def day(value: Any) -> Any:
    """A day from ISO text or a time of day; anything else unchanged, for the next check."""
    if isinstance(value, datetime):
        return value.date()
    with suppress(ValueError, TypeError):
        return date.fromisoformat(value)
    return value


NOT_SET = Field(json_schema_extra={"readOnly": True})
"""Field that the program fills and no file may."""


def text_like(pattern: str, otherwise: str) -> AfterValidator:
    """Rule for a text that may be empty; `otherwise` says what is wrong and what to give."""

    def check(text: str) -> str:
        if text and not re.fullmatch(pattern, text):
            raise ValueError(otherwise)
        return text

    return AfterValidator(check)


def never_empty(otherwise: str) -> AfterValidator:
    """Rule for a text that may not be empty where it stands; `otherwise` says what to give."""

    def check(text: str) -> str:
        if not text:
            raise ValueError(f"{otherwise}, or leave the line out")
        return text

    return AfterValidator(check)


@dataclass_transform(frozen_default=True)
def record(cls: type[T]) -> type[T]:
    """Make a class a frozen record that refuses impossible values with an `OptionError`."""

    def schema_too(source: Any, handler: Any) -> CoreSchema:
        found = handler(source)
        found["strict"] = False  # a table of TOML is taken too; its values stay strict
        return found

    cls.__get_pydantic_core_schema__ = schema_too  # type: ignore[attr-defined]
    made = pydantic.dataclasses.dataclass(frozen=True, config=_RULES)(cls)
    plain: Callable[..., None] = made.__init__

    @wraps(plain)
    def checked_init(self: Any, *args: Any, **kwargs: Any) -> None:
        try:
            plain(self, *args, **kwargs)
        except ValidationError as error:
            raise OptionError(refusal(error, made, made.__name__.lower())) from None

    made.__init__ = checked_init  # type: ignore[method-assign]
    told = [
        line
        for name, field in made.__pydantic_fields__.items()
        for line in (name, "    " + " ".join((field.description or "").split()))
    ]
    made.__doc__ = "\n    ".join([f"{made.__doc__}\n", "Attributes", "----------", *told, ""])
    return cast(type[T], made)


def read_toml(path: str | Path, what: str) -> dict[str, Any]:
    """Names and values of a TOML file.

    Raises
    ------
    OptionError
        The file is missing, cannot be read or is no TOML; `what` says which file it is.
    """
    try:
        return tomllib.loads(utf8_text(path, what))
    except tomllib.TOMLDecodeError as error:
        raise OptionError(f"{what} file {path} is not valid TOML: {error}") from error


def utf8_text(path: str | Path, what: str) -> str:
    """Text of a file that must be UTF-8.

    Raises
    ------
    OptionError
        The file is missing, cannot be read or is in another encoding; `what` says which it is.
    """
    file = Path(path)
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        raise OptionError(f"{what} file {file} does not exist; check the path") from None
    except IsADirectoryError:
        raise OptionError(f"{what} file {file} is a folder; give a file") from None
    except OSError as error:
        raise OptionError(f"{what} file {file} cannot be read ({error.strerror})") from error
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise OptionError(
            f"{what} file {file} is not UTF-8 text (line {line}, byte "
            f"0x{error.object[error.start]:02X}); save it as UTF-8"
        ) from None


def checked(model: type[T], given: Mapping[str, Any], where: str) -> T:
    """The record that names and values of a file make.

    Raises
    ------
    OptionError
        An unknown name, a missing one, or an impossible value; the sentence begins with `where`.
    """
    any_model: Any = model
    known = schema_of(any_model)["properties"]
    for name in given:
        if known.get(name, {}).get("readOnly"):
            raise OptionError(_unknown(where, name, known))
    try:
        return cast(T, _adapter(any_model).validate_python(dict(given)))
    except ValidationError as error:
        raise OptionError(refusal(error, model, where)) from None


def read_settings(
    model: type[T],
    path: str | Path,
    what: str,
    *,
    gone: Mapping[str, str] | None = None,
    over: Mapping[str, Any] | None = None,
) -> T:
    """The record of a TOML file; see `read_toml` and `checked` for what is refused.

    `gone` holds names of former versions, and why each is not needed any more; `over` what was
    given beside the file and wins.
    """
    given, where = read_toml(path, what), f"{what} file {Path(path).name}"
    for name, why in (gone or {}).items():
        if name in given:
            raise OptionError(f"{where}: {name} is no option any more; delete its line: {why}")
    return checked(model, {**given, **(over or {})}, where)


@lru_cache
def _adapter(model: Any) -> TypeAdapter[Any]:
    return TypeAdapter(model)


@lru_cache
def schema_of(model: Any) -> dict[str, Any]:
    """JSON schema of a record: type, range, default and meaning of each name."""
    whole = _adapter(model).json_schema()
    known = whole.pop("$defs", {})

    def resolved(part: Any) -> Any:
        if isinstance(part, list):
            return [resolved(p) for p in part]
        if not isinstance(part, dict):
            return part
        if "$ref" in part:
            own = {k: v for k, v in part.items() if k != "$ref"}
            return resolved(known[part["$ref"].rpartition("/")[2]] | own)
        return {k: resolved(v) for k, v in part.items()}

    found = resolved(whole)
    for base in model.__mro__[1:]:  # what a base says of its names, its heirs need not repeat
        if hasattr(base, "__pydantic_fields__"):
            for name, part in schema_of(base)["properties"].items():
                found["properties"][name] = part | found["properties"][name]
    return found


def without_none(schema: Mapping[str, Any]) -> Mapping[str, Any]:
    """Schema of a value that is given, where it may also be left out."""
    given = [s for s in schema.get("anyOf", ()) if s.get("type") != "null"]
    return {**schema, **given[0]} if given else schema


def wanted(schema: Mapping[str, Any]) -> str:
    """What a value must be, in words: `a number from 0 to 250`."""
    schema = without_none(schema)
    words = [w for w in schema.get("enum", ()) if w] or (
        [schema["const"]] if "const" in schema else []
    )
    if words:
        return " or ".join(words) if len(words) < 3 else f"one of {', '.join(words)}"
    kind = schema.get("type")
    if kind in ("number", "integer"):
        low, high = (schema.get(n) for n in ("minimum", "maximum"))
        above, below = (schema.get(f"exclusive{n}") for n in ("Minimum", "Maximum"))
        said = "a whole number" if kind == "integer" else "a number"
        if above is not None:
            return said + (
                f" above {above:g}" if below is None else f" between {above:g} and {below:g}"
            )
        if low is not None:
            return said + (f" from {low:g} up" if high is None else f" from {low:g} to {high:.10g}")
        return said
    if kind == "string":
        return "a day, as 2027-04-30" if schema.get("format") == "date" else "a text"
    if kind == "object":
        inner = schema.get("additionalProperties")
        return "a table" + (f", for each name {wanted(inner)}" if isinstance(inner, dict) else "")
    if "properties" in schema.get("items", {}):
        return "tables, each under [[...]]"
    return {"boolean": "true or false", "array": "a list, [...]"}.get(str(kind), "another value")


def _unknown(where: str, name: str, known: Mapping[str, Any]) -> str:
    names = [n for n, schema in known.items() if not schema.get("readOnly")]
    near = get_close_matches(str(name), names, n=1)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    return f"{where}: unknown name {name!r}{hint} (known: {', '.join(names)})"


def refusal(error: ValidationError, model: type, where: str) -> str:
    """The first mistake as one sentence: where, name, value, what to give."""
    first = error.errors(include_url=False)[0]
    schema: Mapping[str, Any] = schema_of(model)
    path: list[str] = []
    steps = [step for step in first["loc"] if step != "[key]"]
    for at, step in enumerate(steps):
        schema = without_none(schema)
        if "properties" in schema and step not in schema["properties"]:
            inside = "".join(f", {p}" for p in path)
            return _unknown(where + inside, brief(str(step), _SHOWN), schema["properties"])
        if isinstance(step, int):
            path[-1] += f" {step + 1}"
            schema = schema.get("items", {})
        else:
            path.append(str(step))
            schema = schema.get("properties", {}).get(step) or schema.get(
                "propertyNames" if at == len(steps) - 1 and "[key]" in first["loc"]
                else "additionalProperties", {},
            )  # fmt: skip
    name = brief(".".join(path), _SHOWN)
    value = brief(repr(first["input"]), _SHOWN)
    if first["type"] == "missing":
        return f"{where}: {name} is missing; give {wanted(schema)}"
    told = first.get("ctx", {}).get("error")
    if told is not None:
        return f"{where}: " + (f"{name} = {value}: " if name else "") + brief(str(told), _SHOWN)
    if "[key]" in first["loc"]:
        return f"{where}: cannot use the name {name}; give {wanted(schema)}"
    return f"{where}: {name} = {value}; give {wanted(schema)}"
