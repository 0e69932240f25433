"""What the code itself says: a page's line `{{ name argument }}` becomes what `name` here makes."""

from __future__ import annotations

import html
import inspect
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from importlib import import_module
from itertools import groupby
from pathlib import Path
from pkgutil import iter_modules
from types import ModuleType
from typing import Any

import measured
from sphinx.application import Sphinx
from sphinx.pycode import ModuleAnalyzer

import saltreach as sr
from saltreach import layers as earth
from saltreach import science
from saltreach.intake import policy, templates
from saltreach.intake.settings import schema_of, wanted, without_none
from saltreach.intake.tables import TABLES, Table
from saltreach.vocabulary import metals, synonyms, words
from saltreach.vocabulary.columns import COLUMNS, REQUIRED, Column, columns_of

DEMO = Path(__file__).parents[2] / "data" / "demo"
DEMO_DAY = "2026-11-25"
GROUPS = tuple(m.name for m in iter_modules(science.__path__) if m.ispkg)
GIVEN = {table.name for table in (templates.REGISTER, *TABLES)}
STAGES = {
    "register": "As you gave them",
    "layers": "From the layers",
    "science": "Computed by the formulas",
    "decisions": "Decided",
    "planning": "Planned",
}


def table(heads: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A table of Markdown."""

    def line(cells: Iterable[object]) -> str:
        inside = (str(cell).replace("|", "\\|").replace("\n", " ") for cell in cells)
        return f"| {' | '.join(inside)} |"

    named = tuple(heads)
    return "\n".join([line(named), "|---" * len(named) + "|", *map(line, rows)]) + "\n"


def holds(column: Column) -> str:
    """Kind, unit, range and words of a column in one phrase."""
    if column.choices:
        return ", ".join(column.choices)
    limits = ""
    if column.low is not None and column.high is not None:
        limits = f"{column.low:,.10g} to {column.high:,.10g}"
    return ", ".join(filter(None, [column.kind, column.unit, limits]))


def meaning(table: Table, column: Column) -> str:
    """What a column of a table that is given means, and what an empty cell does."""
    default = table.defaults.get(column.name)
    if default in (None, "", ()):
        return column.meaning
    if column.kind == "time":
        default = f"{default // 60:02d}:{default % 60:02d}"
    return f"{column.meaning}; {default} where empty"


def inputs() -> str:
    """Every table and settings file a user may hand in."""
    parts = []
    about = ModuleAnalyzer.for_module(Table.__module__).find_attr_docs()
    for one in (templates.REGISTER, *TABLES):
        note = next((d for (_, name), d in about.items() if name.lower() == one.name), [])
        rows = (
            (f"**`{c.name}`**" if c.required else f"`{c.name}`", holds(c), meaning(one, c))
            for c in one.columns.values()
        )
        parts += [
            f"## {one.title.capitalize()}\n",
            " ".join(note) + "\n",
            table(("column", "holds", "meaning"), rows),
            *dict.fromkeys(
                f"- `{'`, `'.join(rule.columns)}`: refused where {rule.reason}; {rule.fix}"
                for rule in one.rules
            ),
            "",
        ]
    for name, model in templates.SETTINGS.items():
        heads = ("name", "a value is", "meaning")
        parts += [f"## {name.capitalize()} (TOML)\n", table(heads, settings(model)), ""]
    return "\n".join(parts)


def settings(model: type) -> Iterator[tuple[str, str, str]]:
    """Name, what a value is, and meaning of each setting; those of a table inside have a dot."""
    yield from _settings(schema_of(model), "")


def _settings(schema: Mapping[str, Any], inside: str) -> Iterator[tuple[str, str, str]]:
    needed = schema.get("required", ())
    for name, one in schema["properties"].items():
        if one.get("readOnly"):
            continue
        deeper = one if "properties" in one else one.get("items", {})
        if "properties" in deeper:
            yield from _settings(deeper, f"{inside}{name}.")
            continue
        default = one.get("default")
        said = wanted(one)
        if default not in (None, "", [], {}):
            said += f"; {json.dumps(default, ensure_ascii=False)} where left out"
        shown = f"`{inside}{name}`"
        yield (
            f"**{shown}**" if name in needed else shown,
            said,
            without_none(one).get("description", ""),
        )


def required_columns() -> str:
    """The columns no register can do without."""
    found = columns_of("register")
    return "\n".join(f"- `{n}`: {found[n].meaning}" for n in REQUIRED)


def target(column: Column) -> str:
    """Its place in the page: some names mean different things in different tables."""
    return f"{column.tables[0]}-{column.name}"


def tables() -> str:
    """Names of the columns of each table that is written."""
    names = dict.fromkeys(t for c in COLUMNS for t in c.tables if t not in GIVEN)
    parts = []
    for name in names:
        links = (f"[`{n}`](#{target(c)})" for n, c in columns_of(name).items())
        parts.append(f"### `{name}`\n\n{', '.join(links)}\n")
    return "\n".join(parts)


def results() -> str:
    """Every column of every table that is written, once, by who fills it."""
    written = [c for c in COLUMNS if set(c.tables) - GIVEN]
    order = [*STAGES, *dict.fromkeys(c.stage for c in written if c.stage not in STAGES)]
    written.sort(key=lambda c: order.index(c.stage))
    parts = []
    for stage, columns in groupby(written, key=lambda c: c.stage):
        rows = (
            (f"[`{c.name}`]{{#{target(c)}}}", holds(c), c.meaning,
             ", ".join(t for t in c.tables if t not in GIVEN), c.sector)
            for c in columns
        )  # fmt: skip
        heads = ("column", "holds", "meaning", "in", "a sector carries")
        parts += [f"## {STAGES.get(stage, stage.capitalize())}\n", table(heads, rows)]
    return "\n".join(parts)


def word_lists() -> str:
    """Lists of words, which columns hold them, and where they are from."""
    rows = []
    for module in (words, metals):
        about = ModuleAnalyzer.for_module(module.__name__).find_attr_docs()
        for name, value in vars(module).items():
            if name[0] == "_" or not isinstance(value, tuple) or not value:
                continue
            users = [f"`{c.name}`" for c in COLUMNS if c.choices is value]
            note = " ".join(about.get(("", name), [])).strip()
            if all(isinstance(word, str) for word in value) and (users or note):
                order = " < " if isinstance(value, words.Scale) else ", "
                what = name.replace("_", " ").capitalize()
                rows.append((what, order.join(filter(None, value)), ", ".join(users), note))
    return table(("list", "words", "columns", "from"), rows)


def _by_language(lists: tuple[str, ...]) -> str:
    """Words of some lists: a row for each column and value, a column for each language."""
    languages = ("", *synonyms.LANGUAGES)
    found: dict[tuple[str, str], dict[str, list[str]]] = {}
    for entry in synonyms.ENTRIES:
        if entry.list in lists:
            row = found.setdefault((entry.column or "every yes or no", entry.value), {})
            row.setdefault(entry.language, []).extend(entry.words)
    rows = (
        (f"`{column}`", value, *("; ".join(row.get(lang, ())) for lang in languages))
        for (column, value), row in found.items()
    )
    return table(("column", "value", "any", *synonyms.LANGUAGES), rows)


def headers_by_language() -> str:
    """Headers read as each column."""
    return _by_language(("header", "table header", "weak header"))


def values_by_language() -> str:
    """Words read as each value, level and weekday."""
    return _by_language(("choice", "level", "weekday"))


def records(module_and_name: str) -> str:
    """A list of records as a table, under what their class says of its fields."""
    module, name = module_and_name.split(".")
    found = getattr(import_module(f"saltreach.vocabulary.{module}"), name)
    fields = list(inspect.signature(type(found[0])).parameters)
    rows = ([_shown(getattr(one, f)) for f in fields] for one in found)
    about = inspect.getdoc(type(found[0])) or ""
    return about + "\n\n" + table((f.replace("_", " ") for f in fields), rows)


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return "" if value != value else f"{value:g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {v}" for k, v in value.items())
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def science_modules(group: str = "") -> Iterator[ModuleType]:
    """Modules of a group of formulas; without one those beside the groups that hold a formula."""
    package = import_module(f"{science.__name__}.{group}" if group else science.__name__)
    for found in iter_modules(package.__path__, f"{package.__name__}."):
        module = None if found.ispkg else import_module(found.name)
        if module and (group or any(hasattr(f, "formula") for f in vars(module).values())):
            yield module


def public_functions(module: ModuleType) -> list[str]:
    """Names of the functions a module offers, in its order."""
    return [
        name for name, value in vars(module).items()
        if inspect.isfunction(value) and value.__module__ == module.__name__ and name[0] != "_"
    ]  # fmt: skip


def _title(module: ModuleType) -> str:
    return module.__name__.rpartition(".")[2].replace("_", " ").capitalize()


def _as_rst(lines: Iterable[str]) -> str:
    return "```{eval-rst}\n" + "\n\n".join(lines) + "\n```\n"


def formulas(group: str = "") -> str:
    """The docstrings of a group's public functions."""
    parts = []
    for module in science_modules(group):
        functions = public_functions(module)
        if functions:
            lines = [f".. automodule:: {module.__name__}"]
            lines += [f".. autofunction:: {module.__name__}.{name}" for name in functions]
            parts += [f"## {_title(module)}\n", _as_rst(lines)]
    return "\n".join(parts)


def gallery() -> str:
    """What each formula computes, in one line."""
    rows = []
    for group in (*GROUPS, ""):
        page = group or "shared"
        for module in science_modules(group):
            for name in public_functions(module):
                first = (inspect.getdoc(getattr(module, name)) or "").partition("\n")[0]
                rows.append((page, f"[`{name}`](#{module.__name__}.{name})", first))
    return table(("group", "formula", "gives"), rows)


def commands() -> str:
    """What `--help` says of every command."""
    import typer
    from typer.cli import get_docs_for_click

    from saltreach.cli import app

    program = typer.main.get_command(app)
    text = get_docs_for_click(obj=program, ctx=typer.Context(program), name=sr.__name__)
    text = re.sub(r"\*\*Commands\*\*:\n\n(\* .*\n)+", "", text)  # cut short there
    return re.sub(r"^#", "##", html.unescape(text), flags=re.MULTILINE)


def python() -> str:
    """Every name of the package, the policy, and what the layers say at a point."""
    names = [f"{sr.__name__}.{n}" for n in sorted(sr.__all__, key=str.casefold)]
    names += [f"{policy.__name__}.{n}" for n in ("Policy", "read_policy")]
    names += [f"{earth.__name__}.{n}" for n in earth.__all__]
    parts = []
    for name in names:
        module, _, own = name.rpartition(".")
        value = getattr(import_module(module), own)
        if callable(value):
            kind = "class" if inspect.isclass(value) else "function"
            parts.append(f".. auto{kind}:: {name}")
    return _as_rst(parts)


def layers() -> str:
    """Sources, licences and accuracy of the embedded layers."""
    from typer.testing import CliRunner

    from saltreach.cli import app

    found = json.loads(CliRunner().invoke(app, ["layers", "list", "--json"]).stdout)
    rows = (
        (f"`{x['name']}`", f"{x['quantity']} ({x['unit']})" if x["unit"] else x["quantity"],
         "; ".join(filter(None, (x["source"], x["version"]))), x["licence"], x["accuracy"])
        for x in found
    )  # fmt: skip
    return table(("layer", "gives", "from", "licence", "accuracy"), rows)


def first_sector() -> str:
    """The demo's first sector in line, as its table holds it."""
    from datetime import date

    options = sr.Options(today=date.fromisoformat(DEMO_DAY))
    register = sr.read_register(DEMO / "anchors.csv", today=options.today)
    sectors = sr.assess(register, options).flat.sectors
    first = sectors.loc[sectors["priority_rank"].astype(int) == 1].iloc[0]
    known = {n: v for n, v in first.items() if str(v) not in ("", "nan") and n != "caution"}
    rows = ((f"`{n}`", f"{v:.4g}" if isinstance(v, float) else v) for n, v in known.items())
    return table(("column", "value"), rows)


def benchmarks() -> str:
    """What was measured last."""
    found = measured.newest()
    if found is None:
        return measured.NOTHING
    said = [measured.machine(found)]
    for title, rows in measured.parts(found):
        said += [f"## {title}", table(measured.HEADS, rows)]
    return "\n\n".join(said)


def caution() -> str:
    """The sentence every output carries."""
    return words.CAUTION


PARTS: dict[str, Callable[..., str]] = {
    f.__name__: f
    for f in (
        inputs, required_columns, tables, results, word_lists, headers_by_language,
        values_by_language, records, formulas, gallery, commands, python, layers,
        first_sector, benchmarks, caution,
    )
}  # fmt: skip


def fill(app: Sphinx, page: str, source: list[str]) -> None:
    """Put what the code says in place of the lines that call for it."""
    source[0] = re.sub(
        r"^\{\{ (\w+)(?: ([\w.]+))? \}\}$",
        lambda call: PARTS[call[1]](*filter(None, [call[2]])),
        source[0],
        flags=re.MULTILINE,
    )


def setup(app: Sphinx) -> dict[str, bool]:
    """Fill the pages as they are read."""
    app.connect("source-read", fill)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
